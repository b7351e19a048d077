"""A finished measurement taken apart on one tester."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import numpy as np

from testround.kernel.behind import DimensionBehind
from testround.kernel.evidence.base import (
    Case,
    Evidence,
    Figures,
    Written,
    furthest,
    needs_fact,
    reading_of,
    short_unit,
    size_of,
    span_said,
)
from testround.kernel.findings import Cell, Extent, Finding, Verdict
from testround.kernel.gauge import ASSUMED, AXES, BLOCKED
from testround.kernel.round import Dimension, FabricState, Number, Tester
from testround.kernel.units import decimal
from testround.kernel.words import commas, in_sizes, listed, ngettext, pgettext
from testround.kernel.words import gettext as _
from testround.kernel.worked import (
    MOST_DECIMALS,
    Step,
    Unworkable,
    added,
    agrees,
    exact,
    plain,
    quotient,
    shown,
)


class Sizes(Case):
    """Evidence for finished sizes."""

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
        lead = [
            _("{dimension} is worked by the formula {formula}.").format(
                dimension=dimension.label, formula=dimension.formula
            )
        ]
        steps: tuple[Step, ...] = ()
        chosen = self.representative(finding, dimension, mine)
        if chosen is None:
            lead.append(_("Nobody's piece can be counted here yet."))
        else:
            who = self.with_size(chosen.tester, chosen.size)
            lead.append(_("Take {tester}, whose piece shows about what all of them show.").format(tester=who))
            lead.append(self.in_cm())
            steps = self.apart(chosen, dimension)
        verdict = self.size_verdict(finding)
        return Evidence(
            finding.id,
            " ".join(filter(None, lead)),
            steps,
            tuple(filter(None, [*self.others(finding, mine), verdict, self.needs(finding)])),
            self.size_figures(finding, dimension, cells),
            self.rests(finding, verdict),
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
        names = self.sheet.uses(dimension.key)
        reported = {count.number for count in tester.counts}
        unsaid = any(name in self.found.worked and name not in reported for name in names)
        unswatched = any(int(own.source[i, k, a]) != BLOCKED for k, a in self.axes(names))
        return unsaid + unswatched + (not self.is_blocked(tester, dimension.key))

    def axes(self, names: Iterable[str]) -> list[tuple[int, int]]:
        """The gauges among some names, by position and axis."""
        keys = [gauge.key for gauge in self.pattern.gauges]
        return [
            (keys.index(key), AXES.index(axis))
            for key, _dot, axis in (name.partition(".") for name in names)
            if axis in AXES and key in keys
        ]

    def is_blocked(self, tester: Tester, key: str) -> bool:
        return any(f.dimension == key and f.state is FabricState.BLOCKED for f in tester.finished)

    def apart(self, cell: Cell, dimension: Dimension) -> tuple[Step, ...]:
        """One tester's measurement taken apart, line by line, so that the parts add up as they are shown."""
        i = next(j for j, tester in enumerate(self.testers) if tester.id == cell.tester)
        tester, found = self.testers[i], self.found
        names = self.sheet.uses(dimension.key)
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
                _("what the pattern means in size {size}").format(size=tester.size)
                if graded
                else _("what the pattern means at own gauge"),
                dimension.formula,
                self.of_tester(i, found.computed, meant_at),
                "cm",
            )
            same = all(found.worked[n.key][i] == found.computed[n.key][i] for n in counts)
            worked = target
            if not same:
                worked = self.written(
                    _("with the counts worked ({counts})").format(counts=self.counts_said(i, counts)),
                    dimension.formula,
                    self.of_tester(i, found.worked, meant_at),
                    "cm",
                )
            expected = worked
            if at_own != meant_at:
                expected = self.written(
                    _("with own gauge") if blocked else _("with own gauge, unblocked like the piece"),
                    dimension.formula,
                    self.of_tester(i, found.worked, at_own),
                    "cm",
                )
            measured = self.mean_of(tester, dimension.key, blocked=blocked)
        except Unworkable:
            return (self.in_words(cell),)
        steps = [*target.steps]
        if same:
            steps.append(
                Step(
                    _("the counts worked are those meant, so that counts explain nothing")
                    if counts
                    else _("no count plays a part, so that counts explain nothing")
                )
            )
            counts_part = "0"
        else:
            explained = self.difference(_("the counts explain"), worked.result, target.result, "cm")
            steps += [*worked.steps, explained]
            counts_part = _result(explained)
        for k, a in axes:
            steps += self.own_gauge(tester, i, k, a, blocked=blocked)
        if expected is worked:
            if not axes:
                nothing = _("no gauge plays a part, so that own gauge explains nothing")
            elif graded:
                nothing = _("that is the stated gauge, so that own gauge explains nothing")
            else:
                nothing = _("what is meant is worked at it already, so that own gauge explains nothing")
            steps.append(Step(nothing))
            gauge_part = "0"
        else:
            explained = self.difference(_("own gauge explains"), expected.result, worked.result, "cm")
            steps += [*expected.steps, explained]
            gauge_part = _result(explained)
        left = self.difference(_("which leaves"), measured.result, expected.result, "cm")
        off = self.difference(_("measured less meant"), measured.result, target.result, "cm")
        parts = [counts_part, gauge_part, _result(left)]
        together = Step(_("which is counts, gauge and what is left"), f"{added(parts)} = {_result(off)} cm")
        steps += [*measured.steps, left, off, together]
        if self.units == "in":
            steps.append(self.in_inches([target, worked, expected, measured]))
        return tuple(steps)

    def counts_said(self, i: int, counts: Sequence[Number]) -> str:
        found = self.found
        said = []
        for number in counts:
            worked, meant = float(found.worked[number.key][i]), float(found.computed[number.key][i])
            if worked != meant:
                one = (
                    _("{number} {worked} as printed, where {meant} is meant")
                    if np.isnan(found.reported[number.key][i])
                    else _("{number} {worked}, where {meant} is meant")
                )
                said.append(one.format(number=number.label, worked=plain(worked, 4), meant=plain(meant, 4)))
        return "; ".join(said)

    def own_gauge(self, tester: Tester, i: int, k: int, a: int, *, blocked: bool) -> list[Step]:
        """How a tester's gauge follows from the swatch, per cm."""
        key, axis = self.pattern.gauges[k].key, AXES[a]
        label, short = self.pattern.gauges[k].label, short_unit(axis)
        source = int(self.found.own.source[i, k, a])
        value = float((self.found.own.blocked if blocked else self.found.own.worked)[i, k, a])
        state = FabricState.BLOCKED if blocked else FabricState.WORKED
        mine = self.swatches(tester, key, axis, state)
        if not mine:
            other = FabricState.WORKED if blocked else FabricState.BLOCKED
            mine, state = self.swatches(tester, key, axis, other), other
        if not mine or source == ASSUMED:
            taken = _("no swatch of {gauge} was sent, so the stated {value} is taken")
            return [Step(taken.format(gauge=label, value=f"{plain(value, 4)} {short}/cm"))]
        if len(mine) > 1:
            together = (
                ngettext(
                    "{n} blocked swatch of {gauge}, weighed together, gives {value}",
                    "{n} blocked swatches of {gauge}, weighed together, give {value}",
                    len(mine),
                )
                if state is FabricState.BLOCKED
                else ngettext(
                    "{n} unblocked swatch of {gauge}, weighed together, gives {value}",
                    "{n} unblocked swatches of {gauge}, weighed together, give {value}",
                    len(mine),
                )
            )
            return [Step(together.format(n=len(mine), gauge=label, value=f"{plain(value, 4)} {short}/cm"))]
        count, span = reading_of(mine[0], axis)
        assert count is not None  # noqa: S101 — `swatches` has only those with both; this tells the type checker
        assert span is not None  # noqa: S101
        top, bottom, result = quotient(count, span, 4)
        says = (
            _("the blocked swatch of {gauge}")
            if state is FabricState.BLOCKED
            else _("the unblocked swatch of {gauge}")
        ).format(gauge=label)
        return [Step(says, f"{top} {short} / {bottom} cm = {result} {short}/cm")]

    def mean_of(self, tester: Tester, key: str, *, blocked: bool) -> Written:
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
            says = _("measured: {length}") if blocked else _("measured, unblocked: {length}")
            return Written((Step(says.format(length=f"{text} cm")),), text)
        texts = [plain(value, 4) for value in values]
        if not agrees(float(np.mean([shown(text) for text in texts])), result):
            texts = [plain(value, MOST_DECIMALS) for value in values]
        total = " + ".join(f"{text} cm" for text in texts)
        says = (
            ngettext("measured, the mean of {n} reading", "measured, the mean of {n} readings", len(values))
            if blocked
            else ngettext(
                "measured, unblocked, the mean of {n} reading",
                "measured, unblocked, the mean of {n} readings",
                len(values),
            )
        )
        return Written(
            (Step(says.format(n=len(values)), f"({total}) / {len(values)} = {result} cm"),), result
        )

    def in_words(self, cell: Cell) -> Step:
        parts = cell.parts
        return Step(
            _(
                "counts {counts}, gauge {gauge}, left {left}; its formula cannot be written out as a sum"
            ).format(
                counts=self.length(parts.counts),
                gauge=self.length(parts.gauge),
                left=self.length(parts.remainder),
            )
        )

    def in_inches(self, four: Sequence[Written]) -> Step:
        target, worked, expected, measured = (exact(plain(shown(one.result) / 2.54)) for one in four)
        parts = [_text(worked - target), _text(expected - worked), _text(measured - expected)]
        return Step(_("the same in inches"), f"{added(parts)} = {_text(measured - target)} in")

    def others(self, finding: Finding, mine: Sequence[Cell]) -> list[str]:
        """What the rest of them show, and what is estimated from all."""
        said = []
        estimate, limit = finding.estimate, finding.tolerance or 0.0
        fine = self.length(limit, signed=False)
        n = len(mine)
        if n and estimate is not None:
            of_those = (
                ngettext("Of {n} tester of those sizes", "Of {n} testers of those sizes", n)
                if finding.extent is Extent.SOME_SIZES
                else ngettext("Of {n} tester of the round", "Of {n} testers of the round", n)
            ).format(n=n)
            if abs(estimate) > limit:
                side = 1 if estimate >= 0 else -1
                same = sum(cell.parts.remainder * side > 0 for cell in mine)
                beyond = sum(cell.parts.remainder * side > limit for cell in mine)
                left = (
                    ngettext(
                        "{of_those}, {n} is left with a piece that is larger, {beyond} of them by more than the {limit} "
                        "that is fine.",
                        "{of_those}, {n} are left with a piece that is larger, {beyond} of them by more than the {limit} "
                        "that is fine.",
                        same,
                    )
                    if side > 0
                    else ngettext(
                        "{of_those}, {n} is left with a piece that is smaller, {beyond} of them by more than the "
                        "{limit} that is fine.",
                        "{of_those}, {n} are left with a piece that is smaller, {beyond} of them by more than the "
                        "{limit} that is fine.",
                        same,
                    )
                )
                said.append(left.format(of_those=of_those, n=same, beyond=beyond, limit=fine))
            else:
                within = sum(abs(cell.parts.remainder) <= limit for cell in mine)
                said.append(
                    ngettext(
                        "{of_those}, {n} is left with no more than {limit}.",
                        "{of_those}, {n} are left with no more than {limit}.",
                        within,
                    ).format(of_those=of_those, n=within, limit=fine)
                )
        if estimate is not None and finding.interval is not None:
            low, high = finding.interval
            said.append(
                _(
                    "Pooled, the pattern itself is off by {estimate} (95 % interval {low} to {high}); up to {limit} is "
                    "fine."
                ).format(
                    estimate=self.length(estimate), low=self.length(low), high=self.length(high), limit=fine
                )
            )
        return said

    def size_verdict(self, finding: Finding) -> str:
        match finding.verdict:
            case Verdict.AMEND:
                return _(
                    "Amend: the estimate is beyond what is fine, its interval is clear of nought, and the evidence has paid "
                    "for having been looked for among many."
                )
            case Verdict.LOOK_CLOSER:
                said = _("Look closer: the estimate is beyond what is fine; what is missing: {missing}.")
                return said.format(missing=self.missing(finding))
            case Verdict.HOLDS if finding.sizes:
                return ngettext(
                    "Holds: the whole interval lies within what is fine. It rests on {n} tester {in_sizes}.",
                    "Holds: the whole interval lies within what is fine. It rests on {n} testers {in_sizes}.",
                    finding.testers,
                ).format(n=finding.testers, in_sizes=in_sizes(finding.sizes))
            case Verdict.HOLDS:
                return ngettext(
                    "Holds: the whole interval lies within what is fine. It rests on {n} tester.",
                    "Holds: the whole interval lies within what is fine. It rests on {n} testers.",
                    finding.testers,
                ).format(n=finding.testers)
        return _("Open: the estimate is within what is fine; what is missing: {missing}.").format(
            missing=self.missing(finding)
        )

    def size_figures(self, finding: Finding, dimension: Dimension, cells: Sequence[Cell]) -> Figures:
        shown, more = furthest(cells, lambda cell: abs(cell.parts.remainder))
        return Figures(
            _(
                "{dimension}, every tester's piece, in {unit}: measured − target = counts + gauge + left"
            ).format(dimension=dimension.label, unit=self.units),
            (
                _("Tester"),
                _("Size"),
                _("Target"),
                pgettext("what the counts worked come to", "Worked"),
                _("Expected"),
                _("Measured"),
                pgettext("what the counts explain", "Counts"),
                _("Gauge"),
                pgettext("what nothing explains", "Left"),
                "±",
                _("Believed"),
            ),
            tuple(self.figures_of(cell) for cell in shown),
            (*self.facts(finding, dimension), *needs_fact(finding)),
            more,
        )

    def figures_of(self, cell: Cell) -> tuple[str, ...]:
        parts = cell.parts
        after = cell.target + parts.counts
        believed = self.belief.get((cell.tester, cell.dimension))
        return (
            self.name(cell.tester),
            size_of(cell.size),
            *(self.fixed(value) for value in (cell.target, after, after + parts.gauge, cell.measured)),
            *(self.fixed(value, signed=True) for value in (parts.counts, parts.gauge, parts.remainder)),
            self.fixed(cell.uncertainty),
            _("set aside") if believed is None else decimal(believed, ".2f"),
        )

    def facts(self, finding: Finding, dimension: Dimension) -> tuple[tuple[str, str], ...]:
        """The figures of the estimate, each with its name."""
        said: list[tuple[str, str]] = []
        if finding.estimate is not None:
            said.append((_("Pooled estimate"), f"{self.fine(finding.estimate, signed=True)} {self.units}"))
        if finding.interval is not None:
            low, high = (self.fine(end, signed=True) for end in finding.interval)
            said.append((_("95 % interval"), f"{span_said(low, high)} {self.units}"))
        if finding.tolerance is not None:
            said.append((_("Tolerance"), f"±{self.fine(finding.tolerance)} {self.units}"))
        behind = self.analysis.behind.dimension(dimension.key)
        if behind is not None:
            said += [
                (_("Standard uncertainty u"), f"{self.fine(behind.u)} {self.units}"),
                (_("Degrees of freedom"), plain(behind.df, 1)),
                ("q", _small(behind.q)),
                (_("Spread of readings κ"), f"{self.fine(behind.kappa)} {self.units}"),
                (_("Shape"), _shape(behind)),
            ]
            if behind.gained is not None:
                which = (
                    _("Twice the log odds for it")
                    if behind.shapes
                    else _("Twice the log odds for the nearest shape")
                )
                said.append((which, plain(behind.gained, 1)))
        names = self.sheet.uses(dimension.key)
        for one in self.analysis.behind.spreads:
            if f"{one.gauge}.{one.axis}" in names:
                name = (
                    _("Garments against swatches τ ({gauge}, stitches)")
                    if one.axis == "st"
                    else _("Garments against swatches τ ({gauge}, rows)")
                )
                said.append((name.format(gauge=one.gauge), f"{plain(one.tau * 100)} %"))
        return tuple(said)


def _result(step: Step) -> str:
    return step.sum.rpartition(" = ")[2].removesuffix(" cm")


def _text(value: Decimal) -> str:
    return plain(float(value), MOST_DECIMALS)


def _small(value: float) -> str:
    return _("below {value}").format(value=decimal(0.001)) if value < 0.001 else plain(value, 3)


def _shape(behind: DimensionBehind) -> str:
    said = []
    for shape in behind.shapes:
        if shape.kind == "shift":
            said.append(_("shift of all sizes"))
        elif shape.kind == "growth":
            said.append(_("growth along the sizes"))
        else:
            named = [size for size in shape.sizes if size]
            said.append(
                ngettext("sizes {sizes} alone", "sizes {sizes} alone", len(named)).format(sizes=commas(named))
            )
    return listed(said) if said else _("none paid for itself")
