"""Formulas: ordinary arithmetic over a pattern's names, checked for units before it is ever run.

Arithmetic is done in binary and yet gives what exact decimals would: every value carries a bound on the
rounding error gathered on its way (running error analysis), and rounding to a multiple or comparing treats
what lies within that bound of a tie as the tie. 42.5 × 1.4 therefore is 59.5, and rounds to 60.

References
----------
Higham, N. J. (2002). Accuracy and Stability of Numerical Algorithms, 2nd ed., section 3.3 (running error
analysis).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from testround.kernel.formula_text import (
    Choice,
    FormulaError,
    Literal,
    Multiple,
    Name,
    Negative,
    Node,
    Product,
    Sum,
    When,
    did_you_mean,
    quoted,
    read,
    walk,
)
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LARGEST_VALUE = 1e12

_BESIDE = gettext_noop("unlike units are put beside each other in {function}: {that} and {this}")

UNIT_ROUNDOFF = 2.0**-53
# The bounds are of first order; twice the bound covers the products of errors that were left out.
_SAFETY = 2.0


# Units ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as a product of powers of centimetre, stitch and row. Repeats and plain ratios have none."""

    cm: int = 0
    st: int = 0
    row: int = 0

    def __mul__(self, other: Unit) -> Unit:
        return Unit(self.cm + other.cm, self.st + other.st, self.row + other.row)

    def __truediv__(self, other: Unit) -> Unit:
        return Unit(self.cm - other.cm, self.st - other.st, self.row - other.row)

    def __str__(self) -> str:
        """The unit in words, as in "stitches per centimetre"."""
        powers = (
            (_("stitch"), _("stitches"), self.st),
            (_("row"), _("rows"), self.row),
            (_("centimetre"), _("centimetres"), self.cm),
        )
        above = [_power(plural, n) for _one, plural, n in powers if n > 0]
        below = [_power(single, -n) for single, _many, n in powers if n < 0]
        if not above and not below:
            return _("repeats (a plain number)")
        said = " × ".join(above or ["1"])
        for name in below:
            # Translators: a unit, as in "stitches per centimetre".
            said = _("{above} per {below}").format(above=said, below=name)
        return said


def _power(name: str, n: int) -> str:
    return name if n == 1 else f"{name}^{n}"


CM = Unit(cm=1)
ST = Unit(st=1)
ROW = Unit(row=1)
REP = Unit()
ST_PER_CM = ST / CM
ROW_PER_CM = ROW / CM
ST_ROW = ST * ROW

UNITS: Mapping[str, Unit] = {"cm": CM, "st": ST, "row": ROW, "rep": REP}
"""Units by the words of the round file."""

# Units of a formula ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Kind:
    """What unit checking knows of a part.

    ``free``: made of literals only, takes any unit. ``literal`` and ``gauge``: a literal, a gauge among its
    factors. ``unit`` None: unknown after an error already reported; agrees with anything.
    """

    unit: Unit | None
    free: bool = False
    literal: bool = False
    gauge: bool = False

    def can_be(self, unit: Unit) -> bool:
        """Whether this part can be taken in that unit.

        "32 * body.row" is a length times a gauge whose length is written as a bare number: a literal beside a
        gauge may stand for the one length or count that the gauge still lacks.
        """
        if self.unit is None or self.free or self.unit == unit:
            return True
        if not (self.literal and self.gauge):
            return False
        lacking = unit / self.unit
        return (
            (lacking == CM and self.unit.cm < 0)
            or (lacking == ST and self.unit.st < 0)
            or (lacking == ROW and self.unit.row < 0)
        )


_UNKNOWN = _Kind(None)


class _UnitCheck:
    def __init__(self, units: Mapping[str, Unit], absent: Mapping[str, tuple[str, str]]) -> None:
        self.units = units
        self.absent = absent
        self.errors: list[FormulaError] = []

    def of(self, node: Node) -> _Kind:
        match node:
            case Literal():
                return _Kind(REP, free=True, literal=True)
            case Name():
                return self.of_name(node)
            case Negative(of=inner):
                return self.of(inner)
            case Sum(terms=terms, signs=signs):
                if len(terms) > 2:
                    unlike = gettext_noop("{this} cannot be added to or taken from {that}")
                elif signs[1] == "+":
                    unlike = gettext_noop("{this} cannot be added to {that}")
                else:
                    unlike = gettext_noop("{this} cannot be taken from {that}")
                return self.alike(terms, unlike)
            case Product():
                return self.of_product(node)
            case Multiple(x=x, of=of, plus=plus):
                parts = [part for part in (x, of, plus) if part is not None]
                return self.alike(parts, gettext_noop("{this} cannot be used to round {that}"))
            case Choice(arguments=arguments, function=function):
                return self.alike(arguments, _BESIDE, function)
            case When(left=left, right=right, yes=yes, no=no):
                self.alike((left, right), gettext_noop("{this} cannot be compared with {that}"))
                return self.alike((yes, no), _BESIDE, "when")

    def of_name(self, node: Name) -> _Kind:
        unit = self.units.get(node.name)
        if unit is not None:
            return _Kind(unit, gauge="." in node.name)
        if node.name in self.absent:
            message, mend = self.absent[node.name]
        else:
            message = _("there is no {quoted}").format(quoted=quoted(node.name))
            mend = did_you_mean(node.name, self.units) or (
                _("use a measure, a constant, a number or a gauge of this sheet, or add it")
            )
        self.errors.append(FormulaError(message, node.start, node.end, mend))
        return _UNKNOWN

    def of_product(self, node: Product) -> _Kind:
        kinds = [self.of(factor) for factor in node.factors]
        unit: Unit | None = REP
        for sign, kind in zip(node.signs, kinds, strict=True):
            if unit is None or kind.unit is None:
                unit = None
            elif not kind.free:
                unit = unit * kind.unit if sign == "*" else unit / kind.unit
        return _Kind(
            unit,
            free=all(kind.free for kind in kinds),
            literal=any(kind.literal and sign == "*" for sign, kind in zip(node.signs, kinds, strict=True)),
            gauge=any(kind.gauge for kind in kinds),
        )

    def alike(self, parts: Sequence[Node], unlike: str, function: str = "") -> _Kind:
        """The common kind of parts that must have one unit; an error names the first two that do not.

        ``unlike`` is the message that says so.
        """
        kinds = [self.of(part) for part in parts]
        known = [(part, kind) for part, kind in zip(parts, kinds, strict=True) if not kind.free]
        if any(kind.unit is None for _part, kind in known):
            return _UNKNOWN
        if not known:
            return kinds[0]
        for _part, candidate in known:
            unit = candidate.unit
            if unit is not None and all(kind.can_be(unit) for _part, kind in known):
                return _Kind(
                    unit,
                    literal=all(kind.literal for _part, kind in known),
                    gauge=all(kind.gauge for _part, kind in known),
                )
        first = known[0][1].unit
        other, other_kind = next((part, kind) for part, kind in known if kind.unit != first)
        self.errors.append(
            FormulaError(
                _(unlike).format(this=other_kind.unit, that=first, function=function),
                other.start,
                other.end,
                _("bring both to one unit by multiplying or dividing with a gauge"),
            )
        )
        return _UNKNOWN


# Evaluation -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Trouble:
    """A column (a size or a tester) in which a part of a formula has no usable value."""

    message: str
    start: int
    end: int
    mend: str
    columns: tuple[int, ...]


_Bounded = tuple[FloatArray, FloatArray]


class _Evaluation:
    def __init__(self, values: Mapping[str, FloatArray], errors: Mapping[str, FloatArray]) -> None:
        self.values = values
        self.errors = errors
        self.troubles: list[tuple[BoolArray, str, Node, str]] = []

    def of(self, node: Node, active: BoolArray) -> _Bounded:
        match node:
            case Literal(value=number):
                value = np.asarray(number, dtype=np.float64)
                return value, np.abs(value) * UNIT_ROUNDOFF
            case Name(name=name):
                value = self.values[name]
                error = self.errors.get(name)
                return value, np.abs(value) * UNIT_ROUNDOFF if error is None else error
            case Negative(of=inner):
                value, error = self.of(inner, active)
                return -value, error
            case Sum():
                return self.of_sum(node, active)
            case Product():
                return self.of_product(node, active)
            case Multiple():
                return self.of_multiple(node, active)
            case Choice():
                return self.of_choice(node, active)
            case When():
                return self.of_when(node, active)

    def trouble(self, bad: BoolArray, active: BoolArray, message: str, node: Node, mend: str) -> None:
        columns = bad & active
        if columns.any():
            self.troubles.append((columns, message, node, mend))

    def within_reach(self, value: FloatArray, error: FloatArray, node: Node, active: BoolArray) -> _Bounded:
        # Of a divisor next to nothing the bound of rounding overflows, though the value itself does not.
        far = (np.abs(value) > LARGEST_VALUE) | (np.isfinite(value) & ~np.isfinite(error))
        if far.any():
            self.trouble(
                far,
                active,
                _("the value is beyond a million million"),
                node,
                _("check the numbers that go into it"),
            )
            return np.where(far, np.nan, value), np.where(far, np.nan, error)
        return value, error

    def of_sum(self, node: Sum, active: BoolArray) -> _Bounded:
        value, error = self.of(node.terms[0], active)
        for sign, term in zip(node.signs[1:], node.terms[1:], strict=True):
            other, other_error = self.of(term, active)
            value = value + other if sign == "+" else value - other
            error = error + other_error + np.abs(value) * UNIT_ROUNDOFF
        return self.within_reach(value, error, node, active)

    def of_product(self, node: Product, active: BoolArray) -> _Bounded:
        value, error = self.of(node.factors[0], active)
        for sign, factor in zip(node.signs[1:], node.factors[1:], strict=True):
            other, other_error = self.of(factor, active)
            if sign == "*":
                error = np.abs(value) * other_error + np.abs(other) * error
                value = value * other
            else:
                nothing = np.abs(other) <= _SAFETY * other_error
                if nothing.any():
                    self.trouble(
                        nothing,
                        active,
                        _("the divisor is zero"),
                        factor,
                        _("divide by something that is never zero"),
                    )
                    other = np.where(nothing, np.nan, other)
                value = value / other
                error = (error + np.abs(value) * other_error) / np.abs(other)
            error = error + np.abs(value) * UNIT_ROUNDOFF
            value, error = self.within_reach(value, error, node, active)
        return value, error

    def of_multiple(self, node: Multiple, active: BoolArray) -> _Bounded:
        x, x_error = self.of(node.x, active)
        one, nought = np.asarray(1.0), np.asarray(0.0)
        of, of_error = (one, nought) if node.of is None else self.of(node.of, active)
        plus, plus_error = (nought, nought) if node.plus is None else self.of(node.plus, active)
        wrong = of <= _SAFETY * of_error
        if wrong.any():
            self.trouble(
                wrong,
                active,
                _("of= is not above zero"),
                node.of or node,
                _("round to a multiple of something above zero"),
            )
            of = np.where(wrong, np.nan, of)
        shifted = x - plus
        steps = shifted / of
        slack = x_error + plus_error + np.abs(shifted) * UNIT_ROUNDOFF
        slack = _SAFETY * ((slack + np.abs(steps) * of_error) / of + np.abs(steps) * UNIT_ROUNDOFF)
        if node.direction == "nearest":
            steps = steps + 0.5
        whole = np.rint(steps)
        onward = np.ceil(steps) if node.direction == "up" else np.floor(steps)
        count = np.where(np.abs(steps - whole) <= slack, whole, onward)
        value = count * of + plus
        error = np.abs(count) * of_error + plus_error + np.abs(value) * UNIT_ROUNDOFF
        return self.within_reach(value, error, node, active)

    def of_choice(self, node: Choice, active: BoolArray) -> _Bounded:
        value, error = self.of(node.arguments[0], active)
        if node.function == "abs":
            return np.abs(value), error
        pick = np.minimum if node.function == "min" else np.maximum
        for argument in node.arguments[1:]:
            other, other_error = self.of(argument, active)
            value, error = pick(value, other), np.maximum(error, other_error)
        return value, error

    def of_when(self, node: When, active: BoolArray) -> _Bounded:
        left, left_error = self.of(node.left, active)
        right, right_error = self.of(node.right, active)
        apart = left - right
        equal = np.abs(apart) <= _SAFETY * (left_error + right_error)
        below = ~equal & (apart < 0)
        above = ~equal & (apart > 0)
        holds = {
            "<": below,
            "<=": below | equal,
            ">": above,
            ">=": above | equal,
            "==": equal,
            "!=": ~equal,
        }[node.operator]
        unsaid = np.isnan(apart)
        yes, yes_error = self.of(node.yes, active & holds & ~unsaid)
        no, no_error = self.of(node.no, active & ~holds & ~unsaid)
        value = np.where(unsaid, np.nan, np.where(holds, yes, no))
        return value, np.where(holds, yes_error, no_error)


@dataclass(frozen=True, slots=True)
class Formula:
    """A parsed formula. Make one with :func:`parse`."""

    text: str
    root: Node
    names: tuple[str, ...]
    """Every name in it, in order of appearance, each once."""

    def check(
        self, units: Mapping[str, Unit], expected: Unit, absent: Mapping[str, tuple[str, str]] | None = None
    ) -> list[FormulaError]:
        """What is wrong with its names and units.

        Parameters
        ----------
        units : mapping of name to Unit
            Every name the formula may use.
        expected : Unit
            What the formula must come out in.
        absent : mapping of name to (message, mend), optional
            Names it may not use although they mean something elsewhere on the sheet, and what to say of them.

        Returns
        -------
        list of FormulaError
            Empty when the formula is good; unknown names and unlike units, each once.
        """
        check = _UnitCheck(units, absent or {})
        kind = check.of(self.root)
        if kind.unit is not None and not kind.can_be(expected):
            check.errors.append(
                FormulaError(
                    _("the formula comes out in {unit}, and {expected} are wanted").format(
                        unit=kind.unit, expected=expected
                    ),
                    self.root.start,
                    self.root.end,
                    _how_to_reach(kind.unit, expected),
                )
            )
        return check.errors

    def evaluate(self, values: Mapping[str, FloatArray]) -> FloatArray:
        """The value in every column.

        Parameters
        ----------
        values : mapping of name to array of float, shape () or (n,)
            A value for every name in :attr:`names`; NaN where unknown.

        Returns
        -------
        array of float, shape () or (n,)
            NaN where a needed value is NaN, a divisor is zero or the result is out of reach.
        """
        return self.evaluate_bounded(values, {})[0]

    def evaluate_bounded(
        self, values: Mapping[str, FloatArray], errors: Mapping[str, FloatArray]
    ) -> tuple[FloatArray, FloatArray, tuple[Trouble, ...]]:
        """The value in every column, a bound on its rounding error, and where there is no usable value.

        Parameters
        ----------
        values : mapping of name to array of float, shape () or (n,)
        errors : mapping of name to array of float
            Bounds on the rounding error of values; a name without one is taken as a decimal, correct to the
            last bit.
        """
        evaluation = _Evaluation(values, errors)
        shapes = [np.shape(values[name]) for name in self.names]
        active = np.ones(np.broadcast_shapes(*shapes), dtype=np.bool_)
        with np.errstate(all="ignore"):
            value, error = evaluation.of(self.root, active)
        troubles = tuple(
            Trouble(message, node.start, node.end, mend, tuple(int(j) for j in np.flatnonzero(columns)))
            for columns, message, node, mend in evaluation.troubles
        )
        return np.asarray(value, dtype=np.float64), np.asarray(error, dtype=np.float64), troubles


def _how_to_reach(unit: Unit, expected: Unit) -> str:
    lacking = expected / unit
    if lacking == ST_PER_CM:
        return _("multiply by a stitch gauge, as in … * body.st")
    if lacking == ROW_PER_CM:
        return _("multiply by a row gauge, as in … * body.row")
    if lacking == REP / ST_PER_CM:
        return _("divide by a stitch gauge, as in … / body.st")
    if lacking == REP / ROW_PER_CM:
        return _("divide by a row gauge, as in … / body.row")
    if lacking == CM:
        return _("multiply by a length in cm")
    if lacking == REP / ST:
        return _("divide by a number of stitches")
    if lacking == REP / ROW:
        return _("divide by a number of rows")
    if lacking == ST:
        return _("multiply by a number of stitches, such as a constant whose unit is st")
    if lacking == ROW:
        return _("multiply by a number of rows, such as a constant whose unit is row")
    return _("check which names it multiplies and divides")


def parse(text: str) -> Formula:
    """Read one formula.

    Raises
    ------
    FormulaError
        The text is not a formula; the error says where, why and what to write instead.
    """
    root = read(text)
    names = tuple(dict.fromkeys(node.name for node in walk(root) if isinstance(node, Name)))
    return Formula(text, root, names)


def constant_value(node: Node | None, otherwise: float, constants: Mapping[str, float]) -> float | None:
    """The value of a part that uses literals and constants only; None when it depends on anything else."""
    if node is None:
        return otherwise
    names = {part.name for part in walk(node) if isinstance(part, Name)}
    if not names <= constants.keys():
        return None
    values = {name: np.asarray(constants[name], dtype=np.float64) for name in names}
    evaluation = _Evaluation(values, {})
    with np.errstate(all="ignore"):
        value, _ = evaluation.of(node, np.ones((), dtype=np.bool_))
    return float(value) if np.isfinite(value) else None
