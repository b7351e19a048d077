"""The text of a formula: reading it into a small tree, or refusing it with the place and the mend.

The reader is written out by hand; nothing of Python's own evaluation is used, so a hostile line can do no more
than be refused. Its length, nesting, literals and number of terms are bounded, and chains of sums and products
are kept flat, so that no line can exhaust the stack.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal as OneOf

LONGEST_FORMULA = 1000
DEEPEST_NESTING = 40
MOST_NODES = 500
LARGEST_LITERAL = 1e9
MOST_DIGITS = 15

FUNCTIONS = ("multiple", "multiple_up", "multiple_down", "min", "max", "abs", "when")
"""Names of functions; no measure, constant, number, dimension or gauge may be called so."""

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


def walk(node: Node) -> Iterator[Node]:
    yield node
    for child in _children(node):
        yield from walk(child)


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
            shown = "a line break" if sign in "\r\n" else f"the sign {quoted(sign)}"
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
            f"{quoted(text[start:stop])} is not a plain number",
            start,
            stop,
            "write the number in full, without an exponent",
        )
    if word in ("cm", "in", "st", "sts", "row", "rows", "mm"):
        return FormulaError(
            f"{quoted(text[start:stop])} carries a unit",
            start,
            stop,
            f"write {number} alone; a number takes the unit of what it stands beside, and lengths are in cm",
        )
    return FormulaError(
        f"{quoted(text[start : max(stop, end + 1)])} runs a number and a word together",
        start,
        max(stop, end + 1),
        f"write {number} * {word or '…'} to multiply",
    )


def quoted(text: str) -> str:
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
                f"the comparison {quoted(text)} stands outside the condition of a when",
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
                f"{quoted(text)} has nothing before it", start, end, "put a name or a number before it"
            )
        if text == "+":
            return FormulaError(
                "“+” has nothing before it", start, end, "leave it out, or put what it adds to before it"
            )
        return FormulaError(
            f"{quoted(text)} follows without a sign between", start, end, "put + - * or / before it"
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
                f"{quoted(token.text)} has more than {MOST_DIGITS} digits",
                token.start,
                token.end,
                "write a shorter number",
            )
        value = float(token.text)
        if value > LARGEST_LITERAL:
            raise FormulaError(
                f"{quoted(token.text)} is larger than a thousand million",
                token.start,
                token.end,
                "write a smaller number",
            )
        if self.is_sign(".") and self.next.start == token.end:
            raise FormulaError(
                f"{quoted(token.text + '.')} is not a number",
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
                f"{quoted(token.text)} is a function and needs brackets",
                token.start,
                token.end,
                f"write {token.text}(…) with its values in the brackets",
            )
        if not _KEY.fullmatch(token.text):
            raise FormulaError(
                f"{quoted(token.text)} is not a name",
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
                f"{quoted(f'{token.text}.{axis.text}')} does not exist",
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
                f"there is no function {quoted(function.text)}",
                function.start,
                function.end,
                did_you_mean(function.text, FUNCTIONS) or f"the functions are {', '.join(FUNCTIONS)}",
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
                f"{function.text} takes no {quoted(key.text + '=')}",
                key.start,
                key.end,
                "write == to compare, or leave the name out",
            )
        if key.text not in ("of", "plus"):
            raise FormulaError(
                f"{function.text} takes no {quoted(key.text + '=')}",
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


def did_you_mean(name: str, known: Iterable[str]) -> str | None:
    near = difflib.get_close_matches(name[:60], list(known), n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else None


def read(text: str) -> Node:
    """The tree of one formula.

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
    return _Parser(text).formula()
