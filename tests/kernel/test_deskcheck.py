"""The desk check: one misprint is one fault, and what may be meant is only a note."""

from __future__ import annotations

import pytest

from testround.kernel.deskcheck import DeskCheck, PrintedCount, PrintedMeasurement, desk_check
from testround.kernel.round import Pattern
from testround.kernel.sheet import Sheet

SIZES = ["XS", "S", "M", "L", "XL"]


def by_size(*values):
    return dict(zip(SIZES, values, strict=True))


@pytest.fixture
def pullover():
    """Five sizes at 20 stitches and 28 rows in 10 cm, everything printed right."""
    return {
        "title": "Fenlight Cardigan",
        "edition": "0.9",
        "craft": "knit",
        "kind": "graded",
        "gauges": [{"key": "body", "label": "Stockinette", "stitches": 20, "rows": 28}],
        "sizes": SIZES,
        "measures": [{"key": "bust", "label": "Full bust", "values": by_size(75, 85, 95, 105, 115)}],
        "constants": [{"key": "ease", "label": "Ease at bust", "value": 10, "unit": "cm"}],
        "numbers": [
            {
                "key": "back_sts",
                "label": "Back, cast on",
                "place": "Back, step 1",
                "unit": "st",
                # 42.5, 47.5, 52.5, 57.5, 62.5 cm × 2 = 85, 95, …: to the multiple of 2, halves going up
                "formula": "multiple((bust + ease) / 2 * body.st, of=2)",
                "printed": by_size(86, 96, 106, 116, 126),
            },
            {
                "key": "neck_sts",
                "label": "Neck",
                "unit": "st",
                "formula": "multiple(back_sts / 3, of=2)",  # 28.67, 32, 35.33, 38.67, 42
                "printed": by_size(28, 32, 36, 38, 42),
            },
        ],
        "dimensions": [
            {
                "key": "chest",
                "label": "Chest circumference",
                "tolerance": 2.5,
                "formula": "2 * back_sts / body.st",
                "printed": by_size(86, 96, 106, 116, 126),
            }
        ],
    }


def check(document) -> DeskCheck:
    return desk_check(Sheet(Pattern.model_validate(document)))


def test_a_sheet_printed_right_is_clean(pullover):
    assert check(pullover) == DeskCheck((), (), ())


def test_a_misprint_is_one_fault_although_two_things_follow_from_it(pullover):
    # M reads 116 for 106. The neck and the chest are printed right and agree with 106.
    pullover["numbers"][0]["printed"]["M"] = 116

    found = check(pullover)

    assert found.counts == (PrintedCount("back_sts", "M", 116, 106, "Back, step 1"),)
    assert found.measurements == ()


def test_a_count_that_follows_from_a_misprint_is_judged_on_the_computed_value(pullover):
    # 116 / 3 = 38.67 gives 38, and that is what was printed; but with 106 put right, 36 is right.
    pullover["numbers"][0]["printed"]["M"] = 116
    pullover["numbers"][1]["printed"]["M"] = 38

    assert check(pullover).counts == (
        PrintedCount("back_sts", "M", 116, 106, "Back, step 1"),
        PrintedCount("neck_sts", "M", 38, 36, "Neck"),
    )


def test_a_measurement_that_follows_a_misprint_is_a_note_and_no_fault(pullover):
    pullover["numbers"][0]["printed"]["M"] = 116
    pullover["dimensions"][0]["printed"]["M"] = 116

    found = check(pullover)

    assert found.measurements == ()
    assert [
        (note.kind, note.key, note.size, note.sentence)
        for note in found.notes
        if note.kind == "follows-misprint"
    ] == [
        (
            "follows-misprint",
            "chest",
            "M",
            "Chest circumference, size M: 116 cm follows from a count that is misprinted; "
            "with that put right it becomes 106 cm.",
        )
    ]


@pytest.mark.parametrize(
    ("printed", "verdict"),
    [
        (106.5, None),  # the half centimetre
        (106.635, None),  # the quarter inch
        (106.65, "look-closer"),
        (103.5, "look-closer"),  # 2.5 off, and 2.5 is allowed
        (103.4, "amend"),
        (109, "amend"),
    ],
)
def test_a_printed_measurement_may_be_rounded_and_no_more(pullover, printed, verdict):
    pullover["dimensions"][0]["printed"]["M"] = printed

    expected = () if verdict is None else (PrintedMeasurement("chest", "M", printed, 106, 2.5, verdict),)
    assert check(pullover).measurements == expected


def test_nothing_printed_is_nothing_to_check(pullover):
    for entry in (*pullover["numbers"], *pullover["dimensions"]):
        del entry["printed"]

    assert check(pullover) == DeskCheck((), (), ())


def test_a_measurement_is_checked_against_computed_counts_where_none_is_printed(pullover):
    del pullover["numbers"][0]["printed"]["M"]
    pullover["dimensions"][0]["printed"]["M"] = 96

    assert check(pullover).measurements == (PrintedMeasurement("chest", "M", 96, 106, 2.5, "amend"),)


def test_a_formula_without_rounding_may_be_printed_to_the_whole_stitch(pullover):
    # 85 / 3 = 28.33, 95 / 3 = 31.67, 35, 38.33, 41.67; and what follows may follow from the whole stitches.
    pullover["numbers"][0] |= {
        "formula": "(bust + ease) / 3 * body.st / 2",
        "printed": by_size(28, 32, 35, 38, 42),
    }
    pullover["numbers"][1] |= {"formula": "multiple(back_sts * 3)", "printed": by_size(84, 96, 105, 114, 126)}
    pullover["dimensions"][0] |= {"formula": "3 * back_sts / body.st", "printed": {}}

    assert check(pullover).counts == ()


def test_a_count_that_breaks_its_multiple_is_noted(pullover):
    pullover["numbers"][0]["printed"]["S"] = 97

    found = check(pullover)

    assert found.counts == (PrintedCount("back_sts", "S", 97, 96, "Back, step 1"),)
    assert [(note.kind, note.sentence) for note in found.notes] == [
        ("multiple", "Back, cast on, size S: 97 is printed, and is not a multiple of 2.")
    ]


def test_a_size_whose_measure_breaks_the_run_is_noted_once(pullover):
    # 105 typed as 150: everything in L is computed from it, and only the measure is named.
    pullover["measures"][0]["values"]["L"] = 150
    for entry in (*pullover["numbers"], *pullover["dimensions"]):
        del entry["printed"]

    assert [(note.kind, note.key, note.size, note.sentence) for note in check(pullover).notes] == [
        ("step", "bust", "L", "Full bust, size L: 150 cm breaks the run from 95 cm (M) to 115 cm (XL).")
    ]


def test_steps_that_widen_in_the_larger_sizes_are_no_break(pullover):
    pullover["measures"][0]["values"] = by_size(75, 80, 85, 95, 105)
    for entry in (*pullover["numbers"], *pullover["dimensions"]):
        del entry["printed"]

    assert check(pullover).notes == ()


def test_ease_that_the_measures_do_not_bear_out_is_noted(pullover):
    # Cast-on stitches that do not grow with the bust beyond L leave XL with 0 cm of ease where 10 are stated.
    pullover["numbers"][0]["formula"] = "multiple((min(bust, 105) + ease) / 2 * body.st, of=2)"
    for entry in (*pullover["numbers"], *pullover["dimensions"]):
        del entry["printed"]

    notes = [note for note in check(pullover).notes if note.kind == "ease"]

    assert [(note.key, note.size, note.sentence) for note in notes] == [
        (
            "chest",
            "XL",
            "Chest circumference, size XL: it has +1 cm of ease on the body, and the sheet states +10 cm.",
        )
    ]


def test_a_made_to_measure_sheet_prints_nothing_and_is_clean():
    document = {
        "title": "Quillwork Skirt",
        "edition": "1",
        "craft": "crochet",
        "kind": "made-to-measure",
        "gauges": [{"key": "body", "label": "Fans", "stitches": 14, "rows": 10}],
        "measures": [{"key": "waist", "label": "Waist"}],
        "numbers": [
            {"key": "waist_sts", "label": "Waist", "unit": "st", "formula": "multiple(waist * body.st)"}
        ],
    }

    assert check(document) == DeskCheck((), (), ())


def test_ease_missing_from_every_size_is_one_note(pullover):
    pullover["numbers"][0]["formula"] = "multiple((bust - ease) / 2 * body.st, of=2)"
    for entry in (*pullover["numbers"], *pullover["dimensions"]):
        del entry["printed"]

    # 32.5, 37.5, … cm × 2 = 65, 75, …: up to 66, 76, …, 9 cm less than the body
    assert [note.sentence for note in check(pullover).notes] == [
        "Chest circumference, size XS: like every other, it has −9 cm of ease on the body, "
        "and the sheet states +10 cm."
    ]


def test_a_length_that_grows_with_the_body_is_not_said_to_have_ease(pullover):
    pullover["dimensions"].append(
        {
            "key": "yoke",
            "label": "Yoke",
            "tolerance": 2,
            "formula": "multiple((bust + ease + 40) * body.row) / body.row",
        }
    )

    assert check(pullover).notes == ()


def test_a_count_that_breaks_the_run_although_the_measures_do_not_is_noted(pullover):
    pullover["numbers"][0]["formula"] = "multiple(when(bust == 105, bust, bust + ease) / 2 * body.st, of=2)"
    for entry in (*pullover["numbers"], *pullover["dimensions"]):
        del entry["printed"]

    # L has 106 where 116 would be; the neck that follows from it is not named again.
    assert [(note.key, note.size) for note in check(pullover).notes if note.kind == "step"] == [
        ("back_sts", "L")
    ]


def test_a_width_far_from_the_body_is_no_ease(pullover):
    pullover["dimensions"] = [
        {"key": "band", "label": "Band", "tolerance": 2, "formula": "(2 * back_sts + 80) / body.st"}
    ]

    # 40 cm more than the chest: a border picked up around it, say
    assert check(pullover).notes == ()


# Shaping


def test_a_shaping_that_cannot_be_worked_is_a_question_in_the_sizes_it_concerns(pullover):
    # 86, 96, 106, 116 and 126 stitches; a third of them, to an even count, 28, 32, 36, 38 and 42:
    # 58, 64, 70, 78 and 84 to decrease, and four at a time share out 64 and 84.
    pullover["shapings"] = [
        {"key": "yoke", "label": "Yoke", "start": "back_sts", "end": "neck_sts", "over": "60", "each": 4}
    ]

    found = check(pullover)

    assert [(note.kind, note.key, note.size) for note in found.notes] == [
        ("shaping", "yoke", size) for size in ("XS", "M", "L")
    ]
    assert found.notes[0].sentence == (
        "Yoke, size XS: from 86 to 28 stitches are 58 to decrease, and 4 each time never make 58; "
        "is it to end with 30 or 26, or another number to be worked each time?"
    )
    assert found.clean


def test_more_times_to_shape_than_rows_is_a_question(pullover):
    pullover["shapings"] = [
        {"key": "yoke", "label": "Yoke", "start": "back_sts", "end": "neck_sts", "over": "83"}
    ]

    assert [note.sentence for note in check(pullover).notes] == [
        "Yoke, size XL: decreases in 84 rows do not go into 83 rows; is it worked over 84 rows or more, "
        "or are more stitches to be shaped each time?"
    ]


def test_a_shaping_is_judged_with_misprints_put_right(pullover):
    # 107 for 106 is a fault of its own, and the odd stitch is no second one.
    pullover["numbers"][0]["printed"]["M"] = 107
    pullover["shapings"] = [
        {"key": "yoke", "label": "Yoke", "start": "back_sts", "end": "neck_sts", "over": "60", "each": 2}
    ]

    found = check(pullover)

    assert [(count.key, count.size) for count in found.counts] == [("back_sts", "M")]
    assert [note.kind for note in found.notes] == ["multiple"]
