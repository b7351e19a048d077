"""The gauges at which every finished measurement stays within its tolerance: by hand, and against the sheet."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testround.kernel.gauge_region import GaugeLimits, GaugeRegion
from testround.kernel.round import Pattern
from testround.kernel.sheet import GaugeColumns, Sheet

ANY = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def region_of(document: dict[str, Any], gauge: str = "body", **more: Any) -> GaugeRegion:
    region = GaugeLimits(Sheet(Pattern.model_validate(document)), gauge, **more).region()
    assert region is not None
    return region


def finished_within(
    document: dict[str, Any], gauge: str, st: float, row: float, *, slack: float = 1e-6
) -> bool:
    """Asked of the sheet itself: are all dimensions in all sizes within their tolerance at this gauge?"""
    sheet = Sheet(Pattern.model_validate(document))
    stated = sheet.stated()
    counts = sheet.numbers(stated, sheet.printed_numbers())
    meant = sheet.dimensions(stated, sheet.numbers(stated))
    at = GaugeColumns(np.full(stated.n, st / 10), np.full(stated.n, row / 10))
    made = sheet.dimensions(sheet.with_gauges(stated, {gauge: at}), counts)
    return all(
        bool(np.all(np.abs(made[d.key] - meant[d.key]) <= d.tolerance * (1 + slack)))
        for d in sheet.pattern.dimensions
    )


def diagonal(document: dict[str, Any]) -> dict[str, Any]:
    """The little top with one dimension alone, which hangs on both gauges: 32 cm of rows and a width of stitches."""
    document["dimensions"] = [
        {
            "key": "around",
            "label": "Across and down",
            "tolerance": 4,
            "formula": "back_sts / body.st + body_rows / body.row",
        }
    ]
    return document


# By hand


def test_a_width_of_counts_over_gauge_ends_where_the_division_says(little_top):
    region = region_of(little_top)

    # Size M: 2 × 114 stitches at 22 in 10 cm are 103.636 cm; ±2.5 cm is the first limit of all sizes, both ways.
    meant = 228 / 2.2
    assert region.few_st is not None
    assert region.many_st is not None
    assert region.few_st.st == pytest.approx(2280 / (meant + 2.5), rel=1e-6)
    assert region.many_st.st == pytest.approx(2280 / (meant - 2.5), rel=1e-6)
    assert region.few_st.limit is not None
    assert region.many_st.limit is not None
    assert (region.few_st.limit.label, region.few_st.limit.size) == ("Chest circumference", "M")
    assert region.few_st.limit.too_large
    assert not region.many_st.limit.too_large


def test_a_length_of_rows_ends_where_the_division_says(little_top):
    region = region_of(little_top)

    # 96 rows at 30 in 10 cm are 32 cm; ±2 cm.
    assert region.few_row is not None
    assert region.many_row is not None
    assert region.few_row.row == pytest.approx(960 / 34, rel=1e-6)
    assert region.many_row.row == pytest.approx(960 / 30, rel=1e-6)


def test_two_limits_of_their_own_gauge_each_make_a_box_with_its_four_corners(little_top):
    region = region_of(little_top)

    meant = 228 / 2.2
    st_ends, row_ends = (2280 / (meant + 2.5), 2280 / (meant - 2.5)), (960 / 34, 960 / 30)
    for st_ in st_ends:
        for row in row_ends:
            assert any(
                edge.st == pytest.approx(st_, rel=1e-5) and edge.row == pytest.approx(row, rel=1e-5)
                for edge in region.boundary
            )


def test_one_size_alone_may_stray_further(little_top):
    region = region_of(little_top, sizes=["XS"])

    meant = 184 / 2.2
    assert region.few_st is not None
    assert region.few_st.st == pytest.approx(1840 / (meant + 2.5), rel=1e-6)
    assert region.few_st.limit is not None
    assert region.few_st.limit.size == "XS"


def test_a_dimension_of_both_gauges_lets_wide_stitches_stand_beside_short_rows(little_top):
    document = diagonal(little_top)
    region = region_of(document)

    # Size M: 114 / 2.2 + 96 / 3 = 83.818 cm, ±4; at 21 stitches the width alone is 54.286 cm. With more rows the
    # width that wide stitches add is the more welcome the wider the size: XS, of 92 stitches, is the first too small.
    fewest_rows = 960 / (114 / 2.2 + 32 + 4 - 1140 / 21)
    most_rows = 960 / (92 / 2.2 + 32 - 4 - 920 / 21)
    assert region.contains(21, fewest_rows * 1.0001)
    assert not region.contains(21, fewest_rows * 0.9999)
    assert region.contains(21, most_rows * 0.9999)
    assert not region.contains(21, most_rows * 1.0001)
    # No box: each of the two alone is within, and both together are not.
    assert region.contains(20.6, 30)
    assert region.contains(22, 27.1)
    assert not region.contains(20.6, 27.1)
    assert region.contains(20.6, 33)


def test_a_side_that_no_measurement_ends_is_open_as_far_as_is_looked(little_top):
    del little_top["dimensions"][1]

    region = region_of(little_top)

    assert region.few_row is not None
    assert region.few_row.limit is None
    assert region.few_row.row == pytest.approx(15, rel=1e-6)
    assert [sentence.split(":")[0] for sentence in region.sentences()] == [
        "Too few stitches",
        "Too many stitches",
    ]


def test_a_gauge_that_no_measurement_hangs_on_has_no_region(little_top):
    little_top["gauges"].append({"key": "rib", "label": "Rib", "stitches": 24, "rows": 32})

    assert GaugeLimits(Sheet(Pattern.model_validate(little_top)), "rib").region() is None


def test_each_gauge_has_a_region_of_its_own_the_others_standing_as_stated(little_top):
    little_top["gauges"].append({"key": "rib", "label": "Rib", "stitches": 24, "rows": 32})
    little_top["constants"].append({"key": "rib_rows", "label": "Rib", "value": 16, "unit": "row"})
    little_top["dimensions"][1]["formula"] = "(body_rows - rib_rows) / body.row + rib_rows / rib.row"

    body, rib = region_of(little_top), region_of(little_top, "rib")

    # 80 rows of the body and 16 of the rib: 26.667 + 5 = 31.667 cm, meant from the same formula.
    assert body.few_row is not None
    assert rib.few_row is not None
    assert body.few_row.row == pytest.approx(800 / (80 / 3 + 2), rel=1e-6)
    assert rib.few_row.row == pytest.approx(160 / 7, rel=1e-6)
    assert rib.few_st is not None
    assert rib.few_st.limit is None


def test_made_to_measure_has_no_limits_for_its_numbers_follow_the_gauge(little_top):
    little_top.update(kind="made-to-measure", sizes=[])
    for number in little_top["numbers"]:
        del number["printed"]
    del little_top["measures"][0]["values"]
    limits = GaugeLimits(Sheet(Pattern.model_validate(little_top)), "body")

    assert limits.region() is None
    assert list(limits.within([20.0], [30.0])) == [True]


# The stated gauge itself


def test_a_misprint_beyond_its_tolerance_puts_the_stated_gauge_itself_outside(little_top):
    little_top["numbers"][0]["printed"]["M"] = 122

    region = region_of(little_top)

    assert not region.holds_stated
    assert [one.sentence() for one in region.beyond] == [
        "Chest circumference in size M comes out 7.3 cm larger than meant, where 2.5 cm is fine."
    ]
    # No gauge serves size M with eight stitches too many and the other sizes as well.
    assert region.is_empty
    assert not finished_within(little_top, "body", 22, 30)


def test_what_a_misprint_puts_out_can_be_left_aside(little_top):
    little_top["numbers"][0]["printed"]["M"] = 122

    region = region_of(little_top, leaving={("chest", "M")})

    # Then size S ends it: 208 stitches.
    assert region.holds_stated
    assert region.few_st is not None
    assert region.few_st.st == pytest.approx(2080 / (208 / 2.2 + 2.5), rel=1e-6)


def test_a_region_beside_the_stated_gauge_is_found_all_the_same(little_top):
    # Every size prints 4 cm of stitches too many: 21.1 stitches would not do, and 23 would.
    little_top["numbers"][0]["printed"] = {"XS": 98, "S": 110, "M": 120}

    region = region_of(little_top)

    assert not region.holds_stated
    assert not region.is_empty
    assert not region.contains(22, 30)
    assert region.contains(*region.middle)
    assert finished_within(little_top, "body", *region.middle)


# In words


def test_each_side_names_what_comes_out_wrong_first_and_a_tenth_at_which_it_is(little_top):
    assert region_of(little_top).sentences() == (
        "Too few stitches: Chest circumference in M is the first to come out too large, from 21.4 on.",
        "Too many stitches: Chest circumference in M is the first to come out too small, from 22.6 on.",
        "Too few rows: Hem to underarm in XS is the first to come out too large, from 28.2 on.",
        "Too many rows: Hem to underarm in XS is the first to come out too small, from 32.0 on.",
    )


def test_who_counts_over_four_inches_reads_it_over_four_inches(little_top):
    # 21.482 over 10 cm is 21.826 over 4 in.
    assert region_of(little_top).sentences("4in")[0].endswith("from 21.8 on.")


# Testers


def test_a_tester_answers_for_one_size_only(little_top):
    limits = GaugeLimits(Sheet(Pattern.model_validate(little_top)), "body")

    # At 21.4 stitches size XS is 85.98 cm, 2.3 off; size M 106.5 cm, 2.9 off.
    at = [21.4, 21.4, 21.4], [30.0, 30.0, 30.0]
    assert list(limits.within_own(*at, ["XS", "M", None])) == [True, False, False]
    assert list(limits.within(*at)) == [False, False, False]


def test_what_the_pattern_does_not_have_is_refused(little_top):
    sheet = Sheet(Pattern.model_validate(little_top))

    with pytest.raises(KeyError):
        GaugeLimits(sheet, "lace")


# Any pattern


@st.composite
def garments(draw: st.DrawFn) -> dict[str, Any]:
    """Sizes whose dimensions add up widths and lengths in all proportions, lengths taken off too."""
    sizes = ["one", "two", "three"][: draw(st.integers(1, 3))]

    kinds = [f"w{i}" for i in range(draw(st.integers(1, 2)))] + [
        f"l{i}" for i in range(draw(st.integers(1, 2)))
    ]
    measures = [
        {"key": f"{key}_cm", "label": key, "values": {size: draw(st.integers(4, 150)) for size in sizes}}
        for key in kinds
    ]
    numbers = [
        {"key": key, "label": key, "unit": unit, "formula": f"multiple({key}_cm * body.{axis})"}
        for key in kinds
        for unit, axis in [("st", "st") if key.startswith("w") else ("row", "row")]
    ]
    terms = [f"{key} / body.{'st' if key.startswith('w') else 'row'}" for key in kinds]
    dimensions = []
    for k in range(draw(st.integers(1, 4))):
        chosen = draw(st.lists(st.sampled_from(terms), min_size=1, max_size=3, unique=True))
        signs = [draw(st.sampled_from(["+", "+", "-"])) for _ in chosen[1:]]
        formula = chosen[0] + "".join(f" {sign} {term}" for sign, term in zip(signs, chosen[1:], strict=True))
        # What is taken off never leaves less than nothing.
        formula += " + ground" if "-" in signs else ""
        tolerance = draw(st.floats(0.5, 6).map(lambda cm: round(cm, 1)))
        dimensions.append(
            {"key": f"d{k}", "label": f"Dimension {k}", "tolerance": tolerance, "formula": formula}
        )
    return {
        "title": "Any",
        "edition": "1",
        "craft": "knit",
        "kind": "graded",
        "gauges": [
            {
                "key": "body",
                "label": "Body",
                "stitches": draw(st.integers(10, 35)),
                "rows": draw(st.integers(10, 45)),
            }
        ],
        "sizes": sizes,
        "measures": measures,
        "constants": [{"key": "ground", "label": "Ground", "value": 310, "unit": "cm"}],
        "numbers": numbers,
        "dimensions": dimensions,
    }


def on_the_boundary(region: GaugeRegion, angle: float) -> tuple[float, float]:
    """Where a ray from the middle leaves the drawn region, as (stated / st, stated / row)."""
    (s0, r0), (s1, r1) = region.stated, region.middle
    u0, v0 = s0 / s1, r0 / r1
    du, dv = math.cos(angle), math.sin(angle)
    corners = [(s0 / edge.st - u0, r0 / edge.row - v0) for edge in region.boundary]
    for (x1, y1), (x2, y2) in zip(corners, corners[1:] + corners[:1], strict=True):
        cross = (x2 - x1) * dv - (y2 - y1) * du
        if abs(cross) < 1e-18:
            continue
        t, along = (y1 * (x2 - x1) - x1 * (y2 - y1)) / cross, (y1 * du - x1 * dv) / cross
        if t > 0 and -1e-9 <= along <= 1 + 1e-9:
            return t * du, t * dv
    raise AssertionError("the boundary does not go all round")


@ANY
@given(garments(), st.floats(0, 2 * math.pi), st.floats(0.0, 0.9999))
def test_every_gauge_inside_keeps_every_dimension_and_just_outside_one_is_lost(document, angle, share):
    region = region_of(document)
    assert region.holds_stated
    x, y = on_the_boundary(region, angle)

    def gauge(times: float) -> tuple[float, float]:
        return region.stated[0] / (1 + x * times), region.stated[1] / (1 + y * times)

    inside, outside = gauge(share), gauge(1.0005)
    assert finished_within(document, "body", *inside)
    beyond_the_looked_at = not all(
        0.5 < got / stated < 2 for got, stated in zip(outside, region.stated, strict=True)
    )
    assert beyond_the_looked_at or not finished_within(document, "body", *outside, slack=0)


@ANY
@given(garments(), st.floats(0.6, 1.7), st.floats(0.6, 1.7))
def test_the_region_and_the_sheet_agree_of_any_gauge_that_is_not_at_the_very_edge(document, wide, tall):
    region = region_of(document)
    st_, row = region.stated[0] * wide, region.stated[1] * tall
    limits = GaugeLimits(Sheet(Pattern.model_validate(document)), "body")
    worst = float(limits.worst([st_], [row])[0])

    if abs(worst - 1) > 0.002:
        assert region.contains(st_, row) == finished_within(document, "body", st_, row)
