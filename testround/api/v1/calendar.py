"""The dates of the person whose token it is, and the address at which a calendar program fetches them."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.etags import etag_of_bytes
from testround.api.scopes import Scope
from testround.api.v1.account import TAG
from testround.api.v1.examples import account as examples
from testround.people.models import User
from testround.talk.dates import calendar_of, dates_of, feed_address
from testround.talk.models import CalendarAddress
from testround.talk.services import calendar_renew, calendar_stop

ICALENDAR = "text/calendar"


class CalendarOut(serializers.Serializer):
    """The address of a calendar. Whoever has it sees titles and dates, and need not sign in."""

    address = serializers.CharField(allow_null=True, help_text="Null where there is none.")
    made = serializers.DateTimeField(allow_null=True, help_text="When it was made.")


class CalendarDay(serializers.Serializer):
    """Something on one day."""

    uid = serializers.CharField(help_text="Stays the same when the day moves.")
    day = serializers.DateField()
    summary = serializers.CharField()
    description = serializers.CharField(allow_blank=True)
    url = serializers.CharField(help_text="The page of what it is about.")


class CalendarDays(serializers.Serializer):
    days = CalendarDay(many=True)


def represent(person: User) -> dict[str, Any]:
    address = CalendarAddress.objects.filter(person=person).first()
    made = {"address": feed_address(address), "made": address.made} if address else {}
    shown: dict[str, Any] = CalendarOut({"address": None, "made": None, **made}).data
    return shown


class Calendar(Endpoint):
    @operation(
        "calendar_retrieve",
        "The address of your calendar",
        tag=TAG,
        scope=Scope.ACCOUNT_READ,
        answers=CalendarOut,
        example=examples.CALENDAR,
    )
    def get(self, request: Request) -> Response:
        """Where a calendar program fetches your dates, if you have made such an address. It is a secret."""
        return self.told(self.shown(represent(self.user)))

    @operation(
        "calendar_renew",
        "Give your calendar another address",
        tag=TAG,
        scope=Scope.ACCOUNT_WRITE,
        answers=CalendarOut,
        example=examples.CALENDAR,
    )
    def post(self, request: Request) -> Response:
        """Give your calendar an address, or another one: the old one opens nothing from then on."""
        calendar_renew(person=self.user)
        return self.told(self.shown(represent(self.user)))

    @operation(
        "calendar_withdraw",
        "Take the address of your calendar away",
        tag=TAG,
        scope=Scope.ACCOUNT_WRITE,
        status=204,
    )
    def delete(self, request: Request) -> Response:
        """Take the address away: whoever had it sees nothing any more."""
        person = self.here(User.objects.all(), pk=self.user.pk)
        self.hold_against(represent(person))
        calendar_stop(person=person)
        return self.gone()


class Days(Endpoint):
    @operation(
        "calendar_days",
        "Your dates",
        tag=TAG,
        scope=Scope.ACCOUNT_READ,
        answers=CalendarDays,
        example={"days": [examples.DAY]},
    )
    def get(self, request: Request) -> Response:
        """What is due when in your places and your rounds: the dates of the last year and those to come, at most 1000."""
        days = dates_of(self.user, today=timezone.localdate())
        return self.shown(CalendarDays({"days": days}).data)


class CalendarFile(Endpoint):
    @operation(
        "calendar_file",
        "Your dates as a calendar",
        tag=TAG,
        scope=Scope.ACCOUNT_READ,
        answers={"type": "string"},
        answers_media=ICALENDAR,
    )
    def get(self, request: Request) -> HttpResponse:
        """The same as an iCalendar file (RFC 5545), as the address of the calendar gives it."""
        data = calendar_of(self.user, today=timezone.localdate()).encode()
        headers = {
            "ETag": etag_of_bytes(data),
            "Content-Disposition": 'attachment; filename="test-rounds.ics"',
        }
        return HttpResponse(data, content_type=f"{ICALENDAR}; charset=utf-8", headers=headers)
