"""Body measurements that hardly any body has are asked about with their path, and never refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from testround.kernel.analysis import analyse
from testround.kernel.deskcheck import desk_check
from testround.kernel.odd_measures import odd_measures, odd_sizes
from testround.kernel.report_text import report_text
from testround.kernel.round import Round
from testround.kernel.sheet import Sheet

FIXTURES = Path(__file__).parents[2] / "fixtures"


@pytest.fixture
def document():
    """The demo's cardigan: nine sizes with a full bust of 76 to 157 cm; its first tester makes XS."""
    return json.loads((FIXTURES / "fenlight.json").read_text(encoding="utf-8"))


def asked(document) -> list[str]:
    return [str(one) for one in odd_measures(Round.model_validate(document))]


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_bodies_as_they_are_raise_no_question(name):
    document = json.loads((FIXTURES / f"{name}.json").read_text(encoding="utf-8"))

    assert asked(document) == []


@pytest.mark.parametrize(
    ("bust", "question"),
    [
        (3, "smaller than this pattern is made for. Is a digit missing, or are these inches?"),
        (36, "smaller than this pattern is made for. Are these inches, written as centimetres? "
             "That would make it 91.4 cm."),
        (900, "larger than this pattern is made for. Are these millimetres, or is the decimal point missing? "
              "That would make it 90 cm."),
    ],
)  # fmt: skip
def test_a_testers_bust_that_no_body_has_is_asked_about_with_the_likely_cause(document, bust, question):
    document["testers"][0]["measures"]["bust"] = bust

    assert asked(document) == [f"testers[0].measures.bust: Full bust is given as {bust} cm, {question}"]


def test_a_candidates_measures_are_asked_about_too(document):
    document["candidates"][1]["measures"] = {"bust": 38}

    assert asked(document) == [
        "candidates[1].measures.bust: Full bust is given as 38 cm, smaller than this pattern is made for. "
        "Are these inches, written as centimetres? That would make it 96.5 cm."
    ]


def test_a_size_of_the_pattern_in_inches_is_asked_about_by_name(document):
    document["pattern"]["measures"][0]["values"]["M"] = 38

    assert asked(document) == [
        "pattern.measures[0].values.M: Full bust, size M, is given as 38 cm, smaller than this pattern is made "
        "for. Are these inches, written as centimetres? That would make it 96.5 cm."
    ]


def test_a_child_among_two_sizes_is_not_held_against_the_grown_up(document):
    pattern = Round.model_validate(document).pattern
    bust = pattern.measures[0].model_copy(update={"values": {"Child": 60.0, "Adult": 110.0}})

    assert list(odd_sizes(pattern.model_copy(update={"measures": (bust,)}))) == []


def test_the_desk_check_asks_once_about_such_a_size(document):
    document["pattern"]["measures"][0]["values"]["M"] = 38
    sheet = Sheet(Round.model_validate(document).pattern)

    notes = [note.sentence for note in desk_check(sheet).notes if note.key == "bust" and note.size == "M"]

    assert notes == [
        "Full bust, size M, is given as 38 cm, smaller than this pattern is made for. "
        "Are these inches, written as centimetres? That would make it 96.5 cm."
    ]


def test_the_report_asks_the_tester_and_tells_the_designer(document):
    document["testers"][0]["measures"]["bust"] = 3
    document["pattern"]["measures"][0]["values"]["M"] = 38

    round_ = Round.model_validate(document)
    report = report_text(analyse(round_), round_)

    said = " ".join(report.split())
    assert (
        "t01: Full bust is given as 3 cm, smaller than anybody’s. Is a digit missing, or are "
        "these inches?" in said
    )
    assert "To check in the pattern's own measurements" in said
    assert "Full bust, size M, is given as 38 cm, smaller than this pattern is made for." in said


def test_a_made_to_measure_piece_is_set_aside_with_the_one_measure_that_explains_it():
    document = json.loads((FIXTURES / "quillwork.json").read_text(encoding="utf-8"))
    as_it_is = analyse(Round.model_validate(document))
    document["testers"][0]["measures"]["waist"] = 28

    analysis = analyse(Round.model_validate(document))

    assert [(one.tester, one.subject, one.cause) for one in analysis.questions] == [
        ("t01", "waist", "inches")
    ]
    testers = {cell.dimension: cell.testers for cell in analysis.deviations}
    before = {cell.dimension: cell.testers for cell in as_it_is.deviations}
    assert testers == before | {"waist_round": before["waist_round"] - 1}
