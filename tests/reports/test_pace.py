"""How testers are doing for time, on their own page and on the designer's."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from testround.people.models import User
from testround.reports import services
from testround.reports.models import Finished, Sitting
from testround.reports.pace import forecasts_in
from testround.rounds.models import Place, Round

SignIn = Callable[[User], Client]
Address = Callable[..., str]


@pytest.fixture(autouse=True)
def nothing_cached() -> None:
    cache.clear()


def sat(place: Place, hours: float, done: float | None, *days_ago: int) -> None:
    """Sittings on the back, of these hours each, logged on these days."""
    today = timezone.localdate()
    for ago in days_ago:
        Sitting.objects.create(
            place=place, part="back", hours=hours, done=done, day=today - dt.timedelta(days=ago)
        )


def other(place: Place, number: int, hours: float) -> Place:
    """Another tester of size S, who is done after that many hours."""
    seat = Place.objects.create(
        round=place.round, key=f"o{number}", name=f"Other {number}", size="S", state=Place.State.DONE
    )
    sat(seat, hours / 4, 1, 28, 21, 14, 7)
    return seat


def states_hours(place: Place, hours: float) -> None:
    edition = place.round.edition
    edition.sheet = {**edition.sheet, "hours": {"S": hours}}
    edition.save()


def text_of(response: Any) -> str:
    return " ".join(response.content.decode().split())


# The tester's page


def test_before_any_sitting_the_page_says_what_the_pattern_says(
    as_tester: Client, address: Address, place: Place
) -> None:
    states_hours(place, 40)

    found = as_tester.get(address("place"))

    assert found.context["time"].rests_on == "the hours the pattern states"
    assert found.context["time"].forecast.left.middle == pytest.approx(40)
    assert "likely finished" not in text_of(found)


def test_without_anything_to_go_by_the_page_asks_for_a_sitting(
    as_tester: Client, address: Address, place: Place
) -> None:
    assert "Log your sittings, and you see here how many hours are left." in text_of(
        as_tester.get(address("place"))
    )


def test_hours_so_far_left_and_the_days_stand_against_the_closing_date_and_the_guess(
    as_tester: Client, address: Address, place: Place
) -> None:
    states_hours(place, 40)
    place.guess_hours = 33
    place.save()
    today = timezone.localdate()
    place.round.closes = today + dt.timedelta(days=3)
    place.round.save()
    sat(place, 5, 0.5, 27, 20, 13, 6)

    response = as_tester.get(address("place"))

    time = response.context["time"]
    assert (time.so_far, time.done, time.guess, time.stands) == (20, 50, 33, "likely late")
    assert time.forecast.finish.earliest > place.round.closes
    page = text_of(response)
    assert "your guess, in all</dt><dd>33<" in page
    assert "That is likely after the round closes" in page
    assert "To be done by then takes about" in page
    assert "your own pace so far and the hours the pattern states, at" in page


def test_a_later_date_of_ones_own_is_the_one_that_counts(
    as_tester: Client, address: Address, signed_in: SignIn, designer: User, place: Place, a_round: Round
) -> None:
    states_hours(place, 40)
    sat(place, 5, 0.5, 27, 20, 13, 6)
    today = timezone.localdate()
    a_round.state, a_round.closes = Round.State.MAKING, today + dt.timedelta(days=3)
    a_round.save()
    place.measures_until = today + dt.timedelta(days=300)
    place.save()

    response = as_tester.get(address("place"))

    assert (response.context["time"].stands, response.context["time"].closes) == (
        "in time",
        place.measures_until,
    )
    assert "That is in time: you have until" in text_of(response)
    mine = text_of(as_tester.get(reverse("reports:places")))
    assert f"; you, until {date_format(place.measures_until, 'j F Y')}" in mine
    outlook_of_it = outlook(signed_in, designer, a_round).context["page"].outlook
    assert [one.stands for one in outlook_of_it.places] == ["in time"]
    shown = text_of(outlook(signed_in, designer, a_round))
    assert f"<strong>in time</strong> for {date_format(place.measures_until, 'j M')}, as asked" in shown


def test_three_others_who_are_done_set_the_pace(as_tester: Client, address: Address, place: Place) -> None:
    states_hours(place, 40)
    for number in range(3):
        other(place, number, 60)

    time = as_tester.get(address("place")).context["time"]

    assert time.rests_on == "the pace of 3 other testers"
    assert time.forecast.left.middle == pytest.approx(60)
    # Fifteen hours a week over three weeks and a day.
    assert time.forecast.finish is not None


def test_a_piece_that_is_measured_says_what_it_took(
    as_tester: Client, address: Address, place: Place
) -> None:
    states_hours(place, 40)
    sat(place, 20.5, 1, 20, 13)
    place.state, place.guess_hours = Place.State.MEASURED, 33
    place.save()

    assert "It took you 41 hours; you guessed 33." in text_of(as_tester.get(address("place")))


def test_after_a_long_last_sitting_the_page_reminds_to_rest(
    as_tester: Client, address: Address, place: Place
) -> None:
    sat(place, 1.5, None, 3)
    assert "That was a sitting of" not in text_of(as_tester.get(address("place")))

    sat(place, 3.5, None, 2)
    assert "That was a sitting of 3.5 hours. Pause" in text_of(as_tester.get(address("place")))


def test_other_testers_names_and_hours_stay_off_the_page(
    as_tester: Client, address: Address, place: Place
) -> None:
    for number in range(3):
        other(place, number, 61.75)

    page = text_of(as_tester.get(address("place")))

    assert "Other 1" not in page
    assert "61.75" not in page


def test_a_sitting_is_dated_by_the_day_it_was_logged_and_a_correction_keeps_it(
    place: Place, tester: User
) -> None:
    services.sitting_submit(place=place, key=uuid.uuid4(), by=tester, hours=2, part="back", done=0.2)
    first = Sitting.objects.get()
    first.day = timezone.localdate() - dt.timedelta(days=9)
    first.save()

    services.sitting_submit(
        place=place, key=uuid.uuid4(), by=tester, hours=3, part="back", done=0.2, corrects=first
    )

    again = Sitting.objects.get(superseded_at=None)
    assert (again.hours, again.day) == (3, first.day)
    assert Sitting.objects.exclude(superseded_at=None).get().pk == first.pk


def test_the_page_costs_the_same_for_a_small_round_and_a_large_one(
    as_tester: Client, address: Address, place: Place
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            as_tester.get(address("place"))
        return len(asked)

    other(place, 0, 40)
    queries()  # whatever is asked once in a process
    cache.clear()
    small, again = queries(), queries()
    for number in range(1, 25):
        other(place, number, 40 + number)
    cache.clear()

    assert queries() == small
    # Who asks, their place, its clock, and a name for all that the page rests on: the rest is kept.
    assert again == 5 < small


# The designer's page


@pytest.fixture
def making(place: Place, a_round: Round) -> Place:
    states_hours(place, 40)
    a_round.state, a_round.closes = Round.State.MAKING, timezone.localdate() + dt.timedelta(days=60)
    a_round.save()
    return place


def outlook(signed_in: SignIn, designer: User, round_: Round) -> Any:
    return signed_in(designer).get(round_.get_absolute_url())


def test_every_piece_in_progress_stands_against_the_closing_date(
    signed_in: SignIn, designer: User, making: Place, a_round: Round
) -> None:
    for number in range(3):
        other(making, number, 40)
    sat(making, 9, 0.9, 27, 20, 13, 6)
    slow = Place.objects.create(round=a_round, key="slow", name="Slow", size="S", state=Place.State.MAKING)
    sat(slow, 0.5, 0.02, 60, 30)

    response = outlook(signed_in, designer, a_round)

    found = response.context["page"].outlook
    assert [(one.place.name, one.stands) for one in found.places] == [
        ("Slow", "likely late"),
        ("Tester one", "in time"),
    ]
    assert found.answer == "Not all: 1 in time, 1 likely late."
    assert "Will they finish in time?" in text_of(response)


def test_a_size_whose_piece_is_likely_late_is_not_on_course(
    signed_in: SignIn, designer: User, making: Place, a_round: Round
) -> None:
    for number in range(3):
        other(making, number, 40)
    sat(making, 9, 0.9, 27, 20, 13, 6)
    slow = Place.objects.create(round=a_round, key="slow", name="Slow", size="S", state=Place.State.MAKING)
    sat(slow, 0.5, 0.02, 60, 30)
    a_round.places_plan = {"least": dict.fromkeys(("XS", "M"), 0)}
    a_round.save()

    page = outlook(signed_in, designer, a_round).context["page"]

    rows = {row.size: (row.on_course, row.sentence) for row in page.rows}
    assert rows["S"] == (False, "Slow likely late")
    assert page.answer == "Not quite: likely late in S."


def test_all_in_time_is_said_in_one_word(
    signed_in: SignIn, designer: User, making: Place, a_round: Round
) -> None:
    sat(making, 9, 0.9, 27, 20, 13, 6)

    assert outlook(signed_in, designer, a_round).context["page"].outlook.answer == "Yes, all of them."


def test_without_dates_the_hours_a_week_are_said(
    signed_in: SignIn, designer: User, making: Place, a_round: Round
) -> None:
    Sitting.objects.create(place=making, part="back", hours=20, done=0.5)

    response = outlook(signed_in, designer, a_round)

    (one,) = response.context["page"].outlook.places
    assert (one.stands, one.forecast.finish) == ("", None)
    assert one.a_week == pytest.approx(one.forecast.left.middle / (60 / 7))
    assert response.context["page"].outlook.answer == "It cannot be told yet."
    assert "in time at" in text_of(response)


def test_finished_pieces_and_places_nobody_holds_are_not_foretold(
    signed_in: SignIn, designer: User, making: Place, a_round: Round
) -> None:
    making.state = Place.State.MEASURED
    making.save()
    Place.objects.create(round=a_round, key="free", name="Free", size="S", state=Place.State.OFFERED)

    response = outlook(signed_in, designer, a_round)

    assert response.context["page"].outlook.count == 0
    assert "Will they finish in time?" not in text_of(response)


def test_a_forecast_is_another_as_soon_as_hours_are_sent(
    signed_in: SignIn, designer: User, making: Place, a_round: Round
) -> None:
    before = forecasts_in(a_round, timezone.localdate())[making.pk]

    Sitting.objects.create(place=making, hours=3, done=None)

    after = forecasts_in(a_round, timezone.localdate())[making.pk]
    assert (after.so_far, forecasts_in(a_round, timezone.localdate())[making.pk]) == (
        before.so_far + 3,
        after,
    )


@pytest.mark.parametrize("others", [1, 25])
def test_the_round_page_costs_the_same_for_a_few_pieces_in_progress_or_many(
    signed_in: SignIn, designer: User, making: Place, a_round: Round, others: int
) -> None:
    for number in range(others):
        seat = other(making, number, 40)
        seat.state = Place.State.MAKING
        seat.save()
        Finished.objects.create(place=seat, dimension="chest", state="blocked", values=[94])
    client = signed_in(designer)

    with CaptureQueriesContext(connection) as asked:
        response = client.get(a_round.get_absolute_url())
    with CaptureQueriesContext(connection) as again:
        client.get(a_round.get_absolute_url())

    assert response.context["page"].outlook.count == others + 1
    # What everybody sent is read once, and then only whether it is still the same.
    assert (len(asked), len(again)) == (24, 6)
