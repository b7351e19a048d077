"""What a tester's program sends, how it is kept and asked about, and how the designer's reads it."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest

from testround.people.models import User
from testround.reports import services
from testround.reports.models import Count, Swatch
from testround.rounds.models import Place, Round
from tests.api.programs import Program, assert_costs_the_same, program_of
from tests.api.test_requests import problem

GOOD = {
    "gauge": "body",
    "state": "blocked",
    "tool_mm": 4,
    "width": 10.2,
    "stitches": 22.5,
    "height": 10,
    "rows": 30,
}


@pytest.fixture
def own(tester: User) -> Program:
    """A program of the tester's."""
    return program_of(tester)


@pytest.fixture
def at(place: Place) -> str:
    return f"/places/{place.pk}"


def asked(response: Any) -> list[tuple[str, str]]:
    """Where something is to be mended, and the beginning of what is said."""
    return [(one["pointer"], one["detail"][:30]) for one in response.json()["errors"]]


def test_a_swatch_is_kept_as_it_was_measured_and_answered(own: Program, at: str, place: Place) -> None:
    response = own.post(f"{at}/swatches", GOOD)

    assert response.status_code == 201
    answer = response.json()
    assert {key: answer["rows"][0][key] for key in GOOD} == GOOD
    assert (answer["report"]["kind"], answer["report"]["late"], answer["state"]) == (
        "swatch",
        False,
        "gauge agreed",
    )
    assert (answer["answer"]["good"], answer["answer"]["measured"]) == (True, True)
    assert [one["dimension"] for one in answer["answer"]["dimensions"]] == ["chest", "body_length"]
    assert Swatch.objects.get(place=place).typed == {
        "width": "10.2 cm",
        "stitches": "22.5",
        "height": "10 cm",
        "rows": "30",
        "tool": "4 mm",
    }
    assert own.get(f"{at}/swatch-answer").json() == answer["answer"]


def test_before_there_is_a_swatch_the_answer_says_that_there_is_nothing_to_go_by(
    own: Program, at: str
) -> None:
    answer = own.get(f"{at}/swatch-answer").json()

    assert (answer["good"], answer["measured"]) == (False, False)
    assert answer["sentence"].startswith("There is nothing to go by yet")


def test_an_odd_swatch_is_asked_about_once_and_taken_when_it_is_right(own: Program, at: str) -> None:
    odd = {**GOOD, "width": 25.4}

    refused = own.post(f"{at}/swatches", odd)
    taken = own.post(f"{at}/swatches", {**odd, "keep": True})

    assert (problem(refused), [pointer for pointer, _ in asked(refused)]) == ((422, "invalid"), ["/keep"])
    assert taken.status_code == 201


def test_what_a_swatch_lacks_is_said_at_its_place_in_the_body(own: Program, at: str) -> None:
    response = own.post(f"{at}/swatches", {"gauge": "sleeve", "state": "blocked", "width": 10, "tool_mm": -1})

    assert sorted(pointer for pointer, _ in asked(response)) == ["/gauge", "/stitches", "/tool_mm"]


def test_a_correction_takes_the_place_of_what_it_names_once(own: Program, at: str, place: Place) -> None:
    first = own.post(f"{at}/swatches", GOOD).json()["rows"][0]["id"]

    second = own.post(f"{at}/swatches", {**GOOD, "rows": 31, "corrects": first}).json()["rows"][0]["id"]
    third = own.post(f"{at}/swatches", {**GOOD, "rows": 32, "corrects": first})
    unknown = own.post(f"{at}/swatches", {**GOOD, "corrects": second + 1000})

    assert problem(third) == (409, "conflict")
    assert (problem(unknown), asked(unknown)[0][0]) == ((422, "invalid"), "/corrects")
    standing = own.get(f"{at}/swatches?superseded=false").json()["results"]
    earlier = own.get(f"{at}/swatches?superseded=true").json()["results"]
    assert ([row["id"] for row in standing], [row["id"] for row in earlier]) == ([second], [first])


def test_counts_are_kept_by_number_and_the_same_again_changes_nothing(own: Program, at: str) -> None:
    own.post(f"{at}/counts", {"counts": {"back_sts": 104, "body_rows": 96}})
    again = own.post(f"{at}/counts", {"counts": {"back_sts": 104, "body_rows": 98}}).json()

    assert [(row["number"], row["worked"]) for row in again["rows"]] == [("body_rows", 98.0)]
    assert sorted(
        (row["number"], row["worked"]) for row in own.get(f"{at}/counts?superseded=false").json()["results"]
    ) == [("back_sts", 104.0), ("body_rows", 98.0)]


@pytest.mark.parametrize(
    ("kind", "body", "pointer", "mended"),
    [
        ("counts", {"counts": {"back_sts": 1040}}, "/counts/back_sts", {"keep": ["back_sts"]}),
        (
            "finished",
            {"state": "blocked", "readings": {"chest": [37.2]}},
            "/readings/chest/0",
            {"keep": ["chest"]},
        ),
        ("measures", {"measures": {"bust": 33.8}}, "/measures/bust", {"keep": ["bust"]}),
    ],
)
def test_an_odd_value_is_asked_about_at_its_key_and_taken_when_it_is_right(
    own: Program, at: str, kind: str, body: dict[str, Any], pointer: str, mended: dict[str, Any]
) -> None:
    refused = own.post(f"{at}/{kind}", body)

    assert [where for where, _ in asked(refused)] == [pointer]
    assert own.post(f"{at}/{kind}", {**body, **mended}).status_code == 201


@pytest.mark.parametrize(
    ("kind", "body", "pointers"),
    [
        ("counts", {"counts": {"hem": 3}}, ["/counts/hem"]),
        ("counts", {"counts": {}}, [""]),
        ("counts", {"counts": {"back_sts": True}}, ["/counts/back_sts"]),
        ("counts", {"counts": {"back_sts": 10**400}}, ["/counts/back_sts"]),
        ("finished", {"state": "dry", "readings": {"chest": [95]}}, ["/state"]),
        (
            "finished",
            {"state": "blocked", "readings": {"chest": [95, 0]}},
            ["/readings/chest/1"],
        ),
        ("sittings", {"hours": 2, "part": "hood"}, ["/part"]),
        ("sittings", {"hours": 0, "done": 1.4}, ["/done", "/hours"]),
        ("remarks", {"kind": "unclear", "text": " "}, ["/text"]),
        ("fit", {"says": {"chest": "splendid"}}, ["/says/chest"]),
        ("fit", {"says": {"hem": "right"}}, ["/says/hem"]),
        ("measures", {"measures": {"waist": 70}}, ["/measures/waist"]),
        ("guess", {}, [""]),
        ("yarn", {"grams": -4}, ["/grams"]),
    ],
)
def test_what_is_wrong_with_a_report_is_said_at_its_place(
    own: Program, at: str, kind: str, body: dict[str, Any], pointers: list[str]
) -> None:
    response = own.post(f"{at}/{kind}", body)

    assert problem(response) == (422, "invalid")
    assert sorted(pointer for pointer, _ in asked(response)) == pointers


@pytest.mark.parametrize(
    ("kind", "body", "kept"),
    [
        (
            "finished",
            {"state": "blocked", "readings": {"chest": [94.5, 94.8]}},
            [{"dimension": "chest", "state": "blocked", "values": [94.5, 94.8]}],
        ),
        (
            "sittings",
            {"part": "back", "hours": 2.5, "done": 0.4},
            [{"part": "back", "hours": 2.5, "done": 0.4}],
        ),
        (
            "remarks",
            {"where": "Back, step 3", "kind": "unclear", "text": "Which side faces me?"},
            [{"where": "Back, step 3", "kind": "unclear", "text": "Which side faces me?"}],
        ),
        ("fit", {"says": {"chest": "too-small"}}, [{"dimension": "chest", "says": "too-small"}]),
    ],
)
def test_what_was_sent_is_read_as_it_was_sent_by_its_tester_and_the_designer(
    own: Program,
    program: Program,
    at: str,
    place: Place,
    kind: str,
    body: dict[str, Any],
    kept: list[dict[str, Any]],
) -> None:
    answer = own.post(f"{at}/{kind}", body)

    assert answer.status_code == 201
    assert answer.headers["Location"].endswith(f"{at}/{kind}")
    rows = own.get(f"{at}/{kind}").json()["results"]
    assert [{name: row[name] for name in kept[0]} for row in rows] == kept
    assert answer.json()["rows"] == rows
    of_round = f"/rounds/{place.round.code}/{kind}"
    assert program.get(f"{of_round}?place={place.pk}").json()["results"] == rows
    assert program.get(f"{of_round}?place={place.pk + 1000}").json()["results"] == []


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("measures", {"measures": {"bust": 87.5}}),
        ("guess", {"hours": 30, "metres": 950}),
        ("yarn", {"metres": None, "grams": 431.5}),
    ],
)
def test_what_a_place_keeps_is_the_last_that_was_sent(
    own: Program, at: str, kind: str, body: dict[str, Any]
) -> None:
    response = own.post(f"{at}/{kind}", body)

    assert response.status_code == 201
    assert own.get(f"{at}/{kind}").json() == body
    assert [row["kind"] for row in own.get(f"{at}/reports").json()["results"]] == [kind]


def test_a_report_that_is_sent_twice_with_one_key_is_kept_once(own: Program, at: str, place: Place) -> None:
    answers = [own.post(f"{at}/counts", {"counts": {"back_sts": 104}}, key="a-press") for _ in range(2)]

    assert answers[0].json() == answers[1].json()
    assert Count.objects.filter(place=place).count() == 1


def test_a_tester_says_that_all_is_sent(own: Program, at: str, place: Place) -> None:
    assert own.post(f"{at}/finish").json() == {"id": place.pk, "state": "done"}


def _send(place: Place, kind: str) -> None:
    """Another report of a kind."""
    given: dict[str, Any] = {"place": place, "key": uuid.uuid4(), "by": place.tester}
    match kind:
        case "swatches":
            services.swatch_submit(**given, gauge="body", state="blocked", width=10, stitches=22)
        case "counts":
            services.counts_submit(**given, counts={"back_sts": 104 + Count.objects.count()})
        case "finished":
            services.finished_submit(**given, state="blocked", readings={"chest": [94]})
        case "sittings":
            services.sitting_submit(**given, hours=1)
        case "remarks":
            services.remark_submit(**given, kind="unclear", text="Which side?")
        case "fit" | "reports":
            services.fit_submit(**given, says={"chest": "right"})


@pytest.mark.parametrize("kind", ["swatches", "counts", "finished", "sittings", "remarks", "fit", "reports"])
def test_reading_what_was_sent_costs_the_same_whatever_was_sent(
    own: Program, program: Program, at: str, place: Place, a_round: Round, kind: str
) -> None:
    _send(place, kind)

    def grow() -> None:
        for _ in range(3):
            _send(place, kind)

    assert_costs_the_same(lambda: own.get(f"{at}/{kind}"), grow)
    assert_costs_the_same(lambda: program.get(f"/rounds/{a_round.code}/{kind}"), grow)


@pytest.mark.parametrize(
    ("kind", "grow"),
    [
        ("swatch-answer", lambda place: _send(place, "swatches")),
        ("measures", lambda place: Place.objects.filter(pk=place.pk).update(measures={"bust": 90})),
        ("guess", lambda place: Place.objects.filter(pk=place.pk).update(guess_hours=30)),
        ("yarn", lambda place: Place.objects.filter(pk=place.pk).update(used_grams=400)),
    ],
)
def test_reading_what_stands_costs_the_same_whatever_was_sent(
    own: Program, at: str, place: Place, kind: str, grow: Callable[[Place], Any]
) -> None:
    assert_costs_the_same(lambda: own.get(f"{at}/{kind}"), lambda: grow(place))


def test_the_designer_reads_where_a_tester_stands(
    own: Program, program: Program, at: str, place: Place
) -> None:
    own.post(f"{at}/swatches", GOOD)
    own.post(f"{at}/yarn", {"grams": 431.5})
    path = f"/rounds/{place.round.code}/places/{place.pk}/sent"

    assert program.get(path).json() == {
        "answer": own.get(f"{at}/swatch-answer").json(),
        "measures": {},
        "guess": {"hours": None, "metres": None},
        "yarn": {"metres": None, "grams": 431.5},
    }
    assert own.get(path).status_code == 404
    assert_costs_the_same(
        lambda: program.get(path), lambda: own.post(f"{at}/swatches", {**GOOD, "stitches": 23})
    )


@pytest.mark.parametrize("place", ["9223372036854775808", "1e30", "-1", "x"])
def test_a_place_that_can_be_none_is_refused_as_a_parameter(
    program: Program, a_round: Round, place: str
) -> None:
    response = program.get(f"/rounds/{a_round.code}/swatches?place={place}")

    assert problem(response) == (422, "invalid")
    assert [one["parameter"] for one in response.json()["errors"]] == ["place"]
