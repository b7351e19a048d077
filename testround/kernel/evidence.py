"""What a finding rests on: a check by hand on one tester, and the figures for a technical editor.

A check is written so that a designer without statistics can redo it with a pocket calculator: every sum shown
holds as it is shown. It names testers, and is for the designer and a technical editor alone.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from testround.kernel.analysis import Analysis
from testround.kernel.behind import DimensionBehind
from testround.kernel.correction import numbers_now
from testround.kernel.discrepancy import Discrepancies, discrepancies
from testround.kernel.findings import Cell, Extent, Finding, FindingKind, Verdict
from testround.kernel.formulas import parse
from testround.kernel.gauge import ASSUMED, AXES, BLOCKED, WORKED
from testround.kernel.pace import hours_taken, metres_used
from testround.kernel.round import Dimension, FabricState, Number, RemarkKind, Round, Swatch, Tester
from testround.kernel.sheet import Sheet
from testround.kernel.units import GaugeSpan, LengthUnit, format_gauge, format_length, gauge_over
from testround.kernel.verdict import Agreed, worked_counts
from testround.kernel.worked import (
    MOST_DECIMALS,
    Step,
    Unworkable,
    Value,
    added,
    agrees,
    in_brackets,
    plain,
    quotient,
    shown,
    work,
)

FloatArray = NDArray[np.float64]

MOST_NAMED = 30
"""Testers named in a sentence; the table has the others."""
UNIT_WORDS = {"st": "stitches", "row": "rows", "rep": "repeats"}
_SHORT_UNITS = {"st": "st", "row": "rows", "rep": "reps", "cm": "cm", None: ""}
_AXIS_WORDS = {"st": "stitches", "row": "rows"}


@dataclass(frozen=True, slots=True)
class Figures:
    """A table of testers (or sizes), and single figures with their names."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    facts: tuple[tuple[str, str], ...] = ()


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
    """

    finding: str
    lead: str
    steps: tuple[Step, ...] = ()
    close: tuple[str, ...] = ()
    figures: Figures | None = None

    @property
    def paragraph(self) -> str:
        """All of it but the figures, in one paragraph."""
        lines = "; ".join(map(str, self.steps))
        return " ".join(part for part in (self.lead, f"{lines}." if lines else "", *self.close) if part)


def evidence(
    analysis: Analysis,
    round: Round,
    finding_id: str,
    units: LengthUnit = "cm",
    called: Mapping[str, str] | None = None,
) -> Evidence:
    """What one finding rests on; see :class:`Explained` for several of one analysis.

    Raises
    ------
    KeyError
        There is no such finding.
    """
    return Explained(analysis, round, units, called).of(finding_id)


@dataclass(frozen=True, slots=True)
class _Written:
    """A measurement worked out: its lines and the result as it stands in the last of them."""

    steps: tuple[Step, ...]
    result: str


class Explained:
    """The evidence for the findings of one analysis.

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
        self.asked = {(question.tester, question.subject) for question in analysis.questions}
        self.by_id = {finding.id: finding for finding in analysis.findings.findings}

    def of(self, finding_id: str) -> Evidence:
        """The evidence for one finding.

        Raises
        ------
        KeyError
            There is no such finding.
        """
        finding = self.by_id[finding_id]
        of_kind: dict[FindingKind, Callable[[Finding], Evidence]] = {
            FindingKind.PRINTED_COUNT: self.printed_count,
            FindingKind.SCHEMATIC: self.schematic,
            FindingKind.WORKED_COUNT: self.worked_count,
            FindingKind.STATED_GAUGE: self.stated_gauge,
            FindingKind.FINISHED_SIZE: self.finished_size,
            FindingKind.YARN: self.amount,
            FindingKind.HOURS: self.amount,
            FindingKind.CLARITY: self.clarity,
            FindingKind.FIT: self.fit,
        }
        return of_kind[finding.kind](finding)

    def all(self) -> dict[str, Evidence]:
        """The evidence for every finding, by its id."""
        return {finding_id: self.of(finding_id) for finding_id in self.by_id}

    # What it is worked from, made once

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

    # Words

    def name(self, tester: str) -> str:
        return self.called.get(tester, tester)

    def with_size(self, tester: str, size: str | None) -> str:
        return f"{self.name(tester)} (size {size})" if size else self.name(tester)

    def names(self, testers: Iterable[str]) -> str:
        known = [self.name(tester) for tester in testers]
        more = len(known) - MOST_NAMED
        return ", ".join(known[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")

    def length(self, cm: float, *, signed: bool = True) -> str:
        return format_length(cm, self.units, signed=signed)

    def fine(self, cm: float, *, signed: bool = False) -> str:
        """A figure to a hundredth of a centimetre, or of an inch, without its unit."""
        text = plain(cm / 2.54 if self.units == "in" else cm)
        return f"+{text}" if signed and text[0] != "−" and text != "0" else text

    def needs(self, finding: Finding) -> str:
        if finding.needs:
            more = ", ".join(f"{n} in {size}" for size, n in finding.needs.items())
            return f"More testers that would settle it: {more}."
        if finding.verdict in (Verdict.LOOK_CLOSER, Verdict.OPEN):
            return "How many more testers would settle it cannot be said from these."
        return ""

    def in_cm(self) -> str:
        """Said once to readers of inches."""
        return " The sums are in centimetres, as the sheet's formulas are." if self.units == "in" else ""

    # Sums

    def values(
        self, numbers: Mapping[str, float], measures: Mapping[str, float], gauges: Mapping[str, float]
    ) -> dict[str, Value]:
        """What every name of the sheet stands for; gauges are per cm, as "body.st"."""
        found = {c.key: Value(c.value, _SHORT_UNITS[c.unit]) for c in self.pattern.constants}
        found |= {key: Value(value, "cm") for key, value in measures.items()}
        found |= {
            n.key: Value(numbers.get(n.key, np.nan), _SHORT_UNITS[n.unit]) for n in self.pattern.numbers
        }
        for key, value in gauges.items():
            found[key] = Value(value, "st/cm" if key.endswith(".st") else "rows/cm")
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

    def written(self, says: str, formula: str, values: Mapping[str, Value], unit: str) -> _Written:
        """A formula worked; ``says`` stands before its last sum."""
        steps, result = work(parse(formula), values, unit)
        *before, last = steps
        if last.says:
            return _Written((Step(f"{says}, worked step by step"), *steps) if says else steps, result)
        return _Written((*before, Step(says, last.sum)), result)

    # Before anyone casts on

    def printed_count(self, finding: Finding) -> Evidence:
        now = finding.now or {}
        computed = finding.computed or finding.proposed or {}
        number = next(n for n in self.pattern.numbers if n.key == finding.subject)
        size = max(now, key=lambda size: abs(now[size] - computed[size]))
        unit = _SHORT_UNITS[number.unit]
        values = self.of_size(self.pattern.sizes.index(size), self.right)
        steps = self.shown_sum(f"in size {size}", number.formula, values, unit)
        printed, should = plain(now[size], MOST_DECIMALS), plain(computed[size], 4)
        steps = (*steps, self.difference(f"printed is {printed}", printed, should, unit))
        others = [other for other in now if other != size]
        also = (
            f" The same check finds size{'s' if len(others) > 1 else ''} {', '.join(others)}."
            if others
            else ""
        )
        return Evidence(
            finding.id,
            f"{number.label} is worked by the formula {number.formula}, with the values of size {size} put in."
            + self.in_cm(),
            steps,
            (f"Amend: arithmetic alone shows it, and no tester is needed.{also}",),
            self.by_size_figures(number.label, now, computed, "Printed", "By formula", unit, length=False),
        )

    def schematic(self, finding: Finding) -> Evidence:
        now = finding.now or {}
        dimension = self.dimension(finding.subject)
        stated = self.sheet.stated()
        worked = self.sheet.dimensions(stated, self.right)[dimension.key]
        follows = {size: float(worked[self.pattern.sizes.index(size)]) for size in now}
        size = max(now, key=lambda size: abs(now[size] - follows[size]))
        values = self.of_size(self.pattern.sizes.index(size), self.right)
        steps = self.shown_sum(f"what the counts give in size {size}", dimension.formula, values, "cm")
        printed, should = plain(now[size], MOST_DECIMALS), plain(follows[size])
        off = now[size] - follows[size]
        allowed = self.length(dimension.tolerance, signed=False)
        side = "beyond" if finding.verdict is Verdict.AMEND else "within"
        word = "Amend" if finding.verdict is Verdict.AMEND else "Look closer"
        rounding = "" if finding.verdict is Verdict.AMEND else ", but more than rounding explains"
        return Evidence(
            finding.id,
            f"{dimension.label} is worked by the formula {dimension.formula}, with the printed counts of size "
            f"{size} at the stated gauge.{self.in_cm()}",
            (*steps, self.difference(f"printed is {printed} cm", printed, should, "cm")),
            (
                f"{word}: {self.length(off)} is {side} the {allowed} that is fine{rounding}. Arithmetic alone "
                "shows it, and no tester is needed.",
            ),
            self.by_size_figures(
                dimension.label, now, follows, "Printed", "From the counts", "cm", length=True
            ),
        )

    def shown_sum(self, says: str, formula: str, values: Mapping[str, Value], unit: str) -> tuple[Step, ...]:
        try:
            return self.written(says, formula, values, unit).steps
        except Unworkable:
            return (Step("the formula cannot be worked by hand with these values"),)

    def difference(self, says: str, first: str, second: str, unit: str) -> Step:
        off = plain(
            float(Decimal(first.replace("−", "-")) - Decimal(second.replace("−", "-"))), MOST_DECIMALS
        )
        behind = f" {unit}" if unit else ""
        return Step(says, f"{first} − {in_brackets(second)} = {off}{behind}")

    def by_size_figures(
        self,
        label: str,
        first: Mapping[str, float],
        second: Mapping[str, float],
        one: str,
        other: str,
        unit: str,
        *,
        length: bool,
    ) -> Figures:
        def said(value: float, *, signed: bool = False) -> str:
            if length:
                return self.length(value, signed=signed)
            return f"{'+' if signed and value > 0 else ''}{plain(value, 4)}"

        return Figures(
            f"{label} by size, {UNIT_WORDS.get(unit.rstrip('s'), 'stitches') if not length else self.units}",
            ("Size", one, other, "Difference"),
            tuple(
                (size, said(first[size]), said(second[size]), said(first[size] - second[size], signed=True))
                for size in first
            ),
        )

    def dimension(self, key: str) -> Dimension:
        return next(d for d in self.pattern.dimensions if d.key == key)

    # Counts worked

    def worked_count(self, finding: Finding) -> Evidence:
        number = next(n for n in self.pattern.numbers if n.key == finding.subject)
        one = self.agreement(finding)
        if one is None:
            return Evidence(finding.id, finding.why)
        found = self.found
        reported, text = found.reported[number.key], self.in_text(number)
        sizes = found.sizes if self.pattern.is_graded else np.zeros(len(self.testers), dtype=np.intp)
        here = [i for i in np.flatnonzero(~np.isnan(reported)).tolist() if sizes[i] in one.sizes]
        off = {i: round(float(reported[i] - text[i]), 6) for i in here}
        agree = set(one.testers)
        i = min(agree, key=lambda i: (abs(off[i] - one.offset) > 1e-6, self.testers[i].id))
        tester = self.testers[i]
        where = self.source_of(number, tester)
        said, meant = plain(float(reported[i]), 4), plain(float(text[i]), 4)
        unit = _SHORT_UNITS[number.unit]
        steps = [
            self.difference(
                f"{self.with_size(tester.id, tester.size)} reported {said} where {where} {meant}",
                said,
                meant,
                unit,
            )
        ]
        close = [f"The same difference: {self.names(self.testers[j].id for j in sorted(agree))}."]
        close += self.disagreeing(number, one, off)
        if one.silent:
            n = len(one.silent)
            close.append(
                f"{n} tester{'s' if n != 1 else ''} of these sizes did not report it; what their pieces owe to it is "
                "set aside."
            )
        close.append(
            f"Amend: {one.votes} of the {one.reports} who reported it agree, which is most of them and more than one."
        )
        order = sorted(here, key=lambda j: (int(sizes[j]), self.name(self.testers[j].id)))
        rows = tuple(
            (
                self.name(self.testers[j].id),
                self.testers[j].size or "own",
                plain(float(text[j]), 4),
                plain(float(reported[j]), 4),
                f"{'+' if off[j] > 0 else ''}{plain(off[j], 4)}",
                "agrees" if j in agree else "does not",
            )
            for j in order
        )
        head = ("Tester", "Size", "Text", "Reported", "Difference", f"On {plain(one.offset, 4)}")
        return Evidence(
            finding.id,
            f"{number.label}, as testers reported it, against {'the text' if self.pattern.is_graded else 'their own numbers'}.",
            tuple(steps),
            tuple(close),
            Figures(f"Who arrived at what: {number.label}", head, rows),
        )

    def agreement(self, finding: Finding) -> Agreed | None:
        for one in self.agreed:
            sizes = tuple(self.pattern.sizes[s] for s in one.sizes) if self.pattern.is_graded else None
            if one.number == finding.subject and one.offset == finding.estimate and sizes == finding.sizes:
                return one
        return None

    def in_text(self, number: Number) -> FloatArray:
        printed = self.found.printed[number.key]
        return np.where(np.isnan(printed), self.found.computed[number.key], printed)

    def source_of(self, number: Number, tester: Tester) -> str:
        if not self.pattern.is_graded:
            return "that tester's own numbers give"
        printed = tester.size in (number.printed or {})
        return "the text prints" if printed else "the formula gives"

    def disagreeing(self, number: Number, one: Agreed, off: Mapping[int, float]) -> list[str]:
        groups: dict[float, list[int]] = defaultdict(list)
        for i in sorted(off):
            if i not in one.testers:
                groups[off[i]].append(i)
        said = []
        for difference, members in sorted(groups.items(), key=lambda g: (-len(g[1]), g[0])):
            who = self.names(self.testers[i].id for i in members)
            if difference == 0:
                said.append(f"as the text has it: {who}")
            elif difference == one.offset:
                said.append(f"as much off, but because of an earlier number: {who}")
            else:
                side = "more" if difference > 0 else "fewer"
                said.append(f"{plain(abs(difference), 4)} {side}: {who}")
        if not said:
            return ["Nobody who reported it arrived at anything else."]
        return [f"Otherwise: {'; '.join(said)}."]

    # Stated gauges

    def stated_gauge(self, finding: Finding) -> Evidence:
        key, _, axis = finding.subject.partition(".")
        pooled = next(g for g in self.analysis.gauges if (g.gauge, g.axis) == (key, axis))
        gauge = next(g for g in self.pattern.gauges if g.key == key)
        k, a = [g.key for g in self.pattern.gauges].index(key), ("st", "row").index(axis)
        word = _AXIS_WORDS[axis]
        own = self.found.own
        here = [
            i
            for i in np.flatnonzero(own.measured[:, k, a]).tolist()
            if (self.testers[i].id, finding.subject) not in self.asked
        ]
        per_10cm = {i: float(own.blocked[i, k, a] * 10) for i in here}
        estimate = pooled.estimate if pooled.estimate is not None else pooled.stated
        steps: list[Step] = []
        lead = f"What testers' blocked swatches of {gauge.label} say of its {word}."
        if here:
            i = min(
                here,
                key=lambda i: (
                    len(self.swatches(self.testers[i], key, axis)) != 1,
                    round(abs(per_10cm[i] - estimate), 9),
                    self.testers[i].id,
                ),
            )
            steps += self.swatch_in_ten(self.testers[i], key, axis, per_10cm[i])
            listed = ", ".join(
                f"{self.name(self.testers[j].id)} {self.per(per_10cm[j])}" for j in here[:MOST_NAMED]
            )
            more = f" and {len(here) - MOST_NAMED} more" if len(here) > MOST_NAMED else ""
            lead += f" In {self.span} they have: {listed}{more}."
        if pooled.worst is not None:
            steps += self.hit(finding, pooled.worst, f"{key}.{axis}", estimate)
        low, high = pooled.low, pooled.high
        close = []
        if pooled.estimate is not None and low is not None and high is not None:
            close.append(
                f"Pooled, they have {self.per(pooled.estimate)} (95 % interval {self.per(low)} to "
                f"{self.per(high)}) {word} in {self.span}, and {format_gauge(pooled.stated, self.over)} are stated."
            )
        close += [self.gauge_verdict(finding, word), self.needs(finding)]
        return Evidence(
            finding.id,
            lead + self.in_cm(),
            tuple(steps),
            tuple(filter(None, close)),
            self.gauge_figures(finding, here, k, a, gauge.label),
        )

    @property
    def over(self) -> GaugeSpan:
        return "4in" if self.units == "in" else "10cm"

    @property
    def span(self) -> str:
        return "4 in" if self.units == "in" else "10 cm"

    def per(self, per_10cm: float, decimals: int = 1, *, signed: bool = False) -> str:
        text = f"{gauge_over(per_10cm, self.over):+.{decimals}f}".replace("-", "−")
        return text if signed else text.removeprefix("+")

    def swatches(
        self, tester: Tester, key: str, axis: str, state: FabricState = FabricState.BLOCKED
    ) -> list[Swatch]:
        """Those that count: of the tool of the last one, as `axis_gauge` takes them."""
        usable = [
            swatch
            for swatch in tester.swatches
            if swatch.gauge == key and swatch.state is state and None not in _reading(swatch, axis)
        ]
        return [swatch for swatch in usable if swatch.tool_mm == usable[-1].tool_mm]

    def swatch_in_ten(self, tester: Tester, key: str, axis: str, per_10cm: float) -> list[Step]:
        mine = self.swatches(tester, key, axis)
        who = self.with_size(tester.id, tester.size)
        word, short = _AXIS_WORDS[axis], _SHORT_UNITS[axis]
        if len(mine) != 1:
            return [
                Step(
                    f"{who}: {len(mine)} blocked swatches of one tool, weighed together, give {per_10cm:.2f} {word}"
                )
            ]
        count, span = _reading(mine[0], axis)
        assert count is not None  # noqa: S101 — `swatches` has only those with both; this tells the type checker
        assert span is not None  # noqa: S101
        top, bottom, result = quotient(count * 10, span)
        counted = plain(count, MOST_DECIMALS)
        return [
            Step(
                f"{who} counted {counted} {word} over {bottom} cm, which makes in 10 cm",
                f"{counted} {short} × 10 / {bottom} = {result} {short}",
            )
            if shown(top) == shown(counted) * 10
            else Step(f"{who}: the blocked swatch gives {result} {word} in 10 cm")
        ]

    def hit(self, finding: Finding, worst: str, name: str, estimate: float) -> list[Step]:
        """What the testers' gauge does to the measurement it hits hardest, in the size it hits hardest."""
        dimension = self.dimension(worst)
        numbers = numbers_now(self.sheet)
        stated = self.sheet.stated()
        gauge, _, axis = name.partition(".")
        columns = stated.gauges[gauge]
        instead = replace(columns, **{axis: np.full(stated.n, estimate / 10)})
        before = self.sheet.dimensions(stated, numbers)[worst]
        after = self.sheet.dimensions(self.sheet.with_gauges(stated, {gauge: instead}), numbers)[worst]
        moved = np.abs(after - before)
        if not np.isfinite(moved).any():
            return []
        s = int(np.nanargmax(moved))
        size = self.pattern.sizes[s]
        try:
            meant = self.written(
                f"{dimension.label} in size {size} at the stated gauge",
                dimension.formula,
                self.of_size(s, numbers),
                "cm",
            )
            made = self.written(
                f"and at {plain(estimate)} {_AXIS_WORDS[axis]} in 10 cm",
                dimension.formula,
                self.of_size(s, numbers, **{name: estimate / 10}),
                "cm",
            )
        except Unworkable:
            return []
        off = shown(made.result) - shown(meant.result)
        fine = f"; up to {self.length(dimension.tolerance, signed=False)} is fine"
        inches = f", or {self.length(off)}" if self.units == "in" else ""
        last = self.difference("the difference", made.result, meant.result, "cm")
        return [*meant.steps, *made.steps, Step(f"{last.says}{inches}{fine}", last.sum)]

    def gauge_verdict(self, finding: Finding, word: str) -> str:
        assert finding.estimate is not None  # noqa: S101 — every gauge finding has one
        off = f"{self.per(finding.estimate, 2, signed=True)} {word} in {self.span}"
        limit = f"{self.per(finding.tolerance or 0.0, 2)} that the measurement hit hardest allows"
        match finding.verdict:
            case Verdict.AMEND:
                return (
                    f"Amend: {off} is beyond the {limit}, the interval does not reach the stated gauge, and "
                    f"{finding.testers} testers have it."
                )
            case Verdict.LOOK_CLOSER:
                missing = self.missing(finding)
                return f"Look closer: {off} is beyond the {limit}; what is missing: {missing}."
            case Verdict.HOLDS:
                return f"Holds: the interval stays within the {limit}. It rests on the swatches of {_testers(finding.testers)}."
        return f"Open: {off} is within the {limit}, and {self.missing(finding)}."

    def missing(self, finding: Finding) -> str:
        """Why a verdict is not reached, in words."""
        low, high = finding.interval or (-np.inf, np.inf)
        limit = finding.tolerance or 0.0
        if finding.testers == 0:
            return "nobody's can be counted yet"
        if finding.testers == 1:
            return "a second tester, for one alone never settles it"
        if finding.verdict is Verdict.LOOK_CLOSER:
            if low <= 0 <= high:
                return "an interval that is clear of nought"
            return "enough agreement for something that was looked for among many"
        if max(abs(low), abs(high)) > limit:
            return "the interval reaches beyond it"
        return "a deviation of some of the sizes is not excluded yet"

    def gauge_figures(self, finding: Finding, here: Sequence[int], k: int, a: int, label: str) -> Figures:
        own = self.found.own
        rows = []
        for i, tester in enumerate(self.testers):
            source = int(own.source[i, k, a])
            if source == ASSUMED:
                continue
            per_10cm = float((own.blocked if source == BLOCKED else own.worked)[i, k, a] * 10)
            u = float((own.u_blocked if source == BLOCKED else own.u_worked)[i, k, a])
            counted = "counts" if i in here else "unblocked" if source == WORKED else "to be asked"
            rows.append(
                (
                    self.name(tester.id),
                    tester.size or "own",
                    self.per(per_10cm, 2),
                    self.per(per_10cm * u, 2),
                    counted,
                )
            )
        low, high = finding.interval or (np.nan, np.nan)
        facts = [
            ("Off the stated gauge", self.per(finding.estimate or 0.0, 2, signed=True)),
            ("95 % interval", f"{self.per(low, 2, signed=True)} to {self.per(high, 2, signed=True)}"),
            ("Allowed", f"±{self.per(finding.tolerance or 0.0, 2)}"),
            ("Testers", str(finding.testers)),
        ]
        return Figures(
            f"{label}, {_AXIS_WORDS[AXES[a]]} in {self.span}: every tester's swatch with its standard uncertainty",
            ("Tester", "Size", "Gauge", "±", "Counted"),
            tuple(rows),
            tuple(facts + _needs_fact(finding)),
        )

    # Finished sizes

    def finished_size(self, finding: Finding) -> Evidence:
        dimension = self.dimension(finding.subject)
        cells = self.cells.get(finding.subject, [])
        mine = [
            cell
            for cell in cells
            if (finding.sizes is None or cell.size in finding.sizes)
            and (cell.tester, cell.dimension) in self.belief
            and (cell.tester, cell.dimension) not in self.asked
        ]
        lead = f"{dimension.label} is worked by the formula {dimension.formula}."
        steps: tuple[Step, ...] = ()
        chosen = self.representative(finding, dimension, mine)
        if chosen is None:
            lead += " Nobody's piece can be counted here yet."
        else:
            who = self.with_size(chosen.tester, chosen.size)
            lead += f" Take {who}, whose piece shows about what all of them show.{self.in_cm()}"
            steps = self.apart(chosen, dimension)
        return Evidence(
            finding.id,
            lead,
            steps,
            tuple(
                filter(None, [*self.others(finding, mine), self.size_verdict(finding), self.needs(finding)])
            ),
            self.size_figures(finding, dimension, cells),
        )

    def representative(self, finding: Finding, dimension: Dimension, mine: Sequence[Cell]) -> Cell | None:
        """The tester to check by hand: with the fewest things missing, and then the nearest to what all show."""
        at = {tester.id: i for i, tester in enumerate(self.testers)}
        estimate = {
            cell.size: cell.estimate for cell in self.analysis.deviations if cell.dimension == dimension.key
        }

        def far(cell: Cell) -> float:
            aim = finding.estimate
            if finding.extent is Extent.WITH_SIZE:
                aim = estimate.get(cell.size)
            return round(abs(cell.parts.remainder - (aim or 0.0)), 9)

        usable = [cell for cell in mine if cell.tester in at]
        return min(
            usable,
            key=lambda cell: (self.lacking(at[cell.tester], dimension), far(cell), cell.tester),
            default=None,
        )

    def lacking(self, i: int, dimension: Dimension) -> int:
        """How many of counts, blocked swatch and blocked measurement a tester has not sent."""
        tester, own = self.testers[i], self.found.own
        names = parse(dimension.formula).names
        reported = {count.number for count in tester.counts}
        unsaid = any(name in self.found.worked and name not in reported for name in names)
        unswatched = any(int(own.source[i, k, a]) != BLOCKED for k, a in self.axes(names))
        return unsaid + unswatched + (not self.is_blocked(tester, dimension.key))

    def axes(self, names: Iterable[str]) -> list[tuple[int, int]]:
        """The gauges among some names, by position and axis."""
        keys = [gauge.key for gauge in self.pattern.gauges]
        return [
            (keys.index(key), AXES.index(axis))
            for key, _, axis in (name.partition(".") for name in names)
            if axis in AXES and key in keys
        ]

    def is_blocked(self, tester: Tester, key: str) -> bool:
        return any(f.dimension == key and f.state is FabricState.BLOCKED for f in tester.finished)

    def apart(self, cell: Cell, dimension: Dimension) -> tuple[Step, ...]:
        """One tester's measurement taken apart, line by line, so that the parts add up as they are shown."""
        i = next(j for j, tester in enumerate(self.testers) if tester.id == cell.tester)
        tester, found = self.testers[i], self.found
        names = parse(dimension.formula).names
        axes = self.axes(names)
        blocked = self.is_blocked(tester, dimension.key)
        graded = self.pattern.is_graded
        own = found.own.blocked if blocked else found.own.worked
        at_own = {self.axis_name(k, a): float(own[i, k, a]) for k, a in axes}
        stated = {self.axis_name(k, a): self.stated_per_cm(k, a) for k, a in axes}
        # Made to measure, what is meant is worked at the maker's own gauge.
        meant_at = (
            stated if graded else {self.axis_name(k, a): float(found.own.blocked[i, k, a]) for k, a in axes}
        )
        counts = [n for n in self.pattern.numbers if n.key in names]
        try:
            target = self.written(
                f"what the pattern means in size {tester.size}"
                if graded
                else "what the pattern means at own gauge",
                dimension.formula,
                self.of_tester(i, found.computed, meant_at),
                "cm",
            )
            same = all(found.worked[n.key][i] == found.computed[n.key][i] for n in counts)
            worked = target
            if not same:
                worked = self.written(
                    f"with the counts worked ({self.counts_said(i, counts)})",
                    dimension.formula,
                    self.of_tester(i, found.worked, meant_at),
                    "cm",
                )
            expected = worked
            if at_own != meant_at:
                expected = self.written(
                    "with own gauge" if blocked else "with own gauge, unblocked like the piece",
                    dimension.formula,
                    self.of_tester(i, found.worked, at_own),
                    "cm",
                )
            measured = self.mean_of(tester, dimension.key, blocked=blocked)
        except Unworkable:
            return (self.in_words(cell),)
        steps = [*target.steps]
        if same:
            why = "the counts worked are those meant" if counts else "no count plays a part"
            steps.append(Step(f"{why}, so that counts explain nothing"))
            counts_part = "0"
        else:
            explained = self.difference("the counts explain", worked.result, target.result, "cm")
            steps += [*worked.steps, explained]
            counts_part = _result(explained)
        for k, a in axes:
            steps += self.own_gauge(tester, i, k, a, blocked=blocked)
        if expected is worked:
            why = "that is the stated gauge" if graded else "what is meant is worked at it already"
            steps.append(
                Step(f"{why if axes else 'no gauge plays a part'}, so that own gauge explains nothing")
            )
            gauge_part = "0"
        else:
            explained = self.difference("own gauge explains", expected.result, worked.result, "cm")
            steps += [*expected.steps, explained]
            gauge_part = _result(explained)
        left = self.difference("which leaves", measured.result, expected.result, "cm")
        off = self.difference("measured less meant", measured.result, target.result, "cm")
        parts = [counts_part, gauge_part, _result(left)]
        together = Step("which is counts, gauge and what is left", f"{added(parts)} = {_result(off)} cm")
        steps += [*measured.steps, left, off, together]
        if self.units == "in":
            steps.append(self.in_inches([target, worked, expected, measured]))
        return tuple(steps)

    def axis_name(self, k: int, a: int) -> str:
        return f"{self.pattern.gauges[k].key}.{AXES[a]}"

    def stated_per_cm(self, k: int, a: int) -> float:
        gauge = self.pattern.gauges[k]
        return (gauge.stitches, gauge.rows)[a] / 10

    def counts_said(self, i: int, counts: Sequence[Number]) -> str:
        found = self.found
        said = []
        for number in counts:
            worked, meant = float(found.worked[number.key][i]), float(found.computed[number.key][i])
            if worked != meant:
                reported = not np.isnan(found.reported[number.key][i])
                printed = " as printed" if not reported else ""
                said.append(f"{number.label} {plain(worked, 4)}{printed}, where {plain(meant, 4)} is meant")
        return "; ".join(said)

    def own_gauge(self, tester: Tester, i: int, k: int, a: int, *, blocked: bool) -> list[Step]:
        """How a tester's gauge follows from the swatch, per cm."""
        key, axis = self.pattern.gauges[k].key, AXES[a]
        label, short = self.pattern.gauges[k].label, _SHORT_UNITS[axis]
        source = int(self.found.own.source[i, k, a])
        value = float((self.found.own.blocked if blocked else self.found.own.worked)[i, k, a])
        state = FabricState.BLOCKED if blocked else FabricState.WORKED
        mine = self.swatches(tester, key, axis, state)
        if not mine:
            other = FabricState.WORKED if blocked else FabricState.BLOCKED
            mine, state = self.swatches(tester, key, axis, other), other
        word = "blocked" if state is FabricState.BLOCKED else "unblocked"
        if not mine or source == ASSUMED:
            return [
                Step(f"no swatch of {label} was sent, so the stated {plain(value, 4)} {short}/cm is taken")
            ]
        if len(mine) > 1:
            return [
                Step(
                    f"{len(mine)} {word} swatches of {label}, weighed together, give {plain(value, 4)} {short}/cm"
                )
            ]
        count, span = _reading(mine[0], axis)
        assert count is not None  # noqa: S101 — `swatches` has only those with both; this tells the type checker
        assert span is not None  # noqa: S101
        top, bottom, result = quotient(count, span, 4)
        return [Step(f"the {word} swatch of {label}", f"{top} {short} / {bottom} cm = {result} {short}/cm")]

    def mean_of(self, tester: Tester, key: str, *, blocked: bool) -> _Written:
        """The mean of a tester's readings, as `discrepancies` takes it."""
        state = FabricState.BLOCKED if blocked else FabricState.WORKED
        values = [
            value for f in tester.finished if f.dimension == key and f.state is state for value in f.values
        ]
        if not values:
            raise Unworkable("no readings")
        result = plain(float(np.mean(values)))
        if len(values) == 1:
            text = plain(values[0], MOST_DECIMALS)
            return _Written((Step(f"measured{'' if blocked else ', unblocked'}: {text} cm"),), text)
        texts = [plain(value, 4) for value in values]
        if not agrees(float(np.mean([shown(text) for text in texts])), result):
            texts = [plain(value, MOST_DECIMALS) for value in values]
        total = " + ".join(f"{text} cm" for text in texts)
        says = f"measured{'' if blocked else ', unblocked'}, the mean of {len(values)} readings"
        return _Written((Step(says, f"({total}) / {len(values)} = {result} cm"),), result)

    def in_words(self, cell: Cell) -> Step:
        parts = cell.parts
        return Step(
            f"counts {self.length(parts.counts)}, gauge {self.length(parts.gauge)}, left {self.length(parts.remainder)}"
            "; its formula cannot be written out as a sum"
        )

    def in_inches(self, four: Sequence[_Written]) -> Step:
        target, worked, expected, measured = (
            Decimal(plain(shown(one.result) / 2.54).replace("−", "-")) for one in four
        )
        parts = [_text(worked - target), _text(expected - worked), _text(measured - expected)]
        return Step("the same in inches", f"{added(parts)} = {_text(measured - target)} in")

    def others(self, finding: Finding, mine: Sequence[Cell]) -> list[str]:
        """What the rest of them show, and what is estimated from all."""
        said = []
        estimate, limit = finding.estimate, finding.tolerance or 0.0
        fine = self.length(limit, signed=False)
        n = len(mine)
        if n and estimate is not None:
            where = "those sizes" if finding.extent is Extent.SOME_SIZES else "the round"
            if abs(estimate) > limit:
                side = 1 if estimate >= 0 else -1
                same = sum(cell.parts.remainder * side > 0 for cell in mine)
                beyond = sum(cell.parts.remainder * side > limit for cell in mine)
                word = "larger" if side > 0 else "smaller"
                said.append(
                    f"Of {_testers(n)} of {where}, {same} {'is' if same == 1 else 'are'} left with a piece that is {word}, "
                    f"{beyond} of them by more than the {fine} that is fine."
                )
            else:
                within = sum(abs(cell.parts.remainder) <= limit for cell in mine)
                said.append(
                    f"Of {_testers(n)} of {where}, {within} {'is' if within == 1 else 'are'} left with no more than {fine}."
                )
        if estimate is not None and finding.interval is not None:
            low, high = finding.interval
            said.append(
                f"Pooled, the pattern itself is off by {self.length(estimate)} (95 % interval {self.length(low)} to "
                f"{self.length(high)}); up to {fine} is fine."
            )
        return said

    def size_verdict(self, finding: Finding) -> str:
        sizes = (
            f" in size{'s' if len(finding.sizes) > 1 else ''} {', '.join(finding.sizes)}"
            if finding.sizes
            else ""
        )
        match finding.verdict:
            case Verdict.AMEND:
                return (
                    "Amend: the estimate is beyond what is fine, its interval is clear of nought, and the evidence has paid "
                    "for having been looked for among many."
                )
            case Verdict.LOOK_CLOSER:
                return f"Look closer: the estimate is beyond what is fine; what is missing: {self.missing(finding)}."
            case Verdict.HOLDS:
                return f"Holds: the whole interval lies within what is fine. It rests on {_testers(finding.testers)}{sizes}."
        return f"Open: the estimate is within what is fine, but {self.missing(finding)}."

    def size_figures(self, finding: Finding, dimension: Dimension, cells: Sequence[Cell]) -> Figures:
        return Figures(
            f"{dimension.label}, every tester's piece, in {self.units}: measured − target = counts + gauge + left",
            (
                "Tester",
                "Size",
                "Target",
                "With counts",
                "Expected",
                "Measured",
                "Counts",
                "Gauge",
                "Left",
                "±",
                "Believed",
            ),
            tuple(self.figures_of(cell) for cell in cells),
            (*self.facts(finding, dimension), *_needs_fact(finding)),
        )

    def figures_of(self, cell: Cell) -> tuple[str, ...]:
        parts = cell.parts
        after = cell.target + parts.counts
        believed = self.belief.get((cell.tester, cell.dimension))
        return (
            self.name(cell.tester),
            cell.size or "own",
            *(self.fine(value) for value in (cell.target, after, after + parts.gauge, cell.measured)),
            *(self.fine(value, signed=True) for value in (parts.counts, parts.gauge, parts.remainder)),
            self.fine(cell.uncertainty),
            "set aside" if believed is None else f"{believed:.2f}",
        )

    def facts(self, finding: Finding, dimension: Dimension) -> tuple[tuple[str, str], ...]:
        """The figures of the estimate, each with its name."""
        said: list[tuple[str, str]] = []
        if finding.estimate is not None:
            said.append(("Pooled estimate", f"{self.fine(finding.estimate, signed=True)} {self.units}"))
        if finding.interval is not None:
            low, high = (self.fine(end, signed=True) for end in finding.interval)
            said.append(("95 % interval", f"{low} to {high} {self.units}"))
        if finding.tolerance is not None:
            said.append(("Tolerance", f"±{self.fine(finding.tolerance)} {self.units}"))
        behind = self.analysis.behind.dimension(dimension.key)
        if behind is not None:
            said += [
                ("Standard uncertainty u", f"{self.fine(behind.u)} {self.units}"),
                ("Degrees of freedom", plain(behind.df, 1)),
                ("q", _small(behind.q)),
                ("Spread of readings κ", f"{self.fine(behind.kappa)} {self.units}"),
                ("Shape", _shape(behind)),
            ]
            if behind.short is not None:
                said.append(("Nearest shape short of its price by", plain(behind.short, 1)))
        names = parse(dimension.formula).names
        for one in self.analysis.behind.spreads:
            if f"{one.gauge}.{one.axis}" in names:
                what = f"{one.gauge}, {_AXIS_WORDS[one.axis]}"
                said.append((f"Garments against swatches τ ({what})", f"{plain(one.tau * 100)} %"))
        return tuple(said)

    # Yarn and hours

    def amount(self, finding: Finding) -> Evidence:
        yarn = finding.kind is FindingKind.YARN
        unit = "m" if yarn else "h"
        word = "metres" if yarn else "hours"
        parts = [part.key for part in self.pattern.parts]
        worked = self.sheet.parts(self.found.inputs, self.found.worked)
        stated = self.sheet.stated()
        meant = self.sheet.parts(stated, self.sheet.numbers(stated))
        printed = (self.pattern.yarn if yarn else self.pattern.hours) or {}
        taken: dict[int, float] = {}
        for i, tester in enumerate(self.testers):
            hours = hours_taken(tester, parts)
            used = metres_used(tester) if tester.finished or hours is not None else None
            value = used if yarn else hours
            total = sum(float(worked[key][i]) for key in parts)
            if value is not None and value > 0 and total > 0:
                taken[i] = value
        total_of = {i: sum(float(worked[key][i]) for key in parts) for i in taken}
        rate = {i: taken[i] / total_of[i] * 1000 for i in taken}
        steps: list[Step] = []
        lead = f"What the pieces took in {word}, by the stitches in them."
        usable = {i: rate[i] for i in rate if self.testers[i].size in printed}
        if usable:
            middle = float(np.median(list(rate.values())))
            i = min(usable, key=lambda i: (round(abs(rate[i] - middle), 9), self.testers[i].id))
            tester = self.testers[i]
            s = self.pattern.sizes.index(tester.size or "")
            lead += f" Take {self.with_size(tester.id, tester.size)}, who is in the middle of them."
            steps = self.of_maker(
                tester,
                taken[i],
                [float(worked[key][i]) for key in parts],
                sum(float(meant[key][s]) for key in parts),
                printed[tester.size or ""],
                yarn=yarn,
            )
        over = sum(taken[i] > printed[self.testers[i].size or ""] for i in usable)
        low, high = finding.interval or (np.nan, np.nan)
        close = [
            f"{over} of {_testers(len(usable))} took more than the pattern says for their size.",
            f"Over all of them it is off by {_signed(finding.estimate or 0.0)} {unit} in the size that is furthest off "
            f"(95 % interval {_signed(low)} to {_signed(high)} {unit}); up to {plain(finding.tolerance or 0.0, 1)} "
            f"{unit} is fine.",
            self.amount_verdict(finding),
            self.needs(finding),
        ]
        order = sorted(taken, key=lambda i: (int(self.found.sizes[i]), self.name(self.testers[i].id)))
        rows = tuple(
            (
                self.name(self.testers[i].id),
                self.testers[i].size or "own",
                plain(taken[i], 1),
                plain(total_of[i], 0),
                plain(rate[i], 3),
                plain(printed[self.testers[i].size or ""], 1) if self.testers[i].size in printed else "–",
            )
            for i in order
        )
        return Evidence(
            finding.id,
            lead,
            tuple(steps),
            tuple(filter(None, close)),
            Figures(
                f"{word.capitalize()} by tester",
                ("Tester", "Size", "Taken", "Stitches", f"{word.capitalize()} in 1000", "Printed"),
                rows,
                (
                    ("Off in the size furthest off", f"{_signed(finding.estimate or 0.0)} {unit}"),
                    ("95 % interval", f"{_signed(low)} to {_signed(high)} {unit}"),
                    ("Makers", str(finding.testers)),
                    *_needs_fact(finding),
                ),
            ),
        )

    def of_maker(
        self,
        tester: Tester,
        taken: float,
        parts: Sequence[float],
        meant: float,
        printed: float,
        *,
        yarn: bool,
    ) -> list[Step]:
        """One tester's rate, scaled to the size as the pattern means it."""
        unit, word = ("m", "metres") if yarn else ("h", "hours")
        used, ball = tester.yarn_used, tester.yarn
        steps = []
        amount = plain(taken)
        if yarn and used is not None and used.metres is None and ball is not None:
            grams, metres, weight = (
                plain(value or 0.0, MOST_DECIMALS)
                for value in (used.grams, ball.metres_per_ball, ball.grams_per_ball)
            )
            steps.append(
                Step("what was used, by the ball", f"{grams} g × {metres} m / {weight} g = {amount} m")
            )
        elif not yarn and len(tester.sittings) > 1:
            hours = [plain(sitting.hours, MOST_DECIMALS) for sitting in tester.sittings]
            amount = plain(float(sum(Decimal(text) for text in hours)), MOST_DECIMALS)
            steps.append(
                Step(f"{len(hours)} sittings together", f"{' + '.join(hours)} = {amount} h")
                if len(hours) <= MOST_NAMED
                else Step(f"{len(hours)} sittings together took {amount} h")
            )
        else:
            amount = plain(taken, MOST_DECIMALS)
            steps.append(Step(f"what was {'used' if yarn else 'taken'}: {amount} {unit}"))
        whole = [plain(value, 0) for value in parts]
        total = sum(int(text.replace("−", "-")) for text in whole)
        if len(whole) > 1:
            steps.append(Step("stitches in the parts, with the counts worked", f"{added(whole)} = {total}"))
        else:
            steps.append(Step(f"stitches in the piece, with the counts worked: {total}"))
        if total <= 0:
            return steps
        thousands, size_thousands = plain(total / 1000, 3), plain(meant / 1000, 3)
        each = plain(shown(amount) / shown(thousands), 3)
        comes = plain(shown(each) * shown(size_thousands), 1)
        steps.append(
            Step(f"{word} in a thousand stitches", f"{amount} {unit} / {thousands} = {each} {unit}"),
        )
        steps.append(
            Step(
                f"for size {tester.size} as it is meant, {size_thousands} thousand stitches, where the pattern says "
                f"{plain(printed, MOST_DECIMALS)} {unit}",
                f"{each} {unit} × {size_thousands} = {comes} {unit}",
            )
        )
        return steps

    def amount_verdict(self, finding: Finding) -> str:
        match finding.verdict:
            case Verdict.AMEND if finding.kind is FindingKind.YARN:
                return "Amend: the interval leaves no doubt that the amount printed is off."
            case Verdict.AMEND:
                return "Amend: even the near end of the interval is off."
            case Verdict.LOOK_CLOSER:
                return "Look closer: the estimate is beyond what is fine, and the near end of its interval is not."
            case Verdict.HOLDS:
                return f"Holds: the whole interval is within what is fine. It rests on {finding.testers} finished pieces."
        return "Open: the estimate is within what is fine, and an end of its interval is not."

    # Words about the text and the fit

    def clarity(self, finding: Finding) -> Evidence:
        place = _folded(finding.subject)
        said = [
            (tester, remark)
            for tester in self.testers
            for remark in tester.remarks
            if remark.place and remark.kind is not RemarkKind.FIT and _folded(remark.place) == place
        ]
        kinds = Counter(remark.kind.value.replace("-", " ") for _, remark in said)
        people = {tester.id: tester for tester, _ in said}
        sizes = Counter(tester.size for tester in people.values() if tester.size)
        in_sizes = ", ".join(f"{size} {sizes[size]}" for size in self.pattern.sizes if sizes[size])
        steps = [
            Step(f"remarks by kind: {', '.join(f'{kind} {n}' for kind, n in sorted(kinds.items()))}"),
        ]
        if in_sizes:
            steps.append(Step(f"testers by size: {in_sizes}"))
        amend = finding.verdict is Verdict.AMEND
        verdict = (
            "Amend: so many stumble only where the words can be better."
            if amend
            else "Look closer: two may have stumbled by chance."
        )
        return Evidence(
            finding.id,
            f"{len(people)} of the {_testers(len(self.testers))} of the round remarked on {finding.subject}.",
            tuple(steps),
            tuple(filter(None, (verdict, self.needs(finding) if finding.needs else ""))),
        )

    def fit(self, finding: Finding) -> Evidence:
        dimension = self.dimension(finding.subject)
        heard: dict[str, Counter[str]] = defaultdict(Counter)
        for tester in self.testers:
            last = {fit.dimension: fit.says for fit in tester.fit}
            if dimension.key in last:
                heard[tester.size or ""][last[dimension.key].value.replace("-", " ")] += 1
        steps = [
            Step(
                f"{f'size {size}: ' if size else ''}"
                + ", ".join(f"{word} {n}" for word, n in sorted(said.items()))
            )
            for size, said in sorted(
                heard.items(),
                key=lambda h: self.pattern.sizes.index(h[0]) if h[0] in self.pattern.sizes else -1,
            )
        ]
        own = self.by_id.get(f"finished-size:{dimension.key}")
        measured = ""
        if own is not None:
            word = own.verdict.value.replace("-", " ")
            measured = f" The measurement itself: {word}."
        return Evidence(
            finding.id,
            f"How {dimension.label} fits, by those who said.",
            tuple(steps),
            (
                "Look closer: at least two of a size, and most of those who said, find it so; whether it is the ease that "
                f"is meant is for the designer to say.{measured}",
            ),
        )


def _reading(swatch: Swatch, axis: str) -> tuple[float | None, float | None]:
    return (swatch.stitches, swatch.width) if axis == "st" else (swatch.rows, swatch.height)


def _folded(place: str) -> str:
    return " ".join(place.split()).casefold().rstrip(".")


def _testers(n: int) -> str:
    return f"{n} tester{'' if n == 1 else 's'}"


def _result(step: Step) -> str:
    return step.sum.rpartition(" = ")[2].removesuffix(" cm")


def _text(value: Decimal) -> str:
    return plain(float(value), MOST_DECIMALS)


def _signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{plain(value, 1)}" if np.isfinite(value) else "–"


def _small(value: float) -> str:
    return "below 0.001" if value < 0.001 else plain(value, 3)


def _needs_fact(finding: Finding) -> list[tuple[str, str]]:
    if not finding.needs:
        return []
    return [("More testers", ", ".join(f"{n} in {size}" for size, n in finding.needs.items()))]


def _shape(behind: DimensionBehind) -> str:
    said = []
    for shape in behind.shapes:
        named = ", ".join(size for size in shape.sizes if size)
        said.append(
            {"shift": "shift of all sizes", "growth": "growth along the sizes"}.get(
                shape.kind, f"sizes {named} alone"
            )
        )
    return " and ".join(said) or "none paid for itself"
