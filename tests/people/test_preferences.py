"""The page "Preferences"."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from testround.people.clock import zone_of
from testround.people.models import User
from testround.people.readers import Reader, reader_from, reader_of

URL = "/me/preferences/"
CHOSEN = {"units": "in", "tools": "us", "terms": "uk"}

SignIn = Callable[[User], Client]


def test_the_address_is_named() -> None:
    assert reverse("people:preferences") == URL


@pytest.mark.django_db
def test_a_stranger_reads_in_centimetres_metric_sizes_and_us_terms(client: Client) -> None:
    page = client.get(URL)

    assert page.status_code == 200
    assert page.context["reader"] == Reader(units="cm", tools="metric", terms="us")


@pytest.mark.django_db
def test_a_strangers_choices_are_kept_in_the_session(client: Client) -> None:
    answer = client.post(URL, CHOSEN)

    assert answer.status_code == 302
    assert client.get(URL).context["reader"] == Reader(units="in", tools="us", terms="uk")


def test_a_persons_choices_are_kept_with_the_account(tester: User, signed_in: SignIn) -> None:
    client = signed_in(tester)

    client.post(URL, {**CHOSEN, "name": "Ann", "time_zone": "Europe/Dublin"})

    tester.refresh_from_db()
    assert (tester.name, tester.time_zone, reader_of(tester)) == (
        "Ann",
        "Europe/Dublin",
        Reader(units="in", tools="us", terms="uk"),
    )
    assert client.get(URL).context["reader"] == Reader(units="in", tools="us", terms="uk")


def test_one_persons_choices_leave_another_persons_alone(
    tester: User, designer: User, signed_in: SignIn
) -> None:
    signed_in(tester).post(URL, {**CHOSEN, "name": "Ann", "time_zone": "UTC"})

    designer.refresh_from_db()
    assert (designer.name, reader_of(designer)) == ("Designer", Reader())


def test_an_account_wins_over_what_the_session_kept(client: Client, tester: User) -> None:
    client.post(URL, CHOSEN)

    client.force_login(tester)

    assert client.get(URL).context["reader"] == Reader()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"units": "furlongs"}, "Lengths are shown in centimetres or in inches; choose one of the two."),
        ({"tools": "jp"}, "Sizes are shown in metric, US or old UK; choose one of the three."),
        ({"terms": ""}, "Choose US or UK terms."),
        ({"time_zone": "Mars/Olympus"}, "That time zone is not known here; choose one of the list."),
    ],
)
def test_a_wrong_choice_is_refused_with_the_mend_and_nothing_is_lost(
    tester: User, signed_in: SignIn, wrong: dict[str, str], sentence: str
) -> None:
    answer = signed_in(tester).post(URL, {**CHOSEN, "name": "Ann typed this", "time_zone": "UTC", **wrong})

    assert answer.status_code == 422
    assert sentence in answer.text
    assert 'value="Ann typed this"' in answer.text
    tester.refresh_from_db()
    assert (tester.name, reader_of(tester)) == ("Tester one", Reader())


@pytest.mark.django_db
def test_the_reader_goes_back_to_the_page_they_came_from(client: Client) -> None:
    answer = client.post(URL, {**CHOSEN, "next": "/errata/fenlight/"})

    assert answer.headers["Location"] == "/errata/fenlight/"


@pytest.mark.django_db
@pytest.mark.parametrize(
    "elsewhere", ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"]
)
def test_the_way_back_never_leads_to_another_site(client: Client, elsewhere: str) -> None:
    answer = client.post(URL, {**CHOSEN, "next": elsewhere})

    assert answer.headers["Location"] == URL


@pytest.mark.django_db
def test_nothing_but_reading_and_sending_is_allowed(client: Client) -> None:
    assert client.delete(URL).status_code == 405


@pytest.mark.parametrize("kept", [None, {}, {"units": "furlongs", "tools": 7, "terms": None}])
def test_a_session_that_makes_no_sense_falls_back_to_the_defaults(kept: dict[str, Any] | None) -> None:
    assert reader_from(kept) == Reader()


def test_the_choices_are_said_in_words() -> None:
    assert Reader(units="in", tools="uk", terms="us").words == "inches, old UK tools, US terms"


def test_the_clock_stands_where_the_person_lives(rf: RequestFactory, tester: User) -> None:
    request = rf.get("/")
    request.user = tester
    tester.time_zone = "Pacific/Auckland"

    assert str(zone_of(request)) == "Pacific/Auckland"


@pytest.mark.parametrize("unknown", ["Mars/Olympus", "../etc/passwd", ""])
def test_a_zone_this_machine_does_not_know_leaves_the_servers_clock(
    rf: RequestFactory, tester: User, unknown: str
) -> None:
    request = rf.get("/")
    request.user = tester
    tester.time_zone = unknown

    assert zone_of(request) is None
