"""Rows and steps counted on a phone: each press once, in any order, from as many phones as there are."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from testround.people.held import held_of, person_erase
from testround.people.models import User
from testround.reports import counting
from testround.reports.counting import Taken, counted_at, events_take
from testround.reports.models import Counter, RowsCounted, StepTick
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused

BACK = uuid.UUID(int=7)


def one(kind: str, **more: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "kind": kind, "at": timezone.now().isoformat(), **more}


def counter(code: uuid.UUID = BACK, label: str = "Back", goal: int | None = 96) -> dict[str, Any]:
    return one("counter", counter=str(code), label=label, goal=goal)


def rows(n: int = 1, code: uuid.UUID = BACK) -> dict[str, Any]:
    return one("rows", counter=str(code), rows=n)


def take(place: Place, *events: Any) -> Taken:
    return events_take(place=place, pattern=place.round.edition.document, events=events)


def totals(place: Place) -> dict[str, int]:
    return {tally.label: tally.rows for tally in counted_at(place).tallies}


def test_presses_add_up_on_the_counter_they_were_made_for(place: Place) -> None:
    sleeve = uuid.uuid4()

    take(place, counter(), counter(sleeve, "Sleeve", None), rows(), rows(), rows(-1), rows(5, sleeve))

    assert totals(place) == {"Back": 1, "Sleeve": 5}
    assert [(tally.goal, tally.left) for tally in counted_at(place).tallies] == [(96, 95), (None, None)]


def test_what_is_sent_again_is_counted_once(place: Place) -> None:
    made, press = counter(), rows()
    take(place, made, press)

    again = take(place, made, press, rows())

    assert totals(place) == {"Back": 2}
    # It is told that it is in, so that the phone stops sending it.
    assert made["id"] in again.taken
    assert press["id"] in again.taken
    assert again.refused == ()


def test_a_key_twice_in_one_post_is_one_press(place: Place) -> None:
    press = rows()

    take(place, counter(), press, press)

    assert totals(place) == {"Back": 1}


def test_two_phones_that_counted_apart_are_added(place: Place) -> None:
    take(place, counter())

    take(place, *[rows() for _ in range(4)])
    take(place, *[rows() for _ in range(3)])

    assert totals(place) == {"Back": 7}


def test_less_than_nothing_is_made_up_so_that_the_next_row_counts(place: Place) -> None:
    take(place, counter(), rows())
    # Both phones show one, and on both it is taken back.
    take(place, rows(-1))
    take(place, rows(-1))
    assert totals(place) == {"Back": 0}

    take(place, rows())

    assert totals(place) == {"Back": 1}


@pytest.mark.parametrize(
    "bad",
    [
        {"id": "no-key", "kind": "rows", "counter": str(BACK), "rows": 1},
        one("rows", counter=str(uuid.uuid4()), rows=1),
        one("rows", counter=str(BACK), rows=0),
        one("rows", counter=str(BACK), rows=10_001),
        one("rows", counter=str(BACK), rows="many"),
        one("counter", counter=str(uuid.uuid4()), label="  "),
        one("counter", counter="none", label="Back"),
        one("tick", number="no_such_number", done=True),
        one("tick", number="back_sts", done="yes"),
        one("close", counter=str(uuid.uuid4())),
        one("dance"),
    ],
)
def test_one_event_that_cannot_be_meant_is_refused_and_none_behind_it(
    place: Place, bad: dict[str, Any]
) -> None:
    answer = take(place, counter(), bad, rows())

    assert answer.refused == (bad["id"],)
    assert totals(place) == {"Back": 1}
    assert not StepTick.objects.exists()


@pytest.mark.parametrize("bad", [None, 3, "rows", ["rows"]])
def test_what_is_no_event_at_all_is_passed_over(place: Place, bad: Any) -> None:
    answer = take(place, bad, counter(), rows())

    assert (len(answer.taken), answer.refused) == (2, ())


def test_of_two_ticks_the_later_stands_whichever_comes_first(place: Place) -> None:
    now = timezone.now()
    early, late = (now - dt.timedelta(minutes=m) for m in (9, 2))

    take(place, {**one("tick", number="back_sts", done=False), "at": late.isoformat()})
    take(place, {**one("tick", number="back_sts", done=True), "at": early.isoformat()})
    take(
        place,
        {**one("tick", number="body_rows", done=True), "at": late.isoformat()},
        {**one("tick", number="body_rows", done=False), "at": early.isoformat()},
    )

    assert counted_at(place).ticked == {"body_rows"}


def test_a_phone_whose_clock_is_ahead_does_not_have_the_last_word_for_a_year(place: Place) -> None:
    ahead = timezone.now() + dt.timedelta(days=365)
    take(place, {**one("tick", number="back_sts", done=True), "at": ahead.isoformat()})

    take(place, one("tick", number="back_sts", done=False))

    assert counted_at(place).ticked == frozenset()


def test_a_counter_that_was_put_away_keeps_its_rows_and_is_not_shown(place: Place) -> None:
    take(place, counter(), rows(12), one("close", counter=str(BACK)))

    late = take(place, rows())

    assert (totals(place), late.refused) == ({}, ())
    assert sum(RowsCounted.objects.values_list("rows", flat=True)) == 13


def test_there_is_an_end_to_counters_and_to_presses(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(counting, "MOST_COUNTERS", 2)
    monkeypatch.setattr(counting, "MOST_PRESSES", 3)
    many = [counter(uuid.uuid4(), f"Piece {n}") for n in range(2)]
    presses = [rows(code=uuid.UUID(many[0]["counter"])) for _ in range(4)]

    answer = take(place, *many, counter(uuid.uuid4(), "One more"), *presses[:3])
    beyond = take(place, presses[3])

    assert (Counter.objects.count(), len(answer.refused)) == (2, 1)
    assert (beyond.taken, beyond.refused) == ((), (presses[3]["id"],))


def test_a_post_costs_the_same_for_one_press_or_a_hundred(place: Place) -> None:
    take(place, counter(), rows())

    def cost(n: int) -> int:
        with CaptureQueriesContext(connection) as captured:
            take(place, *[rows() for _ in range(n)])
        return len(captured)

    assert cost(1) == cost(100)
    with CaptureQueriesContext(connection) as captured:
        counted_at(place)
    assert len(captured) == 2


def test_counting_is_held_for_its_tester_and_goes_with_them(
    place: Place, tester: User, stranger: User
) -> None:
    take(place, counter(), rows(3), one("tick", number="back_sts", done=True))

    def shelf(user: User) -> list[Any]:
        return next(list(shelf.rows) for shelf in held_of(user) if shelf.key == "counting")

    assert [(row["what"], row.get("rows"), row.get("number")) for row in shelf(tester)] == [
        ("counter", 3, None),
        ("step", None, "back_sts"),
    ]
    assert shelf(stranger) == []

    person_erase(user=tester)

    assert not (Counter.objects.exists())
    assert not (RowsCounted.objects.exists())
    assert not (StepTick.objects.exists())


def test_once_what_is_private_is_deleted_no_counting_is_taken(place: Place) -> None:
    Round.objects.filter(pk=place.round_id).update(purged_at=timezone.now())

    with pytest.raises(Refused):
        take(place, counter())
