"""A person's own account by a program of theirs: what is held, how things are shown, and their dates."""

from __future__ import annotations

import datetime as dt
import io
import json
import zipfile
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.utils import timezone

from testround.api.scopes import Scope
from testround.outbox.models import Mail, Stopped
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.models import CalendarAddress
from tests.api.programs import Program, assert_costs_the_same, program_of, queries_of
from tests.api.test_reports import GOOD, at, own
from tests.api.test_requests import problem

__all__ = ["at", "own"]


def test_all_that_is_held_is_told_and_taken_away(own: Program, at: str, tester: User) -> None:
    own.post(f"{at}/swatches", GOOD)

    told = {shelf["key"]: shelf["rows"] for shelf in own.get("/me/held").json()["shelves"]}
    file = own.get("/me/held/file")

    archive = zipfile.ZipFile(io.BytesIO(b"".join(file.streaming_content)))
    (name,) = [name for name in archive.namelist() if name.endswith(".json")]
    document = json.loads(archive.read(name))
    assert told["account"] == 1
    assert tester.email in json.dumps(document)
    assert told.keys() <= document.keys() | {
        key for part in document.values() if isinstance(part, dict) for key in part
    }


def test_telling_costs_the_same_whatever_is_held(own: Program, at: str) -> None:
    own.post(f"{at}/swatches", GOOD)

    assert_costs_the_same(
        lambda: own.get("/me/held"), lambda: [own.post(f"{at}/sittings", {"hours": 2}) for _ in range(3)]
    )


# -- how things are shown -----------------------------------------------------------------------------------


def test_preferences_are_read_and_changed_one_by_one(own: Program, tester: User) -> None:
    read = own.get("/me/preferences")

    assert read.json() == {
        "name": "Tester one",
        "language": "",
        "units": "cm",
        "tools": "metric",
        "terms": "us",
        "time_zone": tester.time_zone,
        "mails": ["reminders", "notes"],
    }

    changed = own.patch(
        "/me/preferences", {"units": "in", "mails": ["notes"], "language": "de"}, match=read.headers["ETag"]
    )

    assert changed.json() == {**read.json(), "units": "in", "mails": ["notes"], "language": "de"}
    tester.refresh_from_db()
    assert (tester.units, tester.language, tester.name) == ("in", "de", "Tester one")
    assert [row.kind for row in Stopped.objects.all()] == [Mail.Kind.REMINDERS]
    assert own.patch("/me/preferences", {"name": "Tern"}).json()["mails"] == ["notes"]


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({"time_zone": "Europe/Nowhere"}, "/time_zone"),
        ({"units": "furlongs"}, "/units"),
        ({"language": "xx"}, "/language"),
        ({"mails": ["invitations"]}, "/mails/0"),
        ({"email": "tern@example.org"}, "/email"),
    ],
)
def test_a_preference_that_there_is_not_is_refused(
    own: Program, tester: User, sent: dict[str, Any], pointer: str
) -> None:
    answer = own.patch("/me/preferences", sent)

    assert problem(answer) == (422, "invalid")
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


def test_reading_the_account_does_not_open_changing_it(tester: User, place: Place) -> None:
    reader = program_of(tester, [Scope.ACCOUNT_READ])

    assert reader.get("/me/preferences").status_code == 200
    assert problem(reader.patch("/me/preferences", {"units": "in"})) == (403, "scope-missing")
    assert problem(reader.post("/me/calendar")) == (403, "scope-missing")


# -- dates --------------------------------------------------------------------------------------------------


@pytest.fixture
def dated(place: Place) -> dt.date:
    """The day on which the swatches of the tester's round are due."""
    due = timezone.localdate() + dt.timedelta(days=9)
    Round.objects.update(swatches_due=due)
    return due


def test_the_address_of_a_calendar_is_made_made_anew_and_withdrawn(
    own: Program, client: Client, dated: dt.date
) -> None:
    def opens(address: str) -> int:
        return client.get(urlsplit(address).path).status_code

    assert own.get("/me/calendar").json() == {"address": None, "made": None}
    first = own.post("/me/calendar").json()["address"]
    second = own.post("/me/calendar")

    assert (opens(first), opens(second.json()["address"])) == (404, 200)
    read = own.get("/me/calendar")
    assert read.json() == second.json()
    assert [answer.headers["Cache-Control"] for answer in (read, second)] == ["no-store", "no-store"]

    assert own.delete("/me/calendar", match=read.headers["ETag"]).status_code == 204
    assert opens(read.json()["address"]) == 404
    assert not CalendarAddress.objects.exists()


def test_a_press_that_is_sent_again_gives_the_same_address(own: Program, place: Place) -> None:
    first, again = (own.post("/me/calendar", key="a-key") for _ in range(2))

    assert again.json() == first.json()
    assert again.headers["Idempotency-Replayed"] == "true"


def test_dates_are_told_as_days_and_as_a_calendar(own: Program, place: Place, dated: dt.date) -> None:
    days = own.get("/me/calendar/days").json()["days"]
    file = own.get("/me/calendar.ics", Accept="text/calendar")

    assert [(day["day"], day["summary"]) for day in days] == [
        (dated.isoformat(), f"Swatch due: {place.round.edition.pattern.title}, size S")
    ]
    assert days[0]["url"].endswith(f"/places/{place.pk}/")
    assert file.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert f"DTSTART;VALUE=DATE:{dated:%Y%m%d}" in file.content.decode()
    same = own.get("/me/calendar.ics", **{"If-None-Match": file.headers["ETag"]})
    assert same.status_code == 304


def test_reading_dates_and_preferences_costs_the_same_for_few_and_many(
    own: Program, tester: User, dated: dt.date
) -> None:
    def more_places() -> None:
        (round,) = Round.objects.all()
        for n in range(3):
            more = Round.objects.create(edition=round.edition, title=f"Round {n}", swatches_due=dated)
            Place.objects.create(
                round=more, key="t01", name="Tester", tester=tester, size="S", state=Place.State.TAKEN
            )

    assert queries_of(lambda: own.get("/me/preferences")) == 2  # token, mails that are stopped
    assert queries_of(lambda: own.get("/me/calendar")) == 2  # token, address
    assert queries_of(lambda: own.get("/me/calendar.ics")) == 3  # token, places, rounds
    assert_costs_the_same(lambda: own.get("/me/calendar/days"), more_places)
