"""How a tester is doing for time, and what is new for them, by a program of theirs."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.core.cache import cache
from django.http import HttpResponse
from django.utils import timezone

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.services import note_write
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_reports import at, own

__all__ = ["at", "own"]


def note(place: Place, by: User, text: str) -> None:
    note_write(round=place.round, key=uuid.uuid4(), by=by, text=text)


def test_hours_that_are_left_are_told_with_their_range_and_day(own: Program, at: str, place: Place) -> None:
    closes = timezone.localdate() + dt.timedelta(days=300)
    Round.objects.update(closes=closes)
    nothing = own.get(f"{at}/time").json()
    own.post(f"{at}/guess", {"hours": 30})
    own.post(f"{at}/sittings", {"hours": 6, "done": 0.2})

    time = own.get(f"{at}/time").json()

    assert (nothing["so_far"], nothing["left"], nothing["prospect"]) == (0, None, "")
    assert (time["so_far"], time["guess"], time["share"]) == (6, 30, pytest.approx(0.2))
    assert time["left"]["low"] < time["left"]["middle"] < time["left"]["high"]
    assert time["closes"] == closes.isoformat()
    assert "your guess" in time["rests_on"]


def test_what_is_new_is_told_newest_first(own: Program, at: str, place: Place, designer: User) -> None:
    for text in ("The yarn is on its way.", "It is here."):
        note(place, designer, text)

    news = own.get(f"{at}/news").json()["news"]

    assert [(one["what"], one["text"], one["is_new"]) for one in news] == [
        ("Note", "It is here.", True),
        ("Note", "The yarn is on its way.", True),
    ]
    assert news[0]["url"].endswith(f"/rounds/{place.round.code}/notes/")


def test_reading_costs_the_same_for_few_and_many(own: Program, at: str, place: Place, designer: User) -> None:
    own.post(f"{at}/sittings", {"hours": 2, "done": 0.1})
    note(place, designer, "A note.")

    def more_sittings() -> None:
        for n in range(2, 6):
            own.post(f"{at}/sittings", {"hours": 2, "done": n / 10})

    def more_notes() -> None:
        for n in range(4):
            note(place, designer, f"Note {n}")

    def fresh(path: str) -> HttpResponse:
        # As in a process that has just begun.
        cache.clear()
        return own.get(f"{at}/{path}")

    assert_costs_the_same(lambda: fresh("time"), more_sittings)
    assert_costs_the_same(lambda: fresh("news"), more_notes)
