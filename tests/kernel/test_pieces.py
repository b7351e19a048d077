from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from testround.kernel.pieces import Mark, Piece, laid_flat
from testround.kernel.round import Pattern, Round
from testround.kernel.sheet import Sheet
from tests.generated_sheets import free_patterns

ANY = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
FIXTURES = Path(__file__).parents[2] / "fixtures"


def pieces_of(pattern: Pattern, size: str) -> dict[str, Piece]:
    sheet = Sheet(pattern)
    inputs = sheet.stated([size])
    return {piece.label: piece for piece in laid_flat(sheet, inputs, sheet.numbers(inputs))}


def sheet_of(*, parts: dict[str, str], dimensions: dict[str, str], how: str = "Straight.") -> Pattern:
    """A sheet at 20 stitches and 30 rows in 10 cm: 2 and 3 to the centimetre."""
    counts = {"hem_sts": 100, "top_sts": 60, "cuff_sts": 40, "rib_rows": 18, "body_rows": 90, "cap_rows": 30}
    document: dict[str, Any] = {
        "title": "Plain",
        "edition": "1",
        "craft": "knit",
        "kind": "graded",
        "gauges": [{"key": "body", "label": "Body", "stitches": 20, "rows": 30}],
        "sizes": ["M"],
        "numbers": [
            {
                "key": key,
                "label": key.replace("_", " "),
                "place": "Back, step 1",
                "unit": "st" if key.endswith("sts") else "row",
                "formula": str(value),
            }
            for key, value in counts.items()
        ],
        "dimensions": [
            {"key": key, "label": key, "tolerance": 1, "formula": formula, "how": how}
            for key, formula in dimensions.items()
        ],
        "parts": [{"key": key, "label": key.title(), "stitches": formula} for key, formula in parts.items()],
    }
    return Pattern.model_validate_json(json.dumps(document), strict=True)


def test_a_strip_with_a_narrower_one_above_it_is_a_step() -> None:
    pattern = sheet_of(
        parts={"back": "hem_sts * (rib_rows + body_rows) + top_sts * cap_rows"},
        dimensions={"width": "hem_sts / body.st", "shoulders": "top_sts / body.st"},
    )

    back = pieces_of(pattern, "M")["Back"]

    # 100 stitches are 50 cm, 60 are 30; 18, 90 and 30 rows are 6, 30 and 10 cm.
    assert back.outline == ((0, 50), (6, 50), (36, 50), (36, 30), (46, 30))
    assert back.marks == (
        Mark("width", across=True, length=50, at=18),
        Mark("shoulders", across=True, length=30, at=41),
    )


def test_the_mean_of_two_widths_is_a_wedge_and_twice_everything_is_two_pieces() -> None:
    pattern = sheet_of(
        parts={"sleeves": "2 * cuff_sts * rib_rows + (cuff_sts + top_sts) * body_rows"},
        dimensions={"upper": "top_sts / body.st", "length": "rib_rows / body.row + body_rows / body.row"},
    )

    sleeves = pieces_of(pattern, "M")["Sleeves"]

    assert sleeves.outline == ((0, 20), (6, 20), (36, 30))
    assert sleeves.count == 2
    assert sleeves.marks == (Mark("upper", True, 30, 36), Mark("length", False, 36, 0))


def test_a_part_that_begins_with_the_stitches_another_ends_with_is_worked_on_from_it() -> None:
    pattern = sheet_of(
        parts={
            "yoke": "(top_sts + hem_sts) / 2 * cap_rows",
            "body": "hem_sts * body_rows",
        },
        dimensions={"length": "(cap_rows + body_rows) / body.row"},
    )

    (piece,) = pieces_of(pattern, "M").values()

    assert piece.outline == ((0, 30), (10, 50), (40, 50))
    # Its numbers stand at the back and its first part is a yoke: drawn as it is worn.
    assert piece.marks == (Mark("length", False, 40, 0),)


def test_what_is_measured_across_one_side_and_doubled_lies_half_as_wide() -> None:
    pattern = sheet_of(
        parts={"body": "hem_sts * body_rows"},
        dimensions={"chest": "hem_sts / body.st"},
        how="Lay it flat; across, then double.",
    )

    body = pieces_of(pattern, "M")["Body"]

    assert body.outline == ((0, 25), (30, 25))
    assert body.marks == (Mark("chest", True, 25, 15),)


def test_what_goes_over_two_pieces_is_drawn_in_its_own_length_when_they_are_together() -> None:
    pattern = sheet_of(
        parts={"back": "hem_sts * body_rows", "front": "top_sts * body_rows"},
        dimensions={"width": "hem_sts / body.st", "chest": "(hem_sts + top_sts) / body.st"},
    )
    numbers = tuple(
        n.model_copy(update={"place": "Front, step 1"}) if n.key == "top_sts" else n for n in pattern.numbers
    )

    pieces = pieces_of(pattern.model_copy(update={"numbers": numbers}), "M")

    assert pieces["Put together"] == Piece("Put together", (), (Mark("chest", True, 80),))


def test_without_parts_a_dimension_belongs_where_its_counts_stand_in_the_text() -> None:
    pattern = sheet_of(parts={}, dimensions={"width": "hem_sts / body.st", "ease": "3"})

    pieces = pieces_of(pattern, "M")

    assert pieces["Back"].marks == (Mark("width", True, 50),)
    assert pieces["The piece"].marks == (Mark("ease", False, 3),)


def test_a_length_that_is_not_known_yet_is_drawn_and_said_not_to_be_to_scale() -> None:
    pattern = sheet_of(parts={}, dimensions={"width": "hem_sts / body.st"})
    sheet = Sheet(pattern)
    inputs = sheet.stated(["M"])
    unknown = {key: values * float("nan") for key, values in sheet.numbers(inputs).items()}

    (piece,) = laid_flat(sheet, inputs, unknown)

    assert piece.marks == (Mark("width", True, 40, known=False),)
    assert not piece.known


def test_at_another_gauge_the_same_counts_make_another_piece() -> None:
    pattern = sheet_of(parts={"back": "hem_sts * body_rows"}, dimensions={"width": "hem_sts / body.st"})
    sheet = Sheet(pattern)
    stated = sheet.stated(["M"])
    own = sheet.with_gauges(
        stated,
        {
            "body": type(stated.gauges["body"])(
                st=stated.gauges["body"].st * 1.25, row=stated.gauges["body"].row
            )
        },
    )

    (piece,) = laid_flat(sheet, own, sheet.numbers(stated))

    assert piece.outline == ((0, 40), (30, 40))


@pytest.mark.parametrize(
    ("file", "labels"),
    [
        ("fenlight.json", ["Back", "Fronts", "Sleeves", "Bands", "Put together"]),
        ("quillwork.json", ["The piece"]),
    ],
)
def test_the_demos_garments_come_apart_as_their_text_has_them(file: str, labels: list[str]) -> None:
    round_ = Round.model_validate_json((FIXTURES / file).read_text(), strict=True)
    sheet = Sheet(round_.pattern)
    tester = round_.testers[0]
    inputs = sheet.stated([tester.size]) if tester.size else sheet.worked_from([tester.measures])

    pieces = laid_flat(sheet, inputs, sheet.numbers(inputs))

    assert [piece.label for piece in pieces] == labels
    assert [piece.from_top for piece in pieces] == [file == "quillwork.json"] + [False] * (len(labels) - 1)


@ANY
@given(free_patterns())
def test_whatever_the_sheet_every_dimension_is_on_exactly_one_piece(pattern: Pattern) -> None:
    pieces = laid_flat(sheet := Sheet(pattern), inputs := sheet.stated(), sheet.numbers(inputs))

    drawn = sorted(mark.dimension for piece in pieces for mark in piece.marks)

    assert drawn == sorted(dimension.key for dimension in pattern.dimensions)


@ANY
@given(free_patterns())
def test_whatever_the_sheet_what_is_taken_on_an_outline_lies_within_it(pattern: Pattern) -> None:
    sheet = Sheet(pattern)
    inputs = sheet.stated()

    for piece in laid_flat(sheet, inputs, sheet.numbers(inputs)):
        for mark in piece.marks:
            if mark.at is not None:
                end = mark.at + (0 if mark.across else mark.length)
                assert -1e-6 <= mark.at <= end <= piece.height + 1e-6
                assert not mark.across or mark.length <= piece.width * 1.03 + 1e-6
