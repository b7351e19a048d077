"""Formulas: ordinary arithmetic over a pattern's names, checked for units before it is ever run.

A formula is parsed by hand into a small tree; nothing of Python's own evaluation is used, so a hostile line
can do no more than be refused. Its length, nesting, literals and number of terms are bounded, and chains of
sums and products are kept flat, so that no line can exhaust the stack.

Arithmetic is done in binary and yet gives what exact decimals would: every value carries a bound on the
rounding error gathered on its way (running error analysis), and rounding to a multiple or comparing treats
what lies within that bound of a tie as the tie. 42.5 × 1.4 therefore is 59.5, and rounds to 60.

References
----------
Higham, N. J. (2002). Accuracy and Stability of Numerical Algorithms, 2nd ed., section 3.3 (running error
analysis).
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal as OneOf

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LONGEST_FORMULA = 1000
DEEPEST_NESTING = 40
MOST_NODES = 500
LARGEST_LITERAL = 1e9
MOST_DIGITS = 15
LARGEST_VALUE = 1e12

FUNCTIONS = ("multiple", "multiple_up", "multiple_down", "min", "max", "abs", "when")
"""Names of functions; no measure, constant, number, dimension or gauge may be called so."""

UNIT_ROUNDOFF = 2.0**-53
# The bounds are of first order; twice the bound covers the products of errors that were left out.
_SAFETY = 2.0

_KEY = re.compile(r"[a-z][a-z0-9]*(?:_[a-z0-9]+)*")


class FormulaError(ValueError):
    """A formula that is refused: what is wrong, where, and what to write instead.

    Attributes
    ----------
    message : str
        What is wrong.
    start, end : int
        The characters it concerns, counted from 0, ``end`` not included.
    mend : str
        What to write instead.
    """

    def __init__(self, message: str, start: int, end: int, mend: str) -> None:
        self.message = message
        self.start = start
        self.end = end
        self.mend = mend
        stop = "" if mend.endswith("?") else "."
        super().__init__(f"at character {start + 1}: {message}; {mend}{stop}")


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
            ("stitch", "stitches", self.st),
            ("row", "rows", self.row),
            ("centimetre", "centimetres", self.cm),
        )
        above = [_power(plural, n) for _, plural, n in powers if n > 0]
        below = [_power(single, -n) for single, _, n in powers if n < 0]
        if not above and not below:
            return "repeats (a plain number)"
        return " × ".join(above or ["1"]) + "".join(f" per {name}" for name in below)


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


# The tree -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Literal:
    start: int
    end: int
    value: float


@dataclass(frozen=True, slots=True)
class Name:
    """A key, or a gauge's ``KEY.st`` or ``KEY.row``."""

    start: int
    end: int
    name: str


@dataclass(frozen=True, slots=True)
class Negative:
    start: int
    end: int
    of: Node


@dataclass(frozen=True, slots=True)
class Sum:
    """A chain of additions and subtractions; ``signs[i]`` is + or - before ``terms[i]``."""

    start: int
    end: int
    signs: tuple[OneOf["+", "-"], ...]
    terms: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Product:
    """A chain of multiplications and divisions, worked from the left."""

    start: int
    end: int
    signs: tuple[OneOf["*", "/"], ...]
    factors: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Multiple:
    """The nearest, next or last value of the form ``of``·m + ``plus``; None stands for 1 and for 0."""

    start: int
    end: int
    direction: OneOf["nearest", "up", "down"]
    x: Node
    of: Node | None
    plus: Node | None


@dataclass(frozen=True, slots=True)
class Choice:
    """``min``, ``max`` or ``abs`` of its arguments."""

    start: int
    end: int
    function: OneOf["min", "max", "abs"]
    arguments: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class When:
    """``when(left operator right, yes, no)``."""

    start: int
    end: int
    operator: str
    left: Node
    right: Node
    yes: Node
    no: Node


Node = Literal | Name | Negative | Sum | Product | Multiple | Choice | When


def _children(node: Node) -> tuple[Node, ...]:
    match node:
        case Negative(of=of):
            return (of,)
        case Sum(terms=parts) | Product(factors=parts) | Choice(arguments=parts):
            return parts
        case Multiple(x=x, of=of, plus=plus):
            return tuple(part for part in (x, of, plus) if part is not None)
        case When(left=left, right=right, yes=yes, no=no):
            return (left, right, yes, no)
    return ()


def _walk(node: Node) -> Iterator[Node]:
    yield node
    for child in _children(node):
        yield from _walk(child)


# Reading --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Token:
    kind: OneOf["number", "name", "sign", "end"]
    text: str
    start: int
    end: int


_TOKEN = re.compile(
    r"(?P<space>[ \t]+)"
    r"|(?P<number>[0-9]+(?:\.[0-9]+)?)"
    r"|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<sign><=|>=|==|!=|\*\*|[-+*/(),.=<>])"
)
_COMPARISONS = frozenset({"<", "<=", ">", ">=", "==", "!="})

# What people type from habit, and what to write instead.
_HABITS: Mapping[str, str] = {
    "×": "write * to multiply",
    "·": "write * to multiply",
    "÷": "write / to divide",
    ":": "write / to divide",
    "−": "write a plain hyphen, -, for minus",
    "–": "write a plain hyphen, -, for minus",
    "≤": "write <=",
    "≥": "write >=",
    "≠": "write !=",
    "^": "write the product out, as in x * x",
    "%": "write the share as a decimal, as in 0.08 for 8 %",
    "[": "use round brackets",
    "]": "use round brackets",
    "{": "use round brackets",
    "}": "use round brackets",
    "\n": "write the formula on one line",
    "\r": "write the formula on one line",
}


def _tokens(text: str) -> list[_Token]:
    tokens: list[_Token] = []
    at = 0
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            sign = text[at]
            shown = "a line break" if sign in "\r\n" else f"the sign {_quoted(sign)}"
            raise FormulaError(
                f"{shown} has no meaning in a formula",
                at,
                at + 1,
                _HABITS.get(sign, "use names, numbers, + - * / and brackets only"),
            )
        kind = found.lastgroup
        end = found.end()
        if kind == "number" and end < len(text) and (text[end].isalpha() or text[end] == "_"):
            raise _glued(text, at, end)
        if kind in ("number", "name", "sign"):
            tokens.append(_Token(kind, found.group(), at, end))  # type: ignore[arg-type]
        at = end
    tokens.append(_Token("end", "", len(text), len(text)))
    return tokens


def _glued(text: str, start: int, end: int) -> FormulaError:
    number = text[start:end]
    tail = re.compile(r"[A-Za-z0-9_]*").match(text, end)
    stop = tail.end() if tail else end
    word = text[end:stop]
    if re.fullmatch(r"[eE][0-9]*", word):
        return FormulaError(
            f"{_quoted(text[start:stop])} is not a plain number",
            start,
            stop,
            "write the number in full, without an exponent",
        )
    if word in ("cm", "in", "st", "sts", "row", "rows", "mm"):
        return FormulaError(
            f"{_quoted(text[start:stop])} carries a unit",
            start,
            stop,
            f"write {number} alone; a number takes the unit of what it stands beside, and lengths are in cm",
        )
    return FormulaError(
        f"{_quoted(text[start : max(stop, end + 1)])} runs a number and a word together",
        start,
        max(stop, end + 1),
        f"write {number} * {word or '…'} to multiply",
    )


def _quoted(text: str) -> str:
    shown = text if len(text) <= 40 else f"{text[:39]}…"
    return f"“{shown}”" if shown.isprintable() else f"“{shown!a}”"


class _Parser:
    def __init__(self, text: str) -> None:
        self.tokens = _tokens(text)
        self.at = 0
        self.depth = 0
        self.nodes = 0

    # Reading single tokens

    @property
    def next(self) -> _Token:
        return self.tokens[self.at]

    @property
    def after(self) -> _Token:
        return self.tokens[min(self.at + 1, len(self.tokens) - 1)]

    def take(self) -> _Token:
        token = self.next
        self.at = min(self.at + 1, len(self.tokens) - 1)
        return token

    def is_sign(self, *signs: str) -> bool:
        return self.next.kind == "sign" and self.next.text in signs

    def count(self, start: int, end: int) -> None:
        self.nodes += 1
        if self.nodes > MOST_NODES:
            raise FormulaError(
                f"the formula has more than {MOST_NODES} terms", start, end, "break it into several numbers"
            )

    def deeper(self, token: _Token) -> None:
        self.depth += 1
        if self.depth > DEEPEST_NESTING:
            raise FormulaError(
                f"brackets, functions and minus signs are nested more than {DEEPEST_NESTING} deep",
                token.start,
                token.end,
                "break the formula into several numbers",
            )

    # The grammar

    def formula(self) -> Node:
        if self.next.kind == "end":
            raise FormulaError("the formula is empty", 0, 0, "write what to compute, as in bust * body.st")
        root = self.sum()
        if self.at < len(self.tokens) - 1:
            raise self.unexpected()
        return root

    def unexpected(self) -> FormulaError:
        token = self.next
        text, start, end = token.text, token.start, token.end
        if token.kind == "end":
            return FormulaError(
                "the formula stops in the middle", start, end, "finish it, or take away the last sign"
            )
        if text in _COMPARISONS:
            return FormulaError(
                f"the comparison {_quoted(text)} stands outside the condition of a when",
                start,
                end,
                "compare only in the first place of when, without brackets, as in when(bust > 100, 4, 2)",
            )
        if text == "=":
            return FormulaError(
                "“=” has no meaning here",
                start,
                end,
                "write == to compare, and of= or plus= only inside multiple",
            )
        if text == "**":
            return FormulaError(
                "powers are not used in formulas", start, end, "write the product out, as in x * x"
            )
        if text == ",":
            return FormulaError(
                "a comma stands where none belongs",
                start,
                end,
                "write decimals with a point, as in 2.5, and commas only between the values of a function",
            )
        if text == ")":
            return FormulaError(
                "this bracket closes nothing", start, end, "take it away, or open one before it"
            )
        if text == ".":
            return FormulaError(
                "a point stands where none belongs",
                start,
                end,
                "write decimals as in 0.5 and gauges as in body.st",
            )
        if text in ("*", "/"):
            return FormulaError(
                f"{_quoted(text)} has nothing before it", start, end, "put a name or a number before it"
            )
        if text == "+":
            return FormulaError(
                "“+” has nothing before it", start, end, "leave it out, or put what it adds to before it"
            )
        return FormulaError(
            f"{_quoted(text)} follows without a sign between", start, end, "put + - * or / before it"
        )

    def sum(self) -> Node:
        first = self.product()
        signs: list[OneOf["+", "-"]] = ["+"]
        terms = [first]
        while self.is_sign("+", "-"):
            signs.append("+" if self.take().text == "+" else "-")
            terms.append(self.product())
        if len(terms) == 1:
            return first
        self.count(first.start, terms[-1].end)
        return Sum(first.start, terms[-1].end, tuple(signs), tuple(terms))

    def product(self) -> Node:
        first = self.signed()
        signs: list[OneOf["*", "/"]] = ["*"]
        factors = [first]
        while self.is_sign("*", "/"):
            signs.append("*" if self.take().text == "*" else "/")
            factors.append(self.signed())
        if len(factors) == 1:
            return first
        self.count(first.start, factors[-1].end)
        return Product(first.start, factors[-1].end, tuple(signs), tuple(factors))

    def signed(self) -> Node:
        if not self.is_sign("-"):
            return self.primary()
        token = self.take()
        self.deeper(token)
        inner = self.signed()
        self.depth -= 1
        self.count(token.start, inner.end)
        return Negative(token.start, inner.end, inner)

    def primary(self) -> Node:
        token = self.next
        if token.kind == "number":
            return self.literal()
        if token.kind == "name":
            return self.call() if self.after.text == "(" else self.name()
        if self.is_sign("("):
            self.take()
            self.deeper(token)
            inner = self.sum()
            self.close(token)
            self.depth -= 1
            return inner
        raise self.unexpected()

    def literal(self) -> Node:
        token = self.take()
        digits = len(token.text.replace(".", "").lstrip("0"))
        if digits > MOST_DIGITS:
            raise FormulaError(
                f"{_quoted(token.text)} has more than {MOST_DIGITS} digits",
                token.start,
                token.end,
                "write a shorter number",
            )
        value = float(token.text)
        if value > LARGEST_LITERAL:
            raise FormulaError(
                f"{_quoted(token.text)} is larger than a thousand million",
                token.start,
                token.end,
                "write a smaller number",
            )
        if self.is_sign(".") and self.next.start == token.end:
            raise FormulaError(
                f"{_quoted(token.text + '.')} is not a number",
                token.start,
                self.next.end,
                f"write {token.text.split('.')[0]}.0 or {token.text}",
            )
        self.count(token.start, token.end)
        return Literal(token.start, token.end, value)

    def name(self) -> Node:
        token = self.take()
        if token.text in FUNCTIONS:
            raise FormulaError(
                f"{_quoted(token.text)} is a function and needs brackets",
                token.start,
                token.end,
                f"write {token.text}(…) with its values in the brackets",
            )
        if not _KEY.fullmatch(token.text):
            raise FormulaError(
                f"{_quoted(token.text)} is not a name",
                token.start,
                token.end,
                f"names are lower-case words joined by single underscores{_lowered(token.text)}",
            )
        self.count(token.start, token.end)
        if not self.is_sign("."):
            return Name(token.start, token.end, token.text)
        self.take()
        axis = self.next
        if axis.kind != "name" or axis.text not in ("st", "row"):
            raise FormulaError(
                f"{_quoted(f'{token.text}.{axis.text}')} does not exist",
                token.start,
                max(axis.end, token.end + 1),
                f"after a gauge's key only .st and .row are written, as in {token.text}.st",
            )
        self.take()
        if self.is_sign("."):
            raise self.unexpected()
        return Name(token.start, axis.end, f"{token.text}.{axis.text}")

    def close(self, opened: _Token) -> _Token:
        if self.is_sign(")"):
            return self.take()
        if self.next.kind == "end":
            raise FormulaError("this bracket is never closed", opened.start, opened.end, "close it with )")
        raise self.unexpected()

    def call(self) -> Node:
        function = self.take()
        if function.text not in FUNCTIONS:
            raise FormulaError(
                f"there is no function {_quoted(function.text)}",
                function.start,
                function.end,
                _did_you_mean(function.text, FUNCTIONS) or f"the functions are {', '.join(FUNCTIONS)}",
            )
        opened = self.take()
        self.deeper(opened)
        node = self.when(function, opened) if function.text == "when" else self.function(function, opened)
        self.depth -= 1
        self.count(node.start, node.end)
        return node

    def function(self, function: _Token, opened: _Token) -> Node:
        arguments: list[Node] = []
        named: dict[str, Node] = {}
        if not self.is_sign(")"):
            while True:
                if self.next.kind == "name" and self.after.text == "=":
                    key = self.take()
                    self.check_named(function, key, named)
                    self.take()
                    named[key.text] = self.sum()
                elif named:
                    raise FormulaError(
                        "a plain value stands after of= or plus=",
                        self.next.start,
                        self.next.end,
                        "put the value to round first",
                    )
                else:
                    arguments.append(self.sum())
                if not self.is_sign(","):
                    break
                self.take()
        end = self.close(opened).end
        start = function.start
        match function.text:
            case "multiple" | "multiple_up" | "multiple_down":
                self.check_values(function, end, len(arguments), 1, 1, f"{function.text}(x, of=2, plus=1)")
                directions: Mapping[str, OneOf["nearest", "up", "down"]] = {
                    "multiple": "nearest",
                    "multiple_up": "up",
                    "multiple_down": "down",
                }
                of = named.get("of")
                if isinstance(of, Literal) and of.value == 0:
                    raise FormulaError(
                        "of= is zero", of.start, of.end, "round to a multiple of something above zero"
                    )
                return Multiple(start, end, directions[function.text], arguments[0], of, named.get("plus"))
            case "abs":
                self.check_values(function, end, len(arguments), 1, 1, "abs(x)")
                return Choice(start, end, "abs", tuple(arguments))
            case "min":
                self.check_values(function, end, len(arguments), 2, None, "min(a, b)")
                return Choice(start, end, "min", tuple(arguments))
            case _:
                self.check_values(function, end, len(arguments), 2, None, "max(a, b)")
                return Choice(start, end, "max", tuple(arguments))

    def check_named(self, function: _Token, key: _Token, named: Mapping[str, Node]) -> None:
        if not function.text.startswith("multiple"):
            raise FormulaError(
                f"{function.text} takes no {_quoted(key.text + '=')}",
                key.start,
                key.end,
                "write == to compare, or leave the name out",
            )
        if key.text not in ("of", "plus"):
            raise FormulaError(
                f"{function.text} takes no {_quoted(key.text + '=')}",
                key.start,
                key.end,
                "only of= and plus= are known, as in multiple(x, of=4, plus=2)",
            )
        if key.text in named:
            raise FormulaError(f"{key.text}= is given twice", key.start, key.end, "keep one of them")

    def check_values(
        self, function: _Token, end: int, given: int, least: int, most: int | None, example: str
    ) -> None:
        if given < least or (most is not None and given > most):
            wanted = f"{least} value{'s' if least > 1 else ''}" + ("" if most == least else " or more")
            extra = (
                "; of and plus are written of=… and plus=…"
                if function.text.startswith("multiple") and given > 1
                else ""
            )
            raise FormulaError(
                f"{function.text} takes {wanted} and has {given}",
                function.start,
                end,
                f"write it as in {example}{extra}",
            )

    def when(self, function: _Token, opened: _Token) -> Node:
        example = "when(bust > 100, 4, 2)"
        left = self.sum()
        if not (self.next.kind == "sign" and self.next.text in _COMPARISONS):
            if self.is_sign("="):
                raise self.unexpected()
            raise FormulaError(
                "the first place of when has no comparison",
                left.start,
                left.end,
                f"compare two values there, as in {example}",
            )
        operator = self.take().text
        right = self.sum()
        if self.next.kind == "sign" and self.next.text in _COMPARISONS:
            raise FormulaError(
                "two comparisons stand in one condition",
                self.next.start,
                self.next.end,
                "put one when inside another, each with one comparison",
            )
        branches: list[Node] = []
        while self.is_sign(",") and len(branches) < 3:
            self.take()
            branches.append(self.sum())
        end = self.close(opened).end
        if len(branches) != 2:
            raise FormulaError(
                f"after its condition, when takes two values, and has {len(branches)}",
                function.start,
                end,
                f"write it as in {example}",
            )
        return When(function.start, end, operator, left, right, branches[0], branches[1])


def _lowered(text: str) -> str:
    lowered = "_".join(word for word in text.lower().split("_") if word)
    return f": {lowered}" if _KEY.fullmatch(lowered) else ""


def _did_you_mean(name: str, known: Iterable[str]) -> str | None:
    near = difflib.get_close_matches(name[:60], list(known), n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else None


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
                verb = "added to" if signs[1] == "+" else "taken from"
                return self.alike(terms, verb if len(terms) == 2 else "added to or taken from")
            case Product():
                return self.of_product(node)
            case Multiple(x=x, of=of, plus=plus):
                return self.alike([part for part in (x, of, plus) if part is not None], "used to round")
            case Choice(arguments=arguments, function=function):
                return self.alike(arguments, f"put beside each other in {function}:")
            case When(left=left, right=right, yes=yes, no=no):
                self.alike((left, right), "compared with")
                return self.alike((yes, no), "put beside each other in when:")

    def of_name(self, node: Name) -> _Kind:
        unit = self.units.get(node.name)
        if unit is not None:
            return _Kind(unit, gauge="." in node.name)
        if node.name in self.absent:
            message, mend = self.absent[node.name]
        else:
            message = f"there is no {_quoted(node.name)}"
            mend = _did_you_mean(node.name, self.units) or (
                "use a measure, a constant, a number or a gauge of this sheet, or add it"
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

    def alike(self, parts: Sequence[Node], verb: str) -> _Kind:
        """The common kind of parts that must have one unit; an error names the first two that do not."""
        kinds = [self.of(part) for part in parts]
        known = [(part, kind) for part, kind in zip(parts, kinds, strict=True) if not kind.free]
        if any(kind.unit is None for _, kind in known):
            return _UNKNOWN
        if not known:
            return kinds[0]
        for _, candidate in known:
            unit = candidate.unit
            if unit is not None and all(kind.can_be(unit) for _, kind in known):
                return _Kind(
                    unit,
                    literal=all(kind.literal for _, kind in known),
                    gauge=all(kind.gauge for _, kind in known),
                )
        first = known[0][1].unit
        other, other_kind = next((part, kind) for part, kind in known if kind.unit != first)
        if verb.endswith(":"):
            message = f"unlike units are {verb} {first} and {other_kind.unit}"
        else:
            message = f"{other_kind.unit} cannot be {verb} {first}"
        self.errors.append(
            FormulaError(
                message,
                other.start,
                other.end,
                "bring both to one unit by multiplying or dividing with a gauge",
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
        far = np.abs(value) > LARGEST_VALUE
        if far.any():
            self.trouble(
                far,
                active,
                "the value is beyond a million million",
                node,
                "check the numbers that go into it",
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
                        "the divisor is zero",
                        factor,
                        "divide by something that is never zero",
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
                "of= is not above zero",
                node.of or node,
                "round to a multiple of something above zero",
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
                    f"the formula comes out in {kind.unit}, and {expected} are wanted",
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
        return "multiply by a stitch gauge, as in … * body.st"
    if lacking == ROW_PER_CM:
        return "multiply by a row gauge, as in … * body.row"
    if lacking == REP / ST_PER_CM:
        return "divide by a stitch gauge, as in … / body.st"
    if lacking == REP / ROW_PER_CM:
        return "divide by a row gauge, as in … / body.row"
    if lacking == CM:
        return "multiply by a length in cm"
    if lacking == REP / ST:
        return "divide by a number of stitches"
    if lacking == REP / ROW:
        return "divide by a number of rows"
    if lacking == ST:
        return "multiply by a number of stitches, such as a constant whose unit is st"
    if lacking == ROW:
        return "multiply by a number of rows, such as a constant whose unit is row"
    return "check which names it multiplies and divides"


def parse(text: str) -> Formula:
    """Read one formula.

    Raises
    ------
    FormulaError
        The text is not a formula; the error says where, why and what to write instead.
    """
    if len(text) > LONGEST_FORMULA:
        raise FormulaError(
            f"the formula is {len(text)} characters long and {LONGEST_FORMULA} are the most",
            LONGEST_FORMULA,
            len(text),
            "break it into several numbers",
        )
    root = _Parser(text).formula()
    names = tuple(dict.fromkeys(node.name for node in _walk(root) if isinstance(node, Name)))
    return Formula(text, root, names)


def constant_value(node: Node | None, otherwise: float, constants: Mapping[str, float]) -> float | None:
    """The value of a part that uses literals and constants only; None when it depends on anything else."""
    if node is None:
        return otherwise
    names = {part.name for part in _walk(node) if isinstance(part, Name)}
    if not names <= constants.keys():
        return None
    values = {name: np.asarray(constants[name], dtype=np.float64) for name in names}
    evaluation = _Evaluation(values, {})
    with np.errstate(all="ignore"):
        value, _ = evaluation.of(node, np.ones((), dtype=np.bool_))
    return float(value) if np.isfinite(value) else None
