"""Supplied yarns, how a round stands, and friendly words, by the API."""

from __future__ import annotations

from typing import Any

from testround.outbox.models import Mail
from testround.people.models import User
from testround.rounds.models import Consent, Nudge, Place, Round
from tests.api.programs import Program, assert_costs_the_same, program_of
from tests.api.test_requests import problem
from tests.api.test_rounds import pointers
from tests.rounds.calls import in_days

SILK = {
    "label": "Silk, supplied",
    "weight": 1,
    "fibre": "silk",
    "metres_per_ball": 400.0,
    "grams_per_ball": 50.0,
    "makers": None,
}


def yarns(round: Round, key: str = "") -> str:
    return f"/rounds/{round.code}/yarns{key and '/'}{key}"


def test_a_yarn_is_supplied_changed_and_taken_off_the_list(
    program: Program, opened: Round, diary_of: Any
) -> None:
    made = program.post(yarns(opened), SILK)
    path = yarns(opened, "silk_supplied")
    changed = program.put(path, {"label": "Silk", "makers": 3}, match=made.headers["ETag"])
    listed = program.get(yarns(opened)).json()["results"]
    gone = program.delete(path, match=changed.headers["ETag"])

    assert (made.status_code, made.headers["Location"]) == (201, f"/api/v1{path}")
    assert made.json() == {"key": "silk_supplied", **SILK}
    assert changed.json() == {
        "key": "silk_supplied",
        "label": "Silk",
        "weight": None,
        "fibre": None,
        "metres_per_ball": None,
        "grams_per_ball": None,
        "makers": 3,
    }
    assert [one["key"] for one in listed] == ["silk_supplied", "wool_blue"]
    assert gone.status_code == 204
    assert problem(program.get(path)) == (404, "not-found")
    assert diary_of(opened)[1:] == [
        "Supplied yarn added: Silk, supplied.",
        "Supplied yarn changed: Silk.",
        "Supplied yarn no longer offered: Silk.",
    ]


def test_a_yarn_is_not_supplied_over_another_of_its_key(program: Program, opened: Round) -> None:
    assert pointers(program.post(yarns(opened), {**SILK, "key": "wool_blue"})) == ["/key"]
    assert pointers(program.post(yarns(opened), {**SILK, "grams_per_ball": 0})) == ["/grams_per_ball"]
    assert pointers(program.put(yarns(opened, "wool_blue"), {"key": "b", "label": "B"})) == ["/key"]


def test_how_a_round_stands_is_told_to_testers_where_the_designer_shows_it(
    opened: Round, offered: Place, tester: User
) -> None:
    Place.objects.filter(pk=offered.pk).update(tester=tester, state=Place.State.MEASURED)
    opened.places.create(key="t90", name="Rowan", size="S")
    Consent.objects.create(place=offered, kind=Consent.Kind.STANDING)
    program = program_of(tester, ["rounds:read"])
    path = f"/rounds/{opened.code}/standing"

    before = program.get(path)
    Round.objects.filter(pk=opened.pk).update(shows_standing=True)

    assert problem(before) == (404, "not-found")
    assert program.get(path).json() == {
        "round": opened.code,
        "title": "First test",
        "state": "planned",
        "opens": "2027-01-11",
        "swatches_due": "2027-01-25",
        "closes": "2027-03-08",
        "places": 2,
        "finished": 1,
        "rows": [
            {"size": "XS", "places": 0, "cells": []},
            {
                "size": "S",
                "places": 2,
                "cells": [
                    {"state": "offered", "places": 1, "names": []},
                    {"state": "measured", "places": 1, "names": ["Willow"]},
                ],
            },
            {"size": "M", "places": 0, "cells": []},
        ],
        "sent": [
            {"what": what, "count": 0}
            for what in ("swatches", "counts", "finished measurements", "remarks", "photos")
        ],
    }


def test_who_is_late_is_told_and_a_friendly_word_sent_once_a_day(
    program: Program, opened: Round, offered: Place, tester: User
) -> None:
    Place.objects.filter(pk=offered.pk).update(tester=tester, state=Place.State.TAKEN)
    Round.objects.filter(pk=opened.pk).update(state="swatching", swatches_due=in_days(-3))
    path = f"/rounds/{opened.code}"

    due = program.get(f"{path}/nudges").json()["nudges"]
    sent = program.post(f"{path}/places/{offered.pk}/nudge", {"text": "Hello, how is it going?"})
    again = program.post(f"{path}/places/{offered.pk}/nudge", {"text": "And now?"})

    assert due == [
        {
            "place": offered.pk,
            "name": "Willow",
            "why": "swatch",
            "due": in_days(-3).isoformat(),
            "days": 3,
            "nudged": None,
        }
    ]
    assert sent.json() == {"place": offered.pk, "day": Nudge.objects.get().day.isoformat()}
    assert problem(again) == (409, "conflict")
    assert Mail.objects.filter(to=tester.email).count() == 1
    assert pointers(program.post(f"{path}/places/{offered.pk}/nudge", {"text": " "})) == ["/text"]


def test_reading_yarns_standing_and_who_is_late_takes_as_many_queries_however_many_there_are(
    program: Program, opened: Round, tester: User
) -> None:
    Round.objects.filter(pk=opened.pk).update(state="swatching", swatches_due=in_days(-3))

    def more_yarns() -> None:
        for number in range(3):
            opened.yarns.create(key=f"wool_{number}", label="Wool")

    def more_places() -> None:
        start = opened.places.count()
        for number in range(start, start + 3):
            opened.places.create(key=f"x{number}", name="Rowan", size="S", tester=tester, state="taken")

    path = f"/rounds/{opened.code}"
    more_places()
    assert_costs_the_same(lambda: program.get(f"{path}/yarns"), more_yarns)
    assert_costs_the_same(lambda: program.get(f"{path}/standing"), more_places)
    assert_costs_the_same(lambda: program.get(f"{path}/nudges"), more_places)
    assert_costs_the_same(
        lambda: program.get(f"{path}/yarns/wool_0"),
        lambda: opened.yarns.filter(key="wool_0").update(makers=4),
    )
