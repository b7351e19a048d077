"""Who makes what, by the API: the proposal, accepting it, and who is next in reserve."""

from __future__ import annotations

from typing import Any

import pytest

from testround.api.models import Answered
from testround.people.models import User
from testround.rounds.models import Candidate, Place, Round, Vacancy
from testround.rounds.services import place_give_back, reserve_look, today_for
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_requests import problem
from tests.api.test_rounds import pointers
from tests.rounds.offers import candidate, five_for_four


@pytest.fixture
def five(opened: Round) -> dict[str, Candidate]:
    return five_for_four(opened)


def path_of(round: Round, more: str = "") -> str:
    return f"/rounds/{round.code}/proposal{more}"


def sizes(proposal: dict[str, Any]) -> dict[str, str | None]:
    """Who would have a place, and in which size."""
    return {one["candidate"]: one["size"] for one in proposal["seats"] if one["placed"]}


def test_a_proposal_says_who_would_make_what_why_and_what_each_size_has(
    program: Program, opened: Round, five: dict[str, Candidate]
) -> None:
    proposal = program.get(path_of(opened)).json()

    assert {name: proposal[name] for name in ("revision", "reach", "pins", "exclusions", "moves")} == {
        "revision": 0,
        "reach": 5.0,
        "pins": [],
        "exclusions": [],
        "moves": {},
    }
    assert sizes(proposal) == {"alder": "XS", "birch": "S", "cedar": "S", "elm": "M"}
    assert proposal["contradicts"] == []
    assert proposal["answer"] == "4 of 5 candidates would have a place."
    assert proposal["seats"][0] == {
        "candidate": "alder",
        "name": "Alder",
        "placed": True,
        "size": "XS",
        "yarn": None,
        "why": proposal["seats"][0]["why"],
        "by_hand": False,
        "kept": False,
        "reserve": "",
    }
    assert proposal["seats"][0]["why"]
    assert proposal["sizes"][1] == {
        "size": "S",
        "there": 0,
        "proposed": 2,
        "least": 2,
        "most": 2,
        "short": "",
    }
    assert [one["reserve"] for one in proposal["seats"] if not one["placed"]] == ["first for S"]


def test_what_is_asked_of_a_proposal_is_kept_and_what_it_costs_is_told(
    program: Program, opened: Round, five: dict[str, Candidate]
) -> None:
    pinned = program.post(
        path_of(opened), {"revision": 0, "pins": [{"candidate": "dogwood", "size": "S"}], "reach": 6}
    ).json()
    moved = program.post(
        path_of(opened), {"revision": 1, "moves": {"alder": None, "birch": {"size": "XS"}}}
    ).json()

    assert (pinned["revision"], pinned["reach"]) == (1, 6.0)
    assert pinned["pins"] == [{"candidate": "dogwood", "size": "S", "yarn": None}]
    assert sizes(pinned)["dogwood"] == "S"
    assert pinned["word_costs"]
    assert moved["moves"] == {"alder": None, "birch": {"size": "XS", "yarn": None}}
    assert sizes(moved)["birch"] == "XS"
    assert "alder" not in sizes(moved)
    assert [one["candidate"] for one in moved["seats"] if one["by_hand"]] == ["birch", "alder"]
    assert program.get(path_of(opened)).json() == moved


def test_a_draft_that_changed_since_it_was_seen_is_not_saved(
    program: Program, opened: Round, five: dict[str, Candidate]
) -> None:
    program.post(path_of(opened), {"revision": 0, "reach": 6})

    stale = [
        program.post(path_of(opened), {"revision": 0, "reach": 7}),
        program.post(path_of(opened, "/limits"), {"revision": 0, "reach": 7}),
    ]

    assert [problem(one) for one in stale] == [(409, "conflict")] * 2
    assert program.get(path_of(opened)).json()["reach"] == 6.0


@pytest.mark.parametrize(
    ("asked", "at"),
    [
        ({"pins": [{"candidate": "yew"}]}, ["/pins/0"]),
        ({"pins": [{"candidate": "elm", "size": "XXL"}]}, ["/pins/0/size"]),
        ({"pins": [{"candidate": "elm", "yarn": "silk"}]}, ["/pins/0/yarn"]),
        ({"exclusions": [{"candidate": "elm", "size": "XXL"}]}, ["/exclusions/0/size"]),
        ({"moves": {"elm": {"size": None}}}, ["/moves/elm/size"]),
        ({"moves": {"yew": None}}, ["/moves/yew"]),
        ({"moves": {"elm": {"size": 3}}}, ["/moves/elm/size"]),
        ({"reach": 51}, ["/reach"]),
        ({"reach": "5"}, ["/reach"]),
    ],
)
def test_what_leads_nowhere_is_pointed_to(
    program: Program, opened: Round, five: dict[str, Candidate], asked: dict[str, Any], at: list[str]
) -> None:
    assert pointers(program.post(path_of(opened), {"revision": 0, **asked})) == at


def test_what_contradicts_is_not_saved(program: Program, opened: Round, five: dict[str, Candidate]) -> None:
    answer = program.post(
        path_of(opened),
        {"revision": 0, "pins": [{"candidate": key, "size": "S"} for key in ("birch", "cedar", "dogwood")]},
    )

    assert answer.status_code in (409, 422)
    assert program.get(path_of(opened)).json()["revision"] == 0


def test_what_a_proposal_keeps_to_is_changed_all_of_it_or_nothing(
    program: Program, opened: Round, five: dict[str, Candidate]
) -> None:
    body = {
        "revision": 0,
        "reach": 4,
        "places": {"least": {"M": 1}, "most": {"S": 1}},
        "invite_next": True,
        "offer_days": 10,
    }

    limited = program.post(path_of(opened, "/limits"), body)
    wrong = program.post(
        path_of(opened, "/limits"), {"revision": 1, "offer_days": 3, "places": {"most": {"XL": 1}}}
    )

    opened.refresh_from_db()
    assert (limited.json()["reach"], limited.json()["revision"]) == (4.0, 1)
    assert list(sizes(limited.json()).values()).count("S") == 1
    assert pointers(wrong) == ["/places/most"]
    assert (opened.places_plan, opened.invite_next, opened.offer_days) == (
        {"least": {"M": 1}, "most": {"S": 1}},
        True,
        10,
    )


def test_an_accepted_proposal_offers_each_place_and_tells_the_links_of_those_without_an_address(
    program: Program, opened: Round, five: dict[str, Candidate]
) -> None:
    Candidate.objects.filter(key="elm").update(email="")
    seen = program.get(path_of(opened)).json()
    body = {"revision": 0, "seen": seen["seen"], "until": today_for(opened).isoformat()}

    accepted = program.post(path_of(opened, "/accept"), body, key="k")
    again = program.post(path_of(opened, "/accept"), body)

    offered = accepted.json()["offered"]
    by_hand = next(one for one in offered if not one["mailed"])
    assert [(one["place"]["name"], one["place"]["size"]) for one in offered] == [
        ("Alder", "XS"),
        ("Birch", "S"),
        ("Cedar", "S"),
        ("Elm", "M"),
    ]
    assert by_hand["place"]["name"] == "Elm"
    assert by_hand["url"].endswith(f"/rounds/join/{by_hand['secret']}/")
    assert [one["url"] for one in offered if one["mailed"]] == [None] * 3
    assert by_hand["secret"] not in Answered.objects.get(key="k").body
    assert program.post(path_of(opened, "/accept"), body, key="k").json() == accepted.json()
    assert problem(again) == (409, "conflict")
    assert opened.places.count() == 4


def test_nothing_but_what_was_seen_is_accepted(
    program: Program, opened: Round, five: dict[str, Candidate]
) -> None:
    seen = program.get(path_of(opened)).json()["seen"]
    today = today_for(opened).isoformat()

    past = program.post(path_of(opened, "/accept"), {"revision": 0, "seen": seen, "until": "2020-01-01"})
    candidate(opened, "fir", 76)
    stale = program.post(path_of(opened, "/accept"), {"revision": 0, "seen": seen, "until": today})

    assert pointers(past) == ["/until"]
    assert problem(stale) == (409, "conflict")
    assert not Place.objects.exists()


@pytest.fixture
def freed(opened: Round, five: dict[str, Candidate], program: Program, designer: User) -> Vacancy:
    """Cedar's place in S, which fell free; Dogwood is next."""
    seen = program.get(path_of(opened)).json()["seen"]
    today = today_for(opened).isoformat()
    program.post(path_of(opened, "/accept"), {"revision": 0, "seen": seen, "until": today})
    place_give_back(place=opened.places.get(name="Cedar"), by=designer)
    reserve_look(round=opened)
    return Vacancy.objects.get()


def test_who_is_next_for_a_place_that_fell_free_is_told_and_invited(
    program: Program, opened: Round, freed: Vacancy, five: dict[str, Candidate]
) -> None:
    path = f"/rounds/{opened.code}/vacancies"

    (one,) = program.get(path).json()["vacancies"]
    other = program.post(f"{path}/{freed.pk}/invite", {"candidate": five["elm"].pk})
    invited = program.post(f"{path}/{freed.pk}/invite", {"candidate": one["candidate"]})

    assert one == {
        "id": freed.pk,
        "place": freed.place_id,
        "name": "Cedar",
        "candidate": five["dogwood"].pk,
        "next": "Dogwood",
        "size": "S",
        "yarn": None,
        "why": one["why"],
    }
    assert program.post(path).json() == {"vacancies": []}
    assert problem(other) == (409, "conflict")
    assert (invited.json()["place"]["name"], invited.json()["mailed"]) == ("Dogwood", True)
    assert (invited.json()["url"], invited.json()["secret"]) == (None, None)
    assert program.get(path).json() == {"vacancies": []}


def test_a_place_that_fell_free_is_left_once(program: Program, opened: Round, freed: Vacancy) -> None:
    path = f"/rounds/{opened.code}/vacancies/{freed.pk}/leave"

    assert program.post(path).status_code == 204
    assert problem(program.post(path)) == (409, "conflict")
    assert problem(program.post(f"/rounds/{opened.code}/vacancies/0/leave")) == (404, "not-found")


def test_reading_proposal_and_vacancies_takes_as_many_queries_however_many_there_are(
    program: Program, opened: Round, freed: Vacancy
) -> None:
    def more_candidates() -> None:
        for number in range(4):
            candidate(opened, f"fir{number}", 76 + number)

    def more_free() -> None:
        for number in range(3):
            place = opened.places.create(key=f"x{number}", name="Rowan", size="S", state="given back")
            Vacancy.objects.create(place=place, why="Nobody is left.")

    assert_costs_the_same(lambda: program.get(path_of(opened)), more_candidates)
    assert_costs_the_same(lambda: program.get(f"/rounds/{opened.code}/vacancies"), more_free)
