"""Testers' swatches against the stated gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from testround.kernel.correction import numbers_now
from testround.kernel.evidence.base import (
    MOST_NAMED,
    Case,
    Evidence,
    Figures,
    furthest,
    needs_fact,
    reading_of,
    short_unit,
    size_of,
    span_said,
    unit_word,
)
from testround.kernel.findings import Finding, Verdict
from testround.kernel.gauge import ASSUMED, AXES, BLOCKED, WORKED
from testround.kernel.round import Tester
from testround.kernel.units import decimal, format_gauge
from testround.kernel.words import and_more, ngettext
from testround.kernel.words import gettext as _
from testround.kernel.worked import MOST_DECIMALS, Step, Unworkable, plain, quotient, shown


class Gauges(Case):
    """Evidence for stated gauges."""

    def stated_gauge(self, finding: Finding) -> Evidence:
        key, _dot, axis = finding.subject.partition(".")
        pooled = next(g for g in self.analysis.gauges if (g.gauge, g.axis) == (key, axis))
        gauge = next(g for g in self.pattern.gauges if g.key == key)
        k, a = [g.key for g in self.pattern.gauges].index(key), ("st", "row").index(axis)
        own = self.found.own
        here = [
            i
            for i in np.flatnonzero(own.measured[:, k, a]).tolist()
            if (self.testers[i].id, finding.subject) not in self.asked
        ]
        per_10cm = {i: float(own.blocked[i, k, a] * 10) for i in here}
        estimate = pooled.estimate if pooled.estimate is not None else pooled.stated
        steps: list[Step] = []
        lead = [
            (
                _("What testers' blocked swatches of {gauge} say of its stitches.")
                if axis == "st"
                else _("What testers' blocked swatches of {gauge} say of its rows.")
            ).format(gauge=gauge.label)
        ]
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
            named = [f"{self.name(self.testers[j].id)} {self.per(per_10cm[j])}" for j in here[:MOST_NAMED]]
            lead.append(
                _("In {span} they have: {testers}.").format(
                    span=self.span, testers=and_more(named, len(here) - MOST_NAMED)
                )
            )
        if pooled.worst is not None:
            steps += self.hit(finding, pooled.worst, f"{key}.{axis}", estimate)
        low, high = pooled.low, pooled.high
        close = []
        if pooled.estimate is not None and low is not None and high is not None:
            said = (
                _(
                    "Pooled, they have {estimate} (95 % interval {low} to {high}) stitches in {span}, and {stated} are "
                    "stated."
                )
                if axis == "st"
                else _(
                    "Pooled, they have {estimate} (95 % interval {low} to {high}) rows in {span}, and {stated} are stated."
                )
            )
            close.append(
                said.format(
                    estimate=self.per(pooled.estimate),
                    low=self.per(low),
                    high=self.per(high),
                    span=self.span,
                    stated=format_gauge(pooled.stated, self.over),
                )
            )
        verdict = self.gauge_verdict(finding, axis)
        close += [verdict, self.needs(finding)]
        return Evidence(
            finding.id,
            " ".join(filter(None, [*lead, self.in_cm()])),
            tuple(steps),
            tuple(filter(None, close)),
            self.gauge_figures(finding, here, k, a, gauge.label),
            self.rests(finding, verdict),
        )

    def swatch_in_ten(self, tester: Tester, key: str, axis: str, per_10cm: float) -> list[Step]:
        mine = self.swatches(tester, key, axis)
        who = self.with_size(tester.id, tester.size)
        short = short_unit(axis)
        if len(mine) != 1:
            said = ngettext(
                "{tester}: {n} blocked swatch of one tool, weighed together, gives {result} {unit}",
                "{tester}: {n} blocked swatches of one tool, weighed together, give {result} {unit}",
                len(mine),
            )
            result = decimal(per_10cm, ".2f")
            return [Step(said.format(tester=who, n=len(mine), result=result, unit=unit_word(axis)))]
        count, span = reading_of(mine[0], axis)
        assert count is not None  # noqa: S101 — `swatches` has only those with both; this tells the type checker
        assert span is not None  # noqa: S101
        top, bottom, result = quotient(count * 10, span)
        counted = plain(count, MOST_DECIMALS)
        if shown(top) != shown(counted) * 10:
            said = (
                _("{tester}: the blocked swatch gives {result} stitches in 10 cm")
                if axis == "st"
                else _("{tester}: the blocked swatch gives {result} rows in 10 cm")
            )
            return [Step(said.format(tester=who, result=result))]
        said = (
            _("{tester} counted {count} stitches over {length}, which makes in 10 cm")
            if axis == "st"
            else _("{tester} counted {count} rows over {length}, which makes in 10 cm")
        )
        return [
            Step(
                said.format(tester=who, count=counted, length=f"{bottom} cm"),
                f"{counted} {short} × 10 / {bottom} = {result} {short}",
            )
        ]

    def hit(self, finding: Finding, worst: str, name: str, estimate: float) -> list[Step]:
        """What the testers' gauge does to the measurement it hits hardest, in the size it hits hardest."""
        dimension = self.dimension(worst)
        numbers = numbers_now(self.sheet)
        stated = self.sheet.stated()
        gauge, _dot, axis = name.partition(".")
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
                _("{dimension} in size {size} at the stated gauge").format(
                    dimension=dimension.label, size=size
                ),
                dimension.formula,
                self.of_size(s, numbers),
                "cm",
            )
            made = self.written(
                (
                    _("and at {estimate} stitches in 10 cm")
                    if axis == "st"
                    else _("and at {estimate} rows in 10 cm")
                ).format(estimate=plain(estimate)),
                dimension.formula,
                self.of_size(s, numbers, **{name: estimate / 10}),
                "cm",
            )
        except Unworkable:
            return []
        off = shown(made.result) - shown(meant.result)
        said = (
            _("the difference, or {inches}; up to {allowed} is fine")
            if self.units == "in"
            else _("the difference; up to {allowed} is fine")
        ).format(inches=self.length(off), allowed=self.length(dimension.tolerance, signed=False))
        return [*meant.steps, *made.steps, self.difference(said, made.result, meant.result, "cm")]

    def gauge_verdict(self, finding: Finding, axis: str) -> str:
        assert finding.estimate is not None  # noqa: S101 — every gauge finding has one
        places = {
            # Translators: as in "1.5 stitches in 10 cm".
            "off": (_("{n} stitches in {span}") if axis == "st" else _("{n} rows in {span}")).format(
                n=self.per(finding.estimate, 2, signed=True), span=self.span
            ),
            "limit": self.per(finding.tolerance or 0.0, 2),
            "n": finding.testers,
        }
        match finding.verdict:
            case Verdict.AMEND:
                said = ngettext(
                    "Amend: {off} is beyond the {limit} that the measurement hit hardest allows, the interval does not "
                    "reach the stated gauge, and {n} tester has it.",
                    "Amend: {off} is beyond the {limit} that the measurement hit hardest allows, the interval does not "
                    "reach the stated gauge, and {n} testers have it.",
                    finding.testers,
                )
            case Verdict.LOOK_CLOSER:
                said = _(
                    "Look closer: {off} is beyond the {limit} that the measurement hit hardest allows; what is missing: "
                    "{missing}."
                )
            case Verdict.HOLDS:
                said = ngettext(
                    "Holds: the interval stays within the {limit} that the measurement hit hardest allows. It rests on "
                    "the swatches of {n} tester.",
                    "Holds: the interval stays within the {limit} that the measurement hit hardest allows. It rests on "
                    "the swatches of {n} testers.",
                    finding.testers,
                )
            case _:
                said = _(
                    "Open: {off} is within the {limit} that the measurement hit hardest allows; what is missing: "
                    "{missing}."
                )
        return said.format(**places, missing=self.missing(finding))

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
            if i in counting:
                counted = _("counts")
            else:
                counted = _("unblocked") if source == WORKED else _("to be asked")
            rows.append(
                (
                    self.name(tester.id),
                    size_of(tester.size),
                    self.per(per_10cm, 2),
                    self.per(per_10cm * u, 2),
                    counted,
                )
            )
        low, high = finding.interval or (np.nan, np.nan)
        facts = [
            (_("Off the stated gauge"), self.per(finding.estimate or 0.0, 2, signed=True)),
            (_("95 % interval"), span_said(self.per(low, 2, signed=True), self.per(high, 2, signed=True))),
            (_("Allowed"), f"±{self.per(finding.tolerance or 0.0, 2)}"),
            (_("Testers"), str(finding.testers)),
        ]
        return Figures(
            (
                _("{gauge}, stitches in {span}: every tester's swatch with its standard uncertainty")
                if AXES[a] == "st"
                else _("{gauge}, rows in {span}: every tester's swatch with its standard uncertainty")
            ).format(gauge=label, span=self.span),
            (_("Tester"), _("Size"), _("Gauge"), "±", _("Counted")),
            tuple(rows),
            tuple(facts + needs_fact(finding)),
            more,
        )
