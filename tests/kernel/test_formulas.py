"""Formulas: what they mean, what they refuse, and that hostile ones can do no harm."""

from __future__ import annotations

import contextlib
import math
import time
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testround.kernel.formula_text import LONGEST_FORMULA, FormulaError
from testround.kernel.formulas import (
    CM,
    REP,
    ROW,
    ROW_PER_CM,
    ST,
    ST_PER_CM,
    ST_ROW,
    Unit,
    parse,
)

UNITS = {
    "bust": CM,
    "ease": CM,
    "back_sts": ST,
    "front_sts": ST,
    "yoke_rows": ROW,
    "repeats": REP,
    "body.st": ST_PER_CM,
    "body.row": ROW_PER_CM,
}


def value_of(text, **values):
    formula = parse(text)
    return float(
        formula.evaluate({name.replace("__", "."): np.asarray(float(v)) for name, v in values.items()})
    )


def refusal(text, unit=ST):
    """The first refusal of a formula, read or checked."""
    try:
        errors = parse(text).check(UNITS, unit)
    except FormulaError as error:
        return error
    assert errors, f"{text} was not refused"
    return errors[0]


# Arithmetic -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2 + 3 * 4", 14),
        ("(2 + 3) * 4", 20),
        ("20 / 5 / 2", 2),
        ("20 - 5 - 2", 13),
        ("-3 + 5", 2),
        ("2 * -3", -6),
        ("--3", 3),
        ("0.5 * 4", 2),
        ("min(3, 2, 5)", 2),
        ("max(3, 2, 5)", 5),
        ("abs(3 - 5)", 2),
        ("when(3 > 2, 10, 20)", 10),
        ("when(3 <= 2, 10, 20)", 20),
        ("when(2 == 2.0, 10, 20)", 10),
        ("when(2 != 2.0, 10, 20)", 20),
    ],
)
def test_arithmetic_goes_by_the_usual_rules(text, expected):
    assert value_of(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("multiple(92.4, of=2)", 92),
        ("multiple(93, of=2)", 94),  # half-way between 92 and 94: halves go up
        ("multiple(-93, of=2)", -92),  # up is towards larger numbers, below zero too
        ("multiple(-2.5)", -2),
        ("multiple(103, of=8, plus=3)", 107),  # 99 and 107 are equally near
        ("multiple(102.9, of=8, plus=3)", 99),
        ("multiple_up(96.1, of=4)", 100),
        ("multiple_up(96, of=4)", 96),
        ("multiple_down(99.9, of=4)", 96),
        ("multiple_down(-0.5)", -1),
        ("multiple(7.3)", 7),
        ("multiple(7.3, of=0.5)", 7.5),
        ("multiple(7.3, plus=0.5)", 7.5),
    ],
)
def test_multiples_are_rounded_as_the_trade_says(text, expected):
    assert value_of(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("multiple(42.5 * 1.4)", 60),  # 59.5 exactly; 42.5 * 1.4 in binary is 59.49999…
        ("multiple(1.1 * 1.1 * 100 - 0.5)", 121),  # 120.5
        ("multiple_up(0.1 + 0.2 + 0.7)", 1),  # 1 exactly; 1.0000000000000002 or so in binary
        ("multiple_down(0.1 * 3 * 10)", 3),
        ("multiple_down(4.35 * 100)", 435),
        ("when(0.1 + 0.2 == 0.3, 1, 2)", 1),
        ("when(0.1 + 0.2 > 0.3, 1, 2)", 2),
        ("multiple(2.675 * 100)", 268),
    ],
)
def test_decimals_are_exact_where_binary_ones_are_not(text, expected):
    assert value_of(text) == expected


def test_two_decimals_that_differ_in_the_eleventh_place_are_not_taken_for_equal():
    assert value_of("when(0.10000000001 > 0.1, 1, 2)") == 1
    assert value_of("multiple(59.49999999999)") == 59
    assert value_of("multiple_up(60.00000000001)") == 61


decimals = st.integers(-999_999, 999_999).map(
    lambda n: (f"{abs(n) / 1000:.3f}", Fraction(abs(n), 1000), n < 0)
)


@st.composite
def arithmetic(draw, depth=3):
    """A line of arithmetic over decimals, and its exact value."""
    if depth == 0 or draw(st.integers(0, 3)) == 0:
        text, value, below = draw(decimals)
        return (f"(-{text})", -value) if below else (text, value)
    left, a = draw(arithmetic(depth=depth - 1))
    right, b = draw(arithmetic(depth=depth - 1))
    sign = draw(st.sampled_from("+-*/"))
    if sign == "/" and b == 0:
        sign = "+"
    exact = {"+": a + b, "-": a - b, "*": a * b}[sign] if sign != "/" else a / b
    return f"({left} {sign} {right})", exact


@given(arithmetic(), st.sampled_from(["0.5", "1", "2", "3", "4", "7", "12"]), st.integers(0, 5))
@settings(max_examples=300, deadline=None)
def test_rounding_to_a_multiple_agrees_with_exact_fractions(line, of, plus):
    text, exact = line
    step = Fraction(of)
    steps = (exact - plus) / step

    found = {
        name: parse(f"{name}({text}, of={of}, plus={plus})").evaluate({})
        for name in ("multiple", "multiple_up", "multiple_down")
    }

    expected = {
        "multiple": math.floor(steps + Fraction(1, 2)) * step + plus,
        "multiple_up": math.ceil(steps) * step + plus,
        "multiple_down": math.floor(steps) * step + plus,
    }
    # Larger values do not hold the halves of a step beside their other digits; beyond 10^12 there is no value.
    if abs(exact) < 10**6:
        assert {name: Fraction(float(value)) for name, value in found.items()} == expected


@given(arithmetic(), arithmetic(), st.sampled_from(["<", "<=", ">", ">=", "==", "!="]))
@settings(max_examples=200, deadline=None)
def test_comparisons_agree_with_exact_fractions(left, right, sign):
    (left_text, a), (right_text, b) = left, right
    if max(abs(a), abs(b)) >= 10**6 or (a != b and abs(a - b) < Fraction(1, 10**6)):
        return

    found = parse(f"when({left_text} {sign} {right_text}, 1, 0)").evaluate({})

    holds = {"<": a < b, "<=": a <= b, ">": a > b, ">=": a >= b, "==": a == b, "!=": a != b}[sign]
    assert bool(found) == holds


def test_columns_are_worked_all_at_once():
    formula = parse("multiple((bust + ease) / 2 * body.st, of=2)")

    found = formula.evaluate(
        {"bust": np.array([76.0, 86, 96]), "ease": np.asarray(8.0), "body.st": np.array([2.2, 2.2, 2.2])}
    )

    # 42 × 2.2 = 92.4; 47 × 2.2 = 103.4; 52 × 2.2 = 114.4
    assert found.tolist() == [92, 104, 114]


@pytest.mark.parametrize(
    "text",
    [
        "bust + 1",
        "min(bust, 3)",
        "max(3, bust)",
        "multiple(bust)",
        "when(bust > 3, 1, 2)",
        "when(3 > bust, 1, 2)",
        "-bust",
    ],
)
def test_what_is_unknown_stays_unknown(text):
    assert np.isnan(value_of(text, bust=np.nan))


def test_a_condition_on_one_column_does_not_touch_another():
    formula = parse("when(bust > 90, ease, bust)")

    found = formula.evaluate({"bust": np.array([80.0, np.nan, 100.0]), "ease": np.array([np.nan, 1.0, 2.0])})

    assert np.array_equal(found, [80.0, np.nan, 2.0], equal_nan=True)


def test_division_by_zero_is_told_with_its_columns_and_its_place():
    formula = parse("10 / (bust - ease)")

    value, _, troubles = formula.evaluate_bounded(
        {"bust": np.array([5.0, 8.0]), "ease": np.array([5.0, 3.0])}, {}
    )

    assert np.array_equal(value, [np.nan, 2.0], equal_nan=True)
    assert [(t.message, t.start, t.end, t.columns) for t in troubles] == [
        ("the divisor is zero", 6, 17, (0,))
    ]


def test_a_divisor_that_is_zero_but_for_binary_noise_is_zero():
    assert np.isnan(value_of("1 / (0.3 - 0.1 - 0.2)"))


def test_a_branch_that_is_not_taken_cannot_fail():
    formula = parse("when(bust == 0, 7, 10 / bust)")

    value, _, troubles = formula.evaluate_bounded({"bust": np.array([0.0, 5.0])}, {})

    assert value.tolist() == [7, 2]
    assert troubles == ()


def test_overflow_is_told_and_never_becomes_infinite():
    formula = parse("1 / (bust * bust * bust * bust)" + " * bust" * 4)

    value, _, troubles = formula.evaluate_bounded({"bust": np.array([1e6, 10.0])}, {})

    assert np.isnan(value[0])
    assert value[1] == pytest.approx(1)
    assert troubles[0].message == "the value is beyond a million million"
    assert troubles[0].columns == (0,)


def test_a_value_whose_rounding_knows_no_bound_is_told():
    # Nothing, give or take a ten-millionth, divided by next to nothing.
    formula = parse("multiple_down(bust * 0, plus=1000000000) / bust / bust")

    value, error, troubles = formula.evaluate_bounded({"bust": np.array([1e-300, 10.0])}, {})

    assert np.isnan(value[0])
    assert value[1] == 0
    assert np.isfinite(error[1])
    assert [trouble.columns for trouble in troubles] == [(0,)]


def test_rounding_to_a_multiple_of_nothing_is_told():
    _, _, troubles = parse("multiple(10, of=bust)").evaluate_bounded({"bust": np.array([0.0, -2.0, 2.0])}, {})

    assert [(t.message, t.columns) for t in troubles] == [("of= is not above zero", (0, 1))]


# Units ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("multiple((bust + ease) / 2 * body.st, of=2)", ST),
        ("multiple(32 * body.row, of=2)", ROW),  # a bare number beside a gauge is the length it lacks
        ("2 * back_sts / body.st", CM),
        ("20 / body.st", CM),
        ("back_sts * yoke_rows", ST_ROW),
        ("32 * body.row * back_sts", ST_ROW),
        ("12", ST),
        ("12", CM),
        ("front_sts / 8", ST),
        ("front_sts / back_sts", REP),
        ("front_sts / 8 + 2", ST),
        ("multiple(back_sts + 2, of=8, plus=1)", ST),
        ("repeats * 8 * back_sts / front_sts", REP),
        ("min(back_sts, 80)", ST),
        ("when(bust > 100, back_sts, back_sts - 2)", ST),
        ("when(bust > 100, 4, 2)", ST),
        ("max(10 * body.st, back_sts)", ST),
        ("20 * body.row - yoke_rows", ROW),
        ("-back_sts + front_sts", ST),
    ],
)
def test_units_come_out_as_they_should(text, unit):
    assert parse(text).check(UNITS, unit) == []


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("bust + back_sts", ST, "stitches cannot be added to centimetres"),
        ("bust - back_sts", ST, "stitches cannot be taken from centimetres"),
        (
            "min(bust, back_sts)",
            ST,
            "unlike units are put beside each other in min: centimetres and stitches",
        ),
        ("when(bust > back_sts, 1, 2)", ST, "stitches cannot be compared with centimetres"),
        (
            "when(bust > 3, bust, back_sts)",
            ST,
            "unlike units are put beside each other in when: centimetres and stitches",
        ),
        ("multiple(back_sts, of=bust)", ST, "centimetres cannot be used to round stitches"),
        ("bust * body.row", ST, "the formula comes out in rows, and stitches are wanted"),
        ("body.row", ROW, "the formula comes out in rows per centimetre, and rows are wanted"),
        ("front_sts / 8", REP, "the formula comes out in stitches, and repeats (a plain number) are wanted"),
        ("3 * back_sts", ST_ROW, "the formula comes out in stitches, and stitches × rows are wanted"),
        ("2 * bust", ST, "the formula comes out in centimetres, and stitches are wanted"),
        ("back_sts * back_sts", ST, "the formula comes out in stitches^2, and stitches are wanted"),
    ],
)
def test_unlike_units_are_refused_by_name(text, unit, message):
    assert refusal(text, unit).message == message


def test_a_wrong_unit_says_what_to_multiply_with():
    assert refusal("bust + ease").mend == "multiply by a stitch gauge, as in … * body.st"
    assert refusal("back_sts", CM).mend == "divide by a stitch gauge, as in … / body.st"


def test_every_unknown_name_is_told_with_the_nearest_known_one():
    errors = parse("bist + eese * body.sts".replace(".sts", ".st")).check(UNITS, CM)

    assert [str(error) for error in errors] == [
        "at character 1: there is no “bist”; did you mean bust?",
        "at character 8: there is no “eese”; did you mean ease?",
    ]


units = st.builds(Unit, st.integers(-3, 3), st.integers(-3, 3), st.integers(-3, 3))


@given(units, units, units)
@settings(deadline=None)
def test_units_multiply_like_numbers(a, b, c):
    assert a * b == b * a
    assert (a * b) * c == a * (b * c)
    assert a * REP == a
    assert (a * b) / b == a
    assert a / a == REP


@given(arithmetic(), arithmetic())
@settings(max_examples=50, deadline=None)
def test_literals_alone_take_whatever_unit_is_wanted(left, right):
    for unit in (CM, ST, ROW, REP, ST_ROW):
        assert parse(f"{left[0]} + {right[0]}").check({}, unit) == []


# Refusals -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "at character 1: the formula is empty; write what to compute, as in bust * body.st."),
        ("bust +", "at character 7: the formula stops in the middle; finish it, or take away the last sign."),
        ("(bust + 1", "at character 1: this bracket is never closed; close it with )."),
        ("bust)", "at character 5: this bracket closes nothing; take it away, or open one before it."),
        ("2 bust", "at character 3: “bust” follows without a sign between; put + - * or / before it."),
        ("2bust", "at character 1: “2bust” runs a number and a word together; write 2 * bust to multiply."),
        (
            "32cm * body.row",
            "at character 1: “32cm” carries a unit; write 32 alone; a number takes the unit of what it stands beside, "
            "and lengths are in cm.",
        ),
        ("1e5", "at character 1: “1e5” is not a plain number; write the number in full, without an exponent."),
        (".5 * bust", "at character 1: a point stands where none belongs; write decimals as in 0.5 and gauges as in body.st."),
        ("5. * bust", "at character 1: “5.” is not a number; write 5.0 or 5."),
        (
            "2,5 * bust",
            "at character 2: a comma stands where none belongs; write decimals with a point, as in 2.5, and commas only "
            "between the values of a function.",
        ),
        ("bust × 2", "at character 6: the sign “×” has no meaning in a formula; write * to multiply."),
        ("bust * 8%", "at character 9: the sign “%” has no meaning in a formula; write the share as a decimal, as in 0.08 for 8 %."),
        ("bust ** 2", "at character 6: powers are not used in formulas; write the product out, as in x * x."),
        ("body.width", "at character 1: “body.width” does not exist; after a gauge's key only .st and .row are written, as in body.st."),
        ("Bust + 1", "at character 1: “Bust” is not a name; names are lower-case words joined by single underscores: bust."),
        ("round(bust)", "at character 1: there is no function “round”; the functions are multiple, multiple_up, multiple_down, min, max, abs, when."),
        ("multipel(bust)", "at character 1: there is no function “multipel”; did you mean multiple?"),
        ("min", "at character 1: “min” is a function and needs brackets; write min(…) with its values in the brackets."),
        ("min(3)", "at character 1: min takes 2 values or more and has 1; write it as in min(a, b)."),
        ("abs(1, 2)", "at character 1: abs takes 1 value and has 2; write it as in abs(x)."),
        (
            "multiple(bust, 2)",
            "at character 1: multiple takes 1 value and has 2; write it as in multiple(x, of=2, plus=1); of and plus are "
            "written of=… and plus=….",
        ),
        ("multiple(bust, of=0)", "at character 19: of= is zero; round to a multiple of something above zero."),
        ("multiple(bust, by=2)", "at character 16: multiple takes no “by=”; only of= and plus= are known, as in multiple(x, of=4, plus=2)."),
        ("multiple(bust, of=2, of=3)", "at character 22: of= is given twice; keep one of them."),
        ("multiple(of=2, bust)", "at character 16: a plain value stands after of= or plus=; put the value to round first."),
        ("min(a=2, 3)", "at character 5: min takes no “a=”; write == to compare, or leave the name out."),
        ("when(bust, 1, 2)", "at character 6: the first place of when has no comparison; compare two values there, as in when(bust > 100, 4, 2)."),
        ("when(bust > 1, 2)", "at character 1: after its condition, when takes two values, and has 1; write it as in when(bust > 100, 4, 2)."),
        ("when(1 < bust < 2, 3, 4)", "at character 15: two comparisons stand in one condition; put one when inside another, each with one comparison."),
        ("when(bust = 1, 3, 4)", "at character 11: “=” has no meaning here; write == to compare, and of= or plus= only inside multiple."),
        (
            "bust > 3",
            "at character 6: the comparison “>” stands outside the condition of a when; compare only in the first place of "
            "when, without brackets, as in when(bust > 100, 4, 2).",
        ),
        ("9999999999", "at character 1: “9999999999” is larger than a thousand million; write a smaller number."),
        ("0.1234567890123456", "at character 1: “0.1234567890123456” has more than 15 digits; write a shorter number."),
        ("bust\n+ 1", "at character 5: a line break has no meaning in a formula; write the formula on one line."),
    ],
)  # fmt: skip
def test_a_refusal_names_the_place_and_the_mend(text, expected):
    with pytest.raises(FormulaError) as refused:
        parse(text)

    assert str(refused.value) == expected


@pytest.mark.parametrize(
    "text",
    [
        "__import__('os').system('ls')",
        "bust.__class__.__mro__",
        "body.st.st",
        "(lambda: 0)()",
        "[x for x in y]",
        "nan",
        "inf",
        "Infinity",
        "9**9**9",
        "{bust}",
        "bust; ease",
        "bust or ease",
        "'bust'",
        "0x10",
        "1_000",
        "٣ + ٤",
        "bust\x00",
        "\ufeffbust",
    ],
)
def test_nothing_but_arithmetic_is_read(text):
    errors = []
    try:
        errors = parse(text).check(UNITS, CM)
    except FormulaError as error:
        errors = [error]

    assert errors


@pytest.mark.parametrize(
    "text",
    [
        "(" * 500 + "1" + ")" * 499,
        "-" * 999 + "1",
        "abs(" * 249 + "1",
        "when(1>" * 140 + "1",
        "1" * 1000,
        "1" + "+1" * 499,
        "1" + "*1" * 499,
        "a" * 1000,
        "min(" + "1," * 497 + "1)",
        "." * 1000,
        "a" * (LONGEST_FORMULA + 1),
    ],
)
def test_long_and_deep_formulas_are_refused_or_worked_in_no_time(text):
    started = time.perf_counter()

    with contextlib.suppress(FormulaError):
        parse(text).check(UNITS, REP)

    assert time.perf_counter() - started < 2


def test_a_long_flat_sum_is_still_a_formula():
    assert value_of("1" + "+1" * 400) == 401


def test_forty_brackets_are_read_and_forty_one_are_refused():
    assert value_of("(" * 40 + "1" + ")" * 40) == 1
    with pytest.raises(FormulaError, match="nested more than 40 deep"):
        parse("(" * 41 + "1" + ")" * 41)


WORDS = (
    "bust",
    "body.st",
    "body",
    ".",
    "st",
    "of",
    "plus",
    "multiple",
    "multiple(",
    "min(",
    "max(",
    "abs(",
    "when(",
)
SIGNS = ("(", ")", "+", "-", "*", "/", ",", "=", "==", "<", "×", "\n", "_", "[", "'", "\\", " ")
PIECES = st.sampled_from([*WORDS, *SIGNS, "1", "0", "2.5", "1e9", "nan"])


@given(st.lists(PIECES, max_size=60).map("".join) | st.text(max_size=200))
@settings(max_examples=500, deadline=None)
def test_any_line_is_a_formula_or_a_refusal_within_its_own_length(text):
    refused: FormulaError | None = None
    try:
        formula = parse(text)
    except FormulaError as error:
        refused = error
    if refused is not None:
        assert 0 <= refused.start <= refused.end <= len(text)
        return
    formula.check(UNITS, ST)
    value = formula.evaluate({name: np.array([3.0, 0.0, np.nan]) for name in formula.names})
    assert not np.isinf(value).any()
