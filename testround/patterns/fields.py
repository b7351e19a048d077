"""What a sheet's page asks: its groups, their fields, and the units a designer reads and types in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

from django.utils.functional import lazy
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from testround.kernel.units import (
    YARN_WEIGHTS,
    GaugeSpan,
    LengthUnit,
    ToolSystem,
    format_gauge,
    format_length,
    parse_count,
    parse_gauge,
    parse_length,
    parse_tool,
    tool_label,
)

Kind = Literal[
    "text",
    "long",
    "key",
    "formula",
    "choice",
    "length",
    "constant",
    "gauge",
    "tool",
    "count",
    "whole",
    "amount",
]

NUMBER_UNITS = (("st", _("stitches")), ("row", _("rows")), ("rep", _("repeats")))
CONSTANT_UNITS = (
    ("", _("plain ratio")),
    ("cm", _("length")),
    ("st", _("stitches")),
    ("row", _("rows")),
    ("rep", _("repeats")),
)
# Translators: each follows “Spread along”, or “along” in a sentence.
ALONG = (
    ("rows", pgettext_lazy("spread along", "rows")),
    ("right-side-rows", pgettext_lazy("spread along", "right-side rows")),
    ("rounds", pgettext_lazy("spread along", "rounds")),
    ("stitches", pgettext_lazy("spread along", "the stitches of one row or round")),
)
_weight_label = lazy(lambda weight: weight.label, str)
YARN_WEIGHT_CHOICES = (
    ("", _("not said")),
    *((str(weight.category), _weight_label(weight)) for weight in YARN_WEIGHTS),
)
CRAFTS = (("knit", _("Knitting")), ("crochet", _("Crochet")))


@dataclass(frozen=True, slots=True)
class Column:
    """One field of a row of the sheet, as the document names it.

    ``label`` stands alone, ``within`` is the same inside of a sentence; both are looked up when they are shown.
    """

    name: str
    label: Any
    within: Any
    kind: Kind
    required: bool = False
    choices: tuple[tuple[str, str], ...] = ()
    example: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """One list of the sheet: what a row of it has, and what goes by size.

    ``one`` begins the keys that are made for its rows, ``nth`` names a row that has no name yet.
    """

    name: str
    one: str
    nth: Any
    columns: tuple[Column, ...]
    sized: Column | None = None


_KEY = Column("key", _("Key"), _("key"), "key", required=True, example="back_sts")
_LABEL = Column("label", _("Name"), _("name"), "text", required=True)
_HOW = Column("how", _("How to measure"), _("how to measure"), "long")

GROUPS: dict[str, Group] = {
    group.name: group
    for group in (
        Group(
            "gauges",
            "gauge",
            _("gauge {n}"),
            (
                _KEY,
                _LABEL,
                Column("stitches", _("Stitches"), _("stitches"), "gauge", required=True, example="22"),
                Column("rows", _("Rows"), _("rows"), "gauge", required=True, example="30"),
                Column("tool_mm", _("Hook or needle"), _("hook or needle"), "tool", example="4 mm"),
                Column(
                    "yarn_weight", _("Yarn weight"), _("yarn weight"), "choice", choices=YARN_WEIGHT_CHOICES
                ),
            ),
        ),
        Group(
            "measures",
            "measure",
            _("measure {n}"),
            (_KEY, _LABEL, _HOW),
            Column("values", _("Body measurement"), _("body measurement"), "length", True),
        ),
        Group(
            "constants",
            "constant",
            _("constant {n}"),
            (
                _KEY,
                _LABEL,
                Column("value", _("Value"), _("value"), "constant", required=True, example="8"),
                Column("unit", _("Unit"), _("unit"), "choice", choices=CONSTANT_UNITS),
            ),
        ),
        Group(
            "numbers",
            "number",
            _("number {n}"),
            (
                _KEY,
                _LABEL,
                Column("place", _("Place in the text"), _("place in the text"), "text"),
                Column("unit", _("Unit"), _("unit"), "choice", required=True, choices=NUMBER_UNITS),
                Column(
                    "formula",
                    _("Formula"),
                    _("formula"),
                    "formula",
                    required=True,
                    example="multiple(bust / 2 * body.st, of=2)",
                ),
            ),
            Column("printed", _("Printed"), _("printed"), "count"),
        ),
        Group(
            "shapings",
            "shaping",
            _("shaping {n}"),
            (
                _KEY,
                _LABEL,
                Column("place", _("Place in the text"), _("place in the text"), "text"),
                Column(
                    "start",
                    _("Stitches before"),
                    _("stitches before"),
                    "formula",
                    required=True,
                    example="cuff_sts",
                ),
                Column(
                    "end",
                    _("Stitches after"),
                    _("stitches after"),
                    "formula",
                    required=True,
                    example="sleeve_sts",
                ),
                Column(
                    "over",
                    _("Worked over"),
                    _("worked over"),
                    "formula",
                    required=True,
                    example="sleeve_rows",
                ),
                Column("along", _("Spread along"), _("spread along"), "choice", required=True, choices=ALONG),
                Column("each", _("Stitches each time"), _("stitches each time"), "whole", example="2"),
                Column("places", _("In how many places"), _("in how many places"), "whole", example="2"),
                Column("at", _("Where in the row"), _("where in the row"), "text", example="each end"),
            ),
        ),
        Group(
            "dimensions",
            "dimension",
            _("dimension {n}"),
            (
                _KEY,
                _LABEL,
                Column("tolerance", _("Tolerance"), _("tolerance"), "length", required=True),
                Column(
                    "formula",
                    _("Formula"),
                    _("formula"),
                    "formula",
                    required=True,
                    example="2 * back_sts / body.st",
                ),
                _HOW,
            ),
            Column("printed", _("Printed"), _("printed"), "length"),
        ),
        Group(
            "parts",
            "part",
            _("part {n}"),
            (
                _KEY,
                _LABEL,
                Column(
                    "stitches",
                    _("Formula"),
                    _("formula"),
                    "formula",
                    required=True,
                    example="back_sts * body_rows",
                ),
            ),
        ),
    )
}
# Rows that always stand there, one each, and carry nothing but values by size.
BY_SIZE: dict[str, Column] = {
    "yarn": Column("yarn", _("Yarn, metres"), _("yarn, metres"), "amount"),
    "hours": Column("hours", _("Hours"), _("hours"), "amount"),
}
HEAD: tuple[Column, ...] = (
    Column("title", _("Title"), _("title"), "text", required=True),
    Column("edition", _("Edition"), _("edition"), "text", required=True, example="1.0"),
    Column("craft", _("Craft"), _("craft"), "choice", required=True, choices=CRAFTS),
)
# Two fields of the sheet itself, beside its lists.
SIZES = Column("sizes", _("Sizes"), _("sizes"), "text", required=True)
PER_M2 = Column("yarn_per_m2", _("Yarn per square metre"), _("yarn per square metre"), "amount")


@dataclass(frozen=True, slots=True)
class Scale:
    """The units a designer reads and types in."""

    units: LengthUnit = "cm"
    tools: ToolSystem = "metric"

    @property
    def over(self) -> GaugeSpan:
        return "4in" if self.units == "in" else "10cm"

    @property
    def over_words(self) -> str:
        return "4 in" if self.units == "in" else "10 cm"

    def shown(self, kind: Kind, value: Any, *, craft: str, unit: str | None = None) -> str:
        """A stored value as the text of its field."""
        match kind:
            case _ if value is None:
                return ""
            case "length":
                return self._length(value)
            case "constant" if unit == "cm":
                return self._length(value)
            case "gauge":
                return _decimal(value) if self.units == "cm" else format_gauge(value, "4in")
            case "tool":
                return tool_label(value, craft, self.tools).partition(" (")[0]
            case "count" | "whole" | "amount" | "constant":
                return _decimal(value)
            case _:
                return str(value)

    def _length(self, cm: float) -> str:
        if self.units == "cm":
            return _decimal(cm)
        return ("-" if cm < 0 else "") + format_length(abs(cm), "in").removesuffix(" in")

    def read(self, kind: Kind, text: str, *, name: str, craft: str, unit: str | None = None) -> Any:
        """The value of a typed text, as the document holds it. Raises UnitsError."""
        match kind:
            case "length":
                return parse_length(text, self.units, name=name).cm
            case "constant":
                return self._constant(text, name, unit)
            case "gauge":
                return parse_gauge(text, self.over, name=name)
            case "tool":
                return parse_tool(text, craft, self.tools, name=name).mm
            case "count" | "amount":
                return parse_count(text, name=name)
            case "whole":
                return int(parse_count(text, name=name, whole=True))
            case _:
                return text

    def _constant(self, text: str, name: str, unit: str | None) -> float:
        """A constant may be nothing or less than nothing, as negative ease is."""
        bare = text.strip()
        below = bare[:1] in ("-", "−", "–")
        size = bare[1:].strip() if below else bare
        if unit == "cm" and not re.fullmatch(r"[0.,]+\s*\D*", size):
            value = parse_length(size, self.units, name=name).cm
        else:
            value = parse_count(re.sub(r"\s*(cm|in)$", "", size) if unit == "cm" else size, name=name)
        return -value if below else value


def _decimal(value: float) -> str:
    """A stored number in full, so that what is shown is what is stored."""
    return str(int(value)) if float(value).is_integer() else repr(float(value))
