"""The places of a round by the API, as who runs it sees them."""

from __future__ import annotations

from typing import Any

import pytest

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services import place_give_back, round_move
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_requests import problem
from tests.api.test_rounds import pointers


def path_of(place: Place, act: str = "") -> str:
    return f"/rounds/{place.round.code}/places/{place.pk}{act}"


@pytest.fixture
def held(offered: Place, tester: User) -> Place:
    """The place in S, which a tester took."""
    offered.tester, offered.state = tester, Place.State.TAKEN
    offered.save()
    return offered


def test_a_place_is_added_in_a_supplied_yarn_with_measurements(program: Program, opened: Round) -> None:
    response = program.post(
        f"/rounds/{opened.code}/places",
        {
            "names": [" Juniper "],
            "size": "S",
            "measures": {"bust": 87.5},
            "yarn": {"supplied": "wool_blue"},
        },
    )

    place = opened.places.get()
    (made,) = response.json()["places"]
    assert (response.status_code, response.headers["Location"]) == (201, f"/api/v1{path_of(place)}")
    assert made == {
        "id": place.pk,
        "key": "t01",
        "name": "Juniper",
        "size": "S",
        "state": "offered",
        "is_held": False,
        "measures": {"bust": 87.5},
        "yarn": {
            "label": "Wool, supplied",
            "weight": 4,
            "fibre": "wool",
            "metres_per_ball": 200.0,
            "grams_per_ball": 100.0,
            "supplied": "wool_blue",
        },
        "candidate": None,
        "offered_until": None,
        "agreed_at": None,
        "swatch_until": None,
        "measures_until": None,
        "likely_from": None,
        "likely_until": None,
        "left_at": None,
        "counts": True,
        "created": made["created"],
    }
    assert program.get(path_of(place)).json() == made


def test_several_places_of_one_size_are_added_at_once(program: Program, opened: Round) -> None:
    response = program.post(
        f"/rounds/{opened.code}/places",
        {"names": ["Juniper", "Rowan"], "size": "XS", "yarn": {"label": "Odd wool", "weight": 0}},
    )

    assert response.headers["Location"] == f"/api/v1/rounds/{opened.code}/places"
    assert [(one["key"], one["name"]) for one in response.json()["places"]] == [
        ("t01", "Juniper"),
        ("t02", "Rowan"),
    ]
    assert response.json()["places"][0]["yarn"] == {
        "label": "Odd wool",
        "weight": 0,
        "fibre": None,
        "metres_per_ball": None,
        "grams_per_ball": None,
        "supplied": None,
    }


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"names": []}, ["/names"]),
        ({"names": ["Juniper", ""]}, ["/names/1"]),
        ({"names": "Juniper"}, ["/names"]),
        ({"size": "XXL"}, ["/size"]),
        ({"size": None}, ["/size"]),
        ({"measures": {"hip": 90}}, ["/measures"]),
        ({"measures": {"bust": -1}}, ["/measures/bust"]),
        ({"measures": {"bust": "90"}}, ["/measures/bust"]),
        ({"measures": {"bust": 36}}, ["/measures/bust"]),
        ({"names": ["Juniper", "Rowan"], "measures": {"bust": 90}}, ["/names"]),
        ({"yarn": {"supplied": "silk"}}, ["/yarn/supplied"]),
        ({"yarn": {"supplied": "wool_blue", "weight": 4}}, ["/yarn/supplied"]),
        ({"yarn": {"weight": 4}}, ["/yarn/label"]),
        ({"yarn": {"label": "Wool", "weight": 9}}, ["/yarn/weight"]),
        ({"candidate": 3}, ["/candidate"]),
    ],
)
def test_what_is_wrong_with_a_place_is_pointed_to(
    program: Program, opened: Round, change: dict[str, Any], at: list[str]
) -> None:
    body = {"names": ["Juniper"], "size": "S", **change}

    assert pointers(program.post(f"/rounds/{opened.code}/places", body)) == at
    assert not opened.places.exists()


def test_a_measurement_that_hardly_anybody_has_is_taken_when_it_is_said_to_be_right(
    program: Program, opened: Round
) -> None:
    body = {"names": ["Juniper"], "size": "S", "measures": {"bust": 36}}
    path = f"/rounds/{opened.code}/places"

    asked = program.post(path, body)
    kept = program.post(path, {**body, "keep": True})

    assert "inches" in asked.json()["detail"]
    assert kept.json()["places"][0]["measures"] == {"bust": 36.0}


def test_beyond_what_a_size_takes_none_of_the_places_is_added(program: Program, opened: Round) -> None:
    response = program.post(
        f"/rounds/{opened.code}/places", {"names": ["Juniper", "Rowan", "Hazel"], "size": "S"}
    )

    assert pointers(response) == ["/size"]
    assert not opened.places.exists()


def test_a_closed_round_takes_no_more_places(program: Program, opened: Round, designer: User) -> None:
    round_move(round=opened, state="closed", by=designer)

    response = program.post(f"/rounds/{opened.code}/places", {"names": ["Juniper"], "size": "S"})

    assert problem(response) == (409, "conflict")
    assert "The round is closed" in response.json()["detail"]


def test_of_a_place_what_is_sent_is_changed_and_the_rest_stays(
    program: Program, offered: Place, diary_of: Any
) -> None:
    before = program.get(path_of(offered))

    after = program.patch(
        path_of(offered), {"name": "Rowan", "measures": {"bust": 90}}, match=before.headers["ETag"]
    )

    assert after.json() == {**before.json(), "name": "Rowan", "measures": {"bust": 90.0}}
    assert diary_of(offered.round)[-1] == "Willow: changed name from “Willow” to “Rowan”; body measurements."


def test_a_place_changes_its_yarn_to_none_or_another(program: Program, offered: Place) -> None:
    none = program.patch(path_of(offered), {"yarn": None}).json()
    own = program.patch(path_of(offered), {"yarn": {"label": "Odd wool"}}).json()
    supplied = program.patch(path_of(offered), {"yarn": {"supplied": "wool_blue"}}).json()

    assert none["yarn"] is None
    assert (own["yarn"]["label"], own["yarn"]["supplied"]) == ("Odd wool", None)
    assert supplied["yarn"]["supplied"] == "wool_blue"


def test_a_place_is_given_back_with_a_reason_and_then_left_out_of_the_results(
    program: Program, held: Place, diary_of: Any
) -> None:
    too_soon = program.post(path_of(held, "/count"), {"counts": False})
    given = program.post(path_of(held, "/give-back"), {"cause": "no time"})
    left_out = program.post(path_of(held, "/count"), {"counts": False})
    again = program.post(path_of(held, "/count"), {"counts": True})

    assert problem(too_soon) == (409, "conflict")
    assert (given.json()["state"], given.json()["counts"]) == ("given back", True)
    assert (left_out.json()["counts"], again.json()["counts"]) == (False, True)
    assert "Willow moved from taken to given back: no time." in diary_of(held.round)


def test_a_place_that_is_done_or_given_back_changes_no_more(
    program: Program, held: Place, designer: User
) -> None:
    Place.objects.filter(pk=held.pk).update(state=Place.State.DONE)
    done = program.post(path_of(held, "/give-back"), {})
    Place.objects.filter(pk=held.pk).update(state=Place.State.TAKEN)
    place_give_back(place=held, by=designer)

    assert problem(done) == (409, "conflict")
    assert problem(program.patch(path_of(held), {"name": "Rowan"})) == (409, "conflict")


def test_a_place_of_another_round_is_not_found_in_this_one(
    program: Program, offered: Place, called: Round
) -> None:
    assert problem(program.get(f"/rounds/{called.code}/places/{offered.pk}")) == (404, "not-found")


def test_places_are_found_by_size_and_state(program: Program, held: Place, opened: Round) -> None:
    program.post(f"/rounds/{opened.code}/places", {"names": ["Rowan"], "size": "XS"})

    def names(query: str) -> list[str]:
        return [one["name"] for one in program.get(f"/rounds/{opened.code}/places{query}").json()["results"]]

    assert names("") == ["Rowan", "Willow"]
    assert names("?size=XS") == ["Rowan"]
    assert names("?state=taken") == ["Willow"]
    assert problem(program.get(f"/rounds/{opened.code}/places?state=lost")) == (422, "invalid")


def test_reading_places_takes_as_many_queries_however_many_there_are(
    program: Program, offered: Place, opened: Round
) -> None:
    def more() -> None:
        for number in range(4):
            opened.places.create(key=f"x{number}", name="Rowan", size="S", yarn_label="Wool, supplied")

    def measured() -> None:
        offered.measures = {"bust": 90}
        offered.save()

    assert_costs_the_same(lambda: program.get(f"/rounds/{opened.code}/places"), more)
    assert_costs_the_same(lambda: program.get(path_of(offered)), measured)
