"""Swatches to gauges, and what a tester is told about one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from testround.kernel.gauge import (
    READING_U,
    UNBLOCKED_U,
    USUAL_SPREAD,
    ToolFit,
    answer_swatch,
    axis_gauge,
    own_gauges,
    reading,
    swatches_will_do,
)
from testround.kernel.round import FabricState, Pattern, Swatch, Tester
from testround.kernel.sheet import Sheet

BLOCKED, WORKED = FabricState.BLOCKED, FabricState.WORKED


def swatch(stitches: float = 22, rows: float = 30, tool: float | None = 4.0, **more: Any) -> Swatch:
    return Swatch(
        **{
            "gauge": "body",
            "state": BLOCKED,
            "tool_mm": tool,
            "width": 10,
            "stitches": stitches,
            "height": 10,
            "rows": rows,
            **more,
        }
    )


def maker(*swatches: Swatch, **more: Any) -> Tester:
    return Tester(**{"id": "t01", "name": "Tester one", "size": "S", "swatches": swatches, **more})


@pytest.fixture
def sheet(little_top) -> Sheet:
    return Sheet(Pattern.model_validate(little_top))


@pytest.fixture
def measured_sheet(little_top) -> Sheet:
    """The little top made to measure."""
    little_top.update(kind="made-to-measure", sizes=[])
    for number in little_top["numbers"]:
        del number["printed"]
    del little_top["measures"][0]["values"]
    return Sheet(Pattern.model_validate(little_top))


# Readings


def test_a_quarter_stitch_and_a_quarter_centimetre_are_the_uncertainty_of_a_swatch():
    per_cm, u = reading(22.5, 10)

    assert per_cm == 2.25
    assert u == pytest.approx(np.sqrt((READING_U / 22.5) ** 2 + (READING_U / 10) ** 2))


def test_a_wider_swatch_is_surer():
    assert reading(45, 20)[1] < reading(22.5, 10)[1]


# Which swatch counts


def test_the_tool_of_the_last_swatch_counts():
    found = axis_gauge([swatch(24, tool=3.5), swatch(22, tool=4.0)], "st", BLOCKED)

    assert (found.per_cm, found.tool_mm, found.source) == (2.2, 4.0, "blocked")


def test_swatches_of_the_same_tool_are_combined_and_widened_where_they_disagree():
    agreeing = axis_gauge([swatch(22), swatch(22)], "st", BLOCKED)
    apart = axis_gauge([swatch(20), swatch(24)], "st", BLOCKED)

    assert agreeing.u == pytest.approx(reading(22, 10)[1] / np.sqrt(2))
    assert apart.per_cm == pytest.approx(np.sqrt(2.0 * 2.4), abs=0.01)
    assert apart.u > 3 * agreeing.u


def test_a_swatch_without_rows_says_nothing_of_rows():
    assert axis_gauge([swatch(rows=None, height=None)], "row", BLOCKED) is None


def test_blocked_counts_where_both_states_were_measured(sheet):
    own = own_gauges(sheet, [maker(swatch(22), swatch(23, state=WORKED))])

    assert own.blocked[0, 0, 0] == 2.2
    assert own.worked[0, 0, 0] == 2.3


def test_without_a_blocked_swatch_the_unblocked_one_serves_with_a_wider_uncertainty(sheet):
    own = own_gauges(sheet, [maker(swatch(23, state=WORKED))])

    assert own.blocked[0, 0, 0] == 2.3
    assert own.u_blocked[0, 0, 0] == pytest.approx(np.hypot(reading(23, 10)[1], UNBLOCKED_U))


def test_without_any_swatch_the_stated_gauge_serves_with_the_spread_between_testers(sheet):
    people = [
        maker(swatch(21), id="a"),
        maker(swatch(22), id="b"),
        maker(swatch(24), id="c"),
        maker(id="d"),
    ]

    alone = own_gauges(sheet, [maker()])
    among = own_gauges(sheet, people)

    assert (alone.blocked[0, 0, 0], alone.u_blocked[0, 0, 0]) == (2.2, USUAL_SPREAD)
    assert among.blocked[3, 0, 0] == 2.2
    assert 0.03 < among.u_blocked[3, 0, 0] < 0.12


# The answer


def test_a_swatch_at_the_stated_gauge_will_do(sheet):
    answer = answer_swatch(sheet, maker(), [swatch(22, 30)])

    assert answer.good
    assert answer.advice is None
    assert answer.sentence() == "This will do: every finished measurement comes out as the pattern means it."


def test_a_tight_swatch_names_the_measurement_hit_hardest_in_either_unit(sheet):
    # 104 stitches across the back of an S: 2 × 104 / 2.2 is 94.5 cm, at 2.4 it is 86.7 cm.
    answer = answer_swatch(sheet, maker(), [swatch(24, 30)])

    assert not answer.good
    assert (
        answer.sentence() == "Not yet: Chest circumference would come out 7.9 cm small; up to 2.5 cm is fine."
    )
    assert (
        answer.sentence("in")
        == "Not yet: Chest circumference would come out 3 1/8 in small; up to 1 in is fine."
    )
    chest = answer.rows[0]
    assert (chest.dimension, chest.within) == ("chest", False)
    assert chest.target == pytest.approx(208 / 2.2)
    assert chest.at_own_gauge == pytest.approx(208 / 2.4)
    assert chest.difference == pytest.approx(208 / 2.4 - 208 / 2.2)


def test_a_tight_swatch_is_sent_to_a_larger_tool_with_an_interval(sheet):
    advice = answer_swatch(sheet, maker(), [swatch(24, 30, tool=4.0)]).advice

    # ln(24/22) / 0.4 more on the log of 4 mm is 4.97 mm.
    assert advice.tool_mm == 5.0
    assert advice.low < 22 < advice.high
    assert advice.sentence.startswith("Try 5 mm: expect about 22")


def test_who_measures_in_inches_is_told_of_stitches_over_four_of_them(sheet):
    advice = answer_swatch(sheet, maker(), [swatch(24, 30, tool=4.0)]).advice

    # 22 stitches in 10 cm are 22.35 over the 10.16 cm of 4 in.
    assert advice.told("cm") == advice.sentence
    assert advice.told("in").startswith("Try 5 mm: expect about 22 1/4 stitches in 4 in (between ")
    assert advice.told("in").endswith("; 22 1/4 are wanted.")


def test_what_is_beyond_the_limit_by_a_hair_does_not_read_as_if_it_were_the_limit(sheet):
    # 208 stitches at 21.43 in 10 cm are 97.06 cm, 2.51 cm more than the 94.55 that are meant; 2.5 cm is fine.
    answer = answer_swatch(sheet, maker(), [swatch(21.43, 30)])

    assert answer.sentence() == (
        "Not yet: Chest circumference would come out just over 2.5 cm large; up to 2.5 cm is fine."
    )


def test_a_loose_swatch_is_sent_to_a_smaller_tool(sheet):
    assert answer_swatch(sheet, maker(), [swatch(20.5, 30, tool=4.0)]).advice.tool_mm < 4.0


def test_stitches_right_and_rows_wrong_is_not_a_matter_of_tools(sheet):
    answer = answer_swatch(sheet, maker(), [swatch(22, 26)])

    assert not answer.good
    assert answer.advice.tool_mm is None
    assert answer.advice.sentence.startswith(
        "No needle will put this right: your stitches are right and your rows are not."
    )
    assert "centimetres" in answer.advice.sentence


def test_without_a_word_on_the_tool_the_stated_one_is_taken(sheet):
    assert answer_swatch(sheet, maker(), [swatch(24, 30, tool=None)]).advice.tool_mm == 5.0


def test_no_swatch_is_no_answer(sheet):
    answer = answer_swatch(sheet, maker(), [])

    assert not answer.good
    assert answer.sentence().startswith("There is nothing to go by yet")


def test_a_made_to_measure_tester_may_have_any_gauge(measured_sheet):
    answer = answer_swatch(measured_sheet, maker(size=None, measures={"bust": 92}), [swatch(17, 24)])

    assert answer.good
    assert answer.sentence() == "This will do: your own numbers are worked out from this gauge."


def test_a_tester_without_a_size_is_answered_without_rows(sheet):
    assert answer_swatch(sheet, maker(size=None), [swatch()]).rows == ()


@pytest.mark.parametrize("size", ["S", "M", None, "of another pattern"])
@pytest.mark.parametrize("stitches", [20, 21.5, 22, 24])
@pytest.mark.parametrize("rows", [26, 30])
def test_whether_swatches_will_do_is_what_their_answer_says(sheet, size, stitches, rows):
    for swatches in ([], [swatch(stitches, rows)], [swatch(stitches, rows), swatch()]):
        tester = maker(size=size)

        assert swatches_will_do(sheet, tester, swatches) is answer_swatch(sheet, tester, swatches).good


def test_whether_they_will_do_made_to_measure_is_what_their_answer_says(measured_sheet):
    tester = maker(size=None, measures={"bust": 92})

    assert swatches_will_do(measured_sheet, tester, [swatch(17, 24)]) is True
    assert swatches_will_do(measured_sheet, tester, []) is False


# Tools


def test_one_tool_leaves_the_slope_to_common_practice():
    fit = ToolFit.of([swatch(22, tool=4.0)], None)

    predicted, u = fit.predict(np.array([4.0, 4.5]))
    assert fit.b == pytest.approx(0.4)
    assert predicted * 10 == pytest.approx([22, 21], abs=0.1)
    assert u[1] > u[0]


def test_two_tools_give_the_testers_own_slope_as_far_as_they_tell_it():
    # From 4 to 5 mm this person loses six stitches, a slope of ln(24/18) / ln(5/4) = 1.29.
    fit = ToolFit.of([swatch(24, tool=4.0), swatch(18, tool=5.0)], None)

    assert 0.8 < fit.b < 1.29


def test_no_tool_at_all_gives_no_line():
    assert ToolFit.of([swatch(tool=None)], None) is None
