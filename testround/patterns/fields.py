"""What a sheet's page asks: its groups, their fields, and the units a designer reads and types in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

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

NUMBER_UNITS = (("st", "stitches"), ("row", "rows"), ("rep", "repeats"))
CONSTANT_UNITS = (
    ("", "plain ratio"),
    ("cm", "length"),
    ("st", "stitches"),
    ("row", "rows"),
    ("rep", "repeats"),
)
ALONG = (
    ("rows", "rows"),
    ("right-side-rows", "right-side rows"),
    ("rounds", "rounds"),
    ("stitches", "the stitches of one row or round"),
)
YARN_WEIGHT_CHOICES = (("", "not said"), *((str(weight.category), weight.label) for weight in YARN_WEIGHTS))
CRAFTS = (("knit", "Knitting"), ("crochet", "Crochet"))


@dataclass(frozen=True, slots=True)
class Column:
    """One field of a row of the sheet, as the document names it."""

    name: str
    label: str
    kind: Kind
    required: bool = False
    choices: tuple[tuple[str, str], ...] = ()
    example: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """One list of the sheet: what a row of it has, and what goes by size."""

    name: str
    one: str
    columns: tuple[Column, ...]
    sized: Column | None = None


_KEY = Column("key", "Key", "key", required=True, example="back_sts")
_LABEL = Column("label", "Name", "text", required=True)
_HOW = Column("how", "How to measure", "long")

GROUPS: dict[str, Group] = {
    group.name: group
    for group in (
        Group(
            "gauges",
            "gauge",
            (
                _KEY,
                _LABEL,
                Column("stitches", "Stitches", "gauge", required=True, example="22"),
                Column("rows", "Rows", "gauge", required=True, example="30"),
                Column("tool_mm", "Hook or needle", "tool", example="4 mm"),
                Column("yarn_weight", "Yarn weight", "choice", choices=YARN_WEIGHT_CHOICES),
            ),
        ),
        Group(
            "measures", "measure", (_KEY, _LABEL, _HOW), Column("values", "Body measurement", "length", True)
        ),
        Group(
            "constants",
            "constant",
            (
                _KEY,
                _LABEL,
                Column("value", "Value", "constant", required=True, example="8"),
                Column("unit", "Unit", "choice", choices=CONSTANT_UNITS),
            ),
        ),
        Group(
            "numbers",
            "number",
            (
                _KEY,
                _LABEL,
                Column("place", "Place in the text", "text"),
                Column("unit", "Unit", "choice", required=True, choices=NUMBER_UNITS),
                Column(
                    "formula",
                    "Formula",
                    "formula",
                    required=True,
                    example="multiple(bust / 2 * body.st, of=2)",
                ),
            ),
            Column("printed", "Printed", "count"),
        ),
        Group(
            "shapings",
            "shaping",
            (
                _KEY,
                _LABEL,
                Column("place", "Place in the text", "text"),
                Column("start", "Stitches before", "formula", required=True, example="cuff_sts"),
                Column("end", "Stitches after", "formula", required=True, example="sleeve_sts"),
                Column("over", "Worked over", "formula", required=True, example="sleeve_rows"),
                Column("along", "Spread along", "choice", required=True, choices=ALONG),
                Column("each", "Stitches each time", "whole", example="2"),
                Column("places", "In how many places", "whole", example="2"),
                Column("at", "Where in the row", "text", example="each end"),
            ),
        ),
        Group(
            "dimensions",
            "dimension",
            (
                _KEY,
                _LABEL,
                Column("tolerance", "Tolerance", "length", required=True),
                Column("formula", "Formula", "formula", required=True, example="2 * back_sts / body.st"),
                _HOW,
            ),
            Column("printed", "Printed", "length"),
        ),
        Group(
            "parts",
            "part",
            (
                _KEY,
                _LABEL,
                Column("stitches", "Formula", "formula", required=True, example="back_sts * body_rows"),
            ),
        ),
    )
}
# Rows that always stand there, one each, and carry nothing but values by size.
BY_SIZE: dict[str, Column] = {
    "yarn": Column("yarn", "Yarn, metres", "amount"),
    "hours": Column("hours", "Hours", "amount"),
}
HEAD: tuple[Column, ...] = (
    Column("title", "Title", "text", required=True),
    Column("edition", "Edition", "text", required=True, example="1.0"),
    Column("craft", "Craft", "choice", required=True, choices=CRAFTS),
)


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
