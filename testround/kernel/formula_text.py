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

from testround.kernel.words import commas, gettext_noop, ngettext
from testround.kernel.words import gettext as _

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
        super().__init__(
            _("at character {start}: {message}; {mend}{stop}").format(
                start=start + 1, message=message, mend=mend, stop=stop
            )
        )


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
    "×": gettext_noop("write * to multiply"),
    "·": gettext_noop("write * to multiply"),
    "÷": gettext_noop("write / to divide"),
    ":": gettext_noop("write / to divide"),
    "−": gettext_noop("write a plain hyphen, -, for minus"),
    "–": gettext_noop("write a plain hyphen, -, for minus"),
    "≤": gettext_noop("write <="),
    "≥": gettext_noop("write >="),
    "≠": gettext_noop("write !="),
    "^": gettext_noop("write the product out, as in x * x"),
    "%": gettext_noop("write the share as a decimal, as in 0.08 for 8 %"),
    "[": gettext_noop("use round brackets"),
    "]": gettext_noop("use round brackets"),
    "{": gettext_noop("use round brackets"),
    "}": gettext_noop("use round brackets"),
    "\n": gettext_noop("write the formula on one line"),
    "\r": gettext_noop("write the formula on one line"),
}


_OTHERWISE = gettext_noop("use names, numbers, + - * / and brackets only")


def _tokens(text: str) -> list[_Token]:
    tokens: list[_Token] = []
    at = 0
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            sign = text[at]
            said = _("a line break has no meaning in a formula")
            if sign not in "\r\n":
                said = _("the sign {sign} has no meaning in a formula").format(sign=quoted(sign))
            raise FormulaError(
                said,
                at,
                at + 1,
                _(_HABITS.get(sign, _OTHERWISE)),
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
            _("{quoted} is not a plain number").format(quoted=quoted(text[start:stop])),
            start,
            stop,
            _("write the number in full, without an exponent"),
        )
    if word in ("cm", "in", "st", "sts", "row", "rows", "mm"):
        return FormulaError(
            _("{quoted} carries a unit").format(quoted=quoted(text[start:stop])),
            start,
            stop,
            _(
                "write {number} alone; a number takes the unit of what it stands beside, and lengths are "
                "in cm"
            ).format(number=number),
        )
    return FormulaError(
        _("{quoted} runs a number and a word together").format(
            quoted=quoted(text[start : max(stop, end + 1)])
        ),
        start,
        max(stop, end + 1),
        _("write {number} * {word} to multiply").format(number=number, word=word or "…"),
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
                _("the formula has more than {most} terms").format(most=MOST_NODES),
                start,
                end,
                _("break it into several numbers"),
            )

    def deeper(self, token: _Token) -> None:
        self.depth += 1
        if self.depth > DEEPEST_NESTING:
            raise FormulaError(
                _("brackets, functions and minus signs are nested more than {most} deep").format(
                    most=DEEPEST_NESTING
                ),
                token.start,
                token.end,
                _("break the formula into several numbers"),
            )

    # The grammar

    def formula(self) -> Node:
        if self.next.kind == "end":
            raise FormulaError(
                _("the formula is empty"), 0, 0, _("write what to compute, as in bust * body.st")
            )
        root = self.sum()
        if self.at < len(self.tokens) - 1:
            raise self.unexpected()
        return root

    def unexpected(self) -> FormulaError:
        token = self.next
        text, start, end = token.text, token.start, token.end
        if token.kind == "end":
            return FormulaError(
                _("the formula stops in the middle"), start, end, _("finish it, or take away the last sign")
            )
        if text in _COMPARISONS:
            return FormulaError(
                _("the comparison {quoted} stands outside the condition of a when").format(
                    quoted=quoted(text)
                ),
                start,
                end,
                _("compare only in the first place of when, without brackets, as in when(bust > 100, 4, 2)"),
            )
        if text == "=":
            return FormulaError(
                _("“=” has no meaning here"),
                start,
                end,
                _("write == to compare, and of= or plus= only inside multiple"),
            )
        if text == "**":
            return FormulaError(
                _("powers are not used in formulas"), start, end, _("write the product out, as in x * x")
            )
        if text == ",":
            return FormulaError(
                _("a comma stands where none belongs"),
                start,
                end,
                _("write decimals with a point, as in 2.5, and commas only between the values of a function"),
            )
        if text == ")":
            return FormulaError(
                _("this bracket closes nothing"), start, end, _("take it away, or open one before it")
            )
        if text == ".":
            return FormulaError(
                _("a point stands where none belongs"),
                start,
                end,
                _("write decimals as in 0.5 and gauges as in body.st"),
            )
        if text in ("*", "/"):
            return FormulaError(
                _("{quoted} has nothing before it").format(quoted=quoted(text)),
                start,
                end,
                _("put a name or a number before it"),
            )
        if text == "+":
            return FormulaError(
                _("“+” has nothing before it"),
                start,
                end,
                _("leave it out, or put what it adds to before it"),
            )
        return FormulaError(
            _("{quoted} follows without a sign between").format(quoted=quoted(text)),
            start,
            end,
            _("put + - * or / before it"),
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
                _("{quoted} has more than {most} digits").format(quoted=quoted(token.text), most=MOST_DIGITS),
                token.start,
                token.end,
                _("write a shorter number"),
            )
        value = float(token.text)
        if value > LARGEST_LITERAL:
            raise FormulaError(
                _("{quoted} is larger than a thousand million").format(quoted=quoted(token.text)),
                token.start,
                token.end,
                _("write a smaller number"),
            )
        if self.is_sign(".") and self.next.start == token.end:
            raise FormulaError(
                _("{quoted} is not a number").format(quoted=quoted(token.text + ".")),
                token.start,
                self.next.end,
                _("write {whole}.0 or {text}").format(whole=token.text.split(".")[0], text=token.text),
            )
        self.count(token.start, token.end)
        return Literal(token.start, token.end, value)

    def name(self) -> Node:
        token = self.take()
        if token.text in FUNCTIONS:
            raise FormulaError(
                _("{quoted} is a function and needs brackets").format(quoted=quoted(token.text)),
                token.start,
                token.end,
                _("write {text}(…) with its values in the brackets").format(text=token.text),
            )
        if not _KEY.fullmatch(token.text):
            raise FormulaError(
                _("{quoted} is not a name").format(quoted=quoted(token.text)),
                token.start,
                token.end,
                _as_names_are(token.text),
            )
        self.count(token.start, token.end)
        if not self.is_sign("."):
            return Name(token.start, token.end, token.text)
        self.take()
        axis = self.next
        if axis.kind != "name" or axis.text not in ("st", "row"):
            raise FormulaError(
                _("{quoted} does not exist").format(quoted=quoted(f"{token.text}.{axis.text}")),
                token.start,
                max(axis.end, token.end + 1),
                _("after a gauge's key only .st and .row are written, as in {text}.st").format(
                    text=token.text
                ),
            )
        self.take()
        if self.is_sign("."):
            raise self.unexpected()
        return Name(token.start, axis.end, f"{token.text}.{axis.text}")

    def close(self, opened: _Token) -> _Token:
        if self.is_sign(")"):
            return self.take()
        if self.next.kind == "end":
            raise FormulaError(
                _("this bracket is never closed"), opened.start, opened.end, _("close it with )")
            )
        raise self.unexpected()

    def call(self) -> Node:
        function = self.take()
        if function.text not in FUNCTIONS:
            raise FormulaError(
                _("there is no function {quoted}").format(quoted=quoted(function.text)),
                function.start,
                function.end,
                did_you_mean(function.text, FUNCTIONS)
                or _("the functions are {functions}").format(functions=commas(FUNCTIONS)),
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
                        _("a plain value stands after of= or plus="),
                        self.next.start,
                        self.next.end,
                        _("put the value to round first"),
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
                self.check_values(
                    function,
                    end,
                    len(arguments),
                    1,
                    1,
                    f"{function.text}(x, of=2, plus=1)",
                )
                directions: Mapping[str, OneOf["nearest", "up", "down"]] = {
                    "multiple": "nearest",
                    "multiple_up": "up",
                    "multiple_down": "down",
                }
                of = named.get("of")
                if isinstance(of, Literal) and of.value == 0:
                    raise FormulaError(
                        _("of= is zero"), of.start, of.end, _("round to a multiple of something above zero")
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
                _("{text} takes no {quoted}").format(text=function.text, quoted=quoted(key.text + "=")),
                key.start,
                key.end,
                _("write == to compare, or leave the name out"),
            )
        if key.text not in ("of", "plus"):
            raise FormulaError(
                _("{text} takes no {quoted}").format(text=function.text, quoted=quoted(key.text + "=")),
                key.start,
                key.end,
                _("only of= and plus= are known, as in multiple(x, of=4, plus=2)"),
            )
        if key.text in named:
            raise FormulaError(
                _("{text}= is given twice").format(text=key.text), key.start, key.end, _("keep one of them")
            )

    def check_values(
        self, function: _Token, end: int, given: int, least: int, most: int | None, example: str
    ) -> None:
        if given < least or (most is not None and given > most):
            if most == least:
                message = ngettext(
                    "{function} takes {n} value and has {given}",
                    "{function} takes {n} values and has {given}",
                    least,
                )
            else:
                message = ngettext(
                    "{function} takes {n} value or more and has {given}",
                    "{function} takes {n} values or more and has {given}",
                    least,
                )
            mend = _("write it as in {example}")
            if function.text.startswith("multiple") and given > 1:
                mend = _("write it as in {example}; of and plus are written of=… and plus=…")
            raise FormulaError(
                message.format(function=function.text, n=least, given=given),
                function.start,
                end,
                mend.format(example=example),
            )

    def when(self, function: _Token, opened: _Token) -> Node:
        example = "when(bust > 100, 4, 2)"
        left = self.sum()
        if not (self.next.kind == "sign" and self.next.text in _COMPARISONS):
            if self.is_sign("="):
                raise self.unexpected()
            raise FormulaError(
                _("the first place of when has no comparison"),
                left.start,
                left.end,
                _("compare two values there, as in {example}").format(example=example),
            )
        operator = self.take().text
        right = self.sum()
        if self.next.kind == "sign" and self.next.text in _COMPARISONS:
            raise FormulaError(
                _("two comparisons stand in one condition"),
                self.next.start,
                self.next.end,
                _("put one when inside another, each with one comparison"),
            )
        branches: list[Node] = []
        while self.is_sign(",") and len(branches) < 3:
            self.take()
            branches.append(self.sum())
        end = self.close(opened).end
        if len(branches) != 2:
            raise FormulaError(
                _("after its condition, when takes two values, and has {given}").format(given=len(branches)),
                function.start,
                end,
                _("write it as in {example}").format(example=example),
            )
        return When(function.start, end, operator, left, right, branches[0], branches[1])


def _as_names_are(text: str) -> str:
    lowered = "_".join(word for word in text.lower().split("_") if word)
    if _KEY.fullmatch(lowered):
        return _("names are lower-case words joined by single underscores: {name}").format(name=lowered)
    return _("names are lower-case words joined by single underscores")


def did_you_mean(name: str, known: Iterable[str]) -> str | None:
    near = difflib.get_close_matches(name[:60], list(known), n=1, cutoff=0.6)
    return _("did you mean {near}?").format(near=near[0]) if near else None


def read(text: str) -> Node:
    """The tree of one formula.

    Raises
    ------
    FormulaError
        The text is not a formula; the error says where, why and what to write instead.
    """
    if len(text) > LONGEST_FORMULA:
        raise FormulaError(
            _("the formula is {n} characters long and {most} are the most").format(
                n=len(text), most=LONGEST_FORMULA
            ),
            LONGEST_FORMULA,
            len(text),
            _("break it into several numbers"),
        )
    return _Parser(text).formula()
