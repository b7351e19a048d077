"""Rounds by the API: opened, read, changed, moved."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.models import Round, SuppliedYarn
from testround.rounds.services import diary_write, round_open
from tests.api.programs import Program, assert_costs_the_same, program_of
from tests.api.test_requests import problem

WOOL = {"label": "Hill wool", "weight": 3, "metres_per_ball": 200, "grams_per_ball": 100.5, "makers": 6}


def whole_body(edition: Edition) -> dict[str, Any]:
    return {
        "edition": edition.pk,
        "title": " First test ",
        "opens": "2030-01-11",
        "swatches_due": "2030-01-25",
        "closes": "2030-03-08",
        "purge_on": "2030-06-01",
        "terms": "Show nothing.",
        "places": {"least": {"XS": 1}, "most": {"XS": 2, "S": 3}},
        "yarns": [WOOL, {**WOOL, "key": "blue", "makers": None}],
        "allow_several": True,
        "shows_standing": True,
    }


def pointers(response: Any) -> list[str]:
    """Where a body is wrong, in order."""
    assert problem(response) == (422, "invalid")
    return [fault["pointer"] for fault in response.json()["errors"]]


def test_a_round_is_opened_with_all_that_is_planned_and_its_sheet_is_frozen(
    program: Program, edition: Edition
) -> None:
    response = program.post("/rounds", whole_body(edition))

    round = Round.objects.get()
    edition.refresh_from_db()
    assert response.status_code == 201
    assert response.headers["Location"] == f"/api/v1/rounds/{round.code}"
    assert response.json() == {
        "code": round.code,
        "title": "First test",
        "state": "planned",
        "pattern": {"code": edition.pattern.code, "title": "Little top"},
        "edition": {"id": edition.pk, "label": "1.0"},
        "opens": "2030-01-11",
        "swatches_due": "2030-01-25",
        "closes": "2030-03-08",
        "purge_on": "2030-06-01",
        "purged_at": None,
        "terms": "Show nothing.",
        "places": {"least": {"XS": 1}, "most": {"XS": 2, "S": 3}},
        "yarns": [
            {**WOOL, "key": "hill_wool", "fibre": None},
            {**WOOL, "key": "blue", "fibre": None, "makers": None},
        ],
        "allow_several": True,
        "shows_standing": True,
        "invite_next": False,
        "offer_days": 7,
        "moved_at": None,
        "created": response.json()["created"],
    }
    assert edition.frozen_at is not None
    assert program.get(f"/rounds/{round.code}").json() == response.json()


def test_a_round_needs_no_more_than_an_edition_and_a_title(program: Program, edition: Edition) -> None:
    made = program.post("/rounds", {"edition": edition.pk, "title": "First test"}).json()

    assert (made["opens"], made["places"], made["yarns"]) == (None, None, [])
    # The terms that the page suggests, and half a year from now.
    assert made["terms"].startswith("Before the pattern is published")
    assert dt.date.fromisoformat(made["purge_on"]) > dt.date.today() + dt.timedelta(days=180)


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"edition": 0}, ["/edition"]),
        ({"edition": 10**9}, ["/edition"]),
        ({"title": ""}, ["/title"]),
        ({"title": 7}, ["/title"]),
        ({"opens": "11.1.2030"}, ["/opens"]),
        ({"closes": "2030-01-01"}, ["/closes"]),
        ({"closes": "9999-12-31"}, ["/closes"]),
        ({"opens": "0001-01-01"}, ["/opens"]),
        ({"purge_on": "2030-03-01"}, ["/purge_on"]),
        ({"places": {"least": {"XXL": 1}}}, ["/places/least"]),
        ({"places": {"least": {"XS": 3}, "most": {"XS": 2}}}, ["/places/most"]),
        ({"places": {"least": {"XS": "3"}}}, ["/places/least/XS"]),
        ({"places": {"fewest": {"XS": 1}}}, ["/places/fewest"]),
        ({"yarns": [WOOL, {**WOOL, "weight": 8}]}, ["/yarns/1/weight"]),
        ({"yarns": [{**WOOL, "key": "Hill Wool"}]}, ["/yarns/0/key"]),
        ({"yarns": [{**WOOL, "key": "a"}, {**WOOL, "key": "a"}]}, ["/yarns"]),
        ({"state": "making"}, ["/state"]),
    ],
)
def test_what_is_wrong_with_a_plan_is_pointed_to(
    program: Program, edition: Edition, change: dict[str, Any], at: list[str]
) -> None:
    assert pointers(program.post("/rounds", {**whole_body(edition), **change})) == at
    assert not Round.objects.exists()


def test_of_a_round_what_is_sent_is_changed_and_the_rest_stays(
    program: Program, opened: Round, diary_of: Any
) -> None:
    path = f"/rounds/{opened.code}"
    before = program.get(path)

    after = program.patch(
        path, {"title": "Second test", "opens": None, "places": None}, match=before.headers["ETag"]
    )

    assert after.status_code == 200
    assert after.json() == {**before.json(), "title": "Second test", "opens": None, "places": None}
    assert after.headers["ETag"] == program.get(path).headers["ETag"]
    assert diary_of(opened)[-1].startswith("Plan changed: title from “First test” to “Second test”")


def test_a_change_of_a_round_is_held_against_its_rules(program: Program, opened: Round) -> None:
    path = f"/rounds/{opened.code}"

    assert pointers(program.patch(path, {"closes": "2027-01-01"})) == ["/closes"]
    assert pointers(program.patch(path, {"places": {"most": {"XL": 1}}})) == ["/places/most"]
    assert pointers(program.patch(path, {"state": "making"})) == ["/state"]


def test_a_round_moves_with_a_reason_and_a_second_time_nowhere(
    program: Program, opened: Round, diary_of: Any
) -> None:
    path = f"/rounds/{opened.code}/move"

    moved = program.post(path, {"state": "gathering", "cause": "the wool has come"})
    again = program.post(path, {"state": "gathering"})

    assert (moved.status_code, moved.json()["state"]) == (200, "gathering")
    assert moved.json() == again.json()
    assert diary_of(opened)[1:] == ["Round moved from planned to gathering: the wool has come."]


def test_a_round_does_not_go_where_it_cannot(program: Program, opened: Round) -> None:
    path = f"/rounds/{opened.code}/move"
    program.post(path, {"state": "measuring"})

    back = program.post(path, {"state": "planned"})

    assert pointers(back) == ["/state"]
    assert "cannot become planned" in back.json()["detail"]
    assert pointers(program.post(path, {"state": "begun"})) == ["/state"]


def test_rounds_are_listed_to_who_runs_them_and_found_by_state_pattern_and_edition(
    program: Program, other_designer: User, opened: Round, edition: Edition, designer: User
) -> None:
    second = round_open(edition=edition, by=designer, title="Second test")
    Round.objects.filter(pk=second.pk).update(state="making")

    def titles(query: str, by: Program = program) -> list[str]:
        return [one["title"] for one in by.get(f"/rounds{query}").json()["results"]]

    assert titles("") == ["Second test", "First test"]
    assert titles("?state=making") == ["Second test"]
    assert titles(f"?pattern={edition.pattern.code}&state=planned") == ["First test"]
    assert titles(f"?edition={edition.pk}") == ["Second test", "First test"]
    assert titles("?edition=0") == []
    assert titles("", program_of(other_designer)) == []
    assert problem(program.get("/rounds?state=begun")) == (422, "invalid")


def test_the_diary_is_read_newest_first_and_by_place(program: Program, opened: Round, offered: Any) -> None:
    entries = program.get(f"/rounds/{opened.code}/diary").json()["results"]
    of_place = program.get(f"/rounds/{opened.code}/diary?place={offered.pk}").json()["results"]

    assert [entry["text"] for entry in entries] == [
        "Place offered: Willow, size S, Wool, supplied.",
        "Round opened on edition 1.0; its sheet is now frozen.",
    ]
    assert entries[0] == {
        "id": entries[0]["id"],
        "at": entries[0]["at"],
        "by": "Designer",
        "place": offered.pk,
        "text": "Place offered: Willow, size S, Wool, supplied.",
    }
    assert of_place == entries[:1]


def test_reading_rounds_takes_as_many_queries_however_many_there_are(
    program: Program, opened: Round, edition: Edition, designer: User
) -> None:
    def more_rounds() -> None:
        for number in range(3):
            round = round_open(edition=edition, by=designer, title=f"Test {number}")
            SuppliedYarn.objects.create(round=round, key="wool", label="Wool")

    def more_yarns() -> None:
        for number in range(3):
            SuppliedYarn.objects.create(round=opened, key=f"wool_{number}", label="Wool")

    def more_entries() -> None:
        for number in range(3):
            diary_write(round=opened, text=f"Entry {number}.", by=designer)

    assert_costs_the_same(lambda: program.get("/rounds"), more_rounds)
    assert_costs_the_same(lambda: program.get(f"/rounds/{opened.code}"), more_yarns)
    assert_costs_the_same(lambda: program.get(f"/rounds/{opened.code}/diary"), more_entries)
