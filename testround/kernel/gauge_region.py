"""Which gauges a pattern stands: where every finished measurement of every size stays within its tolerance.

The printed counts are worked at a gauge (s, r) in stitches and rows, any other gauge of the pattern at its stated
value. A dimension in a size is within its tolerance while |finished − target| ≤ tolerance, its target being what
its formula gives from the computed numbers at the stated gauge, as everywhere in the analysis.

Most dimensions are counts over gauges, added up. In the plane of u = stated s / s and v = stated r / r, the width
and the height of a stitch beside the stated one, such a dimension keeps its tolerance between two parallel
straight lines, and all of them together in a convex polygon, in general no box. Its boundary is found so:

1. From the stated gauge (or, where that is outside itself, from the gauge that keeps furthest within all limits)
   rays go out in ``RAYS`` directions of the plane (u, v), as far as half or double the stated gauge.
2. Along each, the sheet is worked at up to ``STRIDES`` places, closer together near the middle, up to the first
   beyond a limit; the crossing is then halved down to ``ACCURACY`` of the stated gauge. What is within its limit at
   both ends of a stride is taken to be so between them.
3. Where the limit changes from one ray to the next, the two edges are drawn out until they meet, and the corner
   is kept if the sheet, worked there, agrees that it is at both limits and within all others. Where it does not,
   rays are set closer; a corner that is still missed is cut off by a straight line inside of it.

A formula of another kind, which makes the region hollow or torn, gives the part that is seen from the middle.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from testround.kernel.correction import numbers_now
from testround.kernel.sheet import GaugeColumns, Inputs, Sheet
from testround.kernel.units import GaugeSpan, decimal, format_length, gauge_over
from testround.kernel.words import gettext as _

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

RAYS = 180
STRIDES = 32
CLOSER = 24
"""Rays set between two where a corner was missed."""
FARTHEST = 2.0
"""Looked at: from the stated gauge divided by this to the stated gauge times this."""
ACCURACY = 1e-7
"""Of a point of the boundary, as a share of the stated gauge."""
SLACK = 1e-9
"""Tolerances; what is at its limit but for rounding is within it."""
_AT_CORNER = 1e-6
"""Tolerances by which a corner that was drawn may miss its limits."""
_MOST_COLUMNS = 200_000
_GRID = 17
_CLOSER_GRIDS = 14
_HALVINGS_BETWEEN = 5
"""Halvings after which the limits still in question are picked out afresh."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A dimension in a size that comes out beyond its tolerance, and to which side."""

    dimension: str
    label: str
    size: str
    too_large: bool


@dataclass(frozen=True, slots=True)
class Edge:
    """A place on the boundary, stitches and rows per 10 cm; ``limit`` is None where nothing ends the region as
    far as is looked."""

    st: float
    row: float
    limit: Limit | None


@dataclass(frozen=True, slots=True)
class Beyond:
    """A dimension in a size that is beyond its tolerance at the stated gauge already, cm."""

    limit: Limit
    difference: float
    tolerance: float

    def sentence(self) -> str:
        """ "Back neck in size M comes out 3.6 cm larger than meant, where 1.5 cm is fine." """
        words = (
            _("{dimension} in size {size} comes out {off} larger than meant, where {tolerance} is fine.")
            if self.difference > 0
            else _(
                "{dimension} in size {size} comes out {off} smaller than meant, where {tolerance} is fine."
            )
        )
        return words.format(
            dimension=self.limit.label,
            size=self.limit.size,
            off=format_length(abs(self.difference)),
            tolerance=format_length(self.tolerance),
        )


@dataclass(frozen=True, slots=True)
class GaugeRegion:
    """The gauges at which everything stays within its tolerance, per 10 cm.

    Attributes
    ----------
    gauge : str
        Its key.
    stated, middle : (stitches, rows)
        ``middle`` is where the boundary is seen from: the stated gauge where that is within all limits.
    boundary : tuple of Edge
        In order round the region, corners included; empty when no gauge will do.
    few_st, many_st, few_row, many_row : Edge or None
        Where the region ends straight from the middle when only stitches, or only rows, change.
    beyond : tuple of Beyond
        What is out at the stated gauge already, worst first.
    """

    gauge: str
    stated: tuple[float, float]
    middle: tuple[float, float]
    boundary: tuple[Edge, ...]
    few_st: Edge | None = None
    many_st: Edge | None = None
    few_row: Edge | None = None
    many_row: Edge | None = None
    beyond: tuple[Beyond, ...] = ()
    nowhere: bool = False
    """Of `drawn_region`: no gauge at all keeps what is in ``beyond`` and the rest."""

    @property
    def is_empty(self) -> bool:
        return not self.boundary

    @property
    def holds_stated(self) -> bool:
        """Whether the stated gauge is within all limits itself."""
        return not self.beyond

    @property
    def ends(self) -> tuple[Edge, ...]:
        """The sides that something ends, in the order of `sentences`."""
        sides = (self.few_st, self.many_st, self.few_row, self.many_row)
        return tuple(edge for edge in sides if edge is not None and edge.limit is not None)

    def contains(self, st: float, row: float) -> bool:
        """Whether a gauge (per 10 cm) lies in the polygon of the boundary, edges straight in (1/st, 1/row)."""
        inside = False
        x, y = 1 / st, 1 / row
        corners = [(1 / edge.st, 1 / edge.row) for edge in self.boundary]
        for (x1, y1), (x2, y2) in zip(corners, corners[1:] + corners[:1], strict=True):
            if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
                inside = not inside
        return inside

    def sentences(self, over: GaugeSpan = "10cm") -> tuple[str, ...]:
        """One for each side: what is first beyond its tolerance, and where; sides without an end are left out."""
        sides = (
            (
                self.few_st,
                "st",
                _(
                    "Too few stitches: {dimension} in {size} is the first to come out too large, from {at} on."
                ),
                _(
                    "Too few stitches: {dimension} in {size} is the first to come out too small, from {at} on."
                ),
            ),
            (
                self.many_st,
                "st",
                _(
                    "Too many stitches: {dimension} in {size} is the first to come out too large, from {at} on."
                ),
                _(
                    "Too many stitches: {dimension} in {size} is the first to come out too small, from {at} on."
                ),
            ),
            (
                self.few_row,
                "row",
                _("Too few rows: {dimension} in {size} is the first to come out too large, from {at} on."),
                _("Too few rows: {dimension} in {size} is the first to come out too small, from {at} on."),
            ),
            (
                self.many_row,
                "row",
                _("Too many rows: {dimension} in {size} is the first to come out too large, from {at} on."),
                _("Too many rows: {dimension} in {size} is the first to come out too small, from {at} on."),
            ),
        )
        said = []
        for edge, axis, too_large, too_small in sides:
            if edge is None or edge.limit is None:
                continue
            at = gauge_over(edge.st if axis == "st" else edge.row, over)
            outwards = math.floor if edge in (self.few_st, self.few_row) else math.ceil
            # To the tenth that is beyond, so that what is said of it is true there. A crossing at a whole tenth
            # is found a hair to either side of it.
            near = round(at * 10)
            tenth = near if abs(at * 10 - near) < 1e-4 else outwards(at * 10)
            words = too_large if edge.limit.too_large else too_small
            said.append(
                words.format(dimension=edge.limit.label, size=edge.limit.size, at=decimal(tenth / 10, ".1f"))
            )
        return tuple(said)


class GaugeLimits:
    """What one gauge of a graded pattern does to every finished measurement, the printed counts standing.

    Parameters
    ----------
    sheet : Sheet
        A graded pattern's. One made to measure has no sizes, so no limits: its numbers follow the gauge.
    gauge : str
        Key of the gauge that changes.
    sizes : sequence of str, optional
        Every size when left out.
    leaving : collection of (dimension, size), optional
        Not held against a gauge, as what a misprint puts beyond its tolerance at any.
    only : collection of str, optional
        Keys of the dimensions to look at; every one that hangs on the gauge when left out.

    Raises
    ------
    KeyError
        A gauge or a size that the pattern does not have.
    """

    def __init__(
        self,
        sheet: Sheet,
        gauge: str,
        sizes: Sequence[str] | None = None,
        leaving: Collection[tuple[str, str]] = (),
        *,
        only: Collection[str] | None = None,
    ) -> None:
        pattern = sheet.pattern
        stated = next((one for one in pattern.gauges if one.key == gauge), None)
        if stated is None:
            raise KeyError(gauge)
        self.gauge = gauge
        self.stated = (stated.stitches, stated.rows)
        self.sizes = tuple(pattern.sizes if sizes is None else sizes)
        hangs_on = {f"{gauge}.st", f"{gauge}.row"}
        self.dimensions = tuple(
            d
            for d in pattern.dimensions
            if hangs_on.intersection(sheet.uses(d.key)) and (only is None or d.key in only)
        )
        # Only what hangs on this gauge is worked, many times over.
        self._sheet = Sheet(
            pattern.model_copy(update={"dimensions": self.dimensions, "parts": (), "shapings": ()})
        )
        self._inputs = self._sheet.stated(self.sizes)
        index = [pattern.sizes.index(size) for size in self.sizes]
        self._numbers = {key: value[index] for key, value in numbers_now(self._sheet).items()}
        meant = self._sheet.dimensions(self._inputs, self._sheet.numbers(self._inputs))
        shape = (len(self.dimensions), len(self.sizes))
        self._target = np.array([meant[d.key] for d in self.dimensions]).reshape(shape)
        self._tolerance = np.array([d.tolerance for d in self.dimensions]).reshape(-1, 1, 1)
        self._left_out = left_out = frozenset(leaving)
        self._held = np.array(
            [[(d.key, size) not in left_out for size in self.sizes] for d in self.dimensions], dtype=bool
        ).reshape(shape) & np.isfinite(self._target)

    # At given gauges

    def off(self, st: ArrayLike, row: ArrayLike) -> FloatArray:
        """How far off every dimension is, in its tolerances.

        Parameters
        ----------
        st, row : array_like of float, shape (m,)
            Per 10 cm.

        Returns
        -------
        array of float, shape (dimensions, sizes, m)
            Finished less target; 0 where it is unknown or not held against the gauge.
        """
        s = np.atleast_1d(np.asarray(st, dtype=np.float64)) / 10
        r = np.atleast_1d(np.asarray(row, dtype=np.float64)) / 10
        m, k = len(s), len(self.sizes)
        found = np.zeros((len(self.dimensions), k, m))
        if not found.size:
            return found
        step = max(_MOST_COLUMNS // k, 1)
        for start in range(0, m, step):
            part = slice(start, start + step)
            found[:, :, part] = self._worked(s[part], r[part])
        return found

    def _worked(self, s: FloatArray, r: FloatArray) -> FloatArray:
        m, k = len(s), len(self.sizes)

        def wide(by_size: FloatArray) -> FloatArray:
            return np.repeat(by_size, m)

        stated = self._inputs
        inputs = Inputs(
            {key: GaugeColumns(wide(gauge.st), wide(gauge.row)) for key, gauge in stated.gauges.items()},
            {key: wide(value) for key, value in stated.measures.items()},
        )
        inputs = self._sheet.with_gauges(inputs, {self.gauge: GaugeColumns(np.tile(s, k), np.tile(r, k))})
        made = self._sheet.dimensions(inputs, {key: wide(value) for key, value in self._numbers.items()})
        finished = np.array([made[d.key].reshape(k, m) for d in self.dimensions])
        off = (finished - self._target[:, :, None]) / self._tolerance
        return np.where(self._held[:, :, None], np.nan_to_num(off, nan=0.0, posinf=1e9, neginf=-1e9), 0.0)

    def worst(self, st: ArrayLike, row: ArrayLike) -> FloatArray:
        """Tolerances by which the worst is off at every gauge, shape (m,); 0 where nothing hangs on it."""
        off = np.abs(self.off(st, row))
        return off.max(axis=(0, 1)) if off.size else np.zeros(off.shape[2])

    def within(self, st: ArrayLike, row: ArrayLike) -> BoolArray:
        """Whether everything stays within its tolerance at every gauge, shape (m,)."""
        return np.asarray(self.worst(st, row) <= 1 + SLACK)

    def within_own(self, st: ArrayLike, row: ArrayLike, sizes: Sequence[str | None]) -> BoolArray:
        """The same for testers who each make one size, shape (m,); one without a size is held to every size."""
        off = np.abs(self.off(st, row))
        if not off.size:
            return np.ones(off.shape[2], dtype=bool)
        by_size = off.max(axis=0)
        at = {size: j for j, size in enumerate(self.sizes)}
        return np.array(
            [
                (by_size[at[size], i] if size in at else by_size[:, i].max()) <= 1 + SLACK
                for i, size in enumerate(sizes)
            ],
            dtype=bool,
        )

    # The region

    def region(self) -> GaugeRegion | None:
        """All gauges within every limit; None where no measurement hangs on this gauge."""
        if not self._held.any():
            return None
        beyond = self.beyond()
        middle = self.deepest() if beyond else (1.0, 1.0)
        if middle is None:
            return GaugeRegion(self.gauge, self.stated, self.stated, (), beyond=beyond)
        angles = np.arange(RAYS, dtype=np.float64) * (2 * np.pi / RAYS)
        traced = self._trace(middle, angles)
        few_st, many_row, many_st, few_row = (
            self._edge(traced, k * RAYS // 4)
            for k in (0, 3, 2, 1)  # u grows as stitches grow fewer
        )
        traced = self._with_corners(middle, traced)
        return GaugeRegion(
            gauge=self.gauge,
            stated=self.stated,
            middle=self._gauge(*middle),
            boundary=tuple(self._edge(traced, i) for i in range(len(traced.angles))),
            few_st=few_st,
            many_st=many_st,
            few_row=few_row,
            many_row=many_row,
            beyond=beyond,
        )

    def _gauge(self, u: float, v: float) -> tuple[float, float]:
        return (self.stated[0] / u, self.stated[1] / v)

    def _off_at(self, u: FloatArray, v: FloatArray) -> FloatArray:
        """(limits, m): `off` by stitch width and height, dimensions and sizes in one row."""
        off = self.off(self.stated[0] / u, self.stated[1] / v)
        return off.reshape(-1, off.shape[2])

    def beyond(self) -> tuple[Beyond, ...]:
        """What is beyond its tolerance at the stated gauge, worst first."""
        off = self.off(*self.stated)[:, :, 0]
        found = [
            Beyond(
                self._limit(i * len(self.sizes) + j, float(off[i, j])),
                float(off[i, j] * d.tolerance),
                d.tolerance,
            )
            for i, d in enumerate(self.dimensions)
            for j in range(len(self.sizes))
            if abs(off[i, j]) > 1 + SLACK
        ]
        return tuple(sorted(found, key=lambda one: -abs(one.difference) / one.tolerance))

    def _limit(self, index: int, off: float) -> Limit:
        dimension = self.dimensions[index // len(self.sizes)]
        return Limit(dimension.key, dimension.label, self.sizes[index % len(self.sizes)], off > 0)

    def deepest(self) -> tuple[float, float] | None:
        """(stated / st, stated / row) of a gauge that keeps furthest within all limits; None where none is within.

        Grids are laid ever closer about the best of the last.
        """
        found = self._searched(narrow=True)
        return found if found is not None else self._searched(narrow=False)

    def _searched(self, *, narrow: bool) -> tuple[float, float] | None:
        limits: GaugeLimits = self
        centre, reach, bound = np.zeros(2), np.full(2, np.log(FARTHEST)), float(np.log(FARTHEST))
        steps = np.linspace(-1, 1, _GRID)
        for closer in range(_CLOSER_GRIDS):
            x, y = (
                g.ravel() for g in np.meshgrid(centre[0] + reach[0] * steps, centre[1] + reach[1] * steps)
            )
            x, y = np.clip(x, -bound, bound), np.clip(y, -bound, bound)
            off = np.abs(limits._off_at(np.exp(x), np.exp(y)))
            best = int(np.argmin(off.max(axis=0)))
            centre, reach = np.array([x[best], y[best]]), reach * 0.3
            if narrow and closer == 0:
                # What is far within its limit about the best so far hardly has a say.
                limits = limits._of(np.flatnonzero(off[:, best] >= 0.5 * off[:, best].max()))[0]
        u, v = np.exp(centre[:1]), np.exp(centre[1:])
        within = np.abs(self._off_at(u, v)).max() < 1
        return (float(u[0]), float(v[0])) if within else None

    def _of(self, chosen: IntArray) -> tuple[GaugeLimits, IntArray]:
        """These limits alone (and what shares a dimension and a size with them), and their places among all."""
        k = len(self.sizes)
        rows, columns = np.unique(chosen // k), np.unique(chosen % k)
        limits = GaugeLimits(
            self._sheet,
            self.gauge,
            [self.sizes[j] for j in columns],
            self._left_out,
            only=[self.dimensions[i].key for i in rows],
        )
        return limits, (rows[:, None] * k + columns[None, :]).ravel()

    def _trace(self, middle: tuple[float, float], angles: FloatArray) -> _Traced:
        """Where each ray from the middle first meets a limit."""
        du, dv = np.cos(angles), np.sin(angles)
        u0, v0 = middle
        farthest = np.minimum(_reach(u0, du), _reach(v0, dv))
        low, high, ends, out_there = self._strides(middle, du, dv, farthest)
        limits, places = self._of(out_there) if len(out_there) else (self, np.arange(0))
        widest = float(np.max(np.where(ends, high - low, 0.0), initial=0.0))
        halvings = max(math.ceil(math.log2(max(widest, ACCURACY) / ACCURACY)), 0)
        for turn in range(halvings):
            half = (low + high) / 2
            beyond = np.abs(limits._off_at(u0 + half * du, v0 + half * dv)) > 1 + SLACK
            outside = beyond.any(axis=0)
            low, high = np.where(ends & ~outside, half, low), np.where(ends & outside, half, high)
            if turn % _HALVINGS_BETWEEN == _HALVINGS_BETWEEN - 1:
                still = np.abs(limits._off_at(u0 + high * du, v0 + high * dv)) > 1 + SLACK
                chosen = np.flatnonzero((still & ends).any(axis=1))
                if 0 < len(chosen) < len(places):
                    limits, kept = limits._of(chosen)
                    places = places[kept]
        limit, sign = np.full(len(angles), -1, dtype=np.intp), np.zeros(len(angles))
        if ends.any():
            off = limits._off_at(u0 + high * du, v0 + high * dv)
            worst = np.abs(off).argmax(axis=0)
            limit = np.where(ends, places[worst], -1).astype(np.intp)
            sign = np.where(ends, np.sign(off[worst, np.arange(len(angles))]), 0.0)
        # The inner end: every point of the boundary is within all limits. An open ray ends where the looking does.
        at = np.where(ends, low, high)
        return _Traced(angles, u0 + at * du, v0 + at * dv, limit, sign)

    def _strides(
        self, middle: tuple[float, float], du: FloatArray, dv: FloatArray, farthest: FloatArray
    ) -> tuple[FloatArray, FloatArray, BoolArray, IntArray]:
        """The stride of each ray on which it first leaves the region, whether it does, and the limits met."""
        n = len(farthest)
        low, high = np.zeros(n), farthest.copy()
        ends, met = np.zeros(n, dtype=bool), np.zeros(self._held.size, dtype=bool)
        before = 0.0
        for share in (np.arange(1, STRIDES + 1) / STRIDES) ** 2:
            inside = np.flatnonzero(~ends)
            if not len(inside):
                break
            at = farthest[inside] * share
            off = np.abs(self._off_at(middle[0] + at * du[inside], middle[1] + at * dv[inside])) > 1 + SLACK
            out = off.any(axis=0)
            met |= off.any(axis=1)
            low[inside], high[inside] = np.where(out, farthest[inside] * before, at), at
            ends[inside] = out
            before = float(share)
        return low, high, ends, np.flatnonzero(met)

    def _edge(self, traced: _Traced, i: int) -> Edge:
        i %= len(traced.angles)
        limit = int(traced.limit[i])
        st, row = self._gauge(float(traced.u[i]), float(traced.v[i]))
        return Edge(st, row, None if limit < 0 else self._limit(limit, float(traced.sign[i])))

    def _with_corners(self, middle: tuple[float, float], traced: _Traced) -> _Traced:
        corners, missed = self._corners(middle, traced)
        if len(missed):
            n = len(traced.angles)
            between = []
            for i in missed:
                start, end = traced.angles[i], traced.angles[(i + 1) % n] + (2 * np.pi if i + 1 == n else 0)
                between.append(np.linspace(start, end, CLOSER + 2)[1:-1])
            traced = traced.joined(self._trace(middle, np.concatenate(between)))
            corners, _ = self._corners(middle, traced)
        return traced.joined(corners)

    def _corners(self, middle: tuple[float, float], traced: _Traced) -> tuple[_Traced, IntArray]:
        """Corners between rays that end at different limits, and the first rays of the pairs where there is none."""
        n = len(traced.angles)
        here = np.arange(n)
        after = (here + 1) % n
        turns = here[(traced.limit != traced.limit[after]) | (traced.sign != traced.sign[after])]
        u, v, limit, sign = [], [], [], []
        kept = []
        for i in turns:
            j = (i + 1) % n
            before, beyond = (i - 1) % n, (j + 1) % n
            alike = (
                traced.limit[before] == traced.limit[i]
                and traced.limit[beyond] == traced.limit[j]
                and min(traced.limit[i], traced.limit[j]) >= 0
            )
            meet = alike and _meeting(traced, before, i, j, beyond)
            if meet:
                kept.append(i)
                u.append(meet[0])
                v.append(meet[1])
                limit.append(traced.limit[i])
                sign.append(traced.sign[i])
        if kept:
            us, vs = np.array(u), np.array(v)
            bounded = (np.abs(np.log(np.clip(us, 1e-6, None))) <= np.log(FARTHEST) + 1e-9) & (
                np.abs(np.log(np.clip(vs, 1e-6, None))) <= np.log(FARTHEST) + 1e-9
            )
            us, vs = np.where(bounded, us, 1.0), np.where(bounded, vs, 1.0)
            off = np.abs(self._off_at(us, vs))
            at = np.arange(len(kept))
            nexts = (np.array(kept) + 1) % n
            good = (
                bounded
                & (off.max(axis=0) <= 1 + _AT_CORNER)
                & (off[traced.limit[kept], at] >= 1 - _AT_CORNER)
                & (off[traced.limit[nexts], at] >= 1 - _AT_CORNER)
            )
        else:
            us, vs, good = np.empty(0), np.empty(0), np.empty(0, dtype=bool)
        angles = np.arctan2(vs - middle[1], us - middle[0]) % (2 * np.pi)
        found = _Traced(
            angles[good],
            us[good],
            vs[good],
            np.array(limit, dtype=np.intp)[good],
            np.array(sign, dtype=np.float64)[good],
        )
        done = {i for i, ok in zip(kept, good, strict=True) if ok}
        return found, np.array([i for i in turns if i not in done], dtype=np.intp)


def drawn_region(sheet: Sheet, gauge: str, sizes: Sequence[str] | None = None) -> GaugeRegion | None:
    """The region to be shown: what is beyond its tolerance at the stated gauge already is not held against a gauge.

    Its ``beyond`` still names that. Where no gauge keeps everything, or the stated one does not, a region without
    those measurements tells more than an empty picture.
    """
    limits = GaugeLimits(sheet, gauge, sizes)
    beyond = limits.beyond()
    if not beyond:
        return limits.region()
    misprinted = [(one.limit.dimension, one.limit.size) for one in beyond]
    rest = GaugeLimits(sheet, gauge, sizes, leaving=misprinted).region()
    return replace(rest, beyond=beyond, nowhere=limits.deepest() is None) if rest else limits.region()


@dataclass(frozen=True, slots=True)
class _Traced:
    """Ends of rays by angle, as stitch width and height beside the stated ones; ``limit`` −1 where none is met."""

    angles: FloatArray
    u: FloatArray
    v: FloatArray
    limit: IntArray
    sign: FloatArray

    def joined(self, other: _Traced) -> _Traced:
        angles = np.concatenate([self.angles, other.angles])
        order = np.argsort(angles, kind="stable")
        return _Traced(
            angles[order],
            np.concatenate([self.u, other.u])[order],
            np.concatenate([self.v, other.v])[order],
            np.concatenate([self.limit, other.limit])[order],
            np.concatenate([self.sign, other.sign])[order],
        )


def _reach(start: float, direction: FloatArray) -> FloatArray:
    """How far along a ray one of its coordinates stays between 1/FARTHEST and FARTHEST."""
    with np.errstate(divide="ignore"):
        up, down = (FARTHEST - start) / direction, (1 / FARTHEST - start) / direction
    return np.where(np.abs(direction) < 1e-12, np.inf, np.maximum(up, down))


def _meeting(traced: _Traced, a: int, b: int, c: int, d: int) -> tuple[float, float] | None:
    """Where the straight line through the ends of rays a and b meets the one through c and d."""
    (x1, y1), (x2, y2), (x3, y3), (x4, y4) = ((float(traced.u[i]), float(traced.v[i])) for i in (a, b, c, d))
    cross = (x1 - x2) * (y3 - y4) - (y1 - y2) * (x3 - x4)
    if abs(cross) < 1e-15:
        return None
    one, two = x1 * y2 - y1 * x2, x3 * y4 - y3 * x4
    return (one * (x3 - x4) - (x1 - x2) * two) / cross, (one * (y3 - y4) - (y1 - y2) * two) / cross
