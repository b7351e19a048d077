"""A formula with its values put in, step by step."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from testround.kernel.formulas import parse
from testround.kernel.worked import Unworkable, Value, work
from tests.kernel.sums import holds

S = {
    "bust": Value(86, "cm"),
    "ease": Value(8, "cm"),
    "body.st": Value(2.2, "st/cm"),
    "back_sts": Value(104, "st"),
    "share": Value(0.3),
}


def worked(formula: str, unit: str = "st", **values: Value) -> list[str]:
    return [str(step) for step in work(parse(formula), S | values, unit)[0]]


def test_a_count_is_worked_as_one_would_on_paper():
    assert worked("multiple((bust + ease) / 2 * body.st, of=2)") == [
        "(86 cm + 8 cm) / 2 × 2.2 st/cm = 103.4",
        "the multiple of 2 nearest to 103.4 is 104 st",
    ]


def test_a_multiple_with_something_over_says_so():
    assert worked("multiple_down(22 * body.st, of=4, plus=2)") == [
        "22 × 2.2 st/cm = 48.4",
        "the last multiple of 4 plus 2 up to 48.4 is 46 st",
    ]


def test_a_finished_measurement_is_one_sum():
    assert worked("2 * back_sts / body.st", "cm") == ["2 × 104 st / 2.2 st/cm = 94.55 cm"]


def test_what_is_chosen_between_is_worked_first():
    assert worked("max(bust + ease, 90) / 2 * body.st") == [
        "86 cm + 8 cm = 94",
        "the largest of 94, 90 is 94",
        "94 / 2 × 2.2 st/cm = 103.4 st",
    ]


def test_only_the_branch_that_counts_is_worked():
    assert worked("when(bust > 90, 100 * body.st, 50 * body.st)") == [
        "86 cm is at most 90, which decides what is worked",
        "50 × 2.2 st/cm = 110 st",
    ]


def test_brackets_stay_where_the_sum_needs_them():
    assert worked("(bust - (ease - 2)) / (2 * share) * -1", "cm") == [
        "(86 cm − (8 cm − 2)) / (2 × 0.3) × (−1) = −133.33 cm"
    ]


def test_a_value_gets_as_many_decimals_as_the_sum_needs():
    """2000 stitches at 2.123456 to the centimetre are 941.86 cm, and at 2.1235 they would be 941.84."""
    gauge = {"body.st": Value(2.123456, "st/cm")}

    assert work(parse("2000 / body.st"), gauge, "cm")[0][0].sum == "2000 / 2.12346 st/cm = 941.86 cm"


@pytest.mark.parametrize("formula", ["back_sts / (ease - 8)", "nothing * 2"])
def test_what_has_no_value_is_refused(formula):
    with pytest.raises(Unworkable):
        work(parse(formula), S | {"nothing": Value(float("nan"))}, "cm")


numbers = st.floats(0.3, 4000, allow_nan=False)


@given(
    st.sampled_from(
        [
            "a * b / c + d",
            "(a + b) / 2 * c - d / 3",
            "multiple((a + b) / c, of=4, plus=2)",
            "multiple_up(a / c) * 2 / b",
            "max(a / b, c) + min(b, d) - abs(c - d)",
            "when(a > b * c, a / c, -(b + c) / d)",
            "a - (b - c) - -d",
            "a / (b / (c / d))",
        ]
    ),
    numbers,
    numbers,
    numbers,
    numbers,
)
def test_every_sum_holds_as_it_is_shown(formula, a, b, c, d):
    values = {"a": Value(a, "st"), "b": Value(b, "st/cm"), "c": Value(c, "cm"), "d": Value(d)}

    steps, _ = work(parse(formula), values, "st")

    assert [step.sum for step in steps if step.sum and not holds(step.sum)] == []
