"""The round file: what it takes, and how it says what it does not."""

from __future__ import annotations

import contextlib
import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testround.kernel.round import Round
from testround.kernel.roundfile import (
    RoundFileError,
    plain,
    read_pattern,
    read_round,
    write_round,
)
from testround.kernel.schemas import schema_of
from tests.generated import round_documents, rounds

FIXTURES = Path(__file__).parents[2] / "fixtures"

Document = dict[str, Any]

TOO_MANY_ENTRIES = "a list in it has 60001 entries; no list of a round file has more than 50000"
TOO_MANY_KEYS = "an object in it has 3000 keys; no object of a round file has more than 2000"
MORE = "there is more to mend than is told at once; mend these first, and look again"


@pytest.fixture
def document(little_top: Document) -> Document:
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": little_top,
        "round": {
            "title": "First test",
            "opens": "2027-01-11",
            "swatches_due": "2027-01-25",
            "closes": "2027-03-08",
            "places": {"least": {"XS": 1}, "most": {"XS": 2}},
            "yarns": [{"key": "wool_blue", "label": "Wool, supplied", "makers": 4}],
        },
        "candidates": [
            {"id": "c01", "name": "Candidate one", "wishes": ["S"], "answered": "2027-01-03T09:20:00Z"}
        ],
        "testers": [
            {
                "id": "t01",
                "name": "Tester one",
                "size": "S",
                "swatches": [{"gauge": "body", "state": "blocked", "width": 10, "stitches": 22.5}],
                "counts": [{"number": "back_sts", "worked": 104}],
                "finished": [{"dimension": "chest", "state": "blocked", "values": [93.0, 93.5]}],
                "sittings": [{"part": "back", "hours": 2.5, "done": 0.4}],
                "remarks": [{"place": "Back, step 3", "kind": "unclear", "text": "Which side faces me?"}],
            }
        ],
    }


def problems_of(document: Any, read: Callable[[bytes], Any] = read_round) -> list[str]:
    data = document if isinstance(document, bytes) else json.dumps(document).encode()
    with pytest.raises(RoundFileError) as refused:
        read(data)
    return [str(problem) for problem in refused.value.problems]


def changed(document: Document, path: list[str | int], value: Any) -> Document:
    """The document with another value at that path."""
    document = copy.deepcopy(document)
    *way, last = path
    node: Any = document
    for step in way:
        node = node[step]
    node[last] = value
    return document


def test_a_valid_file_is_read_as_it_stands(document: Document) -> None:
    read = read_round(json.dumps(document).encode())

    assert read.pattern.sizes == ("XS", "S", "M")
    assert read.testers[0].finished[0].values == (93.0, 93.5)
    assert plain(read)["testers"][0]["counts"] == [{"number": "back_sts", "worked": 104}]


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_the_demo_files_are_valid_and_come_back_the_same(name: str) -> None:
    data = (FIXTURES / f"{name}.json").read_bytes()

    read = read_round(data)

    assert read_round(write_round(read)) == read


def test_a_file_without_shapings_is_written_without_the_key(document: Document) -> None:
    plainly = read_round(json.dumps(document).encode())
    emptily = read_round(json.dumps(changed(document, ["pattern", "shapings"], [])).encode())

    assert emptily == plainly
    assert write_round(emptily) == write_round(plainly)
    assert b"shapings" not in write_round(plainly)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(read=rounds())
def test_a_round_written_and_read_again_is_equal(read: Round) -> None:
    written = write_round(read)

    assert read_round(written) == read
    assert write_round(read_round(written)) == written


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(document=round_documents())
def test_what_the_reader_takes_fits_the_published_schema(document: Document) -> None:
    jsonschema.Draft202012Validator(schema_of("round")).validate(
        plain(read_round(json.dumps(document).encode()))
    )


def test_the_published_schema_is_a_valid_schema_of_draft_2020_12() -> None:
    jsonschema.Draft202012Validator.check_schema(schema_of("round"))
    assert schema_of("round")["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@settings(max_examples=80, deadline=None)
@given(data=st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_no_bytes_whatever_get_anything_but_a_sentence(data: bytes) -> None:
    with pytest.raises(RoundFileError) as refused:
        read_round(data)

    assert all(problem.sentence for problem in refused.value.problems)


@settings(
    max_examples=80,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_whatever_is_put_in_one_place_is_taken_or_refused(document: Document, data: st.DataObject) -> None:
    paths = list(_paths(document))
    path = data.draw(st.sampled_from(paths))
    odd = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5)
    value = data.draw(odd | st.just([]) | st.just({}) | st.just([1]) | st.just({"a": 1}))

    # Taken as it is or refused: anything else it raises fails the test.
    with contextlib.suppress(RoundFileError):
        read_round(json.dumps(changed(document, path, value)).encode())


def _paths(node: Any, way: tuple[str | int, ...] = ()) -> Any:
    entries = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for step, value in entries:
        yield [*way, step]
        yield from _paths(value, (*way, step))


def test_an_unknown_key_is_named_by_its_path(document: Document) -> None:
    document["testers"][0]["swatches"][0]["colour"] = "blue"

    assert problems_of(document) == ["testers[0].swatches[0].colour: unknown"]


def test_every_problem_is_reported_at_once_of_form_and_of_meaning(document: Document) -> None:
    document["pattern"]["numbers"][0]["unit"] = "stitches"
    document["pattern"]["numbers"][1]["formula"] = "32 * body.rows"
    document["round"]["closes"] = "2026-01-01"
    document["testers"] += [
        {"id": "t02", "size": "S"},
        {"id": "t03", "name": "Three", "size": "XXL", "counts": [{"number": "nope", "worked": -1}]},
        {"id": "t01", "name": "One again", "swatches": [{"gauge": "lace", "state": "blocked", "width": 10}]},
    ]

    assert [problem.split(":")[0] for problem in problems_of(document)] == [
        "pattern.numbers[0].unit",
        "testers[1].name",
        "testers[2].counts[0].worked",
        "pattern.numbers[1].formula",
        "round.closes",
        "testers[2].size",
        "testers[3].swatches[0].gauge",
        "testers[3].swatches[0].stitches",
        "testers[3].id",
    ]


def test_a_malformed_gauge_does_not_hide_what_else_is_wrong(document: Document) -> None:
    document["pattern"]["gauges"][0]["stitches"] = "22"
    document["pattern"]["numbers"][1]["formula"] = "32 * body.rows"
    document["testers"][0]["size"] = "XXL"

    assert [problem.split(":")[0] for problem in problems_of(document)] == [
        "pattern.gauges[0].stitches",
        "pattern.numbers[1].formula",
        "testers[0].size",
    ]


@pytest.mark.parametrize(
    ("path", "value", "problem"),
    [
        (["version"], 2, "version: must be 1; got 2"),
        (["format"], "other", "format: must be 'testround/round'; got 'other'"),
        (["pattern", "craft"], "weave", "pattern.craft: must be 'knit' or 'crochet'; got 'weave'"),
        (["testers", 0, "size"], "XXL", "testers[0].size: there is no size XXL; there are XS, S, M"),
        (["testers", 0, "swatches", 0, "width"], 0, "testers[0].swatches[0].width: must be above 0; got 0"),
        (["testers", 0, "swatches", 0, "width"], -4, "testers[0].swatches[0].width: must be above 0; got -4"),
        (
            ["testers", 0, "counts", 0, "worked"],
            1e300,
            "testers[0].counts[0].worked: must be at most 1,000,000; got 1e+300",
        ),
        (
            ["testers", 0, "counts", 0, "worked"],
            "104",
            "testers[0].counts[0].worked: must be a number; got '104'",
        ),
        (
            ["testers", 0, "counts", 0, "worked"],
            None,
            "testers[0].counts[0].worked: must be a number; got nothing (null)",
        ),
        (
            ["testers", 0, "counts", 0, "number"],
            "sleeve_sts",
            "testers[0].counts[0].number: there is no number sleeve_sts; there are back_sts, body_rows",
        ),
        (
            ["testers", 0, "sittings", 0, "done"],
            40,
            "testers[0].sittings[0].done: must be at most 1; got 40",
        ),
        (
            ["candidates", 0, "wishes"],
            ["Q"],
            "candidates[0].wishes[0]: there is no size Q; there are XS, S, M",
        ),
        (
            ["candidates", 0, "yarns"],
            ["silk"],
            "candidates[0].yarns[0]: there is no yarn silk; there are wool_blue",
        ),
        (
            ["candidates", 0, "id"],
            "t01",
            "candidates[0].id: t01 already holds a place; list them among the testers only",
        ),
        (["round", "places", "most", "XS"], 0, "round.places.most.XS: 0 is below the least, 1"),
        (
            ["candidates", 0, "answered"],
            "2027-01-03T09:20:00",
            "candidates[0].answered: a time needs its zone, as in 2027-01-03T09:20:00Z",
        ),
        (["testers"], {}, "testers: must be a list; got an object"),
        (
            ["testers", 0, "name"],
            "Tes\x00ter",
            "testers[0].name: holds a null character, which cannot be seen; type it afresh",
        ),
    ],
)
def test_bad_values_get_a_sentence_that_says_what_is_accepted(
    document: Document, path: list[str | int], value: Any, problem: str
) -> None:
    assert problems_of(changed(document, path, value)) == [problem]


def test_a_printed_value_for_a_size_that_is_not_there_is_refused(document: Document) -> None:
    document["pattern"]["numbers"][0]["printed"]["XXL"] = 140

    (problem,) = problems_of(document)

    assert problem.startswith("pattern.numbers[0].printed.XXL: there is no size XXL")


def test_a_missing_size_among_measures_is_refused(document: Document) -> None:
    del document["pattern"]["measures"][0]["values"]["M"]

    (problem,) = problems_of(document)

    assert problem.startswith("pattern.measures[0].values")
    assert "M" in problem


def test_half_a_swatch_is_asked_for_its_other_half(document: Document) -> None:
    document["testers"][0]["swatches"] = [
        {"gauge": "body", "state": "blocked", "rows": 30},
        {"gauge": "body", "state": "blocked"},
    ]

    assert problems_of(document) == [
        "testers[0].swatches[0].height: missing; over what height were the rows counted?",
        "testers[0].swatches[1]: says nothing; give stitches with a width, rows with a height, or both",
    ]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "the file is empty; export or write a round file first"),
        (b"  \n", "the file is empty; export or write a round file first"),
        (b"[]", "a round file is one JSON object; this is a list"),
        (b"3", "a round file is one JSON object; this is 3"),
        (b'{"a": NaN}', "NaN is not a number; leave the entry out where nothing was measured"),
        (b'{"a": -Infinity}', "-Infinity is not a number; leave the entry out where nothing was measured"),
        (b"\xff\xfe{}", "the file is not UTF-8 text (byte 0); save it as UTF-8 JSON"),
        (b"PK\x03\x04\x14\x00", "this is a ZIP archive; take the JSON file out of it and give that"),
        (b'{"a": 1, "a": 2}', "the key 'a' stands twice in one object; keep one"),
        (b"[" * 100_000, "this is not a round file: its values are nested far too deeply"),
        (
            b'{"a":' * 900 + b"1" + b"}" * 900,
            "this is not a round file: its values are nested far too deeply",
        ),
        (b'{"pattern": {"numbers": [' + b"1," * 60_000 + b"1]}}", TOO_MANY_ENTRIES),
        (json.dumps(dict.fromkeys(map(str, range(3000)))).encode(), TOO_MANY_KEYS),
        (b'{"a": ' + b"9" * 6000 + b"}", "a number in it is far too long"),
        (
            b'{"a": "\\ud800"}',
            "the text holds half of a character (a lone surrogate); write that word anew",
        ),
    ],
)
def test_what_is_no_round_file_at_all_gets_one_sentence(data: bytes, sentence: str) -> None:
    assert problems_of(data) == [sentence]


def test_of_a_file_with_very_much_to_mend_the_first_thousand_things_are_told(document: Document) -> None:
    malformed, senseless = copy.deepcopy(document), copy.deepcopy(document)
    malformed["testers"] = [{"id": f"t{i}", "colour": "blue"} for i in range(1200)]
    senseless["testers"] = [{"id": f"t{i}", "name": "One", "size": "XXL"} for i in range(1200)]

    for wrong in (malformed, senseless):
        told = problems_of(wrong)
        assert len(told) == 1001
        assert told[-1] == MORE
    assert problems_of(senseless)[0] == "testers[0].size: there is no size XXL; there are XS, S, M"


def test_a_file_in_which_nearly_everything_is_wrong_gets_one_sentence(document: Document) -> None:
    document["testers"] = [{"colour": 1, "size": 2, "name": 3}] * 10_000

    assert problems_of(document) == [
        "40000 values in it are not as a round file has them; is it one? docs/round-file.md says what it holds"
    ]


def test_of_formulas_full_of_unknown_names_the_first_thousand_faults_are_told(document: Document) -> None:
    number = document["pattern"]["numbers"][0]
    unknown = "+".join(f"x{i}" for i in range(200))
    document["pattern"]["numbers"] = [{**number, "key": f"n{i}", "formula": unknown} for i in range(20)]

    told = problems_of(document["pattern"], read_pattern)

    assert (len(told), told[-1]) == (1001, MORE)


def test_a_circle_of_very_many_numbers_is_told_by_its_beginning(document: Document) -> None:
    number = document["pattern"]["numbers"][0]
    document["pattern"]["numbers"] = [
        {**number, "key": f"n{i}", "formula": f"n{(i + 1) % 200}"} for i in range(200)
    ]

    (told,) = [said for said in problems_of(document["pattern"], read_pattern) if "circle" in said]

    assert "n0 needs n1 needs n2" in told
    assert told.endswith("needs … needs n0; work one of them out from something else.")
    assert len(told) < 300


def test_a_file_of_200_megabytes_is_refused_unread() -> None:
    with pytest.raises(RoundFileError, match="the file has 200 MB; at most 40 MB are taken"):
        read_round(b"{" + b" " * 200_000_000)


def test_a_byte_order_mark_is_no_fault(document: Document) -> None:
    assert read_round(b"\xef\xbb\xbf" + json.dumps(document).encode()).pattern.title == "Little top"


def test_a_pattern_is_read_alone_or_out_of_a_round_file(document: Document) -> None:
    alone = read_pattern(json.dumps(document["pattern"]).encode())

    assert read_pattern(json.dumps(document).encode()) == alone


@pytest.mark.parametrize("prefix", ["", "pattern."])
def test_a_patterns_problems_are_named_as_they_stand_in_the_file(document: Document, prefix: str) -> None:
    document["pattern"]["numbers"][0]["formula"] = "bust +"
    document["pattern"]["sizez"] = []

    with pytest.raises(RoundFileError) as refused:
        read_pattern(json.dumps(document if prefix else document["pattern"]).encode())

    assert [problem.path for problem in refused.value.problems] == [
        f"{prefix}sizez",
        f"{prefix}numbers[0].formula",
    ]
