"""What a tester's own place shows them beside its dates: how they are doing for time, and what is new."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.scopes import Scope
from testround.api.v1.examples import places as examples
from testround.api.v1.places import TAG
from testround.api.v1.sending import AtPlace
from testround.reports.asides import News, news_of
from testround.reports.pace import PlaceTime, time_of


class TimeRange(serializers.Serializer):
    """A middle value with its likely range: one in ten below, one in ten above."""

    low = serializers.FloatField()
    middle = serializers.FloatField()
    high = serializers.FloatField()


class TimeFinish(serializers.Serializer):
    """The likely days of finishing."""

    earliest = serializers.DateField()
    middle = serializers.DateField()
    latest = serializers.DateField()


class TimeOut(serializers.Serializer):
    """Hours logged, and what is left of a piece in progress."""

    so_far = serializers.FloatField(help_text="Hours logged.")
    took = serializers.FloatField(allow_null=True, help_text="Hours of a piece that is measured.")
    guess = serializers.FloatField(allow_null=True, help_text="Hours that you expected.")
    share = serializers.FloatField(
        source="forecast.share",
        default=None,
        allow_null=True,
        help_text="How much is done, 0 to 1; null where nothing says how long it takes.",
    )
    left = TimeRange(source="forecast.left", default=None, allow_null=True, help_text="Hours left.")
    a_week = serializers.FloatField(allow_null=True, help_text="Hours a week that would finish it in time.")
    finish = TimeFinish(source="forecast.finish", default=None, allow_null=True)
    closes = serializers.DateField(
        allow_null=True, help_text="The day that counts: the round’s, or a later one that you asked for."
    )
    prospect = serializers.ChoiceField(
        source="stands",
        choices=[(one, one) for one in ("in time", "may be late", "likely late")],
        allow_blank=True,
        help_text="How the likely days stand to that one; empty while that cannot be said.",
    )
    rests_on = serializers.CharField(allow_blank=True, help_text="Whose pace it rests on, in your language.")


class NewsOut(serializers.Serializer):
    """Something said in the round, or an erratum that touches your size."""

    what = serializers.CharField(help_text="What kind it is, in your language.")
    text = serializers.CharField(allow_blank=True, help_text="Empty for private words.")
    at = serializers.DateTimeField()
    is_new = serializers.BooleanField(help_text="You have not looked at it on its page yet.")
    url = serializers.SerializerMethodField(help_text="Its page.")

    def get_url(self, news: News) -> str:
        return f"{settings.SITE_URL}{news.url}"


class NewsList(serializers.Serializer):
    news = NewsOut(many=True, help_text="The newest first; the last of each kind.")


def represent(time: PlaceTime) -> dict[str, Any]:
    shown: dict[str, Any] = TimeOut(time).data
    return shown


class PlaceTimeLeft(AtPlace):
    @operation(
        "places_time",
        "How you are doing for time",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=TimeOut,
        example=examples.TIME,
    )
    def get(self, request: Request, id: int) -> Response:
        """The hours of a place that you hold, what is left of the piece, and when it will likely be finished."""
        return self.shown(represent(time_of(self.desk(id), today=timezone.localdate())))


class PlaceNews(AtPlace):
    @operation(
        "places_news",
        "What is new for you in a round",
        tag=TAG,
        scope=Scope.TALK_READ,
        answers=NewsList,
        example={"news": [examples.NEWS]},
    )
    def get(self, request: Request, id: int) -> Response:
        """The last notes, answers that you have not looked at, that there are private words, and what published
        errata mean for your size and for what you have sent."""
        return self.shown(NewsList({"news": news_of(self.place(id))}).data)
