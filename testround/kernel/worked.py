"""A formula worked by hand: with the values put in, step by step, as one writes it beside a pocket calculator.

Every sum shown is true of the numbers shown: values are written with as many decimals as it takes for whoever
redoes the sum to get the result that stands there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from testround.kernel.formula_text import (
    Choice,
    Literal,
    Multiple,
    Name,
    Negative,
    Node,
    Product,
    Sum,
    When,
)
from testround.kernel.formulas import Formula
from testround.kernel.units import rounded
from testround.kernel.words import commas, decimal_separator, gettext_noop
from testround.kernel.words import gettext as _

LEAST_DECIMALS, MOST_DECIMALS = 4, 9
"""Of what goes into a sum: no more than it takes are written."""
_LARGEST = 1e12
_SLACK = 1e-9
"""Of a step, relative: what binary arithmetic leaves beside a whole number."""

# How tightly a piece of a sum binds: what is looser than its surroundings is put in brackets.
_SUM, _PRODUCT, _WHOLE = range(3)
_LESS = gettext_noop("{left} is less than {right}, which decides what is worked")
_NOT_LESS = gettext_noop("{left} is not less than {right}, which decides what is worked")
_AT_MOST = gettext_noop("{left} is at most {right}, which decides what is worked")
_MORE = gettext_noop("{left} is more than {right}, which decides what is worked")
_AT_LEAST = gettext_noop("{left} is at least {right}, which decides what is worked")
_EQUAL = gettext_noop("{left} equals {right}, which decides what is worked")
_UNEQUAL = gettext_noop("{left} does not equal {right}, which decides what is worked")
_COMPARED = {
    "<": (_LESS, _NOT_LESS),
    "<=": (_AT_MOST, _MORE),
    ">": (_MORE, _AT_MOST),
    ">=": (_AT_LEAST, _LESS),
    "==": (_EQUAL, _UNEQUAL),
    "!=": (_UNEQUAL, _EQUAL),
}


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a check by hand: what it is about, and a sum that holds as it is written, or none."""

    says: str
    sum: str = ""

    def __str__(self) -> str:
        return f"{self.says}: {self.sum}" if self.says and self.sum else self.says or self.sum


@dataclass(frozen=True, slots=True)
class Value:
    """What a name in a formula stands for, and its unit as it is written behind the number."""

    number: float
    unit: str = ""


class Unworkable(ValueError):
    """A formula that has no finite value, or none that can be shown."""


def plain(number: float, decimals: int = 2) -> str:
    """A number for a sum, as its reader writes it, without trailing zeros: "103.4"; a minus is a true one."""
    if not math.isfinite(number):
        raise Unworkable("not a finite number")
    size = rounded(abs(number), Fraction(1, 10**decimals))
    text = f"{float(size):.{decimals}f}"
    text = text.rstrip("0").rstrip(".").replace(".", decimal_separator()) if "." in text else text
    return f"−{text}" if number < 0 and size else text


def shown(text: str) -> float:
    """The number that a text of :func:`plain` says."""
    return float(exact(text))


def exact(text: str) -> Decimal:
    """The same with all its decimals, for sums of them."""
    return Decimal(text.replace("−", "-").replace(decimal_separator(), "."))


def in_brackets(text: str) -> str:
    return f"({text})" if text.startswith("−") else text


def added(numbers: list[str]) -> str:
    """ "1 − 0.4 + 2" from "1", "−0.4" and "2"; what is nought is said too."""
    first, *rest = numbers
    return first + "".join(f" − {text[1:]}" if text.startswith("−") else f" + {text}" for text in rest)


def quotient(above: float, below: float, decimals: int = 2) -> tuple[str, str, str]:
    """Two numbers and their quotient, each with the decimals it takes for the sum to hold as shown."""
    wanted = plain(above / below, decimals)
    for k in range(1, MOST_DECIMALS + 1):
        top, bottom = plain(above, k), plain(below, k)
        if shown(bottom) and agrees(shown(top) / shown(bottom), wanted):
            return top, bottom, wanted
    raise Unworkable("too large to be shown")


def agrees(value: float, text: str) -> bool:
    """Whether a text is that value, rounded to the decimals the text has or would have at the most of two."""
    decimals = max(len(text.partition(decimal_separator())[2]), 2)
    return abs(value - shown(text)) <= 0.5 * 10.0**-decimals + 1e-12 * max(1.0, abs(value))


def work(formula: Formula, values: Mapping[str, Value], unit: str = "") -> tuple[tuple[Step, ...], str]:
    """Work a formula with these values.

    Parameters
    ----------
    formula : Formula
    values : mapping of name to Value
        A value for every name of the formula.
    unit : str
        What the result is in, as it is written behind it.

    Returns
    -------
    (tuple of Step, str)
        The lines, and the result as the last of them has it (a number of :func:`plain`).

    Raises
    ------
    Unworkable
        There is no finite value, or none whose sums can be shown to hold.
    """
    for between in range(2, MOST_DECIMALS - 1):
        for decimals in range(max(LEAST_DECIMALS, between), MOST_DECIMALS + 1):
            sheet = _Sheet(values, decimals, between)
            result = sheet.result(formula.root, unit)
            if sheet.true:
                return tuple(sheet.steps), result
    raise Unworkable("no sum holds as shown")


@dataclass(frozen=True, slots=True)
class _Piece:
    """A part of a sum as it is written, its value, the value of what is written, and how it binds."""

    text: str
    value: float
    as_written: float
    binds: int = _WHOLE

    @property
    def bare(self) -> bool:
        """A single number."""
        return self.binds == _WHOLE


class _Sheet:
    """One attempt at writing a formula out, with so many decimals of what goes in and of what comes between."""

    def __init__(self, values: Mapping[str, Value], decimals: int, between: int) -> None:
        self.values = values
        self.decimals = decimals
        self.between = between
        self.steps: list[Step] = []
        self.true = True

    def result(self, root: Node, unit: str) -> str:
        behind = f" {unit}" if unit else ""
        piece = self.of(root, unit)
        if not piece.bare:
            return self.line("", piece, 2, behind)
        if not self.steps:
            self.steps.append(Step(_("it is {value}").format(value=_bare(piece.text))))
        return plain(piece.as_written, MOST_DECIMALS)

    def line(self, says: str, piece: _Piece, decimals: int, behind: str = "") -> str:
        """Write a sum and its result; says whether it holds as written."""
        if abs(piece.value) > _LARGEST:
            raise Unworkable("beyond what can be shown")
        text = plain(piece.value, decimals)
        self.true &= agrees(piece.as_written, text)
        self.steps.append(Step(says, f"{piece.text} = {text}{behind}"))
        return text

    def settled(self, piece: _Piece, says: str = "") -> _Piece:
        """A piece as one number: a sum gets a line of its own first."""
        if piece.bare:
            return piece
        text = self.line(says, piece, self.between)
        return _Piece(in_brackets(text), piece.value, shown(text))

    def number(self, value: float, unit: str, decimals: int | None = None) -> _Piece:
        if not math.isfinite(value):
            raise Unworkable("a value is not known")
        text = plain(value, self.decimals if decimals is None else decimals)
        said = f"{text} {unit}" if unit else text
        return _Piece(in_brackets(said), value, shown(text))

    def of(self, node: Node, unit: str = "") -> _Piece:
        match node:
            case Literal(value=value):
                return self.number(value, "", MOST_DECIMALS)
            case Name(name=name):
                known = self.values[name]
                return self.number(known.number, known.unit)
            case Negative(of=inner):
                piece = self.of(inner)
                text = piece.text if piece.binds > _SUM else f"({piece.text})"
                return _Piece(
                    f"(−{text})", -piece.value, -piece.as_written, _WHOLE if piece.bare else _PRODUCT
                )
            case Sum():
                return self.of_sum(node)
            case Product():
                return self.of_product(node)
            case Multiple():
                return self.of_multiple(node, unit)
            case Choice():
                return self.of_choice(node)
            case When():
                return self.of_when(node, unit)

    def of_sum(self, node: Sum) -> _Piece:
        text, value, written = "", 0.0, 0.0
        for sign, term in zip(node.signs, node.terms, strict=True):
            piece = self.of(term)
            inner = f"({piece.text})" if piece.binds == _SUM and text else piece.text
            text += f" {'+' if sign == '+' else '−'} {inner}" if text else inner
            side = 1 if sign == "+" else -1
            value, written = value + side * piece.value, written + side * piece.as_written
        return _Piece(text, value, written, _SUM)

    def of_product(self, node: Product) -> _Piece:
        text, value, written = "", 1.0, 1.0
        for sign, factor in zip(node.signs, node.factors, strict=True):
            piece = self.of(factor)
            loose = piece.binds == _SUM or (piece.binds == _PRODUCT and text)
            inner = f"({piece.text})" if loose else piece.text
            text += f" {'×' if sign == '*' else '/'} {inner}" if text else inner
            if sign == "*":
                value, written = value * piece.value, written * piece.as_written
            elif piece.value == 0:
                raise Unworkable("the divisor is zero")
            elif piece.as_written == 0:
                self.true, value = False, value / piece.value
            else:
                value, written = value / piece.value, written / piece.as_written
        return _Piece(text, value, written, _PRODUCT)

    def of_multiple(self, node: Multiple, unit: str) -> _Piece:
        x = self.settled(self.of(node.x))
        of = self.settled(self.of(node.of)) if node.of else self.number(1.0, "")
        plus = self.settled(self.of(node.plus)) if node.plus else self.number(0.0, "")
        value = _multiple(node.direction, x.value, of.value, plus.value)
        written = _multiple(node.direction, x.as_written, of.as_written, plus.as_written)
        self.true &= abs(value - written) <= 1e-6 * max(1.0, abs(value))
        found = self.number(value, unit)
        said = _rounds(node.direction, whole=of.value == 1 and not plus.value, plus=bool(plus.value))
        self.steps.append(
            Step(
                said.format(
                    x=_bare(x.text), of=_bare(of.text), plus=_bare(plus.text), found=_bare(found.text)
                )
            )
        )
        return found

    def of_choice(self, node: Choice) -> _Piece:
        pieces = [self.settled(self.of(argument)) for argument in node.arguments]
        texts = [_bare(piece.text) for piece in pieces]
        if node.function == "abs":
            found = _Piece(texts[0].removeprefix("−"), abs(pieces[0].value), abs(pieces[0].as_written))
            self.steps.append(
                Step(_("{value} without its sign is {found}").format(value=texts[0], found=found.text))
            )
            return found
        pick = min if node.function == "min" else max
        found = pick(pieces, key=lambda piece: piece.value)
        self.true &= found.as_written == pick(piece.as_written for piece in pieces)
        said = (
            _("the smallest of {values} is {found}")
            if node.function == "min"
            else _("the largest of {values} is {found}")
        )
        self.steps.append(Step(said.format(values=commas(texts), found=_bare(found.text))))
        return found

    def of_when(self, node: When, unit: str) -> _Piece:
        left, right = self.settled(self.of(node.left)), self.settled(self.of(node.right))
        holds = _compare(node.operator, left.value, right.value)
        self.true &= holds == _compare(node.operator, left.as_written, right.as_written)
        said = _(_COMPARED[node.operator][0 if holds else 1])
        self.steps.append(Step(said.format(left=_bare(left.text), right=_bare(right.text))))
        return self.of(node.yes if holds else node.no, unit)


def _rounds(direction: str, *, whole: bool, plus: bool) -> str:
    """What is said of rounding to a multiple of one, of more, or of more plus something."""
    if direction == "nearest":
        if whole:
            return _("the whole number nearest to {x} is {found}")
        if plus:
            return _("the multiple of {of} plus {plus} nearest to {x} is {found}")
        return _("the multiple of {of} nearest to {x} is {found}")
    if direction == "up":
        if whole:
            return _("the first whole number from {x} upwards is {found}")
        if plus:
            return _("the first multiple of {of} plus {plus} from {x} upwards is {found}")
        return _("the first multiple of {of} from {x} upwards is {found}")
    if whole:
        return _("the last whole number up to {x} is {found}")
    if plus:
        return _("the last multiple of {of} plus {plus} up to {x} is {found}")
    return _("the last multiple of {of} up to {x} is {found}")


def _bare(text: str) -> str:
    return text[1:-1] if text.startswith("(") and text.endswith(")") else text


def _multiple(direction: str, x: float, of: float, plus: float) -> float:
    if of <= 0:
        raise Unworkable("of= is not above zero")
    steps = (x - plus) / of + (0.5 if direction == "nearest" else 0.0)
    slack = _SLACK * max(1.0, abs(steps))
    whole = round(steps)
    if abs(steps - whole) <= slack:
        return whole * of + plus
    return (math.ceil(steps) if direction == "up" else math.floor(steps)) * of + plus


def _compare(operator: str, left: float, right: float) -> bool:
    equal = math.isclose(left, right, rel_tol=_SLACK, abs_tol=_SLACK)
    below = not equal and left < right
    return {
        "<": below,
        "<=": below or equal,
        ">": not (below or equal),
        ">=": not below,
        "==": equal,
        "!=": not equal,
    }[operator]


def sums(steps: tuple[Step, ...]) -> Iterator[str]:
    """The sums among some lines."""
    return (step.sum for step in steps if step.sum)
