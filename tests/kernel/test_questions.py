"""Slips in finished measurements: recognised, named with the likely cause, asked about, and without influence.

The causes expected of each value are common practice: what a technical editor would ask first.
"""

from __future__ import annotations

import copy
import random
from typing import Any

import pytest

from testround.kernel.analysis import Analysis, Question, analyse
from testround.kernel.findings import Verdict
from testround.kernel.round import Round
from tests.kernel.simulated import as_round

INCH = 2.54
# Stitches or rows of each place by size, at 20 stitches and 30 rows in 10 cm.
PLACES: dict[str, tuple[str, str, float, dict[str, int]]] = {
    "chest": ("Chest", "st", 2.5, {"S": 184, "M": 204}),
    "neck": ("Neck width", "st", 1.0, {"S": 35, "M": 37}),
    "cuff": ("Cuff", "st", 1.0, {"S": 38, "M": 40}),
    "back": ("Back width", "st", 1.5, {"S": 80, "M": 88}),
    "body_length": ("Hem to underarm", "row", 2.0, {"S": 111, "M": 114}),
    "sleeve": ("Sleeve length", "row", 2.0, {"S": 129, "M": 129}),
    "armhole": ("Armhole depth", "row", 1.5, {"S": 72, "M": 75}),
    "hem": ("Hem depth", "row", 1.0, {"S": 18, "M": 18}),
}
PER_CM = {"st": 2.0, "row": 3.0}
# Six people: size, how much looser than the stated gauge they work (widths, lengths), and their tape's step, cm.
PEOPLE = (
    ("S", 1.00, 1.01, 0.5),
    ("S", 1.01, 0.99, INCH / 4),
    ("S", 0.99, 1.00, 0.5),
    ("M", 1.00, 1.02, 0.5),
    ("M", 1.01, 1.00, INCH / 4),
    ("M", 0.99, 0.98, 0.5),
)


def little_round() -> dict[str, Any]:
    """Six testers of a jumper in two sizes; the pattern is right, and so is what they send."""
    testers = []
    for i, (size, across, along, step) in enumerate(PEOPLE, 1):
        loose = {"st": across, "row": along}
        testers.append(
            {
                "id": f"t{i}",
                "name": f"Tester {i}",
                "size": size,
                "swatches": [swatch("blocked", across, along)],
                "finished": [
                    {
                        "dimension": key,
                        "state": "blocked",
                        "values": [round(counts[size] / PER_CM[axis] * loose[axis] / step) * step],
                    }
                    for key, (_, axis, _, counts) in PLACES.items()
                ],
            }
        )
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": {
            "title": "Fenlight jumper",
            "edition": "0.9",
            "craft": "knit",
            "kind": "graded",
            "gauges": [{"key": "body", "label": "Stockinette", "stitches": 20, "rows": 30, "tool_mm": 4.0}],
            "sizes": ["S", "M"],
            "measures": [{"key": "bust", "label": "Full bust", "values": {"S": 86, "M": 96}}],
            "numbers": [
                {
                    "key": f"{key}_count",
                    "label": f"{label}, count",
                    "unit": axis,
                    "formula": f"multiple(({counts['S'] / PER_CM[axis]} + "
                    f"{(counts['M'] - counts['S']) / PER_CM[axis] / 10} * (bust - 86)) * body.{axis})",
                    "printed": counts,
                }
                for key, (label, axis, _, counts) in PLACES.items()
            ],
            "dimensions": [
                {"key": key, "label": label, "tolerance": tolerance, "formula": f"{key}_count / body.{axis}"}
                for key, (label, axis, tolerance, _) in PLACES.items()
            ],
        },
        "round": {"title": "First test"},
        "testers": testers,
    }


def swatch(state: str, across: float, along: float) -> dict[str, Any]:
    """Over 20 cm, counted to the quarter."""
    return {
        "gauge": "body",
        "state": state,
        "tool_mm": 4.0,
        "width": 20.0,
        "stitches": round(160 / across) / 4,
        "height": 20.0,
        "rows": round(240 / along) / 4,
    }


def entry(document: dict[str, Any], tester: str, place: str) -> dict[str, Any]:
    one = next(t for t in document["testers"] if t["id"] == tester)
    return next(f for f in one["finished"] if f["dimension"] == place)


def typed(*values: tuple[str, str, float]) -> dict[str, Any]:
    """The little round with these typed instead: tester, place, cm."""
    document = little_round()
    for tester, place, cm in values:
        entry(document, tester, place)["values"] = [cm]
    return document


def left_out(document: dict[str, Any], *cells: tuple[str, str]) -> dict[str, Any]:
    document = copy.deepcopy(document)
    for tester in document["testers"]:
        tester["finished"] = [f for f in tester["finished"] if (tester["id"], f["dimension"]) not in cells]
    return document


def asked(document: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [(q.tester, q.subject, q.cause) for q in analyse(as_round(document)).questions]


def the_question(document: dict[str, Any]) -> Question:
    (question,) = analyse(as_round(document)).questions
    return question


def verdicts(analysis: Analysis) -> Any:
    return analysis.findings.findings, analysis.deviations


def test_nobody_is_asked_about_a_round_that_is_right():
    analysis = analyse(as_round(little_round()))

    assert analysis.questions == ()
    assert not [f for f in analysis.findings.findings if f.verdict is Verdict.AMEND]


# The causes


@pytest.mark.parametrize(
    ("tester", "place", "cm", "cause", "end"),
    [
        ("t1", "chest", 46.0, "half", "not all the way round? That would make it 92 cm."),
        ("t1", "chest", 46.25, "half", "not all the way round? That would make it 92.5 cm."),
        ("t1", "body_length", 74.0, "double", "where one side was asked for? That would make it 37 cm."),
        ("t1", "chest", 36.25, "inches", "written as centimetres? That would make it 92.1 cm."),
        ("t2", "sleeve", 42.5 * INCH, "centimetres", "written as inches? That would make it 16 3/4 in."),
        ("t1", "chest", 920.0, "millimetres", "decimal point missing? That would make it 92 cm."),
        ("t1", "sleeve", 4.3, "decimal-point", "or a digit missing? That would make it 43 cm."),
        ("t1", "body_length", 73.0, "swapped-digits", "Were two digits swapped? That would make it 37 cm."),
        ("t2", "chest", 63 * INCH, "swapped-digits", "Were two digits swapped? That would make it 36 in."),
        ("t1", "sleeve", 19.0, "other-dimension", "about what Cuff should be: was that measured instead?"),
        ("t1", "chest", 71.0, "unknown", "Please measure once more, or say that it is right."),
    ],
)
def test_every_slip_is_named_and_asked_about_in_the_unit_it_was_typed_in(tester, place, cm, cause, end):
    question = the_question(typed((tester, place, cm)))

    assert (question.tester, question.subject, question.value) == (tester, place, pytest.approx(cm))
    assert question.cause == cause
    assert question.sentence.startswith(f"{PLACES[place][0]} is given as ")
    assert question.sentence.endswith(end)


def test_what_was_expected_is_what_the_testers_other_measurements_foretell():
    document = typed(("t1", "chest", 46.0))
    # The garment is wider than its swatch, by 4 in 100; so must the chest be.
    for place in ("neck", "cuff", "back"):
        entry(document, "t1", place)["values"] = [
            round(2 * 1.04 * entry(document, "t1", place)["values"][0]) / 2
        ]

    assert the_question(document).expected == pytest.approx(94.5, abs=1.0)


def test_places_that_a_tester_left_out_do_not_keep_a_slip_from_being_named():
    document = left_out(typed(("t1", "chest", 46.0)), ("t1", "hem"), ("t1", "cuff"), ("t1", "neck"))

    assert asked(document) == [("t1", "chest", "half")]


def test_two_of_a_size_who_left_places_out_do_not_vouch_for_the_slip_they_share_either():
    slips = (("t4", "sleeve"), ("t6", "sleeve"))
    document = typed(("t4", "sleeve", 34.0), ("t6", "sleeve", 34.0))

    assert asked(left_out(document, ("t4", "hem"), ("t6", "armhole"))) == [
        (*slip, "swapped-digits") for slip in slips
    ]


def test_two_lines_in_each_others_place_are_both_asked_about():
    document = little_round()
    chest, sleeve = entry(document, "t4", "chest")["values"], entry(document, "t4", "sleeve")["values"]
    entry(document, "t4", "chest")["values"], entry(document, "t4", "sleeve")["values"] = sleeve, chest

    assert asked(document) == [("t4", "chest", "other-dimension"), ("t4", "sleeve", "other-dimension")]


def test_one_odd_reading_of_several_is_the_one_that_is_asked_about():
    document = little_round()
    entry(document, "t1", "chest")["values"] = [92.0, 46.0]

    question = the_question(document)

    assert (question.cause, question.value) == ("half", 46.0)


def test_a_whole_piece_in_inches_is_asked_about_though_all_of_it_agrees():
    document = little_round()
    for place in PLACES:
        cm = entry(document, "t1", place)["values"][0]
        entry(document, "t1", place)["values"] = [round(4 * cm / INCH) / 4]

    assert {(tester, cause) for tester, _, cause in asked(document)} == {("t1", "inches")}
    assert len(asked(document)) == len(PLACES)


# No influence


@pytest.mark.parametrize(
    ("place", "cm"),
    [("chest", 46.0), ("chest", 36.25), ("body_length", 73.0), ("sleeve", 19.0), ("chest", 71.0)],
)
def test_a_slip_moves_nothing_it_is_as_if_the_measurement_were_not_there(place, cm):
    document = typed(("t1", place, cm))

    assert verdicts(analyse(as_round(document))) == verdicts(
        analyse(as_round(left_out(document, ("t1", place))))
    )


def test_two_who_measured_half_do_not_vouch_for_each_other():
    slips = (("t1", "chest"), ("t2", "chest"))
    document = typed(("t1", "chest", 46.0), ("t2", "chest", 18.25 * INCH))

    assert asked(document) == [(*slip, "half") for slip in slips]
    assert verdicts(analyse(as_round(document))) == verdicts(analyse(as_round(left_out(document, *slips))))


def test_two_of_a_size_who_swapped_the_same_digits_do_not_vouch_for_each_other():
    # 34 for 43 is a fifth off, and no more than a pattern may be; but twice the same slip is the likelier.
    slips = (("t4", "sleeve"), ("t6", "sleeve"))
    document = typed(("t4", "sleeve", 34.0), ("t6", "sleeve", 34.0))

    assert asked(document) == [(*slip, "swapped-digits") for slip in slips]
    assert verdicts(analyse(as_round(document))) == verdicts(analyse(as_round(left_out(document, *slips))))


def test_what_most_of_a_round_does_alike_is_nobodys_slip():
    document = little_round()
    for tester in ("t1", "t2", "t3", "t4", "t5"):
        one = entry(document, tester, "chest")
        one["values"] = [one["values"][0] / 2]

    analysis = analyse(as_round(document))

    assert not [q for q in analysis.questions if q.cause == "half"]
    assert [f.verdict for f in analysis.findings.findings if f.id == "finished-size:chest"] == [Verdict.AMEND]


def test_the_order_of_testers_makes_no_difference():
    document = typed(("t1", "chest", 46.0), ("t4", "sleeve", 34.0), ("t6", "sleeve", 34.0))
    shuffled = {**document, "testers": random.Random(5).sample(document["testers"], len(PEOPLE))}

    assert analyse(as_round(shuffled)).questions == analyse(as_round(document)).questions


# A swatch that lies


def lying_swatch() -> Round | dict[str, Any]:
    """t1's swatch has a quarter more stitches than the piece, and a fifth more rows."""
    document = little_round()
    document["testers"][0]["swatches"] = [swatch("blocked", 0.79, 0.82)]
    return document


def test_what_looks_odd_because_the_swatch_lies_is_no_slip_when_the_rest_of_the_piece_agrees():
    assert asked(lying_swatch()) == []


def test_a_slip_is_told_from_a_swatch_that_lies():
    document = lying_swatch()
    entry(document, "t1", "chest")["values"] = [46.0]

    question = the_question(document)

    assert (question.tester, question.subject, question.cause) == ("t1", "chest", "half")
    assert question.expected == pytest.approx(92.0, abs=1.5)


# Blocked, or not


def unwashed(*, across: float = 0.95, along: float = 0.91) -> dict[str, Any]:
    """t4 says blocked and measured before: the piece is as much smaller as the swatch was."""
    document = little_round()
    size, loose_across, loose_along, step = PEOPLE[3]
    before = {"st": loose_across * across, "row": loose_along * along}
    document["testers"][3]["swatches"].append(swatch("worked", before["st"], before["row"]))
    for key, (_, axis, _, counts) in PLACES.items():
        cm = counts[size] / PER_CM[axis] * before[axis]
        entry(document, "t4", key)["values"] = [round(cm / step) * step]
    return document


def test_a_piece_that_fits_the_swatch_before_blocking_is_asked_about_once():
    question = the_question(unwashed())

    assert (question.tester, question.subject, question.cause) == ("t4", "body", "unblocked")
    assert question.about == ("body", *PLACES)
    assert question.sentence == (
        "Was the piece measured before blocking? All of it fits the swatch as it was before: Sleeve length, for one, "
        "is given as 40 cm, and about 43.9 cm was expected blocked, 39.8 cm not blocked."
    )


def test_all_of_a_piece_that_was_not_blocked_is_set_aside():
    document = unwashed()
    without = left_out(document, *(("t4", place) for place in PLACES))

    assert verdicts(analyse(as_round(document))) == verdicts(analyse(as_round(without)))


def test_a_slip_in_a_piece_that_was_not_blocked_is_named_by_what_it_measured_then():
    document = unwashed()
    entry(document, "t4", "chest")["values"] = [48.5]

    assert asked(document) == [("t4", "body", "unblocked"), ("t4", "chest", "half")]


def test_a_piece_that_was_blocked_is_not_asked_about():
    document = little_round()
    document["testers"][3]["swatches"].append(swatch("worked", 0.95, 0.93))

    assert asked(document) == []


def test_a_piece_that_is_said_not_to_be_blocked_is_believed():
    document = unwashed()
    for one in document["testers"][3]["finished"]:
        one["state"] = "worked"

    assert asked(document) == []


def test_without_a_swatch_from_before_nothing_can_be_told():
    document = unwashed()
    document["testers"][3]["swatches"].pop()

    assert "unblocked" not in {cause for _, _, cause in asked(document)}


def test_one_place_alone_does_not_tell_whether_the_piece_was_blocked():
    document = little_round()
    document["testers"][3]["swatches"].append(swatch("worked", 0.95, 0.91))
    entry(document, "t4", "sleeve")["values"] = [40.0]

    assert "unblocked" not in {cause for _, _, cause in asked(document)}
