"""The whole numbers that would put it right."""

from __future__ import annotations

import pytest

from testround.kernel.correction import correct_dimension, correct_gauge, gauges_to_print, numbers_now
from testround.kernel.round import Pattern
from testround.kernel.sheet import Sheet


@pytest.fixture
def sheet(little_top) -> Sheet:
    return Sheet(Pattern.model_validate(little_top))


def test_a_length_three_centimetres_long_loses_ten_rows_in_every_size(sheet):
    # 3.4 cm at 3 rows per cm are 10.2 rows; the rows are a multiple of 2.
    found = correct_dimension(sheet, "body_length", {"XS": 3.4, "S": 3.4, "M": 3.4})

    assert (found.number, found.now, found.proposed) == (
        "body_rows",
        {"XS": 96, "S": 96, "M": 96},
        {"XS": 86, "S": 86, "M": 86},
    )
    assert found.left == pytest.approx(dict.fromkeys(("XS", "S", "M"), 3.4 - 10 / 3))
    assert found.follows == {}
    assert found.harmed == ()


def test_only_the_sizes_affected_change(sheet):
    found = correct_dimension(sheet, "chest", {"M": -3.0})

    # 3 cm round are 3.3 stitches across; the nearest even number is 4.
    assert (found.now, found.proposed) == ({"M": 114}, {"M": 118})


def test_a_multiple_plus_is_kept(little_top):
    little_top["numbers"][0]["formula"] = "multiple((bust + ease) / 2 * body.st, of=8, plus=3)"
    little_top["numbers"][0]["printed"] = {"XS": 91, "S": 107, "M": 115}
    sheet = Sheet(Pattern.model_validate(little_top))

    found = correct_dimension(sheet, "chest", {"XS": 6.0, "S": 6.0})

    assert found.proposed == {"XS": 83, "S": 99}
    assert all(n % 8 == 3 for n in found.proposed.values())


def test_what_depends_on_the_changed_number_is_worked_out_again(little_top):
    little_top["numbers"].append(
        {"key": "waist_sts", "label": "Waist", "unit": "st", "formula": "back_sts - 12", "printed": {"S": 92}}
    )
    sheet = Sheet(Pattern.model_validate(little_top))

    found = correct_dimension(sheet, "chest", {"S": 4.0})

    assert found.proposed == {"S": 100}
    assert found.follows == {"waist_sts": {"S": 88}}


def test_the_number_that_moves_nothing_else_is_chosen(little_top):
    # The length is the rows to the underarm and the rows of the hem; the rows to the underarm also place the pocket.
    little_top["numbers"].append(
        {"key": "hem_rows", "label": "Hem", "unit": "row", "formula": "multiple(9 * body.row)"}
    )
    little_top["dimensions"][1]["formula"] = "(body_rows + hem_rows) / body.row"
    little_top["dimensions"].append(
        {"key": "pocket_height", "label": "Pocket", "tolerance": 1, "formula": "body_rows / 2 / body.row"}
    )
    sheet = Sheet(Pattern.model_validate(little_top))

    found = correct_dimension(sheet, "body_length", {"XS": 3, "S": 3, "M": 3})

    assert (found.number, found.proposed["S"], found.harmed) == ("hem_rows", 18, ())


def test_a_change_that_harms_another_measurement_says_so(little_top):
    little_top["dimensions"].append(
        {"key": "pocket_height", "label": "Pocket", "tolerance": 1, "formula": "body_rows / 2 / body.row"}
    )
    sheet = Sheet(Pattern.model_validate(little_top))

    found = correct_dimension(sheet, "body_length", {"XS": 3, "S": 3, "M": 3})

    assert (found.number, found.harmed) == ("body_rows", ("pocket_height",))


def test_another_fault_put_right_by_the_same_change_is_no_harm(little_top):
    little_top["dimensions"].append(
        {"key": "pocket_height", "label": "Pocket", "tolerance": 1, "formula": "body_rows / 2 / body.row"}
    )
    sheet = Sheet(Pattern.model_validate(little_top))
    off = {"XS": 3.0, "S": 3.0, "M": 3.0}

    found = correct_dimension(sheet, "body_length", off, welcome={"pocket_height": dict.fromkeys(off, 1.5)})

    assert found.harmed == ()


def test_a_misprint_is_put_right_before_it_is_corrected(little_top):
    little_top["numbers"][1]["printed"]["S"] = 69
    sheet = Sheet(Pattern.model_validate(little_top))

    found = correct_dimension(sheet, "body_length", {"S": 2.0}, misprints={"body_rows": {"S": 96}})

    assert (found.now, found.proposed) == ({"S": 96}, {"S": 90})


def test_a_dimension_that_no_number_moves_has_no_correction(little_top):
    little_top["dimensions"][0]["formula"] = "bust + ease"

    assert correct_dimension(Sheet(Pattern.model_validate(little_top)), "chest", {"S": 4.0}) is None


def test_a_deviation_of_most_of_the_piece_is_not_behind_one_number(sheet):
    assert correct_dimension(sheet, "body_length", {"S": 30.0}) is None


def test_the_text_says_what_is_printed_and_else_what_is_computed(little_top):
    little_top["numbers"][0]["printed"] = {"S": 100}

    found = numbers_now(Sheet(Pattern.model_validate(little_top)), {"body_rows": {"M": 90}})

    assert found["back_sts"].tolist() == [92, 100, 114]
    assert found["body_rows"].tolist() == [96, 96, 90]


def test_a_gauge_is_printed_to_the_half_with_every_number_that_follows(sheet):
    found = correct_gauge(sheet, "body", "row", 27.6)

    # 32 × 2.75 is 88.
    assert (found.now, found.proposed) == ({"rows": 30}, {"rows": 27.5})
    assert found.follows == {"body_rows": {"XS": 88, "S": 88, "M": 88}}


def test_a_stitch_gauge_changes_the_stitches(sheet):
    found = correct_gauge(sheet, "body", "st", 21.1)

    # 84, 94 and 104 cm halved, at 2.1: 88.2, 98.7 and 109.2, to the nearest even number.
    assert found.proposed == {"stitches": 21}
    assert found.follows == {"back_sts": {"XS": 88, "S": 98, "M": 110}}


def test_a_length_is_put_right_at_the_gauge_to_be_printed(sheet):
    gauges = gauges_to_print(sheet, {("body", "row"): 27.6})

    found = correct_dimension(sheet, "body_length", {"XS": 3.4, "S": 3.4, "M": 3.4}, gauges=gauges)

    # At 2.75 rows per cm the 32 cm are 88 rows, and 3.4 cm of them are 9.35: 10 in twos.
    assert found.now == {"XS": 96, "S": 96, "M": 96}
    assert found.proposed == {"XS": 78, "S": 78, "M": 78}
    assert found.left == pytest.approx(dict.fromkeys(("XS", "S", "M"), 3.4 - 10 / 2.75))


def test_a_gauge_leaves_out_the_counts_that_another_correction_gives(sheet):
    found = correct_gauge(sheet, "body", "row", 27.6, said_elsewhere={"body_rows": {"XS", "M"}})

    assert found.follows == {"body_rows": {"S": 88}}


def test_gauges_to_print_are_to_the_half_and_change_only_what_is_named(sheet):
    found = gauges_to_print(sheet, {("body", "row"): 27.6})

    assert (set(found["body"].row), set(found["body"].st)) == ({2.75}, {2.2})


def test_a_row_gauge_to_be_printed_leaves_the_stitches_as_they_are_printed(little_top):
    # Printed otherwise than by the formula, so that working it out anew would show.
    little_top["numbers"][0]["printed"] = {"XS": 92, "S": 104, "M": 120}
    sheet = Sheet(Pattern.model_validate(little_top))
    gauges = gauges_to_print(sheet, {("body", "row"): 27.6})

    with_it = correct_dimension(sheet, "chest", {"M": -3.0}, gauges=gauges)

    assert (with_it.now, with_it.proposed) == ({"M": 120}, {"M": 124})
    assert with_it == correct_dimension(sheet, "chest", {"M": -3.0})
