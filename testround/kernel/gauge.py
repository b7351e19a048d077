"""From swatches to gauge: what a tester's stitches measure, how surely, and which tool to try next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from testround.kernel.estimate import algorithm_a, birge_mean
from testround.kernel.round import FabricState, Swatch, Tester
from testround.kernel.sheet import GaugeColumns, Inputs, Sheet
from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    decimal,
    format_gauge,
    format_length,
    gauge_over,
    tools,
)
from testround.kernel.words import gettext as _
from testround.kernel.words import ngettext

FloatArray = NDArray[np.float64]
Source = Literal["blocked", "worked", "assumed"]
AxisName = Literal["st", "row"]
AXES: tuple[AxisName, AxisName] = ("st", "row")
SOURCES: tuple[Source, Source, Source] = ("blocked", "worked", "assumed")
BLOCKED, WORKED, ASSUMED = range(len(SOURCES))

READING_U = 0.25 / float(np.sqrt(3))
"""Standard uncertainty of a count (stitches) and of a ruler reading (cm): each is good to about a quarter,
common practice, taken as a rectangular half-width (JCGM 100:2008, 4.3.7)."""

UNBLOCKED_U = 0.04
"""Relative uncertainty of taking an unblocked gauge for a blocked one, or the other way: washing moves a
gauge by a few in a hundred (common practice)."""

LEAST_SPREAD = 0.02
USUAL_SPREAD = 0.05
"""Spread between testers, relative, where fewer than three sent a swatch (common practice)."""

TOOL_SLOPE = 0.4
TOOL_SLOPE_U = 0.15
"""Prior for b in ln g = a − b·ln(tool): one metric half-size (4 to 4.5 mm) moves 22 stitches in 10 cm by about
one (common practice), and ln(22/21) / ln(4.5/4) is 0.4."""

ANOTHER_SWATCH_U = 0.015
"""Relative spread of one person's swatches beyond what reading them explains (common practice)."""


def reading(count: float, span_cm: float) -> tuple[float, float]:
    """Gauge of one count over one span.

    Parameters
    ----------
    count : float
        Stitches or rows, above 0.
    span_cm : float
        The width or height they were counted over, cm, above 0.

    Returns
    -------
    (float, float)
        Gauge per cm, and its relative standard uncertainty √((u/count)² + (u/span)²).

    References
    ----------
    JCGM 100:2008, 5.1.6 (a quotient's relative variances add).
    """
    return count / span_cm, float(np.hypot(READING_U / count, READING_U / span_cm))


@dataclass(frozen=True, slots=True)
class AxisGauge:
    """A gauge along one axis: per cm, relative standard uncertainty, and where it comes from."""

    per_cm: float
    u: float
    source: Source
    tool_mm: float | None


def _axis(swatch: Swatch, axis: AxisName) -> tuple[float, float] | None:
    count, span = (swatch.stitches, swatch.width) if axis == "st" else (swatch.rows, swatch.height)
    return None if count is None or span is None else reading(count, span)


def axis_gauge(swatches: Sequence[Swatch], axis: AxisName, state: FabricState) -> AxisGauge | None:
    """The gauge that counts, of one tester, one gauge of the sheet and one state of the fabric.

    A swatch taken with the tool the piece was made with counts; where several were tried and nothing says
    which that is, the tool of the last one in the list does. All swatches of that tool and state are combined
    by inverse variance, widened by the Birge ratio where they disagree.

    Returns
    -------
    AxisGauge or None
        None without a swatch of that state that has this axis.
    """
    usable = [
        (swatch, found)
        for swatch in swatches
        if swatch.state is state and (found := _axis(swatch, axis)) is not None
    ]
    if not usable:
        return None
    tool = usable[-1][0].tool_mm
    same = [found for swatch, found in usable if swatch.tool_mm == tool]
    if len(same) == 1:
        return AxisGauge(same[0][0], same[0][1], _source(state), tool)
    # Combined on the log scale, where the uncertainties are the relative ones.
    both = birge_mean([np.log(g) for g, _ in same], [u for _, u in same])
    return AxisGauge(float(np.exp(both.mean)), both.u, _source(state), tool)


def _source(state: FabricState) -> Source:
    return "blocked" if state is FabricState.BLOCKED else "worked"


@dataclass(frozen=True, slots=True)
class OwnGauges:
    """Every tester's own gauges.

    ``keys`` are the sheet's gauges. Arrays are (testers, gauges, 2), the last axis stitches and rows:
    ``blocked`` and ``worked`` per cm, ``u_blocked`` and ``u_worked`` relative, ``source`` an index into
    ``SOURCES``, ``measured`` whether a blocked swatch was counted.
    """

    keys: tuple[str, ...]
    blocked: FloatArray
    u_blocked: FloatArray
    worked: FloatArray
    u_worked: FloatArray
    source: NDArray[np.int8]

    @property
    def measured(self) -> NDArray[np.bool_]:
        return np.asarray(self.source == BLOCKED)

    def columns(self, *, blocked: bool = True) -> dict[str, GaugeColumns]:
        """For :class:`~testround.kernel.sheet.Inputs`: one column per tester."""
        values = self.blocked if blocked else self.worked
        return {key: GaugeColumns(values[:, k, 0], values[:, k, 1]) for k, key in enumerate(self.keys)}


def own_gauges(sheet: Sheet, testers: Sequence[Tester]) -> OwnGauges:
    """Own gauge of every tester, with its uncertainty.

    Blocked swatches count. Without one, the unblocked gauge is taken with a wider uncertainty; without any,
    the stated gauge with the spread seen between testers.

    Parameters
    ----------
    sheet : Sheet
    testers : sequence of Tester, length n

    Returns
    -------
    OwnGauges
    """
    pattern = sheet.pattern
    keys = tuple(gauge.key for gauge in pattern.gauges)
    n, k_all = len(testers), len(keys)
    stated = np.array([[g.stitches / 10, g.rows / 10] for g in pattern.gauges], dtype=np.float64)
    found = np.full((2, n, k_all, 2), np.nan)
    u = np.full((2, n, k_all, 2), np.nan)
    for i, tester in enumerate(testers):
        if not tester.swatches:
            continue
        for k, key in enumerate(keys):
            mine = [swatch for swatch in tester.swatches if swatch.gauge == key]
            if not mine:
                continue
            for a, axis in enumerate(AXES):
                for b, state in enumerate((FabricState.BLOCKED, FabricState.WORKED)):
                    gauge = axis_gauge(mine, axis, state)
                    if gauge is not None:
                        found[b, i, k, a], u[b, i, k, a] = gauge.per_cm, gauge.u
    blocked, worked = found
    u_blocked, u_worked = u
    has_blocked, has_worked = ~np.isnan(blocked), ~np.isnan(worked)
    spread = _spread(blocked, stated)
    source = np.where(has_blocked, BLOCKED, np.where(has_worked, WORKED, ASSUMED)).astype(np.int8)
    base, u_base = np.where(has_blocked, blocked, stated), np.where(has_blocked, u_blocked, spread)
    return OwnGauges(
        keys=keys,
        blocked=np.where(source == WORKED, worked, base),
        u_blocked=np.where(source == WORKED, np.hypot(np.nan_to_num(u_worked), UNBLOCKED_U), u_base),
        worked=np.where(has_worked, worked, base),
        u_worked=np.where(has_worked, u_worked, np.hypot(u_base, UNBLOCKED_U)),
        source=source,
    )


def _spread(blocked: FloatArray, stated: FloatArray) -> FloatArray:
    """Spread between testers of the log of each gauge, (gauges, 2)."""
    spread = np.full(stated.shape, USUAL_SPREAD)
    for k, a in np.ndindex(*stated.shape):
        known = blocked[:, k, a]
        known = known[~np.isnan(known)]
        if len(known) >= 3:
            logs = np.log(known / stated[k, a])
            # About the stated gauge, not about their mean: that is where the assumed one stands.
            about = algorithm_a(logs)
            spread[k, a] = max(LEAST_SPREAD, float(np.hypot(about.sd, about.mean)))
    return spread


# The answer to a swatch -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SwatchEffect:
    """One finished measurement, cm: its target, what this gauge would make of it, and the difference."""

    dimension: str
    label: str
    target: float
    at_own_gauge: float
    difference: float
    tolerance: float

    @property
    def within(self) -> bool:
        return abs(self.difference) <= self.tolerance + 1e-9

    @property
    def tolerances(self) -> float:
        return abs(self.difference) / self.tolerance


@dataclass(frozen=True, slots=True)
class ToolAdvice:
    """What to try next. ``tool_mm`` is None where no tool will help; predicted stitches are per 10 cm."""

    gauge: str
    tool_mm: float | None
    predicted: float | None
    low: float | None
    high: float | None
    sentence: str
    # The same for who measures in inches and counts over four of them.
    sentence_in: str

    def told(self, units: LengthUnit = "cm") -> str:
        """The sentence in the unit of whoever reads it."""
        return self.sentence_in if units == "in" else self.sentence


@dataclass(frozen=True, slots=True)
class SwatchAnswer:
    """Will this swatch do?"""

    good: bool
    rows: tuple[SwatchEffect, ...]
    advice: ToolAdvice | None
    graded: bool
    measured: bool

    @property
    def worst(self) -> SwatchEffect | None:
        """The measurement hit hardest, in tolerances."""
        return max(self.rows, key=lambda row: row.tolerances, default=None)

    def sentence(self, units: LengthUnit = "cm") -> str:
        """The answer in one or two sentences."""
        if not self.measured:
            return _("There is nothing to go by yet: count stitches over a width and rows over a height.")
        if not self.graded:
            return _("This will do: your own numbers are worked out from this gauge.")
        worst = self.worst
        if worst is None:
            return _("This will do: no finished measurement depends on this gauge.")
        limit = format_length(worst.tolerance, units)
        if abs(worst.difference) < 0.05:
            return _("This will do: every finished measurement comes out as the pattern means it.")
        large = worst.difference > 0
        off = format_length(abs(worst.difference), units)
        if self.good:
            fine = (
                _(
                    "This will do: {dimension} is hit hardest and would come out {off} large; up to {limit} is fine."
                )
                if large
                else _(
                    "This will do: {dimension} is hit hardest and would come out {off} small; up to {limit} is fine."
                )
            )
            return fine.format(dimension=worst.label, off=off, limit=limit)
        if off == limit:
            # Both are rounded: what is beyond the limit must not read as if it were the limit.
            off = _("just over {length}").format(length=off)
        out = sum(not row.within for row in self.rows)
        not_yet = (
            _("Not yet: {dimension} would come out {off} large; up to {limit} is fine.")
            if large
            else _("Not yet: {dimension} would come out {off} small; up to {limit} is fine.")
        ).format(dimension=worst.label, off=off, limit=limit)
        if out <= 1:
            return not_yet
        more = ngettext(
            "({n} measurement would be out of tolerance.)",
            "({n} measurements would be out of tolerance.)",
            out,
        )
        return f"{not_yet} {more.format(n=out)}"


def answer_swatch(sheet: Sheet, tester: Tester, swatches: Sequence[Swatch]) -> SwatchAnswer:
    """Work every dimension of the tester's size at the gauge of these swatches.

    Parameters
    ----------
    sheet : Sheet
    tester : Tester
        Gives the size, or for a made-to-measure pattern the measures; its own swatches are not looked at.
    swatches : sequence of Swatch
        All the swatches to go by, in the order made.

    Returns
    -------
    SwatchAnswer
        Good when every dimension stays within its tolerance. A made-to-measure tester's numbers follow the
        gauge, so any gauge that was measured is good.
    """
    own = _own_of(sheet, tester, swatches)
    judged = _judged(sheet, tester, own)
    if judged.good or not judged.measured or tester.size is None:
        return judged
    return replace(judged, advice=_advise(sheet, tester.size, own, swatches))


def swatches_will_do(sheet: Sheet, tester: Tester, swatches: Sequence[Swatch]) -> bool:
    """Whether :func:`answer_swatch` calls these swatches good, without the advice, which is most of its work."""
    return _judged(sheet, tester, _own_of(sheet, tester, swatches)).good


def _own_of(sheet: Sheet, tester: Tester, swatches: Sequence[Swatch]) -> OwnGauges:
    return own_gauges(sheet, [tester.model_copy(update={"swatches": tuple(swatches)})])


def _judged(sheet: Sheet, tester: Tester, own: OwnGauges) -> SwatchAnswer:
    """The answer without its advice."""
    pattern = sheet.pattern
    measured = bool((own.source < ASSUMED).any())
    if not pattern.is_graded:
        inputs = replace(sheet.made_for([tester]), gauges=own.columns())
        meant = sheet.dimensions(inputs, sheet.numbers(inputs))
        rows = _effects(sheet, meant, meant)
        return SwatchAnswer(measured, rows, None, graded=False, measured=measured)
    if tester.size not in pattern.sizes:
        return SwatchAnswer(measured, (), None, graded=True, measured=measured)
    at = Inputs(own.columns(), sheet.stated([tester.size]).measures)
    made = sheet.dimensions(at, sheet.printed_or_computed(tester.size))
    rows = _effects(sheet, sheet.meant(tester.size), made)
    good = measured and all(row.within for row in rows)
    return SwatchAnswer(good, rows, None, graded=True, measured=measured)


def _effects(
    sheet: Sheet, meant: dict[str, FloatArray], made: dict[str, FloatArray]
) -> tuple[SwatchEffect, ...]:
    """What a gauge does to every dimension, by what is meant and what it makes; shape (1,) each."""
    found = []
    for dimension in sheet.pattern.dimensions:
        target, at = float(meant[dimension.key][0]), float(made[dimension.key][0])
        if np.isfinite(target) and np.isfinite(at):
            found.append(
                SwatchEffect(dimension.key, dimension.label, target, at, at - target, dimension.tolerance)
            )
    return tuple(found)


def _worst(
    sheet: Sheet, size: str, key: str, st: FloatArray, row: FloatArray, numbers: dict[str, FloatArray]
) -> FloatArray:
    """Tolerances by which the worst-hit dimension is off when one gauge is (st, row); one per entry."""
    n = len(st)
    made = sheet.with_gauges(sheet.stated([size] * n), {key: GaugeColumns(st, row)})
    wide = {name: np.repeat(value, n) for name, value in numbers.items()}
    meant, at = sheet.meant(size), sheet.dimensions(made, wide)
    off = [np.nan_to_num(np.abs(at[d.key] - meant[d.key])) / d.tolerance for d in sheet.pattern.dimensions]
    return np.max(off, axis=0) if off else np.zeros(n)


def _advise(sheet: Sheet, size: str, own: OwnGauges, swatches: Sequence[Swatch]) -> ToolAdvice | None:
    """Advice for the gauge that hurts most."""
    pattern, numbers = sheet.pattern, sheet.printed_or_computed(size)
    hurts: list[tuple[float, int]] = []
    for k, key in enumerate(own.keys):
        st, row = own.blocked[:, k, 0], own.blocked[:, k, 1]
        hurts.append((-float(_worst(sheet, size, key, st, row, numbers)[0]), k))
    k = min(hurts)[1]
    key, gauge = own.keys[k], pattern.gauges[k]
    stated_st, stated_row = np.array([gauge.stitches / 10]), np.array([gauge.rows / 10])
    st, row = own.blocked[:, k, 0], own.blocked[:, k, 1]
    by_stitches = float(_worst(sheet, size, key, st, stated_row, numbers)[0])
    by_rows = float(_worst(sheet, size, key, stated_st, row, numbers)[0])
    hook = pattern.craft == "crochet"
    if by_stitches <= 1:
        if by_rows <= 1:
            return None
        return ToolAdvice(key, None, None, None, None, *_by_tape(hook=hook))
    fit = ToolFit.of([swatch for swatch in swatches if swatch.gauge == key], gauge.tool_mm)
    tight = float(st[0]) > float(stated_st[0])
    if fit is None:
        if hook:
            sentence = (
                _("Try a larger hook, and say with which size you worked.")
                if tight
                else _("Try a smaller hook, and say with which size you worked.")
            )
        else:
            sentence = (
                _("Try a larger needle, and say with which size you worked.")
                if tight
                else _("Try a smaller needle, and say with which size you worked.")
            )
        return ToolAdvice(key, None, None, None, None, sentence, sentence)
    usual = [tool.mm for tool in tools(pattern.craft) if not tool.odd]
    sizes = np.array([mm for mm in usual if 0.6 * fit.last_mm <= mm <= 1.6 * fit.last_mm] or usual)
    predicted, u = fit.predict(sizes)
    # Only stitches are steered by the tool; rows go along and are seen to with the numbers.
    off = _worst(sheet, size, key, predicted, np.full(len(sizes), stated_row[0]), numbers)
    best = int(np.argmin(off))
    mm, g, du = float(sizes[best]), float(predicted[best]), float(u[best])
    low, high = g * np.exp(-1.96 * du) * 10, g * np.exp(1.96 * du) * 10

    def say(over: GaugeSpan) -> str:
        expected = _("about {gauge} stitches in {span} (between {low} and {high})").format(
            gauge=format_gauge(g * 10, over),
            span="10 cm" if over == "10cm" else "4 in",
            low=decimal(gauge_over(low, over), ".1f"),
            high=decimal(gauge_over(high, over), ".1f"),
        )
        # As stated, to the digit, over 10 cm; rounded like every other gauge over 4 in.
        wanted = decimal(gauge.stitches) if over == "10cm" else format_gauge(gauge.stitches, over)
        if abs(mm - fit.last_mm) < 0.005:
            none_nearer = (
                _(
                    "No other hook comes nearer than {size}: expect {expected}, where {wanted} are wanted. Another yarn, "
                    "or the next size of the pattern, may."
                )
                if hook
                else _(
                    "No other needle comes nearer than {size}: expect {expected}, where {wanted} are wanted. Another "
                    "yarn, or the next size of the pattern, may."
                )
            )
            return none_nearer.format(size=f"{decimal(mm)} mm", expected=expected, wanted=wanted)
        said = _("Try {size}: expect {expected}; {wanted} are wanted.").format(
            size=f"{decimal(mm)} mm", expected=expected, wanted=wanted
        )
        return (
            " ".join([said, _("It comes nearest, and may still not be enough.")]) if off[best] > 1 else said
        )

    tool = None if abs(mm - fit.last_mm) < 0.005 else mm
    return ToolAdvice(key, tool, g * 10, low, high, say("10cm"), say("4in"))


def _by_tape(*, hook: bool) -> tuple[str, str]:
    """What is said where only the rows are off, to readers of centimetres and of inches."""
    if hook:
        return _(
            "No hook will put this right: your stitches are right and your rows are not. Keep the hook, and work "
            "lengths to the centimetres given, or to the row numbers worked out from your own gauge."
        ), _(
            "No hook will put this right: your stitches are right and your rows are not. Keep the hook, and work "
            "lengths to the inches given, or to the row numbers worked out from your own gauge."
        )
    return _(
        "No needle will put this right: your stitches are right and your rows are not. Keep the needle, and work "
        "lengths to the centimetres given, or to the row numbers worked out from your own gauge."
    ), _(
        "No needle will put this right: your stitches are right and your rows are not. Keep the needle, and work "
        "lengths to the inches given, or to the row numbers worked out from your own gauge."
    )


@dataclass(frozen=True, slots=True)
class ToolFit:
    """The line ln g = a − b·ln(tool mm) of one tester, with the covariance of a and b."""

    a: float
    b: float
    covariance: FloatArray
    last_mm: float

    @staticmethod
    def of(swatches: Sequence[Swatch], stated_mm: float | None) -> ToolFit | None:
        """Fit the stitch gauge of these swatches.

        The slope is the tester's own as far as swatches at different tools tell it, and a prior of common
        practice as far as they do not (a normal prior combined by precision). A swatch without a tool is taken
        as worked with the stated one. None when no tool is known.

        References
        ----------
        Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd ed., section 14.8 (prior as extra data).
        """
        blocked = [s for s in swatches if s.state is FabricState.BLOCKED]
        points = [
            (mm, found)
            for swatch in (blocked or swatches)
            if (mm := swatch.tool_mm or stated_mm) is not None and (found := _axis(swatch, "st")) is not None
        ]
        if not points:
            return None
        x = np.log([mm for mm, _ in points])
        y = np.log([g for _, (g, _) in points])
        w = 1 / (np.array([u for _, (_, u) in points]) ** 2 + ANOTHER_SWATCH_U**2)
        design = np.column_stack([np.ones_like(x), -x])
        normal = design.T @ (w[:, None] * design)
        right = design.T @ (w * y)
        normal[1, 1] += TOOL_SLOPE_U**-2
        right[1] += TOOL_SLOPE * TOOL_SLOPE_U**-2
        covariance = np.linalg.inv(normal)
        a, b = covariance @ right
        return ToolFit(float(a), float(b), covariance, float(points[-1][0]))

    def predict(self, tool_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Stitches per cm at each tool, and the relative uncertainty of a new swatch with it."""
        design = np.column_stack([np.ones_like(tool_mm), -np.log(tool_mm)])
        mean = np.exp(design @ np.array([self.a, self.b]))
        variance = np.einsum("ij,jk,ik->i", design, self.covariance, design)
        return mean, np.sqrt(variance + ANOTHER_SWATCH_U**2)
