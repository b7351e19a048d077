from __future__ import annotations

import datetime as dt
import re
from typing import Any

import icalendar
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services import diary_write
from testround.talk.models import CalendarAddress
from testround.talk.services import calendar_renew, calendar_stop
from tests.talk.conftest import SignIn

FIRST = timezone.localdate() + dt.timedelta(days=10)


def later(days: int) -> dt.date:
    return FIRST + dt.timedelta(days=days)


@pytest.fixture
def dated(a_round: Round) -> Round:
    a_round.call_opens, a_round.call_closes = later(-9), later(-2)
    a_round.opens, a_round.swatches_due, a_round.closes = FIRST, later(14), later(60)
    a_round.save()
    return a_round


def feed_of(person: User) -> str:
    return reverse("talk:feed", args=[calendar_renew(person=person).token])


def events(client: Client, path: str) -> dict[str, dt.date]:
    response = client.get(path)
    assert response.status_code == 200
    assert response.headers["Content-Type"] == "text/calendar; charset=utf-8"
    read = icalendar.Calendar.from_ical(response.content)
    return {str(event["SUMMARY"]): event.decoded("DTSTART") for event in read.walk("VEVENT")}


def test_a_tester_has_the_dates_of_the_own_places(
    client: Client, dated: Round, place: Place, tester: User
) -> None:
    assert events(client, feed_of(tester)) == {
        "Swatch due: Little top, size S": later(14),
        "Finished measurements due: Little top, size S": later(60),
    }


def test_the_day_a_tester_asked_for_takes_the_place_of_an_earlier_one(
    client: Client, dated: Round, place: Place, tester: User
) -> None:
    place.swatch_until, place.measures_until = later(16), later(50)
    place.save()

    assert events(client, feed_of(tester)) == {
        "Swatch due: Little top, size S": later(16),
        "Finished measurements due: Little top, size S": later(60),
    }


def test_a_place_given_back_has_no_dates(client: Client, dated: Round, place: Place, tester: User) -> None:
    Place.objects.filter(pk=place.pk).update(state="given back")

    assert events(client, feed_of(tester)) == {}


def test_a_designer_has_the_dates_of_her_rounds_and_calls(
    client: Client, dated: Round, place: Place, designer: User
) -> None:
    assert events(client, feed_of(designer)) == {
        "Call for testers opens: Little top": later(-9),
        "Call for testers closes: Little top": later(-2),
        "Round opens: Little top": FIRST,
        "Swatches due: Little top": later(14),
        "Round closes: Little top": later(60),
    }


@pytest.mark.parametrize("who", ["stranger", "other_designer"])
def test_nobody_else_has_them(request: Any, client: Client, dated: Round, place: Place, who: str) -> None:
    assert events(client, feed_of(request.getfixturevalue(who))) == {}


def test_what_lies_more_than_a_year_back_is_left_out(
    client: Client, dated: Round, place: Place, tester: User
) -> None:
    Round.objects.update(swatches_due=timezone.localdate() - dt.timedelta(days=400))

    assert list(events(client, feed_of(tester))) == ["Finished measurements due: Little top, size S"]


def test_an_event_keeps_its_name_when_its_day_moves(
    client: Client, dated: Round, place: Place, tester: User
) -> None:
    path = feed_of(tester)

    def names() -> list[str]:
        return re.findall(r"UID:(.*)\r\n", client.get(path).text)

    before = names()
    Round.objects.update(swatches_due=later(20))

    assert before == names() == [f"place-{place.pk}-swatch@127.0.0.1", f"place-{place.pk}-measures@127.0.0.1"]


def test_who_renews_the_address_closes_the_old_one(client: Client, tester: User) -> None:
    old = feed_of(tester)
    new = feed_of(tester)

    assert old != new
    assert (client.get(old).status_code, client.get(new).status_code) == (404, 200)


def test_an_address_that_was_taken_away_opens_nothing(client: Client, tester: User) -> None:
    path = feed_of(tester)

    assert calendar_stop(person=tester)

    assert client.get(path).status_code == 404


def test_an_account_that_is_closed_has_no_calendar(client: Client, tester: User) -> None:
    path = feed_of(tester)
    User.objects.filter(pk=tester.pk).update(is_active=False)

    assert client.get(path).status_code == 404


def test_an_address_is_not_to_be_guessed(tester: User) -> None:
    # 32 bytes from the system's generator, as text of 43 signs.
    tokens = {calendar_renew(person=tester).token for _ in range(20)}

    assert len(tokens) == 20
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{43}", token) for token in tokens)


def test_a_program_that_has_the_calendar_already_is_told_so(
    client: Client, dated: Round, place: Place, tester: User
) -> None:
    path = feed_of(tester)
    first = client.get(path)

    again = client.get(path, headers={"If-None-Match": first.headers["ETag"]})
    since = client.get(path, headers={"If-Modified-Since": first.headers["Last-Modified"]})

    assert (again.status_code, again.content) == (304, b"")
    assert (since.status_code, since.content) == (304, b"")
    assert first.headers["Cache-Control"] == "private, no-cache"
    assert first.headers["X-Robots-Tag"] == "noindex"


def test_a_change_of_the_round_makes_it_another_calendar(
    client: Client, dated: Round, place: Place, designer: User, tester: User
) -> None:
    path = feed_of(tester)
    CalendarAddress.objects.update(made=timezone.now() - dt.timedelta(days=1))
    first = client.get(path)
    Round.objects.update(closes=later(70))
    diary_write(round=dated, by=designer, text="Plan changed.")

    for condition in (
        {"If-None-Match": first.headers["ETag"]},
        {"If-Modified-Since": first.headers["Last-Modified"]},
    ):
        assert client.get(path, headers=condition).status_code == 200


def test_the_page_shows_the_address_and_what_it_would_show(
    signed_in: SignIn, dated: Round, place: Place, tester: User
) -> None:
    client = signed_in(tester)
    before = client.get(reverse("talk:calendar"))

    answer = client.post(reverse("talk:calendar_renew"), follow=True)

    token = tester.calendar_address.token
    assert f"http://127.0.0.1:8000/calendar/{token}.ics" in answer.text
    assert f'href="webcal://127.0.0.1:8000/calendar/{token}.ics"' in answer.text
    assert answer.headers["Cache-Control"] == "no-store, private"
    for page in (before, answer):
        assert "Swatch due: Little top, size S" in page.text
    assert "Make my calendar address" in before.text


@pytest.mark.parametrize("n", [1, 5])
def test_the_feed_costs_the_same_for_one_place_or_five(
    client: Client, dated: Round, place: Place, tester: User, n: int, django_assert_num_queries: Any
) -> None:
    for index in range(1, n):
        Place.objects.create(
            round=dated, key=f"x{index}", name="Again", tester=tester, size="M", state="taken"
        )
    path = feed_of(tester)

    with django_assert_num_queries(4):  # address with its person, places, rounds, the last change
        client.get(path)
