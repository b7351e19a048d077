"""The description of the assignment file, sentence by sentence, and the command that writes it."""

from __future__ import annotations

import json

import jsonschema

from testround.kernel.assignment import assign
from testround.kernel.findings import assignment_json
from testround.kernel.roundfile import read_round
from testround.kernel.schemas import schema_of
from tests.contract.documents import EXAMPLE_FILE, Document, example, made_to_measure, untested
from tests.contract.test_commands import manage

# As the description of the format shows it.
SHAPE = {
    "format": str,
    "version": int,
    "optimal": bool,
    "gap": (int, float),
    "objective": {
        "shortfall": int,
        "placed": int,
        "misfit_cm": (int, float),
        "wish_steps": int,
        "sizes_with_two_yarns": int,
    },
    "places": [{"candidate": str, "size": str, "yarn": (str, type(None)), "why": str}],
    "reserve": [{"candidate": str, "size": str, "rank": int, "why": str}],
    "short": [{"size": str, "wanted": int, "got": int, "why": str}],
}


def gathering() -> Document:
    """The example with more people than it has places and yarn for."""
    document = untested()
    one = document["candidates"][0]
    more = [
        ("c02", 86, ["S"], ["wool_blue"], False),
        ("c03", 95, [], ["wool_blue"], False),
        ("c04", 97, ["M"], [], True),
        ("c05", 90.5, ["M", "S"], ["wool_blue"], False),
        ("c06", 84, [], ["wool_blue"], False),
        ("c07", 99, [], [], True),
        ("c08", 99.5, [], ["wool_blue"], False),
        ("c09", 100, [], [], True),
    ]
    document["candidates"] += [
        {**one, "id": name, "measures": {"bust": bust}, "wishes": wishes, "yarns": yarns, "own_yarn": own}
        for name, bust, wishes, yarns, own in more
    ]
    return document


def text(document: Document) -> str:
    return assignment_json(assign(read_round(json.dumps(document).encode())).document)


def is_shaped(node: object, shape: object) -> bool:
    if isinstance(shape, dict):
        return (
            isinstance(node, dict)
            and list(node) == list(shape)
            and all(is_shaped(node[key], inner) for key, inner in shape.items())
        )
    if isinstance(shape, list):
        return isinstance(node, list) and all(is_shaped(one, shape[0]) for one in node)
    return isinstance(node, shape)  # type: ignore[arg-type]


def test_the_file_has_the_keys_that_are_described_and_no_other():
    said = json.loads(text(gathering()))

    assert is_shaped(said, SHAPE)
    assert said["places"]
    assert said["reserve"]
    assert said["short"]
    jsonschema.validate(said, schema_of("assignment"))


def test_the_example_places_its_candidate():
    said = json.loads(text(untested()))

    assert said["objective"] == {
        "shortfall": 4,
        "placed": 1,
        "misfit_cm": 2,
        "wish_steps": 0,
        "sizes_with_two_yarns": 0,
    }
    assert said["places"] == [
        {
            "candidate": "c01",
            "size": "S",
            "yarn": "wool_blue",
            "why": "Bust within 2 cm of S; first wish; S needed two.",
        }
    ]
    assert said["short"][0] == {
        "size": "XS",
        "wanted": 1,
        "got": 0,
        "why": "No candidate's bust is within 5 cm of XS, and nobody wished for it.",
    }


def test_the_objective_adds_up_over_the_places():
    document = gathering()
    said = json.loads(text(document))
    by_id = {one["id"]: one for one in document["candidates"]}
    bust = document["pattern"]["measures"][0]["values"]

    assert said["objective"]["placed"] == len(said["places"])
    assert said["objective"]["shortfall"] == sum(one["wanted"] - one["got"] for one in said["short"])
    assert said["objective"]["misfit_cm"] == sum(
        abs(by_id[one["candidate"]]["measures"]["bust"] - bust[one["size"]]) for one in said["places"]
    )
    assert sum(one["yarn"] == "wool_blue" for one in said["places"]) <= 4
    assert (said["optimal"], said["gap"]) == (True, 0)


def test_places_stand_by_size_and_the_reserve_of_a_size_by_rank():
    said = json.loads(text(gathering()))
    sizes = ["XS", "S", "M"]

    assert [one["size"] for one in said["places"]] == sorted(
        (one["size"] for one in said["places"]), key=sizes.index
    )
    for size in sizes:
        ranks = [one["rank"] for one in said["reserve"] if one["size"] == size]
        assert ranks == list(range(1, len(ranks) + 1))
    placed = {one["candidate"] for one in said["places"]}
    assert not placed & {one["candidate"] for one in said["reserve"]}


def test_the_same_candidates_in_another_order_give_the_same_bytes():
    document = gathering()
    forwards = text(document)
    document["candidates"].reverse()

    assert text(document) == forwards


def test_a_made_to_measure_round_has_places_without_sizes():
    document = made_to_measure()
    said = json.loads(text(document))

    assert [(one["candidate"], one["size"]) for one in said["places"]] == [("c01", None)]
    jsonschema.validate(said, schema_of("assignment"))


def test_a_round_without_candidates_is_assigned_nobody():
    document = example()
    del document["candidates"]

    said = json.loads(text(document))
    assert (said["places"], said["reserve"], said["optimal"]) == ([], [], True)


# The command


def test_the_command_prints_text_a_person_reads():
    done = manage("assign", EXAMPLE_FILE)

    assert (done.returncode, done.stderr) == (0, b"")
    said = done.stdout.decode("utf-8")
    assert "c01 (Candidate one), wool_blue" in said
    assert "Bust within 2 cm of S; first wish; S needed one more." in said
    assert "Proven: in that order, no other assignment does better." in said


def test_the_command_prints_inches_where_they_are_asked_for():
    done = manage("assign", EXAMPLE_FILE, "--units", "in")

    assert b"Bust within 3/4 in of S" in done.stdout


def test_json_from_standard_input_is_the_assignment_file_and_nothing_else():
    done = manage("assign", "-", "--json", stdin=json.dumps(gathering()).encode())

    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout == text(gathering()).encode()


def test_the_designers_word_is_taken_on_the_command_line():
    file = json.dumps(gathering()).encode()

    done = manage(
        "assign", "-", "--json", "--pin", "c01=M:wool_blue", "--pin=c05", "--exclude", "c02=S", "--exclude=c04",
        "--reach", "6", stdin=file,
    )  # fmt: skip

    places = {one["candidate"]: one for one in json.loads(done.stdout)["places"]}
    assert (places["c01"]["size"], places["c01"]["yarn"]) == ("M", "wool_blue")
    assert "c05" in places
    assert not {"c02", "c04"} & set(places)


def test_a_colon_in_the_name_of_a_size_is_no_yarn():
    document = json.loads(json.dumps(untested()).replace('"M"', '"M:tall"'))

    done = manage("assign", "-", "--json", "--pin", "c01=M:tall", stdin=json.dumps(document).encode())

    assert [one["size"] for one in json.loads(done.stdout)["places"]] == ["M:tall"]


def test_what_contradicts_is_two_and_every_problem_on_standard_error():
    done = manage("assign", EXAMPLE_FILE, "--json", "--pin", "c01=XXL", "--pin=c01=S:linen", "--exclude=t01")

    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.decode("utf-8").splitlines() == [
        "This cannot be assigned; 4 problems:",
        "exclusions[0].candidate: t01 already holds a place, and keeps it",
        "pins[0].size: there is no size XXL; there are XS, S, M",
        "pins[1].candidate: c01 is pinned twice; keep one pin",
        "pins[1].yarn: there is no yarn linen; there is wool_blue",
    ]


def test_a_file_with_wishes_and_limits_that_cannot_be_is_two_and_every_problem_with_its_path():
    document = example()
    document["candidates"][0]["wishes"] = ["XXL", "S"]
    document["round"]["places"]["least"]["S"] = 4

    done = manage("assign", "-", stdin=json.dumps(document).encode())

    assert (done.returncode, done.stdout) == (2, b"")
    said = done.stderr.decode("utf-8")
    assert "round.places.most.S: 3 is below the least, 4" in said
    assert "candidates[0].wishes[0]: there is no size XXL; there are XS, S, M" in said
    assert "Traceback" not in said


def test_a_file_that_is_not_there_is_two_and_named(tmp_path):
    done = manage("assign", tmp_path / "gone.json")

    assert (done.returncode, done.stdout) == (2, b"")
    assert b"gone.json" in done.stderr
