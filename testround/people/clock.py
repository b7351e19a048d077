from __future__ import annotations

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone


class ReadersClock:
    """Shows dates and times as they are where the signed-in person lives."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(zone_of(request)):
            return self.get_response(request)


def zone_of(request: HttpRequest) -> zoneinfo.ZoneInfo | None:
    """The person's zone; None, the server's own, for a stranger or a zone this machine does not know."""
    if not request.user.is_authenticated:
        return None
    try:
        return zoneinfo.ZoneInfo(request.user.time_zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        return None
