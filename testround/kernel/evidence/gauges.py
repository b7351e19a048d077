"""Testers' swatches against the stated gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from testround.kernel.correction import numbers_now
from testround.kernel.evidence.base import (
    AXIS_WORDS,
    MOST_NAMED,
    SHORT_UNITS,
    Case,
    Evidence,
    Figures,
    furthest,
    needs_fact,
    reading_of,
    testers_said,
)
from testround.kernel.findings import Finding, Verdict
from testround.kernel.gauge import ASSUMED, AXES, BLOCKED, WORKED
from testround.kernel.round import Tester
from testround.kernel.units import format_gauge
from testround.kernel.worked import MOST_DECIMALS, Step, Unworkable, plain, quotient, shown


class Gauges(Case):
    """Evidence for stated gauges."""

    def stated_gauge(self, finding: Finding) -> Evidence:
        key, _, axis = finding.subject.partition(".")
        pooled = next(g for g in self.analysis.gauges if (g.gauge, g.axis) == (key, axis))
        gauge = next(g for g in self.pattern.gauges if g.key == key)
        k, a = [g.key for g in self.pattern.gauges].index(key), ("st", "row").index(axis)
        word = AXIS_WORDS[axis]
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

    def swatch_in_ten(self, tester: Tester, key: str, axis: str, per_10cm: float) -> list[Step]:
        mine = self.swatches(tester, key, axis)
        who = self.with_size(tester.id, tester.size)
        word, short = AXIS_WORDS[axis], SHORT_UNITS[axis]
        if len(mine) != 1:
            return [
                Step(
                    f"{who}: {len(mine)} blocked swatches of one tool, weighed together, give {per_10cm:.2f} {word}"
                )
            ]
        count, span = reading_of(mine[0], axis)
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
                f"and at {plain(estimate)} {AXIS_WORDS[axis]} in 10 cm",
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
                return f"Holds: the interval stays within the {limit}. It rests on the swatches of {testers_said(finding.testers)}."
        return f"Open: {off} is within the {limit}; what is missing: {self.missing(finding)}."

    def gauge_figures(self, finding: Finding, here: Sequence[int], k: int, a: int, label: str) -> Figures:
        own = self.found.own
        stated = self.stated_per_cm(k, a)
        sent = np.flatnonzero(own.source[:, k, a] != ASSUMED).tolist()
        shown_rows, more = furthest(sent, lambda i: abs(float(own.blocked[i, k, a]) - stated))
        counting = set(here)
        rows = []
        for i in shown_rows:
            tester, source = self.testers[i], int(own.source[i, k, a])
            per_10cm = float((own.blocked if source == BLOCKED else own.worked)[i, k, a] * 10)
            u = float((own.u_blocked if source == BLOCKED else own.u_worked)[i, k, a])
            counted = "counts" if i in counting else "unblocked" if source == WORKED else "to be asked"
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
            f"{label}, {AXIS_WORDS[AXES[a]]} in {self.span}: every tester's swatch with its standard uncertainty",
            ("Tester", "Size", "Gauge", "±", "Counted"),
            tuple(rows),
            tuple(facts + needs_fact(finding)),
            more,
        )
