"""The analysis of a round: one function from what was reported to what it says.

The order matters. Likely gross errors are recognised and set aside as questions; worked counts are voted on,
and pieces that rest on an unreported one say nothing; stated gauges are judged from swatches; only then is what
is left pooled and judged, so that nothing is reported twice.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from pydantic import TypeAdapter

from testround.kernel import whys
from testround.kernel.amounts import ANY_SIZE, MOST_ASKED_FOR, Taken, amount_findings, yarn_and_hours
from testround.kernel.behind import Behind, behind
from testround.kernel.correction import (
    Correction,
    correct_dimension,
    correct_gauge,
    gauges_to_print,
    numbers_now,
)
from testround.kernel.deskcheck import DeskCheck, desk_check
from testround.kernel.discrepancy import discrepancies
from testround.kernel.findings import (
    CELL_DECIMALS,
    Cell,
    Extent,
    Finding,
    FindingKind,
    FindingsDocument,
    PatternNamed,
    Verdict,
    in_order,
)
from testround.kernel.gauge import SOURCES, Source
from testround.kernel.odd_measures import OddMeasure, odd_sizes, odd_testers
from testround.kernel.pool import Pooled, Remainders, pool
from testround.kernel.questions import Doubts, Question
from testround.kernel.round import FitSays, Round
from testround.kernel.sheet import Sheet
from testround.kernel.units import rounded, to_half
from testround.kernel.verdict import (
    Agreed,
    DeviationCell,
    Judged,
    PooledGauge,
    deviation_cells,
    fit_said,
    gathered_remarks,
    judge_dimensions,
    judge_gauges,
    worked_counts,
)
from testround.kernel.words import told

__all__ = ["Analysis", "DeviationCell", "OwnGauge", "PooledGauge", "Question", "analyse"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

EXACT_BELOW = 1e5
"""Centimetres below which the decimals of a cell survive being added up."""
ENOUGH_REMARKS = 3
"""Testers who stumble at one place before its words are to be amended."""

# All cells at once: there may be tens of thousands.
_CELLS = TypeAdapter(tuple[Cell, ...])


@dataclass(frozen=True, slots=True)
class OwnGauge:
    """One tester's own gauge: per 10 cm, relative standard uncertainties, and where it comes from."""

    tester: str
    gauge: str
    st: float
    row: float
    u_st: float
    u_row: float
    source: Source


@dataclass(frozen=True)
class Analysis:
    """Everything an analysis says; ``findings`` is the findings file."""

    findings: FindingsDocument
    deviations: tuple[DeviationCell, ...]
    gauges: tuple[PooledGauge, ...]
    own_gauges: tuple[OwnGauge, ...]
    questions: tuple[Question, ...]
    converged: bool
    """Whether the estimate had settled; the report says so when it had not."""
    odd_sizes: tuple[OddMeasure, ...] = ()
    """The pattern's own body measurements that hardly any body has: for the designer to check."""
    behind: Behind = field(default_factory=Behind)
    """The figures behind the verdicts on finished sizes, for a technical editor."""
    taken: Taken = field(default_factory=Taken)
    """What the pieces took of yarn and of time."""


def analyse(round: Round) -> Analysis:
    """Analyse a round.

    Parameters
    ----------
    round : Round
        As read from a file or from the database; any tester may have any part missing.

    Returns
    -------
    Analysis
        The same for the same input, and whatever the order of its testers, but for the order of cells.

    Raises
    ------
    SheetError
        The pattern's own formulas cannot be computed.
    """
    return _Work(round).analysis()


class _Work:
    def __init__(self, round: Round) -> None:
        self.round = round
        self.pattern = round.pattern
        self.sheet = Sheet(round.pattern)
        self.sizes: tuple[str | None, ...] = self.pattern.sizes or (None,)
        self.tolerance = np.array([d.tolerance for d in self.pattern.dimensions], dtype=np.float64)
        self.labels = {number.key: number.label for number in self.pattern.numbers}
        self.labels |= {dimension.key: dimension.label for dimension in self.pattern.dimensions}
        self.findings: list[Finding] = []

    def analysis(self) -> Analysis:
        self.desk: DeskCheck = desk_check(self.sheet)
        # Sorted by name, so that sums do not depend on the order in which reports came in.
        self.testers = tuple(sorted(self.round.testers, key=lambda tester: tester.id))
        self.found = discrepancies(self.sheet, self.testers)
        misprints = self.misprints()
        agreed = worked_counts(self.sheet, self.found, misprints)
        doubts = Doubts(self.sheet, self.found, self.testers)
        odd_swatches = doubts.swatches()
        of_odd = np.asarray(odd_swatches.any(axis=(1, 2)))
        aside = of_odd[:, None] & self.depends_on_gauge()
        aside |= doubts.bodies(odd_testers(self.round))
        aside |= doubts.counts(agreed)
        aside |= doubts.measurements(aside)
        for one in agreed:
            aside[np.ix_(one.silent, doubts.following(one.number))] = True
        self.gauges = judge_gauges(self.sheet, self.found.own, odd_swatches)
        pooled = pool(self.remainders(aside))
        unblocked = doubts.unblocked(pooled)
        if unblocked.any():
            pooled = pool(self.remainders(aside | unblocked))
        judged = judge_dimensions(pooled, self.tolerance, len(self.sizes))
        doubts.after_fit(pooled)

        self.desk_findings()
        for one in agreed:
            self.findings.append(self.worked_count(one, misprints))
        deviations = deviation_cells(self.sheet, self.found, pooled, judged, self.sizes)
        self.size_findings(judged, pooled, misprints)
        self.gauge_findings()
        supplied = self.round.round.yarns
        taken = yarn_and_hours(self.sheet, self.found, self.testers, supplied)
        self.findings += amount_findings(self.sheet, taken)
        self.remark_findings()
        return Analysis(
            findings=FindingsDocument(
                pattern=PatternNamed(title=self.pattern.title, edition=self.pattern.edition),
                findings=in_order(self.findings),
                cells=self.cells(),
            ),
            deviations=deviations,
            gauges=self.gauges,
            own_gauges=self.own_gauges(),
            questions=tuple(sorted(doubts.questions, key=lambda q: (q.tester, q.subject))),
            odd_sizes=tuple(odd_sizes(self.pattern)),
            converged=pooled.converged,
            behind=behind(self.found, pooled, judged, self.sizes),
            taken=taken,
        )

    def depends_on_gauge(self) -> BoolArray:
        return np.asarray(np.abs(self.found.sensitivity).max(axis=2, initial=0.0) > 1e-9)

    # What goes into the pool

    def remainders(self, aside: BoolArray) -> Remainders:
        found = self.found
        usable = found.known & ~aside
        if self.pattern.is_graded:
            usable &= (found.sizes >= 0)[:, None]
        blank = np.where(usable, found.expected, np.nan)
        count = usable.sum(axis=0)
        typical = np.where(count > 0, np.nansum(blank, axis=0) / np.maximum(count, 1), 0.0)
        return Remainders(
            values=np.where(usable, found.remainder, np.nan),
            u_measured=np.where(usable, found.u_measured, np.nan),
            sensitivity=found.sensitivity,
            u_gauge=found.u_gauge,
            sizes=np.maximum(found.sizes, 0),
            n_sizes=len(self.sizes),
            expected=typical,
            tolerance=self.tolerance,
        )

    # The desk check's findings

    def misprints(self) -> dict[str, dict[str, float]]:
        found: dict[str, dict[str, float]] = defaultdict(dict)
        for count in self.desk.counts:
            found[count.key][count.size] = count.computed
        return dict(found)

    def desk_findings(self) -> None:
        units = {number.key: number.unit for number in self.pattern.numbers}
        counts = defaultdict(list)
        for count in self.desk.counts:
            counts[count.key].append(count)
        for key, group in counts.items():
            worst = max(group, key=lambda c: abs(c.printed - c.computed))
            extent, sizes = self.extent([c.size for c in group])
            computed = {c.size: c.computed for c in group}
            # A formula may come out broken, or below nought: only a whole count can be printed.
            proposed = {size: _whole(count) for size, count in computed.items() if count > -0.5}
            self.findings.append(
                Finding(
                    id=f"printed-count:{key}",
                    kind=FindingKind.PRINTED_COUNT,
                    subject=key,
                    extent=extent,
                    sizes=sizes,
                    verdict=Verdict.AMEND,
                    estimate=worst.printed - worst.computed,
                    unit=units[key],
                    now={c.size: c.printed for c in group},
                    proposed=proposed or None,
                    proposed_for=key if proposed else None,
                    computed=computed if computed != proposed else None,
                    why=told(
                        whys.printed_count,
                        self.labels[key],
                        worst.place,
                        worst.printed,
                        worst.size,
                        worst.computed,
                    ),
                )
            )
        measurements = defaultdict(list)
        for measurement in self.desk.measurements:
            measurements[measurement.key].append(measurement)
        for key, ones in measurements.items():
            off = max(ones, key=lambda m: abs(m.printed - m.follows))
            amend = any(m.verdict == "amend" for m in ones)
            extent, sizes = self.extent([m.size for m in ones])
            self.findings.append(
                Finding(
                    id=f"schematic:{key}",
                    kind=FindingKind.SCHEMATIC,
                    subject=key,
                    extent=extent,
                    sizes=sizes,
                    verdict=Verdict.AMEND if amend else Verdict.LOOK_CLOSER,
                    estimate=off.printed - off.follows,
                    unit="cm",
                    tolerance=off.tolerance,
                    now={m.size: m.printed for m in ones},
                    proposed={m.size: to_half(m.follows) for m in ones},
                    proposed_for=key,
                    why=told(whys.schematic, self.labels[key], off.printed, off.size, off.follows),
                )
            )

    def extent(self, sizes: Sequence[str]) -> tuple[Extent, tuple[str, ...]]:
        named = tuple(size for size in self.pattern.sizes if size in set(sizes))
        every = len(named) == len(self.pattern.sizes)
        return (Extent.ALL_SIZES if every else Extent.SOME_SIZES), named

    # What testers' reports say

    def worked_count(self, one: Agreed, misprints: Mapping[str, Mapping[str, float]]) -> Finding:
        number = next(n for n in self.pattern.numbers if n.key == one.number)
        now = numbers_now(self.sheet) if self.pattern.is_graded else {}
        by_formula = self.sheet.numbers(self.sheet.stated()) if self.pattern.is_graded else {}
        sizes = tuple(self.pattern.sizes[s] for s in one.sizes) if self.pattern.is_graded else None
        suffix = "" if one.extent is Extent.ALL_SIZES else f":{'-'.join(sizes or ())}"
        graded = self.pattern.is_graded
        # Where what is printed is wrong anyway, what testers add is added to what it should have been.
        right = numbers_now(self.sheet, misprints)[one.number] if graded else ()
        return Finding(
            id=f"worked-count:{one.number}{suffix}",
            kind=FindingKind.WORKED_COUNT,
            subject=one.number,
            extent=one.extent if graded else None,
            sizes=sizes,
            verdict=Verdict.AMEND,
            estimate=one.offset,
            interval=(one.offset, one.offset),
            unit=number.unit,
            testers=one.votes,
            now={self.pattern.sizes[s]: float(now[one.number][s]) for s in one.sizes} if graded else None,
            proposed={self.pattern.sizes[s]: _whole(right[s] + one.offset) for s in one.sizes}
            if graded
            else None,
            proposed_for=one.number if graded else None,
            computed={self.pattern.sizes[s]: float(by_formula[one.number][s]) for s in one.sizes}
            if graded
            else None,
            why=told(
                whys.worked_count,
                number.label,
                number.place,
                one.votes,
                one.reports,
                one.offset,
                number.unit,
                graded,
            ),
        )

    def gauge_findings(self) -> None:
        for gauge in self.gauges:
            if gauge.estimate is None or gauge.low is None or gauge.high is None:
                continue
            if not self.pattern.is_graded:
                continue
            off = gauge.estimate - gauge.stated
            amend = gauge.verdict is Verdict.AMEND
            fix = None
            if amend:
                fix = correct_gauge(
                    self.sheet,
                    gauge.gauge,
                    gauge.axis,
                    gauge.estimate,
                    gauges=self.to_print,
                    said_elsewhere=self.counted,
                )
            self.findings.append(
                Finding(
                    id=f"stated-gauge:{gauge.gauge}.{gauge.axis}",
                    kind=FindingKind.STATED_GAUGE,
                    subject=f"{gauge.gauge}.{gauge.axis}",
                    verdict=gauge.verdict,
                    needs={ANY_SIZE: self.gauge_needs(gauge)}
                    if gauge.verdict is Verdict.LOOK_CLOSER
                    else None,
                    estimate=off,
                    interval=(gauge.low - gauge.stated, gauge.high - gauge.stated),
                    unit=gauge.axis,
                    tolerance=gauge.tolerance,
                    testers=gauge.testers,
                    now=fix.now if fix else None,
                    proposed=fix.proposed if fix else None,
                    follows=fix.follows if fix and fix.follows else None,
                    why=told(
                        whys.stated_gauge,
                        gauge.axis,
                        gauge.testers,
                        gauge.estimate,
                        gauge.low,
                        gauge.high,
                        gauge.stated,
                        self.labels[gauge.worst] if gauge.worst and amend else None,
                    ),
                )
            )

    @staticmethod
    def gauge_needs(gauge: PooledGauge) -> int:
        """How many more swatches would settle a gauge: the interval narrows with the root of their number."""
        low, high = gauge.low or 0.0, gauge.high or 0.0
        off = abs((gauge.estimate or 0.0) - gauge.stated)
        half = (high - low) / 2
        if off <= 0 or half <= 0:
            return 1
        wanted = gauge.testers * (1.3 * half / off) ** 2
        return int(min(max(np.ceil(wanted) - gauge.testers, 3 - gauge.testers, 1), MOST_ASKED_FOR))

    def size_findings(
        self, judged: Sequence[Judged], pooled: Pooled, misprints: Mapping[str, Mapping[str, float]]
    ) -> None:
        graded = self.pattern.is_graded
        amended = {
            self.found.dimensions[one.dimension]: {
                self.pattern.sizes[s]: float(pooled.estimate[s, one.dimension]) for s in one.sizes
            }
            for one in judged
            if one.verdict is Verdict.AMEND and graded
        }
        off_gauges = {
            (gauge.gauge, gauge.axis): gauge.estimate
            for gauge in self.gauges
            if gauge.verdict is Verdict.AMEND and gauge.estimate is not None and graded
        }
        self.to_print = gauges_to_print(self.sheet, off_gauges) if off_gauges else {}
        self.counted: dict[str, set[str]] = defaultdict(set)
        for one in judged:
            key = self.found.dimensions[one.dimension]
            fix = None
            if key in amended:
                off = self.to_put_right(one, pooled)
                behind = {gauge for gauge, axis in off_gauges if key in self.sheet.follows(f"{gauge}.{axis}")}
                new = {gauge: columns for gauge, columns in self.to_print.items() if gauge in behind}
                fix = correct_dimension(
                    self.sheet, key, off, misprints=misprints, welcome=amended, gauges=new
                )
                if fix and new:
                    self.counted[fix.number] |= set(fix.proposed)
            needs = None
            if one.needs:
                needs = (
                    {self.pattern.sizes[s]: n for s, n in one.needs.items()}
                    if graded
                    else {ANY_SIZE: sum(one.needs.values())}
                )
            self.findings.append(
                Finding(
                    id=f"finished-size:{key}",
                    kind=FindingKind.FINISHED_SIZE,
                    subject=key,
                    extent=one.extent,
                    sizes=tuple(self.pattern.sizes[s] for s in one.sizes) if graded else None,
                    verdict=one.verdict,
                    needs=needs,
                    estimate=one.estimate,
                    interval=(one.low, one.high),
                    unit="cm",
                    tolerance=float(self.tolerance[one.dimension]),
                    testers=one.testers,
                    now=fix.now if fix else None,
                    proposed=fix.proposed if fix else None,
                    proposed_for=fix.number if fix else None,
                    follows=fix.follows if fix and fix.follows else None,
                    why=told(
                        whys.finished_size,
                        one.verdict,
                        self.pattern.dimensions[one.dimension].label,
                        one.estimate,
                        float(self.tolerance[one.dimension]),
                        one.testers,
                        one.extent,
                        tuple(str(self.sizes[s]) for s in one.sizes),
                        self.mend(fix),
                        graded,
                    ),
                )
            )

    def to_put_right(self, one: Judged, pooled: Pooled) -> dict[str, float]:
        """Deviation by size that a correction is to take away."""
        d = one.dimension
        if one.extent is Extent.WITH_SIZE:
            return {self.pattern.sizes[s]: float(pooled.estimate[s, d]) for s in one.sizes}
        # One shift for all sizes concerned: what single sizes show beyond it is not the pattern's.
        return {self.pattern.sizes[s]: one.estimate for s in one.sizes}

    def mend(self, fix: Correction | None) -> tuple[str | None, bool, tuple[str, ...]]:
        """The number to change, whether its counts are for a new gauge, and the dimensions that it harms."""
        if fix is None:
            return None, False, ()
        harmed = tuple(self.labels[key] for key in fix.harmed)
        return self.labels[fix.number], fix.number in self.counted, harmed

    def remark_findings(self) -> None:
        for place in gathered_remarks(self.testers):
            n = len(place.testers)
            self.findings.append(
                Finding(
                    id=f"clarity:{place.place}",
                    kind=FindingKind.CLARITY,
                    subject=place.place,
                    verdict=Verdict.AMEND if n >= ENOUGH_REMARKS else Verdict.LOOK_CLOSER,
                    needs={ANY_SIZE: ENOUGH_REMARKS - n} if n < ENOUGH_REMARKS else None,
                    testers=n,
                    why=told(whys.clarity, place.place, n, place.kinds),
                )
            )
        for said in fit_said(self.sheet, self.testers):
            large = said.says is FitSays.TOO_LARGE
            extent, sizes = self.extent(said.sizes) if said.sizes else (None, None)
            suffix = "too-large" if large else "too-small"
            self.findings.append(
                Finding(
                    id=f"fit:{said.dimension}:{suffix}",
                    kind=FindingKind.FIT,
                    subject=said.dimension,
                    extent=extent,
                    sizes=sizes,
                    verdict=Verdict.LOOK_CLOSER,
                    testers=said.testers,
                    why=told(
                        whys.fit,
                        self.labels.get(said.dimension, said.dimension),
                        said.testers,
                        large,
                        said.sizes,
                    ),
                )
            )

    # Tables

    def cells(self) -> tuple[Cell, ...]:
        """One per finished measurement, in the order of the round's testers, then of the sheet."""
        found = self.found
        at = {tester: i for i, tester in enumerate(found.testers)}
        parts_of = (found.target, found.measured, found.counts, found.gauge)
        columns = [table.tolist() for table in _that_add_up(parts_of)]
        columns.append(np.round(found.uncertainty, CELL_DECIMALS).tolist())
        targets, measured, counts, gauges, uncertain = columns
        known = found.known.tolist()
        cells = []
        for tester in self.round.testers:
            i = at[tester.id]
            for d, key in enumerate(found.dimensions):
                if not known[i][d]:
                    continue
                target, mean, c, g = targets[i][d], measured[i][d], counts[i][d], gauges[i][d]
                parts = {"counts": c, "gauge": g, "remainder": round(mean - target - c - g, CELL_DECIMALS)}
                cells.append(
                    {
                        "tester": tester.id,
                        "size": tester.size,
                        "dimension": key,
                        "target": target,
                        "measured": mean,
                        "parts": parts,
                        "uncertainty": uncertain[i][d],
                    }
                )
        return _CELLS.validate_python(cells)

    def own_gauges(self) -> tuple[OwnGauge, ...]:
        own = self.found.own
        at = {tester: i for i, tester in enumerate(self.found.testers)}
        per_10cm, u, source = (own.blocked * 10).tolist(), own.u_blocked.tolist(), own.source.tolist()
        return tuple(
            OwnGauge(
                tester.id,
                key,
                per_10cm[i][k][0],
                per_10cm[i][k][1],
                u[i][k][0],
                u[i][k][1],
                SOURCES[max(source[i][k])],
            )
            for tester in self.round.testers
            for i in (at[tester.id],)
            for k, key in enumerate(own.keys)
        )


def _that_add_up(tables: Sequence[FloatArray]) -> list[FloatArray]:
    """The tables at the decimals a cell carries, or, where numbers are so large that adding them would lose
    those, at a binary step coarse enough for every sum of them to be exact."""
    with np.errstate(invalid="ignore"):
        largest = np.max([np.abs(np.nan_to_num(table)) for table in tables], axis=0)
    _, power = np.frexp(largest)
    step = np.exp2(np.maximum(power, 0) - 50.0)
    return [
        np.where(largest < EXACT_BELOW, np.round(table, CELL_DECIMALS), np.round(table / step) * step)
        for table in tables
    ]


def _whole(count: float) -> float:
    """The whole count to print for a computed one, halves going up; none below nought."""
    return max(float(rounded(count, Fraction(1))), 0.0)
