"""Formulas as nobody writes them, and what has to hold of each: it is worked, or refused within its own length."""

from __future__ import annotations

import random

import numpy as np

from testround.kernel.formula_text import DEEPEST_NESTING, FUNCTIONS, LARGEST_LITERAL, LONGEST_FORMULA
from testround.kernel.formulas import LARGEST_VALUE, UNITS, FormulaError, Unit, parse
from tests.fuzz.bytes_mangled import NASTY_TEXTS, text_mangled
from tests.fuzz.running import Target, Unexpected

NAMES: dict[str, Unit] = {
    "bust": UNITS["cm"],
    "ease": UNITS["cm"],
    "back_sts": UNITS["st"],
    "body_rows": UNITS["row"],
    "body.st": UNITS["st"] / UNITS["cm"],
    "body.row": UNITS["row"] / UNITS["cm"],
    "repeats": UNITS["rep"],
}
# Usual values, nothing, less than nothing, the smallest and the largest there are, and what is unknown.
COLUMNS = np.array([76.0, 0.0, -3.5, 1e-300, 1e12, -1e12, np.nan])
VALUES = {name: COLUMNS * (1 + i / 7) for i, name in enumerate(NAMES)}
SIGNS = "()+-*/,=<>!. 0123456789_abcst×÷−\n\t'\"\\[]{}#;:^%&|~`$@"
SPELLED = [
    "bust",
    "body",
    "st",
    "of",
    "plus",
    "==",
    "<=",
    "!=",
    "**",
    "=",
    "when(",
    "multiple(",
    "min(",
    "1e9",
    "nan",
]


def _grown(rng: random.Random, deep: int) -> str:
    """A formula that follows the grammar; whether its units agree is left to chance."""
    if deep <= 0 or rng.random() < 0.15:
        if rng.random() < 0.5:
            return rng.choice(list(NAMES))
        number = rng.choice((0, 1, 2, 10, 22.5, LARGEST_LITERAL, rng.randrange(1000), rng.random()))
        return f"{number:.15g}" if rng.random() < 0.9 else f"{rng.getrandbits(80)}"
    inner = [_grown(rng, deep - 1 - rng.randrange(2)) for _ in range(3)]
    match rng.randrange(9):
        case 0 | 1:
            return f"{inner[0]} {rng.choice('+-')} {inner[1]}"
        case 2 | 3:
            return f"{inner[0]} {rng.choice('*/')} {inner[1]}"
        case 4:
            return f"({inner[0]})"
        case 5:
            return f"-{inner[0]}"
        case 6:
            sign = rng.choice(("<", "<=", ">", ">=", "==", "!="))
            return f"when({inner[0]} {sign} {inner[1]}, {inner[2]}, {rng.choice(inner)})"
        case 7:
            named = "".join(
                f", {key}={inner[i]}" for i, key in enumerate(("of", "plus")) if rng.random() < 0.5
            )
            return f"{rng.choice(('multiple', 'multiple_up', 'multiple_down'))}({inner[2]}{named})"
        case _:
            values = inner[: rng.randint(1, 3)]
            return f"{rng.choice(('min', 'max', 'abs'))}({', '.join(values)})"


def _heaped(rng: random.Random) -> str:
    """One thing many times over: brackets, signs, terms, digits, unknown names."""
    n = rng.choice((DEEPEST_NESTING, DEEPEST_NESTING + 1, 150, 400, LONGEST_FORMULA))
    piece = rng.choice(
        ("(", "-", "1+", "1*", "abs(", "min(1,", "when(1<1,", "9", ".", "aa+", "_", "body.", "×", " ")
    )
    middle = rng.choice(("1", "bust", ""))
    return piece * (n // max(1, len(piece)) if rng.random() < 0.5 else n) + middle + ")" * rng.choice((0, n))


def formula(rng: random.Random) -> str:
    """One line, good or bad, of the kinds in turn."""
    kind = rng.random()
    if kind < 0.35:
        return _grown(rng, rng.randint(1, 6))
    if kind < 0.65:
        return text_mangled(rng, _grown(rng, rng.randint(1, 5)), signs=SIGNS)
    if kind < 0.9:
        spelled = [*SPELLED, *NAMES, *FUNCTIONS, *SIGNS]
        return rng.choice(("", " ")).join(rng.choice(spelled) for _ in range(rng.randint(0, 40)))
    if kind < 0.93:
        return _heaped(rng)
    if kind < 0.97:
        return "".join(
            chr(rng.randrange(rng.choice((128, 0x500, 0x11_0000)))) for _ in range(rng.randint(0, 60))
        )
    return rng.choice(NASTY_TEXTS) + rng.choice(("", "bust"))


def worked_or_refused(text: str) -> str:
    try:
        read = parse(text)
    except FormulaError as error:
        _in_its_place(error, text)
        return "refused"
    if len(text) > LONGEST_FORMULA:
        raise Unexpected("longer than the longest")
    wrong = read.check(NAMES, UNITS["st"])
    for error in wrong:
        _in_its_place(error, text)
    if not set(read.names) <= set(NAMES):
        return "with unknown names"
    value, bound, troubles = read.evaluate_bounded(VALUES, {})
    if value.shape not in ((), COLUMNS.shape):
        raise Unexpected(f"of shape {value.shape}")
    if (
        np.isinf(value).any()
        or (np.abs(value) > LARGEST_VALUE * 1.01 * 8).any()
        or np.isinf(bound[~np.isnan(value)]).any()
    ):
        raise Unexpected("beyond the largest value")
    if any(not 0 <= column < COLUMNS.size for trouble in troubles for column in trouble.columns):
        raise Unexpected("trouble in a column that is not there")
    return "worked, with units that do not agree" if wrong else "worked"


def _in_its_place(error: FormulaError, text: str) -> None:
    if not 0 <= error.start <= error.end <= len(text):
        raise Unexpected(f"told at {error.start} to {error.end}")
    if not error.message or not error.mend:
        raise Unexpected("told without words")


TARGET = Target("formulas", formula, worked_or_refused)
