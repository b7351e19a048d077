from __future__ import annotations

import zoneinfo
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from testround.people.models import User


class ReadersClock:
    """Shows dates and times as they are where the signed-in person lives."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(zone_of(request)):
            return self.get_response(request)


def zone_of(request: HttpRequest) -> zoneinfo.ZoneInfo | None:
    """The person's zone; None, the server's own, for a stranger or a zone this machine does not know."""
    return _zone_named(request.user.time_zone) if request.user.is_authenticated else None


def zone_of_person(user: User) -> zoneinfo.ZoneInfo:
    """The person's zone, or the server's where this machine does not know it."""
    return _zone_named(user.time_zone) or zoneinfo.ZoneInfo(settings.TIME_ZONE)


def _zone_named(name: str) -> zoneinfo.ZoneInfo | None:
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        return None
