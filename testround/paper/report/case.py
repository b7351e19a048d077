"""One analysis with its round, and the words in which a report tells of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from testround.kernel.evidence import Explained
from testround.kernel.findings import Finding, FindingKind
from testround.kernel.round import Pattern, Round
from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    format_count,
    format_gauge,
    format_length,
    lengths_in,
)
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop
from testround.paper.plots import gauge_to_a_tenth
from testround.paper.report.data import Deviation, labels_of

if TYPE_CHECKING:
    from testround.kernel.analysis import Analysis

UNKNOWN = "–"
MOST_TESTERS_SHOWN = 36
"""Of one dimension. More would fill pages nobody reads; the findings file has every one."""
MOST_NAMED = 30

UNITS = {
    "st": gettext_noop("stitches"),
    "row": gettext_noop("rows"),
    "rep": gettext_noop("repeats"),
    "m": gettext_noop("metres"),
    "h": gettext_noop("hours"),
}


def unit_in_full(unit: str) -> str:
    """A unit in full; one that is not known as it is."""
    return _(UNITS[unit]) if unit in UNITS else unit


def _as_written(text: str) -> str:
    return text


@dataclass(frozen=True, slots=True)
class Decided:
    """What became of the findings and remarks: rows of the report's tables, told in the reader's words."""

    published: tuple[tuple[str, ...], ...] = ()
    """Number, where in the text, which sizes, the correction, since when."""
    drafted: tuple[tuple[str, ...], ...] = ()
    """Where in the text, which sizes, the correction as it is drafted."""
    declined: tuple[tuple[str, ...], ...] = ()
    """What the finding was about, its verdict, and the designer's reason."""
    waiting: tuple[tuple[str, ...], ...] = ()
    """What the finding is about, its verdict, and what is waited for."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a round beside what a round file says.

    Attributes
    ----------
    called : mapping of tester id to str
        What to call testers; whoever is not in it is called by their id. A name stands here only where its
        owner agreed to be named in the report.
    told : callable
        Puts words of the pattern into the stitch terms of the reader.
    decided : Decided or None
        None where nothing is known of it, as of a file.
    thanks : str
        The sentence of thanks, empty where there is none.
    """

    called: Mapping[str, str] = field(default_factory=dict)
    told: Callable[[str], str] = _as_written
    decided: Decided | None = None
    thanks: str = ""


class Case:
    """An analysis, its round, and how it is told: what every section of a report is written from."""

    def __init__(self, analysis: Analysis, round_: Round, units: LengthUnit, known: Known) -> None:
        self.analysis = analysis
        self.round = round_
        self.pattern: Pattern = round_.pattern
        self.units = units
        self.known = known
        self.told = known.told
        self.over: GaugeSpan = "4in" if units == "in" else "10cm"
        self.names = {tester.id: known.called.get(tester.id, tester.id) for tester in round_.testers}
        self.labels = {key: self.told(label) for key, label in labels_of(self.pattern).items()}
        self.numbers = {number.key: number for number in self.pattern.numbers}
        self.explained = Explained(analysis, round_, units, self.names)
        asked = {(question.tester, key) for question in analysis.questions for key in question.about}
        self.cells: dict[str, list[Deviation]] = {}
        for cell in analysis.findings.cells:
            found = Deviation(
                cell, self.names.get(cell.tester, cell.tester), (cell.tester, cell.dimension) in asked
            )
            self.cells.setdefault(cell.dimension, []).append(found)

    @property
    def span(self) -> str:
        """What a gauge is counted over."""
        return "4 in" if self.over == "4in" else "10 cm"

    @property
    def unit(self) -> str:
        """The reader's unit of length as a sentence says it: "in cm", "in inches"."""
        return _("inches") if self.units == "in" else "cm"

    def name(self, finding: Finding) -> str:
        """What a finding is about."""
        return self.label(finding.subject)

    def label(self, key: str) -> str:
        """What something of the sheet is called; a place in the text is called as it is."""
        return self.labels.get(key) or self.told(key)

    def signed(self, cm: float) -> str:
        """A difference in the reader's unit."""
        return format_length(cm, self.units, signed=True)

    def bare(self, cm: float, *, signed: bool = False) -> str:
        """A length without its unit, which the caption has."""
        return format_length(cm, self.units, signed=signed).rsplit(" ", 1)[0]

    def amount(self, value: float, finding: Finding, *, signed: bool = False) -> str:
        """A figure of a finding in the finding's unit."""
        if finding.unit == "cm":
            return format_length(value, self.units, signed=signed)
        plus = "+" if signed and value > 0 else ""
        unit = unit_in_full(finding.unit or "")
        if finding.kind is FindingKind.STATED_GAUGE:
            said = _("{n} {unit} over {span}")
            return plus + said.format(n=gauge_to_a_tenth(value, self.over), unit=unit, span=self.span)
        return f"{plus}{format_count(value)} {unit}".rstrip()

    def said(self, sentence: str) -> str:
        """A sentence of the analysis in the reader's language, unit and terms."""
        return self.told(lengths_in(sentence, self.units))

    def rests_on(self, finding: Finding) -> str:
        """The sentence on what a verdict rests on, or what it lacks."""
        return self.told(" ".join(self.explained.of(finding.id).rests))

    def in_order(self, names: Iterable[str]) -> list[str]:
        """Sizes as they are worn, then whatever else is named, in the order named."""
        given = list(dict.fromkeys(names))
        return [
            *(size for size in self.pattern.sizes if size in given),
            *(name for name in given if name not in self.pattern.sizes),
        ]

    def values(self, values: Mapping[str, float], columns: Sequence[str], unit: str) -> tuple[str, ...]:
        """The values of some sizes as they stand in a table."""
        return tuple(UNKNOWN if name not in values else self._value(values[name], unit) for name in columns)

    def _value(self, value: float, unit: str) -> str:
        if unit == "cm":
            return format_length(value, self.units)
        if unit == "gauge":
            return format_gauge(value, self.over)
        return format_count(value)

    def unit_of(self, key: str, finding: Finding | None) -> str:
        """The unit of something of the sheet: "gauge" for one over 10 cm or 4 in."""
        if finding is not None and finding.kind is FindingKind.STATED_GAUGE:
            return "gauge"
        if key in self.numbers:
            return self.numbers[key].unit
        if any(dimension.key == key for dimension in self.pattern.dimensions):
            return "cm"
        return (finding.unit if finding else None) or "count"


def shown_of(count: int, shown: int = MOST_TESTERS_SHOWN) -> str:
    """Says so when there are more testers than are shown; empty otherwise."""
    if count <= shown:
        return ""
    return _(
        "{shown} of {all} are shown; the estimates rest on all of them, and the findings file has every one."
    ).format(shown=shown, all=count)
