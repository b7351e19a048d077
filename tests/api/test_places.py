"""A tester's own places by the API."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.utils import timezone
from pypdf import PdfReader

from testround.people.models import User
from testround.rounds.models import Place, Round
from tests.api.programs import Program, assert_costs_the_same, program_of
from tests.api.test_requests import problem
from tests.api.test_rounds import pointers
from tests.rounds.calls import in_days


@pytest.fixture
def held(offered: Place, tester: User) -> Place:
    """The place in S, which a tester took."""
    now = timezone.now()
    Place.objects.filter(pk=offered.pk).update(
        tester=tester,
        state=Place.State.TAKEN,
        measures={"bust": 87.5},
        agreed_at=now,
        agreed_terms="Show nothing before publication.",
    )
    Round.objects.filter(pk=offered.round_id).update(
        opens=in_days(-5), swatches_due=in_days(5), closes=in_days(50), state="swatching"
    )
    return Place.objects.get(pk=offered.pk)


@pytest.fixture
def own(tester: User) -> Program:
    """A program of the tester's, that may read and write places."""
    return program_of(tester, ["places:read", "places:write"])


def test_a_tester_reads_what_they_hold_and_what_is_awaited_by_when(own: Program, held: Place) -> None:
    (one,) = own.get("/places").json()["results"]

    day = {"swatch": in_days(5).isoformat(), "measurements": in_days(50).isoformat()}
    assert one == {
        "id": held.pk,
        "round": {"code": held.round.code, "title": "First test", "state": "swatching"},
        "pattern": "Little top",
        "edition": "1.0",
        "designer": "Designer",
        "name": "Willow",
        "size": "S",
        "state": "taken",
        "measures": {"bust": 87.5},
        "yarn": {
            "label": "Wool, supplied",
            "weight": 4,
            "fibre": "wool",
            "metres_per_ball": 200.0,
            "grams_per_ball": 100.0,
            "supplied": "wool_blue",
        },
        "opens": in_days(-5).isoformat(),
        "swatches_due": day["swatch"],
        "closes": day["measurements"],
        "purge_on": one["purge_on"],
        "awaits": [
            {"what": "swatch", "due": day["swatch"], "of_round": day["swatch"]},
            {"what": "finished measurements", "due": day["measurements"], "of_round": day["measurements"]},
        ],
        "agreed_at": one["agreed_at"],
        "agreed_terms": "Show nothing before publication.",
    }
    assert own.get(f"/places/{held.pk}").json() == one
    assert own.get("/places?state=making").json()["results"] == []
    assert len(own.get(f"/places?round={held.round.code}").json()["results"]) == 1


def test_a_tester_says_until_when_they_need_and_that_day_counts(
    own: Program, held: Place, diary_of: Any
) -> None:
    path = f"/places/{held.pk}/until"
    later = in_days(20).isoformat()

    said = own.post(path, {"what": "swatch", "until": later})

    assert said.json()["awaits"][0] == {
        "what": "swatch",
        "due": later,
        "of_round": in_days(5).isoformat(),
    }
    assert diary_of(held.round)[-1].startswith("Willow needs until")
    assert pointers(own.post(path, {"what": "swatch", "until": in_days(1).isoformat()})) == ["/until"]
    assert pointers(own.post(path, {"what": "photos", "until": later})) == ["/what"]


def test_a_tester_gives_a_place_back_and_holds_it_no_more(own: Program, held: Place, diary_of: Any) -> None:
    given = own.post(f"/places/{held.pk}/give-back", {"cause": "no time"})

    assert (given.status_code, given.json()["state"], given.json()["awaits"]) == (200, "given back", [])
    assert problem(own.get(f"/places/{held.pk}")) == (404, "not-found")
    assert diary_of(held.round)[-1] == "Willow moved from taken to given back: no time."


def test_a_place_that_is_done_is_not_given_back(own: Program, held: Place) -> None:
    Place.objects.filter(pk=held.pk).update(state=Place.State.DONE)

    assert problem(own.post(f"/places/{held.pk}/give-back", {})) == (409, "conflict")


def test_what_a_tester_allows_is_said_whole_and_taken_back(own: Program, held: Place) -> None:
    path = f"/places/{held.pk}/consents"
    nothing = own.get(path)

    some = own.put(path, {"kinds": ["online", "seen", "standing"]}, match=nothing.headers["ETag"])
    less = own.put(path, {"kinds": []}, match=some.headers["ETag"])

    assert nothing.json() == {"kinds": []}
    assert some.json() == {"kinds": ["seen", "online", "standing"]}
    assert less.json() == {"kinds": []}
    assert held.consents.filter(withdrawn_at=None).count() == 0
    assert held.consents.count() == 3
    assert pointers(own.put(path, {"kinds": ["online"]})) == ["/kinds"]
    # How a tester is thanked is chosen apart.
    assert pointers(own.put(path, {"kinds": ["thanks"]})) == ["/kinds/0"]


def test_a_worksheet_has_the_numbers_of_the_testers_size(own: Program, held: Place) -> None:
    sheet = own.get(f"/places/{held.pk}/worksheet").json()

    assert (sheet["title"], sheet["edition"], sheet["craft"], sheet["size"]) == (
        "Little top",
        "1.0",
        "knit",
        "S",
    )
    assert sheet["measures"] == [
        {"key": "bust", "label": "Full bust", "cm": 86.0, "own": 87.5, "how": sheet["measures"][0]["how"]}
    ]
    assert sheet["gauges"] == [
        {
            "key": "body",
            "label": "Stockinette, blocked",
            "stated_stitches": 22.0,
            "stated_rows": 30.0,
            "tool_mm": 4.0,
            "own_stitches": None,
            "own_rows": None,
        }
    ]
    assert [one["place"] for one in sheet["places"]] == ["Back, step 1", "Back, step 3"]
    assert sheet["places"][0] == {
        "place": "Back, step 1",
        "numbers": [
            {
                "key": "back_sts",
                "label": "Back, cast on",
                "unit": "st",
                "value": 104.0,
                "printed": True,
                "at_own_gauge": None,
            }
        ],
        "shapings": [],
    }
    assert [(one["key"], one["tolerance"]) for one in sheet["dimensions"]] == [
        ("chest", 2.5),
        ("body_length", 2.0),
    ]


def test_a_worksheet_is_printed_on_the_paper_that_is_asked_for(own: Program, held: Place) -> None:
    path = f"/places/{held.pk}/worksheet.pdf"

    printed = own.get(path, Accept="application/pdf")
    letter = own.get(f"{path}?paper=Letter")
    unknown = own.get(f"{path}?paper=A5")

    assert (printed.status_code, printed.headers["Content-Type"]) == (200, "application/pdf")
    assert 'filename="worksheet-little-top-s-' in printed.headers["Content-Disposition"]
    papers = [PdfReader(io.BytesIO(one.content)).pages[0].mediabox for one in (printed, letter)]
    assert [(round(paper.width), round(paper.height)) for paper in papers] == [(595, 842), (612, 792)]
    assert (problem(unknown), unknown.json()["errors"][0]["parameter"]) == ((422, "invalid"), "paper")
    assert own.get(path, **{"If-None-Match": printed.headers["ETag"]}).status_code == 304


def test_nobody_else_reads_a_testers_place(held: Place, program: Program, stranger: User) -> None:
    for path in ("", "/worksheet", "/worksheet.pdf", "/consents", "/thanks", "/unsent"):
        assert problem(program.get(f"/places/{held.pk}{path}")) == (404, "not-found")
        assert problem(program_of(stranger).get(f"/places/{held.pk}{path}")) == (404, "not-found")


def test_reading_places_takes_as_many_queries_however_many_there_are(
    own: Program, held: Place, tester: User
) -> None:
    def more() -> None:
        for number in range(4):
            held.round.places.create(
                key=f"x{number}", name="Rowan", size="S", tester=tester, state=Place.State.TAKEN
            )

    def allowed() -> None:
        for kind in ("online", "face"):
            held.consents.create(kind=kind)

    def measured() -> None:
        Place.objects.filter(pk=held.pk).update(measures={"bust": 90})

    def thanked() -> None:
        held.consents.create(kind="report")

    def own_measure() -> None:
        Place.objects.filter(pk=held.pk).update(measures={"bust": 91})

    def another_measure() -> None:
        Place.objects.filter(pk=held.pk).update(measures={"bust": 92})

    path = f"/places/{held.pk}"
    held.consents.create(kind="seen")
    assert_costs_the_same(lambda: own.get("/places"), more)
    assert_costs_the_same(lambda: own.get(path), measured)
    assert_costs_the_same(lambda: own.get(f"{path}/consents"), allowed)
    assert_costs_the_same(lambda: own.get(f"{path}/thanks"), thanked)
    assert_costs_the_same(lambda: own.get(f"{path}/worksheet"), own_measure)
    assert_costs_the_same(lambda: own.get(f"{path}/worksheet.pdf"), another_measure)
