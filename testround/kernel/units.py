"""What a person types or reads: lengths, counts, gauges, hooks and needles, yarn weights.

Everything is kept in one unit (centimetres, stitches or rows per 10 cm, millimetres); conversion happens here
and nowhere else, exactly, on the way in, and rounding happens here, once, on the way out.

References
----------
The inch is 2.54 cm exactly: international yard and pound agreement, 1959.

Rounding for display goes to the nearest step and, half-way, to the one larger in magnitude: ISO 80000-1:2009,
annex B, rule B.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from testround.kernel.words import decimal_separator, either, pgettext, spoken
from testround.kernel.words import gettext as _

LengthUnit = Literal["cm", "in"]
GaugeSpan = Literal["10cm", "4in"]
ToolSystem = Literal["metric", "us", "uk"]

INCH_CM = Fraction(254, 100)
FOUR_INCHES_CM = 4 * INCH_CM

LONGEST_CM = 1000
LARGEST_COUNT = 1_000_000
LARGEST_GAUGE = 500
LARGEST_TOOL_MM = 50


class UnitsError(ValueError):
    """Something typed that cannot be read; the message names the field, the entry and the mend."""


# Rounding for display -------------------------------------------------------------------------------------


def rounded(value: float, step: Fraction) -> Fraction:
    """``value`` to the nearest multiple of ``step``; half-way goes to the larger in magnitude.

    The one rounding rule of everything shown (ISO 80000-1:2009, annex B, rule B). What binary arithmetic
    leaves beyond the ninth decimal is not part of the value.
    """
    # In whole billionths: a report says thousands of figures, and fractions are slow to reckon with.
    billionths = int(f"{abs(value):.9f}".replace(".", ""))
    each = 10**9 * step.numerator
    whole, rest = divmod(billionths * step.denominator, each)
    result = Fraction((whole + (2 * rest >= each)) * step.numerator, step.denominator)
    return -result if value < 0 else result


def to_half(cm: float) -> float:
    """A length as it is printed: to the half centimetre, half-way going up.

    >>> to_half(156.57), to_half(94.25), to_half(94.75)
    (156.5, 94.5, 95.0)
    """
    return math.floor(cm * 2 + 0.5) / 2


def decimal(value: float, form: str = "g") -> str:
    """A number in one of Python's forms ("g", ".1f", "+.2f"), with the reader's sign before the decimals.

    >>> decimal(4.5), decimal(2, ".1f")
    ('4.5', '2.0')
    """
    return format(value, form).replace(".", decimal_separator())


def _decimal(value: Fraction) -> str:
    """A fraction with a short decimal expansion, without trailing zeros."""
    text = f"{float(abs(value)):.3f}".rstrip("0").rstrip(".").replace(".", decimal_separator())
    return f"−{text}" if value < 0 else text


def _with_fraction(value: Fraction) -> str:
    """As people write it: 36 3/8."""
    size = abs(value)
    whole, rest = divmod(size, 1)
    if not rest:
        text = str(whole)
    elif whole:
        text = f"{whole} {rest.numerator}/{rest.denominator}"
    else:
        text = f"{rest.numerator}/{rest.denominator}"
    return f"−{text}" if value < 0 else text


# Reading numbers ------------------------------------------------------------------------------------------

_VULGAR = {
    "¼": "1/4",
    "½": "1/2",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅙": "1/6",
    "⅚": "5/6",
    "⅕": "1/5",
    "⅖": "2/5",
    "⅗": "3/5",
    "⅘": "4/5",
}
_LONGEST_ENTRY = 60
_NUMBER = re.compile(
    r"(?P<sign>[-−–]?)\s*"
    r"(?:(?P<whole>[0-9]{1,9})[\s-]+(?P<n>[0-9]{1,4})\s*[/⁄]\s*(?P<d>[0-9]{1,4})"
    r"|(?P<n_only>[0-9]{1,4})\s*[/⁄]\s*(?P<d_only>[0-9]{1,4})"
    r"|(?P<decimal>[0-9]{1,9}(?:[.,][0-9]{1,9})?|[.,][0-9]{1,9}))"
    r"\s*(?P<unit>[^\W\d_]*\.?|[\"”″'’′]{1,2})"
)
_LENGTH_WORDS: dict[str, Literal["cm", "in", "mm", "m"]] = {
    **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("in", "ins", "inch", "inches", '"', "”", "″", "''", "’’", "′′"), "in"),
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
}
_CM_PER: dict[str, Fraction] = {
    "cm": Fraction(1),
    "in": INCH_CM,
    "mm": Fraction(1, 10),
    "m": Fraction(100),
}


def _read(text: str, name: str, example: str) -> tuple[Fraction, str]:
    """The number and the word after it, in lower case; UnitsError when it is not one number."""
    entry = text.strip()
    if not entry:
        raise UnitsError(
            _("{name}: nothing is written here; write a number, as in {example}.").format(
                name=name, example=example
            )
        )
    if len(entry) > _LONGEST_ENTRY:
        raise UnitsError(
            _("{name}: that is too long for a number; write it as in {example}.").format(
                name=name, example=example
            )
        )
    spelled = entry
    for sign, fraction in _VULGAR.items():
        spelled = spelled.replace(sign, f" {fraction}")
    found = _NUMBER.fullmatch(spelled.strip())
    if found is None:
        raise UnitsError(
            _("{name}: “{entry}” cannot be read as a number; write it as in {example}.").format(
                name=name, entry=entry, example=example
            )
        )
    if found["decimal"] is not None:
        value = Fraction(found["decimal"].replace(",", ".").removesuffix("."))
    else:
        below = int(found["d"] or found["d_only"])
        if below == 0:
            raise UnitsError(
                _("{name}: “{entry}” divides by zero; write it as in {example}.").format(
                    name=name, entry=entry, example=example
                )
            )
        value = int(found["whole"] or 0) + Fraction(int(found["n"] or found["n_only"]), below)
    if found["sign"]:
        value = -value
    return value, found["unit"].lower().rstrip(".")


# Lengths --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TypedLength:
    """A length in centimetres, and what was typed, in which unit, to show it back as it was."""

    cm: float
    text: str
    unit: LengthUnit


def parse_length(text: str, unit: LengthUnit = "cm", *, name: str = "") -> TypedLength:
    """A length as a person types it: "92.5", "92,5 cm", "36 1/4", "36¼ in", '36.25"'.

    Parameters
    ----------
    text : str
        What was typed. A unit in it wins over ``unit``.
    unit : {"cm", "in"}
        The unit meant when none is typed.
    name : str
        The field's name, for the message.

    Raises
    ------
    UnitsError
        Not a length, not above zero, or longer than ten metres.
    """
    name = name or _("Length")
    example = f"{decimal(92.5)} cm" if unit == "cm" else "36 1/4 in"
    value, word = _read(text, name, example)
    if word and word not in _LENGTH_WORDS:
        raise UnitsError(
            _("{name}: “{text}” ends in an unknown unit; write cm or in, as in {example}.").format(
                name=name, text=text.strip(), example=example
            )
        )
    typed = _LENGTH_WORDS[word] if word else unit
    exact = value * _CM_PER[typed]
    if exact <= 0:
        raise UnitsError(
            _("{name}: “{text}” is not above zero; write the length, as in {example}.").format(
                name=name, text=text.strip(), example=example
            )
        )
    if exact > LONGEST_CM:
        raise UnitsError(
            _("{name}: “{text}” is more than ten metres; check the number and the unit.").format(
                name=name, text=text.strip()
            )
        )
    return TypedLength(cm=float(exact), text=text.strip(), unit="in" if typed == "in" else "cm")


def to_inches(cm: float) -> float:
    return cm / float(INCH_CM)


def format_length(cm: float, unit: LengthUnit = "cm", *, signed: bool = False) -> str:
    """A length for the page: centimetres to a tenth, inches to an eighth.

    >>> format_length(92.5), format_length(92.5, "in")
    ('92.5 cm', '36 3/8 in')
    """
    plus = "+" if signed else ""
    if unit == "in":
        inches = rounded(to_inches(cm), Fraction(1, 8))
        return f"{plus if inches > 0 else ''}{_with_fraction(inches)} in"
    tenths = rounded(cm, Fraction(1, 10))
    return f"{plus if tenths > 0 else ''}{_decimal(tenths)} cm"


@lru_cache(maxsize=16)
def _length_in_text(before_a_span: str) -> re.Pattern[str]:
    # The "10 cm" that a gauge is counted over is no length to convert.
    words = "|".join(re.escape(word) for word in before_a_span.split("|") if word)
    return re.compile(rf"(?P<span>\b(?:{words}) 10\s?cm\b)|(?P<sign>[-−+]?)(?P<value>\d+(?:[.,]\d+)?)\s?cm\b")


def lengths_in(sentence: str, unit: LengthUnit) -> str:
    """A sentence as its reader takes it: in their language, its centimetres in their unit."""
    sentence = spoken(sentence)
    if unit == "cm":
        return sentence
    # Translators: every word that stands before "10 cm" in your messages where a gauge is counted over it.
    before = pgettext("before the 10 cm of a gauge, with | between them", "per|over|in")
    # What people wrote may be in English, too.
    pattern = _length_in_text(f"{before}|per|over|in")

    def said(found: re.Match[str]) -> str:
        return found["span"] or found["sign"] + format_length(float(found["value"].replace(",", ".")), unit)

    return pattern.sub(said, sentence)


# Counts and gauges ----------------------------------------------------------------------------------------


def parse_count(text: str, *, name: str = "", whole: bool = False) -> float:
    """A count of stitches, rows or repeats: "104", or read off a swatch "22 1/2", "22.5", "22½".

    Raises
    ------
    UnitsError
        Not a number, below zero, above a million, or not whole where ``whole`` asks for it.
    """
    name = name or _("Count")
    example = "104" if whole else "22 1/2"
    value, word = _read(text, name, example)
    if word and word not in (
        "st",
        "sts",
        "stitch",
        "stitches",
        "row",
        "rows",
        "rnd",
        "rnds",
        "round",
        "rounds",
        "ch",
        "rep",
        "reps",
    ):
        raise UnitsError(
            _("{name}: “{text}” has an unknown word in it; write the number alone, as in {example}.").format(
                name=name, text=text.strip(), example=example
            )
        )
    if value < 0:
        raise UnitsError(
            _("{name}: “{text}” is below zero; write how many there are, as in {example}.").format(
                name=name, text=text.strip(), example=example
            )
        )
    if value > LARGEST_COUNT:
        raise UnitsError(
            _("{name}: “{text}” is more than a million; check the number.").format(
                name=name, text=text.strip()
            )
        )
    if whole and value.denominator != 1:
        raise UnitsError(
            _("{name}: “{text}” is not a whole number; write how many there are, as in {example}.").format(
                name=name, text=text.strip(), example=example
            )
        )
    return float(value)


def format_count(count: float) -> str:
    """A count for the page: whole as it is, halves and quarters as fractions, anything else to a tenth.

    >>> format_count(104), format_count(22.5), format_count(92.4)
    ('104', '22 1/2', '92.4')
    """
    quarters = rounded(count, Fraction(1, 4))
    if abs(float(quarters) - count) < 1e-9:
        return _with_fraction(quarters)
    return _decimal(rounded(count, Fraction(1, 10)))


def gauge_per_10cm(count: float, over: GaugeSpan) -> float:
    """Stitches or rows counted over 10 cm, or over 4 inches (10.16 cm exactly), as a gauge per 10 cm."""
    return count if over == "10cm" else float(Fraction(count) * 10 / FOUR_INCHES_CM)


def gauge_over(per_10cm: float, over: GaugeSpan) -> float:
    """A gauge per 10 cm as stitches or rows over 10 cm or 4 inches."""
    return per_10cm if over == "10cm" else float(Fraction(per_10cm) * FOUR_INCHES_CM / 10)


def parse_gauge(text: str, over: GaugeSpan = "10cm", *, name: str = "") -> float:
    """A gauge typed as stitches or rows over 10 cm or over 4 inches, as a gauge per 10 cm.

    Raises
    ------
    UnitsError
        Not a count, zero, or beyond what any yarn gives.
    """
    name = name or _("Gauge")
    count = parse_count(text, name=name)
    per_10cm = gauge_per_10cm(count, over)
    if not 0 < per_10cm <= LARGEST_GAUGE:
        raise UnitsError(
            _("{name}: “{text}” is no gauge; count stitches or rows over {span}, as in 22 1/2.").format(
                name=name, text=text.strip(), span="10 cm" if over == "10cm" else "4 in"
            )
        )
    return per_10cm


def format_gauge(per_10cm: float, over: GaugeSpan = "10cm") -> str:
    """A gauge to the nearest quarter, as in "22 1/2"; the page says over what."""
    return _with_fraction(rounded(gauge_over(per_10cm, over), Fraction(1, 4)))


# Hooks and needles ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tool:
    """One size of hook or needle: millimetres, US name, old UK number; None where there is none.

    ``odd`` sizes are made by few and are never advised.
    """

    mm: float
    us: str | None
    uk: str | None
    odd: bool = False


# Sizes in common use, as in the conversion tables that yarn and needle makers print (Craft Yarn Council,
# Standards & Guidelines for Crochet and Knitting, restated in many places). The metric size and US name of
# the sizes not marked odd were compared between such tables; the odd ones are common practice. The old UK
# number of 2.75 mm and 3.75 mm hooks differs between tables, so none is given.
HOOKS: tuple[Tool, ...] = (
    Tool(2.25, "B-1", "13"),
    Tool(2.5, None, "12"),
    Tool(2.75, "C-2", None),
    Tool(3.125, "D", None, odd=True),
    Tool(3.25, "D-3", "10"),
    Tool(3.5, "E-4", "9"),
    Tool(3.75, "F-5", None),
    Tool(4.0, "G-6", "8"),
    Tool(4.25, "G", None, odd=True),
    Tool(4.5, "7", "7"),
    Tool(5.0, "H-8", "6"),
    Tool(5.25, "I", None, odd=True),
    Tool(5.5, "I-9", "5"),
    Tool(5.75, "J", None, odd=True),
    Tool(6.0, "J-10", "4"),
    Tool(6.5, "K-10.5", "3"),
    Tool(7.0, None, "2"),
    Tool(8.0, "L-11", "0"),
    Tool(9.0, "M/N-13", "00"),
    Tool(10.0, "N/P-15", "000"),
    Tool(11.5, "P-16", None),
    Tool(12.0, None, None),
    Tool(15.0, "P/Q", None),
    Tool(15.75, "Q", None, odd=True),
    Tool(16.0, "Q", None),
    Tool(19.0, "S", None),
    Tool(25.0, "T/U/X", None),
    Tool(30.0, "T/X", None),
)
NEEDLES: tuple[Tool, ...] = (
    Tool(1.5, "000", None),
    Tool(1.75, "00", None, odd=True),
    Tool(2.0, "0", "14"),
    Tool(2.25, "1", "13"),
    Tool(2.5, "1.5", None),
    Tool(2.75, "2", "12"),
    Tool(3.0, "2.5", "11"),
    Tool(3.25, "3", "10"),
    Tool(3.5, "4", None),
    Tool(3.75, "5", "9"),
    Tool(4.0, "6", "8"),
    Tool(4.5, "7", "7"),
    Tool(5.0, "8", "6"),
    Tool(5.5, "9", "5"),
    Tool(6.0, "10", "4"),
    Tool(6.5, "10.5", "3"),
    Tool(7.0, "10.75", "2"),
    Tool(7.5, None, "1"),
    Tool(8.0, "11", "0"),
    Tool(9.0, "13", "00"),
    Tool(10.0, "15", "000"),
    Tool(12.75, "17", None),
    Tool(15.0, "19", None),
    Tool(19.0, "35", None),
    Tool(20.0, "36", None),
    Tool(25.0, "50", None),
    Tool(35.0, "70", None, odd=True),
)


def tools(craft: str) -> tuple[Tool, ...]:
    """Every size of hook ("crochet") or needle ("knit"), smallest first."""
    return HOOKS if craft == "crochet" else NEEDLES


def tool_word(craft: str) -> str:
    return _("hook") if craft == "crochet" else _("needle")


def tool_at(mm: float, craft: str) -> Tool | None:
    """The standard size of that many millimetres, if it is one."""
    return next((tool for tool in tools(craft) if abs(tool.mm - mm) < 0.005), None)


def tools_named(name: str, craft: str, system: ToolSystem) -> tuple[Tool, ...]:
    """The sizes a US or old UK name may mean; usually one, none when there is no such size.

    A hook is found by its whole name ("K-10.5"), or by its letter or its number alone where that is
    enough. Case, spaces and a "US" or "UK" beside it do not matter.
    """
    wanted = re.sub(
        r"^(us|uk)|(us|uk)$", "", re.sub(r"[\s]+", "", name.lower().replace("½", ".5").replace("1/2", ".5"))
    )
    labels = [(tool, (tool.us if system == "us" else tool.uk) or "") for tool in tools(craft)]
    whole = tuple(tool for tool, label in labels if label and label.lower() == wanted)
    if whole or system != "us" or not wanted:
        return whole
    return tuple(tool for tool, label in labels if wanted in _halves(label))


def _halves(label: str) -> Iterator[str]:
    """The ways a hook's US name is said in short: "m/n-13" as m/n, m, n and 13."""
    letters, _, number = label.lower().partition("-")
    yield letters
    yield from letters.split("/")
    if number:
        yield number


@dataclass(frozen=True, slots=True)
class TypedTool:
    """A hook or needle size in millimetres, and what was typed."""

    mm: float
    text: str


def parse_tool(text: str, craft: str, system: ToolSystem = "metric", *, name: str = "") -> TypedTool:
    """A hook or needle size as a person types it: "4", "4.5 mm", "US 7", "G-6", by their own system.

    Raises
    ------
    UnitsError
        Not a size, or a name that means more than one.
    """
    name = name or pgettext("of a hook or needle", "Size")
    entry = text.strip()
    hook = craft == "crochet"
    example = f"{decimal(4.5)} mm"
    said = entry.lower()
    if len(entry) > _LONGEST_ENTRY:
        too_long = (
            _("{name}: that is too long for a hook size; write it as in {example}.")
            if hook
            else _("{name}: that is too long for a needle size; write it as in {example}.")
        )
        raise UnitsError(too_long.format(name=name, example=example))
    if said.startswith("us") or said.endswith("us"):
        system = "us"
    elif said.startswith("uk") or said.endswith("uk"):
        system = "uk"
    elif said.endswith("mm"):
        system = "metric"
    if system == "metric":
        value, unit = _read(entry, name, example)
        if unit not in ("", "mm"):
            raise UnitsError(
                _(
                    "{name}: “{entry}” is not in millimetres; write it as in {example}, or put US or UK before "
                    "it."
                ).format(name=name, entry=entry, example=example)
            )
        if not 0 < value <= LARGEST_TOOL_MM:
            none_such = (
                _("{name}: no hook is {entry}; write its millimetres, as in {example}.")
                if hook
                else _("{name}: no needle is {entry}; write its millimetres, as in {example}.")
            )
            raise UnitsError(none_such.format(name=name, entry=entry, example=example))
        return TypedTool(float(value), entry)
    if not entry:
        nothing = (
            _("{name}: nothing is written here; write the hook size, as in {example}.")
            if hook
            else _("{name}: nothing is written here; write the needle size, as in {example}.")
        )
        raise UnitsError(nothing.format(name=name, example=example))
    found = tools_named(entry, craft, system)
    if not found:
        unknown = (
            _(
                "{name}: there is no {system} hook size “{entry}” in the table; write its millimetres, "
                "as in {example}."
            )
            if hook
            else _(
                "{name}: there is no {system} needle size “{entry}” in the table; write its millimetres, "
                "as in {example}."
            )
        )
        raise UnitsError(unknown.format(name=name, system=system.upper(), entry=entry, example=example))
    if len(found) > 1:
        sizes = either(f"{decimal(tool.mm)} mm" for tool in found)
        raise UnitsError(
            _("{name}: “{entry}” may be {sizes}; write the millimetres.").format(
                name=name, entry=entry, sizes=sizes
            )
        )
    return TypedTool(found[0].mm, entry)


def tool_label(mm: float, craft: str, system: ToolSystem = "metric") -> str:
    """A size in a person's own system, always with millimetres: "4 mm", "US G-6 (4 mm)"."""
    metric = f"{decimal(mm)} mm"
    tool = tool_at(mm, craft)
    if system == "metric" or tool is None:
        return metric
    own = tool.us if system == "us" else tool.uk
    return metric if own is None else f"{system.upper()} {own} ({metric})"


# Yarn weights ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class YarnWeight:
    """One category of the standard yarn weight system; a limit of None is open.

    Gauges are stitches over 4 in: stockinette, and ``crochet_stitch`` in US terms.
    """

    category: int
    name: str
    knit: tuple[int | None, int | None]
    needle_mm: tuple[float | None, float | None]
    crochet: tuple[int | None, int | None]
    crochet_stitch: str
    hook_mm: tuple[float | None, float | None]

    @property
    def label(self) -> str:
        """As a ball band has it: "4 Medium"."""
        return f"{self.category} {_weight_names().get(self.category, self.name)}"


def _weight_names() -> dict[int, str]:
    return {
        0: pgettext("weight of yarn", "Lace"),
        1: pgettext("weight of yarn", "Super Fine"),
        2: pgettext("weight of yarn", "Fine"),
        3: pgettext("weight of yarn", "Light"),
        4: pgettext("weight of yarn", "Medium"),
        5: pgettext("weight of yarn", "Bulky"),
        6: pgettext("weight of yarn", "Super Bulky"),
        7: pgettext("weight of yarn", "Jumbo"),
    }


# Craft Yarn Council, Standards & Guidelines for Crochet and Knitting, standard yarn weight system. Copies of
# the standard differ in the open ends of categories 6 and 7; these are the limits most of them print.
YARN_WEIGHTS: tuple[YarnWeight, ...] = (
    YarnWeight(0, "Lace", (33, 40), (1.5, 2.25), (32, 42), "dc", (1.4, 2.25)),
    YarnWeight(1, "Super Fine", (27, 32), (2.25, 3.25), (21, 32), "sc", (2.25, 3.5)),
    YarnWeight(2, "Fine", (23, 26), (3.25, 3.75), (16, 20), "sc", (3.5, 4.5)),
    YarnWeight(3, "Light", (21, 24), (3.75, 4.5), (12, 17), "sc", (4.5, 5.5)),
    YarnWeight(4, "Medium", (16, 20), (4.5, 5.5), (11, 14), "sc", (5.5, 6.5)),
    YarnWeight(5, "Bulky", (12, 15), (5.5, 8.0), (8, 11), "sc", (6.5, 9.0)),
    YarnWeight(6, "Super Bulky", (7, 11), (8.0, 12.75), (7, 9), "sc", (9.0, 15.0)),
    YarnWeight(7, "Jumbo", (None, 6), (12.75, None), (None, 6), "sc", (15.0, None)),
)


def weights_for_gauge(per_10cm: float, craft: str, *, stitch: str = "sc") -> tuple[int, ...]:
    """Categories whose gauge takes in this one, finest first; categories overlap, so there may be several.

    The standard prints whole stitches over 4 in, so the gauge is taken over 4 in and to the whole stitch.
    ``stitch`` is the crochet stitch of the swatch in US terms; lace is given in double crochet.
    """
    over_4in = int(rounded(gauge_over(per_10cm, "4in"), Fraction(1)))
    if craft == "crochet":
        return tuple(
            w.category for w in YARN_WEIGHTS if w.crochet_stitch == stitch and _holds(w.crochet, over_4in)
        )
    return tuple(w.category for w in YARN_WEIGHTS if _holds(w.knit, over_4in))


def weights_for_tool(mm: float, craft: str) -> tuple[int, ...]:
    """Categories usually worked with a hook or needle of this size."""
    return tuple(
        w.category for w in YARN_WEIGHTS if _holds(w.hook_mm if craft == "crochet" else w.needle_mm, mm)
    )


def _holds(limits: tuple[float | None, float | None], value: float) -> bool:
    low, high = limits
    return (low is None or value >= low) and (high is None or value <= high)
