"""A sheet as errata correct it, and what that brings with it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testround.kernel.amended import Amendment, amended, amended_by_each
from testround.kernel.consequences import completed, consequences
from testround.kernel.deskcheck import desk_check
from testround.kernel.round import Pattern
from testround.kernel.sheet import Sheet
from tests.generated_editions import corrections, editions


@pytest.fixture
def sheet(little_top: dict[str, Any]) -> Pattern:
    """The little top with both its measurements printed, a front that follows the back, and yarn."""
    little_top["numbers"].append(
        {
            "key": "front_sts",
            "label": "Front, cast on",
            "place": "Front, step 1",
            "unit": "st",
            "formula": "back_sts",
            "printed": {"XS": 92, "S": 104, "M": 114},
        }
    )
    little_top["dimensions"][0]["formula"] = "(back_sts + front_sts) / body.st"
    little_top["dimensions"][0]["printed"] = {"XS": 83.5, "S": 94.5, "M": 103.5}
    little_top["dimensions"][1]["printed"] = {"XS": 32, "S": 32, "M": 32}
    little_top["yarn"] = {"XS": 900, "S": 1000, "M": 1100}
    return Pattern.model_validate_json(json.dumps(little_top), strict=True)


def formula(pattern: Pattern, key: str) -> str:
    return next(entry.formula for entry in (*pattern.numbers, *pattern.dimensions) if entry.key == key)


def test_a_count_corrected_alike_in_every_size_is_added_to_its_formula(sheet: Pattern) -> None:
    after = amended(sheet, [Amendment("body_rows", "row", {"XS": 84, "S": 84, "M": 84})])

    assert formula(after, "body_rows") == "multiple(32 * body.row - 12, of=2)"
    assert after.numbers[1].printed == {"XS": 84, "S": 84, "M": 84}


def test_a_count_corrected_in_one_size_is_told_apart_by_the_body(sheet: Pattern) -> None:
    after = amended(sheet, [Amendment("back_sts", "st", {"S": 108})])

    assert formula(after, "back_sts") == (
        "multiple((bust + ease) / 2 * body.st + when(bust < 81, 0, when(bust < 91, 4, 0)), of=2)"
    )
    computed = Sheet(after).numbers(Sheet(after).stated())
    assert computed["back_sts"].tolist() == [92, 108, 114]
    # What follows from it follows from the corrected one.
    assert computed["front_sts"].tolist() == [92, 108, 114]


def test_a_misprint_put_right_leaves_its_formula_alone(sheet: Pattern) -> None:
    misprinted = amended(sheet, [])
    numbers = list(misprinted.numbers)
    numbers[0] = numbers[0].model_copy(update={"printed": {"XS": 92, "S": 104, "M": 118}})
    misprinted = misprinted.model_copy(update={"numbers": tuple(numbers)})

    after = amended(misprinted, [Amendment("back_sts", "st", {"M": 114})])

    assert formula(after, "back_sts") == formula(sheet, "back_sts")
    assert after == sheet


def test_a_measurement_that_counts_are_changed_for_stays_as_it_is_meant(sheet: Pattern) -> None:
    # Pieces come out four centimetres long: with twelve rows fewer they measure what is printed.
    rows = Amendment("body_rows", "row", {"XS": 84, "S": 84, "M": 84}, keeps=("body_length",))

    found = consequences(sheet, [rows])

    assert formula(found.pattern, "body_length") == "body_rows / body.row + 4"
    assert found.holds
    assert [(one.key, one.kind) for one in found.follows] == [("stitches", "stitches"), ("yarn", "yarn")]


def test_a_printed_measurement_that_no_longer_follows_has_to_be_corrected_too(sheet: Pattern) -> None:
    found = consequences(sheet, [Amendment("body_rows", "row", {"XS": 84, "S": 84, "M": 84})])

    assert found.to_add == (Amendment("body_length", "cm", {"XS": 28, "S": 28, "M": 28}),)
    assert not found.holds


def test_everything_downstream_is_said_size_by_size(sheet: Pattern) -> None:
    found = consequences(sheet, [Amendment("back_sts", "st", {"S": 108})])

    assert [(one.key, one.was, one.now) for one in found.follows] == [
        ("front_sts", {"S": 104.0}, {"S": 108.0}),
        ("chest", {"S": pytest.approx(208 / 2.2)}, {"S": pytest.approx(216 / 2.2)}),
        ("stitches", {"S": 104 * 96.0}, {"S": 108 * 96.0}),
        ("yarn", {"S": 1000.0}, {"S": pytest.approx(1000 * 108 / 104)}),
    ]
    assert found.to_add == (Amendment("front_sts", "st", {"S": 108}), Amendment("chest", "cm", {"S": 98}))


def test_with_all_that_has_to_follow_the_sheet_stands(sheet: Pattern) -> None:
    whole = completed(sheet, [Amendment("back_sts", "st", {"S": 108})])

    assert consequences(sheet, whole).holds
    assert desk_check(Sheet(amended(sheet, whole))).clean


def test_a_correction_that_leaves_another_count_below_zero_cannot_be_worked(sheet: Pattern) -> None:
    numbers = list(sheet.numbers)
    numbers[2] = numbers[2].model_copy(update={"formula": "back_sts - 90", "printed": None})
    sheet = sheet.model_copy(update={"numbers": tuple(numbers)})

    found = consequences(sheet, [Amendment("back_sts", "st", {"XS": 80})])

    assert [(note.kind, note.key, note.size) for note in found.unworkable] == [
        ("below-zero", "front_sts", "XS")
    ]


def test_what_was_wrong_before_is_no_matter_of_a_correction(sheet: Pattern) -> None:
    dimensions = list(sheet.dimensions)
    dimensions[0] = dimensions[0].model_copy(update={"printed": {"XS": 60}})
    sheet = sheet.model_copy(update={"dimensions": tuple(dimensions)})

    found = consequences(
        sheet, [Amendment("body_rows", "row", {"S": 98}), Amendment("body_length", "cm", {"S": 32.5})]
    )

    assert found.holds


def test_a_correction_whose_formula_cannot_be_mended_stands_all_the_same(sheet: Pattern) -> None:
    # Two sizes with the same body that need different counts.
    measures = (sheet.measures[0].model_copy(update={"values": {"XS": 86, "S": 86, "M": 96}}),)
    numbers = tuple(number.model_copy(update={"printed": None}) for number in sheet.numbers)
    dimensions = tuple(dimension.model_copy(update={"printed": None}) for dimension in sheet.dimensions)
    same = sheet.model_copy(update={"measures": measures, "numbers": numbers, "dimensions": dimensions})

    whole = completed(same, [Amendment("back_sts", "st", {"XS": 96})])

    assert whole == (Amendment("back_sts", "st", {"XS": 96}),)
    assert amended(same, whole).numbers[0].printed == {"XS": 96}


SLOW = settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])


@SLOW
@given(st.data())
def test_whatever_is_accepted_the_desk_check_stays_clean(data: st.DataObject) -> None:
    edition = data.draw(editions())
    assert desk_check(Sheet(edition)).clean
    errata = []
    for _nth in range(data.draw(st.integers(1, 3))):
        accepted = data.draw(corrections(edition))
        whole = completed(edition, accepted)
        found = consequences(edition, whole)
        if found.unworkable:
            # It is refused before it is published.
            continue
        errata.append(whole)
        edition = found.pattern

        assert desk_check(Sheet(edition)).clean
        sheet = Sheet(edition)
        printed = sheet.printed_numbers()
        for one in (*accepted, *whole):
            for size, value in one.now.items():
                if sheet.has_number(one.subject):
                    assert printed[one.subject][edition.sizes.index(size)] == value
                    of, plus = sheet.multiple_of(one.subject) or (1.0, 0.0)
                    assert (value - plus) % of == 0


@SLOW
@given(st.data())
def test_an_edition_plus_its_errata_one_by_one_is_the_next_edition(data: st.DataObject) -> None:
    first = edition = data.draw(editions())
    errata = []
    for _nth in range(data.draw(st.integers(1, 3))):
        accepted = data.draw(corrections(edition))
        whole = completed(edition, accepted)
        errata.append(whole)
        edition = amended(edition, whole)
        # Nothing that has to follow takes back what was accepted.
        printed = Sheet(edition).printed_numbers()
        for one in accepted:
            assert all(
                printed[one.subject][edition.sizes.index(size)] == now for size, now in one.now.items()
            )

    assert amended_by_each(first, errata) == edition
