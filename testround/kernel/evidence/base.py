"""What every kind of evidence is made of: its shape, the words it is said in, and what it is worked from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from testround.kernel.amounts import ANY_SIZE
from testround.kernel.analysis import Analysis
from testround.kernel.correction import numbers_now
from testround.kernel.discrepancy import Discrepancies, discrepancies
from testround.kernel.findings import Cell, Finding, FindingKind, Verdict
from testround.kernel.formulas import parse
from testround.kernel.gauge import AXES
from testround.kernel.round import Dimension, FabricState, Round, Swatch, Tester
from testround.kernel.sheet import Sheet
from testround.kernel.units import GaugeSpan, LengthUnit, decimal, format_length, gauge_over, rounded
from testround.kernel.verdict import Agreed, worked_counts
from testround.kernel.words import and_more, commas, decimal_separator, pgettext
from testround.kernel.words import gettext as _
from testround.kernel.worked import MOST_DECIMALS, Step, Value, exact, in_brackets, plain, work

FloatArray = NDArray[np.float64]
T = TypeVar("T")

MOST_ROWS = 60
"""Testers in one table; more would fill pages nobody reads, and the findings file has every one."""
MOST_NAMED = 30
"""Testers named in a sentence; the table has the others."""


def unit_word(unit: str) -> str:
    """What is counted: stitches, rows or repeats."""
    return {"row": _("rows"), "rep": _("repeats")}.get(unit, _("stitches"))


def short_unit(unit: str | None) -> str:
    """A unit as it stands behind a number in a sum."""
    match unit:
        case "st":
            return pgettext("behind a number in a sum", "st")
        case "row":
            return pgettext("behind a number in a sum", "rows")
        case "rep":
            return pgettext("behind a number in a sum", "reps")
    return unit or ""


def size_of(size: str | None) -> str:
    """A size in a table, or that there is none."""
    return size or pgettext("size of a piece made to measure", "own")


@dataclass(frozen=True, slots=True)
class Figures:
    """A table of testers (or sizes), and single figures with their names.

    Of very many testers the rows are of those furthest off; ``more`` is how many there are besides.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    facts: tuple[tuple[str, str], ...] = ()
    more: int = 0


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one finding rests on, as text in its reader's unit.

    Attributes
    ----------
    finding : str
        Its id.
    lead : str
        What is checked, and on whom.
    steps : tuple of Step
        The check by hand, line by line.
    close : tuple of str
        What the others show, and how the verdict follows; a sentence each.
    figures : Figures or None
    rests : tuple of str
        Of ``close``, what a finding that holds or is open rests on, and who would settle it.
    """

    finding: str
    lead: str
    steps: tuple[Step, ...] = ()
    close: tuple[str, ...] = ()
    figures: Figures | None = None
    rests: tuple[str, ...] = ()

    @property
    def paragraph(self) -> str:
        """All of it but the figures, in one paragraph."""
        lines = "; ".join(map(str, self.steps))
        return " ".join(part for part in (self.lead, f"{lines}." if lines else "", *self.close) if part)


@dataclass(frozen=True, slots=True)
class Written:
    """A measurement worked out: its lines and the result as it stands in the last of them."""

    steps: tuple[Step, ...]
    result: str


class Case:
    """One analysis, its round, and how it is told: what every kind of evidence is worked from.

    Parameters
    ----------
    analysis : Analysis
        What :func:`~testround.kernel.analysis.analyse` says of ``round``.
    round : Round
    units : {"cm", "in"}
        Sums are in centimetres, as the sheet's formulas are; what they come to is said in this unit too.
    called : mapping of tester id to str, optional
        What to call testers; their ids when left out.
    """

    def __init__(
        self,
        analysis: Analysis,
        round: Round,
        units: LengthUnit = "cm",
        called: Mapping[str, str] | None = None,
    ) -> None:
        self.analysis = analysis
        self.round = round
        self.pattern = round.pattern
        self.units = units
        self.called = called or {}
        self.testers = tuple(sorted(round.testers, key=lambda tester: tester.id))
        self.asked = {(question.tester, key) for question in analysis.questions for key in question.about}
        self.by_id = {finding.id: finding for finding in analysis.findings.findings}

    @cached_property
    def sheet(self) -> Sheet:
        return Sheet(self.pattern)

    @cached_property
    def found(self) -> Discrepancies:
        return discrepancies(self.sheet, self.testers)

    @cached_property
    def belief(self) -> dict[tuple[str, str], float]:
        return self.analysis.behind.belief()

    @cached_property
    def cells(self) -> dict[str, list[Cell]]:
        """Finished measurements by dimension, sizes in order, then testers."""
        order = {size: j for j, size in enumerate(self.pattern.sizes)}
        found: dict[str, list[Cell]] = defaultdict(list)
        for cell in self.analysis.findings.cells:
            found[cell.dimension].append(cell)
        for cells in found.values():
            cells.sort(key=lambda cell: (order.get(cell.size or "", 0), self.name(cell.tester), cell.tester))
        return found

    @cached_property
    def misprints(self) -> dict[str, dict[str, float]]:
        return {
            finding.subject: dict(finding.computed or finding.proposed or {})
            for finding in self.by_id.values()
            if finding.kind is FindingKind.PRINTED_COUNT
        }

    @cached_property
    def right(self) -> dict[str, FloatArray]:
        """What the text says by number and size, misprints put right."""
        return numbers_now(self.sheet, self.misprints)

    @cached_property
    def agreed(self) -> tuple[Agreed, ...]:
        return worked_counts(self.sheet, self.found, self.misprints)

    def name(self, tester: str) -> str:
        return self.called.get(tester, tester)

    def with_size(self, tester: str, size: str | None) -> str:
        if not size:
            return self.name(tester)
        return _("{tester} (size {size})").format(tester=self.name(tester), size=size)

    def names(self, testers: Iterable[str]) -> str:
        known = [self.name(tester) for tester in testers]
        more = len(known) - MOST_NAMED
        return and_more(known[:MOST_NAMED], more)

    def length(self, cm: float, *, signed: bool = True) -> str:
        return format_length(cm, self.units, signed=signed)

    def fine(self, cm: float, *, signed: bool = False) -> str:
        """A figure to a hundredth of a centimetre, or of an inch, without its unit."""
        text = plain(cm / 2.54 if self.units == "in" else cm)
        return f"+{text}" if signed and text[0] != "−" and text != "0" else text

    def fixed(self, cm: float, *, signed: bool = False) -> str:
        """The same with both digits, to stand under one another."""
        whole, _point, digits = self.fine(cm, signed=signed).partition(decimal_separator())
        return f"{whole}{decimal_separator()}{digits:0<2}"

    def needs(self, finding: Finding) -> str:
        if finding.needs:
            return _("More testers that would settle it: {needs}.").format(needs=needs_said(finding.needs))
        if finding.verdict in (Verdict.LOOK_CLOSER, Verdict.OPEN):
            return _("How many more testers would settle it cannot be said from these.")
        return ""

    def rests(self, finding: Finding, verdict: str = "") -> tuple[str, ...]:
        """``verdict`` is what is said of it, where it holds or is open."""
        resting = verdict if finding.verdict in (Verdict.HOLDS, Verdict.OPEN) else ""
        return tuple(filter(None, (resting, self.needs(finding) if finding.needs else "")))

    def in_cm(self) -> str:
        """Said once to readers of inches."""
        return _("The sums are in centimetres, as the sheet's formulas are.") if self.units == "in" else ""

    @property
    def over(self) -> GaugeSpan:
        return "4in" if self.units == "in" else "10cm"

    @property
    def span(self) -> str:
        return "4 in" if self.units == "in" else "10 cm"

    def per(self, per_10cm: float, decimals: int = 1, *, signed: bool = False) -> str:
        value = float(rounded(gauge_over(per_10cm, self.over), Fraction(1, 10**decimals)))
        text = decimal(value, f"+.{decimals}f").replace("-", "−")
        return text if signed else text.removeprefix("+")

    def swatches(
        self, tester: Tester, key: str, axis: str, state: FabricState = FabricState.BLOCKED
    ) -> list[Swatch]:
        """Those that count: of the tool of the last one, as `axis_gauge` takes them."""
        usable = [
            swatch
            for swatch in tester.swatches
            if swatch.gauge == key and swatch.state is state and None not in reading_of(swatch, axis)
        ]
        return [swatch for swatch in usable if swatch.tool_mm == usable[-1].tool_mm]

    def missing(self, finding: Finding) -> str:
        """What keeps a finding from being settled."""
        low, high = finding.interval or (-np.inf, np.inf)
        limit = finding.tolerance or 0.0
        if finding.testers == 0:
            return _("a tester who can be counted")
        if finding.testers == 1:
            return _("a second tester, for one alone never settles it")
        if finding.verdict is Verdict.LOOK_CLOSER:
            if low <= 0 <= high:
                return _("an interval that is clear of nought")
            return _("enough agreement for something that was looked for among many")
        if max(abs(low), abs(high)) > limit:
            return _("an interval that stays within it")
        return _("certainty that no single size is off")

    def axis_name(self, k: int, a: int) -> str:
        return f"{self.pattern.gauges[k].key}.{AXES[a]}"

    def stated_per_cm(self, k: int, a: int) -> float:
        gauge = self.pattern.gauges[k]
        return (gauge.stitches, gauge.rows)[a] / 10

    def values(
        self, numbers: Mapping[str, float], measures: Mapping[str, float], gauges: Mapping[str, float]
    ) -> dict[str, Value]:
        """What every name of the sheet stands for; gauges are per cm, as "body.st"."""
        found = {c.key: Value(c.value, short_unit(c.unit)) for c in self.pattern.constants}
        found |= {key: Value(value, "cm") for key, value in measures.items()}
        found |= {n.key: Value(numbers.get(n.key, np.nan), short_unit(n.unit)) for n in self.pattern.numbers}
        for key, value in gauges.items():
            found[key] = Value(value, f"{short_unit('st' if key.endswith('.st') else 'row')}/cm")
        return found

    def of_size(self, s: int, numbers: Mapping[str, FloatArray], **gauges: float) -> dict[str, Value]:
        """The values of one size at the stated gauges, or at those given instead ("body.st" per cm)."""
        stated = {
            f"{gauge.key}.{axis}": per_10cm / 10
            for gauge in self.pattern.gauges
            for axis, per_10cm in zip(AXES, (gauge.stitches, gauge.rows), strict=True)
        }
        size = self.pattern.sizes[s]
        return self.values(
            {key: float(value[s]) for key, value in numbers.items()},
            {m.key: (m.values or {}).get(size, np.nan) for m in self.pattern.measures},
            stated | gauges,
        )

    def of_tester(
        self, i: int, numbers: Mapping[str, FloatArray], gauges: Mapping[str, float]
    ) -> dict[str, Value]:
        return self.values(
            {key: float(value[i]) for key, value in numbers.items()},
            {key: float(value[i]) for key, value in self.found.inputs.measures.items()},
            gauges,
        )

    def written(self, says: str, formula: str, values: Mapping[str, Value], unit: str) -> Written:
        """A formula worked; ``says`` stands before its last sum."""
        steps, result = work(parse(formula), values, unit)
        *before, last = steps
        if last.says:
            begun = Step(_("{what}, worked step by step").format(what=says))
            return Written((begun, *steps) if says else steps, result)
        return Written((*before, Step(says, last.sum)), result)

    def difference(self, says: str, first: str, second: str, unit: str) -> Step:
        off = plain(float(exact(first) - exact(second)), MOST_DECIMALS)
        behind = f" {unit}" if unit else ""
        return Step(says, f"{first} − {in_brackets(second)} = {off}{behind}")

    def dimension(self, key: str) -> Dimension:
        return next(d for d in self.pattern.dimensions if d.key == key)


def furthest(items: Sequence[T], off: Callable[[T], float]) -> tuple[list[T], int]:
    """Those to be shown, in the order given: of very many, those furthest off; and how many are left out."""
    if len(items) <= MOST_ROWS:
        return list(items), 0
    ranked = sorted(range(len(items)), key=lambda k: -off(items[k]))
    return [items[k] for k in sorted(ranked[:MOST_ROWS])], len(items) - MOST_ROWS


def reading_of(swatch: Swatch, axis: str) -> tuple[float | None, float | None]:
    return (swatch.stitches, swatch.width) if axis == "st" else (swatch.rows, swatch.height)


def needs_said(needs: Mapping[str, int]) -> str:
    """How many more testers of which size, as in "2 in M, 1 in any size"."""
    return commas(
        _("{n} in {size}").format(n=n, size=_("any size") if size == ANY_SIZE else size)
        for size, n in needs.items()
    )


def signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{plain(value, 1)}" if np.isfinite(value) else "–"


def span_said(low: str, high: str) -> str:
    """An interval: "−0.4 to +1.2"."""
    return pgettext("a range", "{low} to {high}").format(low=low, high=high)


def needs_fact(finding: Finding) -> list[tuple[str, str]]:
    if not finding.needs:
        return []
    return [(_("More testers"), needs_said(finding.needs))]
