"""The plots of a round: every tester's point against the tolerance, the three parts, the gauges.

Each function takes plain data in centimetres (gauges per 10 cm) and gives a `Plot`: a drawing for page and paper,
and the same figures as a table, for whoever reads numbers better than pictures.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from reportlab.graphics import shapes

from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    format_count,
    format_gauge,
    format_length,
    gauge_over,
    gauge_per_10cm,
    rounded,
)
from testround.paper import fonts
from testround.paper.drawing import (
    Circle,
    Drawing,
    Group,
    Line,
    Mark,
    Point,
    Rect,
    Text,
    diamond,
    hatched,
    paper,
    square,
    svg,
    triangle,
)

PHONE = 360.0
"""The width of a plot that a small phone shows whole."""

_LABEL = 12.0
_SMALL = 11.0
_DOT = 4.5


# What goes in ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DeviationPoint:
    """One tester's piece: how far off the target, in cm. ``asked``: set aside until the tester has answered."""

    tester: str
    size: str | None
    value: float
    asked: bool = False


@dataclass(frozen=True, slots=True)
class PooledDeviation:
    """The pattern's own deviation in one size, in cm, with its 95 % interval."""

    size: str | None
    estimate: float
    low: float
    high: float
    testers: int
    verdict: str


@dataclass(frozen=True, slots=True)
class Deviations:
    """One dimension. ``sizes`` in wearing order, those without testers too; empty when made to measure."""

    title: str
    tolerance: float
    sizes: tuple[str, ...]
    points: tuple[DeviationPoint, ...]
    pooled: tuple[PooledDeviation, ...] = ()
    what: str = "left over after counts and gauge"


@dataclass(frozen=True, slots=True)
class PartsBar:
    """One tester's discrepancy in its three parts, in cm; the parts add up to measured minus target."""

    tester: str
    size: str | None
    counts: float
    gauge: float
    remainder: float
    asked: bool = False
    """Set aside until the tester has answered; it does not stretch the axis."""

    @property
    def total(self) -> float:
        return self.counts + self.gauge + self.remainder


@dataclass(frozen=True, slots=True)
class Parts:
    title: str
    tolerance: float
    bars: tuple[PartsBar, ...]


@dataclass(frozen=True, slots=True)
class GaugePoint:
    """One tester's gauge per 10 cm in one state of the fabric; ``u_st`` and ``u_row`` are standard uncertainties.

    A swatch may have been counted one way only: the other is then None.
    """

    tester: str
    state: str
    """ "worked" or "blocked"."""
    st: float | None
    row: float | None
    u_st: float | None = None
    u_row: float | None = None


@dataclass(frozen=True, slots=True)
class Gauges:
    """The testers' gauges against the stated one, per 10 cm; pooled ones as (estimate, low, high)."""

    title: str
    stated_st: float
    stated_row: float
    points: tuple[GaugePoint, ...]
    pooled_st: tuple[float, float, float] | None = None
    pooled_row: tuple[float, float, float] | None = None


# What comes out -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Table:
    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Plot:
    """A drawing and its figures; in a template it writes itself as SVG."""

    drawing: Drawing
    table: Table
    """Each tester's figures."""
    summary: Table | None = None
    """The pooled figures."""
    ident: str = "plot"

    @property
    def svg(self) -> str:
        return svg(self.drawing, ident=self.ident)

    def __html__(self) -> str:
        return self.svg

    def flowable(self, *, scale: float = 1.0) -> shapes.Drawing:
        """The drawing for a ReportLab document, ``scale`` points to a unit."""
        return paper(self.drawing, scale=scale)


# Axes -----------------------------------------------------------------------------------------------------

_CM_STEPS = [Fraction(n, 10) for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)]
_INCH_STEPS = [
    Fraction(1, 8),
    Fraction(1, 4),
    Fraction(1, 2),
    *(Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100)),
]
_GAUGE_STEPS = [Fraction(1, 4), Fraction(1, 2), *(Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100))]


def ticks(low: float, high: float, steps: Sequence[Fraction], most: int) -> list[Fraction]:
    """Round numbers from low to high: the finest step of ``steps`` that gives at most ``most`` of them.

    Beyond the coarsest step its multiples by two are tried, so any range gets its ticks.
    """
    step = steps[0]
    coarser = iter(steps[1:])
    while (high - low) / float(step) > max(most - 1, 1):
        step = next(coarser, step * 2)
    first = math.ceil(low / float(step) - 1e-9)
    last = math.floor(high / float(step) + 1e-9)
    return [step * k for k in range(first, last + 1)]


@dataclass(frozen=True, slots=True)
class _Scale:
    """A straight line from values to places on the drawing."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def clipped(self, value: float) -> float:
        return self(min(max(value, self.low), self.high))


def _length_ticks(scale: _Scale, units: LengthUnit) -> list[tuple[float, str]]:
    """Where the ticks of a length axis (in cm) stand, and what is written there."""
    most = int(abs(scale.end - scale.start) // 44) + 1
    steps = _INCH_STEPS if units == "in" else _CM_STEPS
    per = 2.54 if units == "in" else 1.0
    found = ticks(scale.low / per, scale.high / per, steps, most)
    return [
        (float(tick) * per, _bare(format_length(float(tick) * per, units, signed=True))) for tick in found
    ]


def _bare(length: str) -> str:
    """Without its unit, which the axis says once."""
    return length.rsplit(" ", 1)[0]


def _range(values: Iterable[float], tolerance: float) -> tuple[float, float]:
    """A range that holds the tolerance with air around it, and every value up to six tolerances out."""
    wanted = [-1.3 * tolerance, 1.3 * tolerance]
    wanted += [min(max(value, -6 * tolerance), 6 * tolerance) for value in values]
    low, high = min(wanted), max(wanted)
    air = 0.04 * (high - low)
    return low - air, high + air


def _who(tester: str, size: str | None) -> str:
    return f"Tester {tester}" if size is None else f"Tester {tester}, size {size}"


def _testers(count: int) -> str:
    return "1 tester" if count == 1 else f"{count} testers"


# Legends --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Sign:
    """A sign of a legend, drawn around (0, 0), and what it means."""

    marks: tuple[Mark, ...]
    wide: float
    words: str


def _legend(signs: Sequence[_Sign], width: float) -> tuple[list[Mark], float]:
    """Signs with their meaning, flowing over as many lines as they need; and where the plot can begin."""
    marks: list[Mark] = []
    x, y = 4.0, 12.0
    for sign in signs:
        length = sign.wide + 6 + fonts.width_of(sign.words, _SMALL) * 1.15 + 14
        if x > 4 and x + length > width:
            x, y = 4.0, y + 18
        marks += [_moved(mark, x + sign.wide / 2, y - 4) for mark in sign.marks]
        marks.append(Text(x + sign.wide + 6, y, sign.words, _SMALL, look="muted"))
        x += length
    return marks, y + 8


def _moved(mark: Mark, dx: float, dy: float) -> Mark:
    def at(point: Point) -> Point:
        return (point[0] + dx, point[1] + dy)

    if isinstance(mark, Line):
        return Line(at(mark.start), at(mark.end), mark.look)
    if isinstance(mark, Rect):
        return Rect(mark.x + dx, mark.y + dy, mark.width, mark.height, mark.look)
    if isinstance(mark, Circle):
        return Circle(at(mark.centre), mark.radius, mark.look)
    if isinstance(mark, Text):
        return Text(mark.x + dx, mark.y + dy, mark.words, mark.size, mark.anchor, mark.look)
    if isinstance(mark, Group):
        return Group(tuple(_moved(part, dx, dy) for part in mark.marks), mark.label, mark.kind)
    return type(mark)(tuple(at(point) for point in mark.points), mark.look)


_POOLED_SIGN = _Sign(
    (Line((-14, 0), (14, 0), "interval"), diamond((0, 0), 6, "estimate")), 28, "pooled, 95 %"
)


def _dot_sign(look: str, words: str) -> _Sign:
    return _Sign((Circle((0, 0), _DOT, look),), 10, words)


def _band_sign(tolerance: float, units: LengthUnit) -> _Sign:
    edges = (Line((-11, -6), (-11, 6), "band-edge"), Line((11, -6), (11, 6), "band-edge"))
    words = f"tolerance ±{format_length(tolerance, units)}"
    return _Sign((Rect(-11, -6, 22, 12, "band"), *edges), 22, words)


def _band(scale: _Scale, tolerance: float, top: float, bottom: float) -> list[Mark]:
    left, right = scale(-tolerance), scale(tolerance)
    return [
        Rect(left, top, right - left, bottom - top, "band"),
        Line((left, top), (left, bottom), "band-edge"),
        Line((right, top), (right, bottom), "band-edge"),
    ]


def _length_axis(scale: _Scale, top: float, bottom: float, units: LengthUnit, words: str) -> list[Mark]:
    marks: list[Mark] = [Line((scale.start, bottom), (scale.end, bottom), "axis")]
    for value, label in _length_ticks(scale, units):
        x = scale(value)
        marks.append(Line((x, top), (x, bottom), "target" if abs(value) < 1e-9 else "grid"))
        marks.append(Line((x, bottom), (x, bottom + 4), "axis"))
        marks.append(Text(x, bottom + 17, label, _SMALL, "middle"))
    marks.append(Text((scale.start + scale.end) / 2, bottom + 34, words, _SMALL, "middle", "muted"))
    return marks


def _label_column(labels: Iterable[str], width: float) -> float:
    """How wide the column of labels on the left is: what they need, at most three tenths of the plot."""
    needed = max((fonts.width_of(label, _LABEL) * 1.15 for label in labels), default=0.0)
    return min(max(needed, 22.0), 0.3 * width)


# One dimension --------------------------------------------------------------------------------------------

_MOST_LANES = 14


def deviation_plot(
    data: Deviations, *, units: LengthUnit = "cm", width: float = PHONE, ident: str = "deviations"
) -> Plot:
    """One dimension: each tester's point by size over the tolerance band, and the pooled estimates.

    Sizes go down and the deviation goes across, so that any number of sizes with names of any length can be
    read on a phone. A point beyond the axis stands at its edge as an arrow; its value is in its label and in
    the table.
    """
    sizes: tuple[str | None, ...] = data.sizes or (None,)
    names = {size: "All" if size is None else size for size in sizes}
    label_width = _label_column(names.values(), width)
    pooled = {pool.size: pool for pool in data.pooled}

    kept = [point.value for point in data.points if not point.asked]
    spread = max([data.tolerance * 1.3, *map(abs, kept), *(abs(pool.estimate) for pool in data.pooled)])
    # A very wide interval would squeeze everything else; it may leave the plot, and its end is then open.
    ends = [min(max(end, -2 * spread), 2 * spread) for pool in data.pooled for end in (pool.low, pool.high)]
    scale = _Scale(
        *_range([*kept, *ends, *(pool.estimate for pool in data.pooled)], data.tolerance),
        start=label_width + 14,
        end=width - 14,
    )

    signs = [_dot_sign("solid", "a tester")]
    if data.pooled:
        signs.append(_POOLED_SIGN)
    signs.append(_band_sign(data.tolerance, units))
    if any(point.asked for point in data.points):
        signs.append(_Sign((square((0, 0), _DOT, "asked"),), 10, "set aside, to be asked"))
    legend, top = _legend(signs, width)

    rows: list[Mark] = []
    y = top
    for size in sizes:
        begin = y
        y += 6
        pool = pooled.get(size)
        if pool is not None:
            rows.append(_pooled_mark(pool, scale, y + 8, units))
            y += 18
        lanes: list[float] = []
        for point in sorted(
            (point for point in data.points if point.size == size), key=lambda p: (p.value, p.tester)
        ):
            x = scale.clipped(point.value)
            lane = _lane(x, lanes)
            rows.append(_deviation_mark(point, scale, y + 7 + 11 * lane, units))
        y += 14 + 11 * max(len(lanes) - 1, 0) + 6
        rows.append(
            Text(
                label_width + 4,
                (begin + y) / 2 + 4,
                fonts.shortened(names[size], label_width, _LABEL),
                _LABEL,
                "end",
            )
        )
        rows.append(Line((4, y), (width - 14, y), "rule"))
    bottom = y
    marks = [
        *legend,
        *_band(scale, data.tolerance, top, bottom),
        *_length_axis(scale, top, bottom, units, f"{units} off the target"),
        *rows,
    ]
    return Plot(
        Drawing(
            width, bottom + 42, f"{data.title}: {data.what}", _deviation_words(data, units), tuple(marks)
        ),
        _deviation_table(data, units),
        _pooled_table(data, units) if data.pooled else None,
        ident,
    )


def _lane(x: float, lanes: list[float]) -> int:
    """The lane in which a dot at ``x`` touches no other, dots coming from left to right; ``lanes`` holds the last
    place taken in each, and is brought up to date. When all lanes are full, the one that is least so."""
    lane = next((k for k, last in enumerate(lanes) if x - last >= 2 * _DOT + 2), len(lanes))
    if lane == len(lanes):
        if lane < _MOST_LANES:
            lanes.append(x)
        else:
            lane = min(range(len(lanes)), key=lanes.__getitem__)
    lanes[lane] = x
    return lane


def _deviation_label(point: DeviationPoint, units: LengthUnit) -> str:
    words = f"{_who(point.tester, point.size)}: {format_length(point.value, units, signed=True)}"
    return f"{words}, set aside, to be asked" if point.asked else words


def _deviation_mark(point: DeviationPoint, scale: _Scale, y: float, units: LengthUnit) -> Group:
    x = scale.clipped(point.value)
    if point.value < scale.low or point.value > scale.high:
        towards = "left" if point.value < scale.low else "right"
        sign: Mark = triangle((x, y), _DOT + 1, "asked" if point.asked else "solid", towards=towards)
    elif point.asked:
        sign = square((x, y), _DOT, "asked")
    else:
        sign = Circle((x, y), _DOT, "solid")
    return Group((sign,), _deviation_label(point, units), "point")


def _pooled_mark(pool: PooledDeviation, scale: _Scale, y: float, units: LengthUnit) -> Group:
    left, right = scale.clipped(pool.low), scale.clipped(pool.high)
    marks: list[Mark] = [Line((left, y), (right, y), "interval")]
    for end, x, towards in ((pool.low, left, "left"), (pool.high, right, "right")):
        if scale.low <= end <= scale.high:
            marks.append(Line((x, y - 4), (x, y + 4), "whisker"))
        else:
            marks.append(triangle((x, y), 4, "solid", towards=towards))
    marks.append(diamond((scale.clipped(pool.estimate), y), 6, "estimate"))
    where = "Pooled" if pool.size is None else f"Pooled, size {pool.size}"
    label = (
        f"{where}: {format_length(pool.estimate, units, signed=True)} ({_interval(pool, units)}), "
        f"{_testers(pool.testers)}, {VERDICT_WORDS.get(pool.verdict, pool.verdict)}"
    )
    return Group(tuple(marks), label, "pooled")


def _interval(pool: PooledDeviation, units: LengthUnit) -> str:
    return f"{format_length(pool.low, units, signed=True)} to {format_length(pool.high, units, signed=True)}"


def _deviation_words(data: Deviations, units: LengthUnit) -> str:
    sizes = len({point.size for point in data.points})
    words = [
        f"{_testers(len(data.points))}"
        + (f" in {sizes} of {len(data.sizes)} sizes" if data.sizes else "")
        + f"; the tolerance is ±{format_length(data.tolerance, units)} about the target."
    ]
    for pool in data.pooled:
        where = "Pooled" if pool.size is None else f"Size {pool.size}"
        words.append(
            f"{where}: {format_length(pool.estimate, units, signed=True)}, {_interval(pool, units)}, "
            f"{VERDICT_WORDS.get(pool.verdict, pool.verdict)}."
        )
    return " ".join(words)


def _deviation_table(data: Deviations, units: LengthUnit) -> Table:
    order = {size: rank for rank, size in enumerate(data.sizes)}
    points = sorted(data.points, key=lambda p: (order.get(p.size or "", -1), p.tester))
    return Table(
        f"{data.title}: each tester, {data.what}",
        ("Size", "Tester", "Off the target", "Note"),
        tuple(
            (
                point.size or "own",
                point.tester,
                format_length(point.value, units, signed=True),
                "set aside, to be asked" if point.asked else "",
            )
            for point in points
        ),
    )


def _pooled_table(data: Deviations, units: LengthUnit) -> Table:
    return Table(
        f"{data.title}: pooled by size",
        ("Size", "Testers", "Off the target", "95 % interval", "Tolerance", "Verdict"),
        tuple(
            (
                pool.size or "all",
                str(pool.testers),
                format_length(pool.estimate, units, signed=True),
                _interval(pool, units),
                f"±{format_length(data.tolerance, units)}",
                VERDICT_WORDS.get(pool.verdict, pool.verdict),
            )
            for pool in data.pooled
        ),
    )


# The three parts ------------------------------------------------------------------------------------------

_BAR = 13.0


def parts_bars(data: Parts, *, units: LengthUnit = "cm", width: float = PHONE, ident: str = "parts") -> Plot:
    """A bar for every tester, split in what the counts, the gauge and neither explain.

    Parts that lengthen are laid end to end to the right of the target and parts that shorten to the left; the
    diamond is where the piece came out, their sum.
    """
    names = [bar.tester if bar.size is None else f"{bar.tester} · {bar.size}" for bar in data.bars]
    label_width = _label_column(names, width)
    totals = [format_length(bar.total, units, signed=True) for bar in data.bars]
    total_width = max((fonts.width_of(total, _SMALL) * 1.15 for total in totals), default=0.0)
    reach = [
        sum(part for part in (bar.counts, bar.gauge, bar.remainder) if part * side > 0)
        for bar in data.bars
        if not bar.asked
        for side in (-1, 1)
    ]
    scale = _Scale(*_range(reach, data.tolerance), start=label_width + 14, end=width - total_width - 16)
    legend, top = _legend(
        [
            _Sign((Rect(-9, -6, 18, 12, "solid"),), 18, "counts worked"),
            _Sign(hatched(-9, -6, 18, 12), 18, "own gauge"),
            _Sign((Rect(-9, -6, 18, 12, "hollow"),), 18, "remainder"),
            _Sign((diamond((0, 0), 5, "estimate"),), 10, "measured"),
            _band_sign(data.tolerance, units),
        ],
        width,
    )
    rows: list[Mark] = []
    y = top
    for bar, total in zip(data.bars, totals, strict=True):
        rows.append(_parts_mark(bar, scale, y + 5, units))
        rows.append(Text(label_width + 4, y + 16, _with_size(bar, label_width), _LABEL, "end"))
        rows.append(Text(width - 4, y + 16, total, _SMALL, "end"))
        y += _BAR + 10
        rows.append(Line((4, y), (width - 4, y), "rule"))
    if not data.bars:
        rows.append(
            Text((scale.start + scale.end) / 2, y + 16, "nothing measured yet", _SMALL, "middle", "muted")
        )
        y += _BAR + 10
    marks = [
        *legend,
        *_band(scale, data.tolerance, top, y),
        *_length_axis(scale, top, y, units, f"{units} off the target"),
        *rows,
    ]
    return Plot(
        Drawing(
            width,
            y + 42,
            f"{data.title}: what explains each tester's difference",
            f"{_testers(len(data.bars))}; measured minus target is counts worked, own gauge and remainder together.",
            tuple(marks),
        ),
        Table(
            f"{data.title}: the three parts",
            ("Tester", "Size", "Measured − target", "Counts", "Gauge", "Remainder"),
            tuple(
                (
                    bar.tester,
                    bar.size or "own",
                    *(
                        format_length(value, units, signed=True)
                        for value in (bar.total, bar.counts, bar.gauge, bar.remainder)
                    ),
                )
                for bar in data.bars
            ),
        ),
        None,
        ident,
    )


def _with_size(bar: PartsBar, width: float) -> str:
    """The tester and the size; a long name is cut so that the size is still there."""
    if bar.size is None:
        return fonts.shortened(bar.tester, width, _LABEL)
    size = f" · {fonts.shortened(bar.size, width / 2, _LABEL)}"
    return fonts.shortened(bar.tester, width - fonts.width_of(size, _LABEL), _LABEL) + size


def _parts_mark(bar: PartsBar, scale: _Scale, y: float, units: LengthUnit) -> Group:
    marks: list[Mark] = []
    ends = {-1: 0.0, 1: 0.0}
    for kind, value in (("counts", bar.counts), ("gauge", bar.gauge), ("remainder", bar.remainder)):
        side = 1 if value > 0 else -1
        start, ends[side] = ends[side], ends[side] + value
        left, right = sorted((scale.clipped(start), scale.clipped(start + value)))
        if right - left < 0.5:
            continue
        if kind == "gauge":
            marks += hatched(left, y, right - left, _BAR)
        else:
            marks.append(Rect(left, y, right - left, _BAR, "solid" if kind == "counts" else "hollow"))
    end = (scale.clipped(bar.total), y + _BAR / 2)
    if scale.low <= bar.total <= scale.high:
        marks.append(diamond(end, 5, "estimate"))
    else:
        marks.append(triangle(end, 5, "estimate", towards="left" if bar.total < 0 else "right"))
    counts, gauge, remainder, total = (
        format_length(value, units, signed=True)
        for value in (bar.counts, bar.gauge, bar.remainder, bar.total)
    )
    label = f"{_who(bar.tester, bar.size)}: {total}: counts {counts}, gauge {gauge}, remainder {remainder}"
    if bar.asked:
        label += ", set aside, to be asked"
    return Group(tuple(marks), label, "point")


# Gauges ---------------------------------------------------------------------------------------------------


def gauge_plot(
    data: Gauges, *, units: LengthUnit = "cm", width: float = PHONE, ident: str = "gauges"
) -> Plot:
    """Stitches across and rows up, over 10 cm or 4 inches: the stated gauge and every tester's.

    Whiskers are two standard uncertainties. The worked and the blocked gauge of one tester are joined. A gauge
    counted one way only is a stroke on its own axis.
    """
    over: GaugeSpan = "4in" if units == "in" else "10cm"
    span = "4 in" if over == "4in" else "10 cm"
    left, right, tall = 40.0, width - 14, min(width * 0.8, 420.0)
    cross = (Line((-8, 0), (8, 0), "target"), Line((0, -8), (0, 8), "target"))
    drawn = {point.state for point in data.points}
    signs = [
        _dot_sign("solid", "blocked"),
        *([_dot_sign("hollow", "as worked")] if "worked" in drawn else []),
        _Sign(cross, 16, f"stated {_pair(data.stated_st, data.stated_row, over)}"),
    ]
    if data.pooled_st or data.pooled_row:
        signs.append(_POOLED_SIGN)
    legend, top = _legend(signs, width)
    top += 4
    bottom = top + tall
    across = _gauge_scale(data.stated_st, [(p.st, p.u_st) for p in data.points], data.pooled_st, left, right)
    up = _gauge_scale(data.stated_row, [(p.row, p.u_row) for p in data.points], data.pooled_row, bottom, top)

    marks: list[Mark] = [*legend]
    for value, label in _gauge_ticks(across, over, 40):
        x = across(value)
        marks += [Line((x, top), (x, bottom), "grid"), Text(x, bottom + 16, label, _SMALL, "middle")]
    for value, label in _gauge_ticks(up, over, 32):
        y = up(value)
        marks += [Line((left, y), (right, y), "grid"), Text(left - 6, y + 4, label, _SMALL, "end")]
    marks += [
        Line((left, bottom), (right, bottom), "axis"),
        Line((left, top), (left, bottom), "axis"),
        Text((left + right) / 2, bottom + 34, f"stitches over {span}", _SMALL, "middle", "muted"),
        Text(left + 6, top + 12, f"rows over {span}", _SMALL, look="muted"),
        Line((across(data.stated_st), top), (across(data.stated_st), bottom), "target"),
        Line((left, up(data.stated_row)), (right, up(data.stated_row)), "target"),
    ]
    states = {(point.tester, point.state): point for point in data.points}
    for (tester, state), point in states.items():
        other = states.get((tester, "blocked"))
        if state == "worked" and other is not None:
            start, end = _gauge_place(point, across, up), _gauge_place(other, across, up)
            if start and end:
                marks.append(Line(start, end, "join"))
    marks += [_gauge_mark(point, across, up, over) for point in data.points]
    # Swatches are counted in quarters, so that testers often stand on one and the same spot.
    spots = Counter((point.st, point.row) for point in data.points if point.st and point.row)
    marks += [
        Text(across(st) + 7, up(row) - 5, f"×{often}", _SMALL)
        for (st, row), often in spots.items()
        if often > 1 and st is not None and row is not None
    ]
    if data.pooled_st or data.pooled_row:
        marks.append(_pooled_gauge_mark(data, across, up, over))
    return Plot(
        Drawing(
            width,
            bottom + 42,
            f"{data.title}: testers' gauges against the stated one",
            _gauge_words(data, over),
            tuple(marks),
        ),
        Table(
            f"{data.title}: gauges over {span}",
            ("Tester", "State", "Stitches", "Rows"),
            (
                ("stated", "", format_gauge(data.stated_st, over), format_gauge(data.stated_row, over)),
                *(
                    (
                        point.tester,
                        point.state,
                        _with_error(point.st, point.u_st, over),
                        _with_error(point.row, point.u_row, over),
                    )
                    for point in data.points
                ),
            ),
        ),
        _pooled_gauge_table(data, over),
        ident,
    )


def _pair(st: float | None, row: float | None, over: GaugeSpan) -> str:
    return f"{_gauge(st, over)} × {_gauge(row, over)}"


def _gauge(value: float | None, over: GaugeSpan) -> str:
    return "?" if value is None else format_gauge(value, over)


def _with_error(value: float | None, error: float | None, over: GaugeSpan) -> str:
    """A gauge with two standard uncertainties, to a tenth, as in "22 1/4 ± 0.6"."""
    if value is None:
        return "not counted"
    if error is None:
        return format_gauge(value, over)
    return f"{format_gauge(value, over)} ± {gauge_to_a_tenth(2 * error, over)}"


def _gauge_scale(
    stated: float,
    readings: Sequence[tuple[float | None, float | None]],
    pooled: tuple[float, float, float] | None,
    start: float,
    end: float,
) -> _Scale:
    """Holds the stated gauge and every reading, none of them at the very edge.

    A whisker reaches at most half the way again, so that one poor swatch does not squeeze the others.
    """
    values = [stated, *(value for value, _ in readings if value is not None), *(pooled[:1] if pooled else ())]
    low, high = min(values), max(values)
    room = max(high - low, 0.06 * stated)
    errors = [2 * error for value, error in readings if value is not None and error is not None]
    air = max(min(max(errors, default=0.0), 0.5 * room), 0.08 * room) + 0.04 * room
    return _Scale(low - air, high + air, start, end)


def _gauge_ticks(scale: _Scale, over: GaugeSpan, apart: float) -> list[tuple[float, str]]:
    most = int(abs(scale.end - scale.start) // apart) + 1
    found = ticks(gauge_over(scale.low, over), gauge_over(scale.high, over), _GAUGE_STEPS, most)
    return [
        (gauge_per_10cm(float(tick), over), format_gauge(gauge_per_10cm(float(tick), over), over))
        for tick in found
    ]


def _gauge_place(point: GaugePoint, across: _Scale, up: _Scale) -> Point | None:
    if point.st is None or point.row is None:
        return None
    return (across(point.st), up(point.row))


def _gauge_mark(point: GaugePoint, across: _Scale, up: _Scale, over: GaugeSpan) -> Group:
    label = f"Tester {point.tester}, {point.state}: {_pair(point.st, point.row, over)}"
    marks: list[Mark] = []
    if point.st is None or point.row is None:
        if point.st is not None:
            x = across(point.st)
            marks.append(Line((x, up.start), (x, up.start - 10), "interval"))
        elif point.row is not None:
            y = up(point.row)
            marks.append(Line((across.start, y), (across.start + 10, y), "interval"))
        return Group(tuple(marks), label, "point")
    x, y = across(point.st), up(point.row)
    if point.u_st is not None:
        ends = [across.clipped(point.st + side * 2 * point.u_st) for side in (-1, 1)]
        marks.append(Line((ends[0], y), (ends[1], y), "whisker"))
    if point.u_row is not None:
        ends = [up.clipped(point.row + side * 2 * point.u_row) for side in (-1, 1)]
        marks.append(Line((x, ends[0]), (x, ends[1]), "whisker"))
    marks.append(Circle((x, y), _DOT, "solid" if point.state == "blocked" else "hollow"))
    return Group(tuple(marks), label, "point")


def _pooled_gauge_mark(data: Gauges, across: _Scale, up: _Scale, over: GaugeSpan) -> Group:
    st, row = data.pooled_st, data.pooled_row
    x = across.clipped(st[0] if st else data.stated_st)
    y = up.clipped(row[0] if row else data.stated_row)
    marks: list[Mark] = []
    if st:
        marks.append(Line((across.clipped(st[1]), y), (across.clipped(st[2]), y), "interval"))
    if row:
        marks.append(Line((x, up.clipped(row[1])), (x, up.clipped(row[2])), "interval"))
    marks.append(diamond((x, y), 6, "estimate"))
    said = [gauge_to_a_tenth(pooled[0], over) if pooled else "?" for pooled in (st, row)]
    return Group(tuple(marks), f"Pooled: {' × '.join(said)}", "pooled")


def gauge_to_a_tenth(per_10cm: float, over: GaugeSpan) -> str:
    """A pooled gauge, or a difference of gauges: known better than the quarter that a swatch is counted to."""
    tenths = rounded(gauge_over(per_10cm, over), Fraction(1, 10))
    return f"{'−' if tenths < 0 else ''}{float(abs(tenths)):.1f}"


def _gauge_words(data: Gauges, over: GaugeSpan) -> str:
    testers = len({point.tester for point in data.points})
    span = "4 in" if over == "4in" else "10 cm"
    words = (
        f"{_testers(testers)}; the stated gauge is {format_gauge(data.stated_st, over)} stitches and "
        f"{format_gauge(data.stated_row, over)} rows over {span}."
    )
    for name, pooled in (("stitches", data.pooled_st), ("rows", data.pooled_row)):
        if pooled:
            value, low, high = (gauge_to_a_tenth(part, over) for part in pooled)
            words += f" Pooled {name}: {value}, {low} to {high}."
    return words


def _pooled_gauge_table(data: Gauges, over: GaugeSpan) -> Table | None:
    rows = tuple(
        (name, format_gauge(stated, over), *(gauge_to_a_tenth(part, over) for part in pooled))
        for name, stated, pooled in (
            ("stitches", data.stated_st, data.pooled_st),
            ("rows", data.stated_row, data.pooled_row),
        )
        if pooled
    )
    if not rows:
        return None
    span = "4 in" if over == "4in" else "10 cm"
    return Table(f"{data.title}: pooled gauge over {span}", ("", "Stated", "Pooled", "From", "To"), rows)


# Yarn and hours -------------------------------------------------------------------------------------------

_AMOUNT_STEPS = [Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)]


@dataclass(frozen=True, slots=True)
class AmountPoint:
    """What one maker's piece took; ``rough`` where it was not finished and has been scaled up."""

    tester: str
    size: str | None
    value: float
    rough: bool = False


@dataclass(frozen=True, slots=True)
class AmountOfSize:
    """What makers of a size take: half of them ``typical`` or more, eight in ten between ``least`` and ``most``;
    what is printed and what is proposed, and how many balls that is where a ball is known."""

    size: str | None
    typical: float
    least: float
    most: float
    printed: float | None
    proposed: float
    printed_balls: int | None = None
    proposed_balls: int | None = None


@dataclass(frozen=True, slots=True)
class Amounts:
    """Metres of yarn, or hours, in ``unit``; sizes in wearing order, one without a name when made to measure.

    ``beyond_half``: what is proposed is more than what half of makers take, and so is drawn beside it.
    """

    title: str
    unit: str
    sizes: tuple[AmountOfSize, ...]
    points: tuple[AmountPoint, ...]
    beyond_half: bool = True


def amount_plot(data: Amounts, *, width: float = PHONE, ident: str = "amounts") -> Plot:
    """Yarn or hours: each maker's point by size, what eight makers in ten take, what is printed and proposed.

    As in `deviation_plot`, sizes go down and the amount goes across.
    """
    names = {one.size: "All" if one.size is None else one.size for one in data.sizes}
    label_width = _label_column(names.values(), width)
    wanted = [point.value for point in data.points]
    wanted += [value for one in data.sizes for value in (one.least, one.most)]
    wanted += [one.proposed for one in data.sizes if data.beyond_half]
    # A misprint ten times off would squeeze everything else; it stands at the edge then, as an arrow.
    most = 2 * max(wanted, default=1.0)
    wanted += [one.printed for one in data.sizes if one.printed is not None and one.printed <= most]
    low, high = min(wanted, default=0.0), max(wanted, default=1.0)
    air = 0.04 * max(high - low, 0.05 * high)
    scale = _Scale(low - air, high + air, start=label_width + 14, end=width - 14)

    signs = [_dot_sign("solid", "a maker")]
    if any(point.rough for point in data.points):
        signs.append(_dot_sign("hollow", "not finished, scaled up"))
    edges = (Line((-11, -6), (-11, 6), "band-edge"), Line((11, -6), (11, 6), "band-edge"))
    signs.append(_Sign((Rect(-11, -6, 22, 12, "band"), *edges), 22, "eight makers in ten"))
    signs.append(_Sign((diamond((0, 0), 6, "estimate"),), 12, "half of makers"))
    if any(one.printed is not None for one in data.sizes):
        signs.append(_Sign((Line((0, -7), (0, 7), "interval"),), 6, "printed"))
    if data.beyond_half:
        signs.append(_Sign((triangle((0, 0), 6, "hollow", towards="left"),), 10, "to print"))
    legend, top = _legend(signs, width)

    rows: list[Mark] = []
    y = top
    for one in data.sizes:
        begin = y
        y += 4
        rows.append(_amount_of_size(one, scale, y + 8, data))
        y += 18
        lanes: list[float] = []
        for point in sorted(
            (p for p in data.points if p.size == one.size), key=lambda p: (p.value, p.tester)
        ):
            x = scale.clipped(point.value)
            lane = _lane(x, lanes)
            words = f"{_who(point.tester, point.size)}: {point.value:.0f} {data.unit}"
            words += ", scaled up from a piece not finished" if point.rough else ""
            sign = Circle((x, y + 7 + 11 * lane), _DOT, "hollow" if point.rough else "solid")
            rows.append(Group((sign,), words, "point"))
        y += 14 + 11 * max(len(lanes) - 1, 0) + 6 if lanes else 6
        label = fonts.shortened(names[one.size], label_width, _LABEL)
        rows.append(Text(label_width + 4, (begin + y) / 2 + 4, label, _LABEL, "end"))
        rows.append(Line((4, y), (width - 14, y), "rule"))
    marks: list[Mark] = [*legend, *_amount_axis(scale, top, y, data.unit), *rows]
    makers = len(data.points)
    balls = " (and balls)" if any(one.proposed_balls is not None for one in data.sizes) else ""
    return Plot(
        Drawing(
            width,
            y + 42,
            f"{data.title}: what it took, what is printed and what to print",
            f"{makers} maker{'' if makers == 1 else 's'}, in {data.unit}.",
            tuple(marks),
        ),
        Table(
            f"{data.title}: every maker, in {data.unit}",
            ("Tester", "Size", "Took", ""),
            tuple(
                (p.tester, p.size or "own", f"{p.value:.0f}", "scaled up" if p.rough else "")
                for p in data.points
            ),
        ),
        Table(
            f"{data.title}, in {data.unit}{balls}",
            ("Size", "Printed", "To print", "Half take", "Eight in ten"),
            tuple(
                (
                    names[one.size],
                    _amount(one.printed, one.printed_balls),
                    _amount(one.proposed, one.proposed_balls),
                    f"{one.typical:.0f}",
                    f"{one.least:.0f} to {one.most:.0f}",
                )
                for one in data.sizes
            ),
        ),
        ident,
    )


def _amount(value: float | None, balls: int | None) -> str:
    """ "1125 (5)": the figure and its whole balls."""
    if value is None:
        return "nothing"
    return format_count(value) + ("" if balls is None else f" ({balls})")


def _amount_in_words(value: float, balls: int | None, unit: str) -> str:
    said = f"{format_count(value)} {unit}"
    return said if balls is None else f"{said}, {balls} ball{'' if balls == 1 else 's'}"


def _amount_of_size(one: AmountOfSize, scale: _Scale, y: float, data: Amounts) -> Group:
    unit = data.unit
    left, right = scale.clipped(one.least), scale.clipped(one.most)
    marks: list[Mark] = [
        Rect(left, y - 6, right - left, 12, "band"),
        Line((left, y - 6), (left, y + 6), "band-edge"),
        Line((right, y - 6), (right, y + 6), "band-edge"),
        diamond((scale.clipped(one.typical), y), 5, "estimate"),
    ]
    if data.beyond_half:
        marks.append(triangle((scale.clipped(one.proposed), y), 5, "hollow", towards="left"))
    if one.printed is not None:
        x = scale.clipped(one.printed)
        if one.printed > scale.high:
            marks.append(triangle((x, y), 5, "solid", towards="right"))
        else:
            marks.append(Line((x, y - 8), (x, y + 8), "interval"))
    printed = ""
    if one.printed is not None:
        printed = f", printed {_amount_in_words(one.printed, one.printed_balls, unit)}"
    proposed = _amount_in_words(one.proposed, one.proposed_balls, unit)
    where = f"size {one.size}" if one.size is not None else "all"
    words = (
        f"{where}: half of makers {one.typical:.0f} {unit}, eight in ten {one.least:.0f} to {one.most:.0f}{printed}, "
        f"to print {proposed}"
    )
    return Group(tuple(marks), words[:1].upper() + words[1:], "pooled")


def _amount_axis(scale: _Scale, top: float, bottom: float, unit: str) -> list[Mark]:
    marks: list[Mark] = [Line((scale.start, bottom), (scale.end, bottom), "axis")]
    for tick in ticks(scale.low, scale.high, _AMOUNT_STEPS, int((scale.end - scale.start) // 44) + 1):
        x = scale(float(tick))
        marks.append(Line((x, top), (x, bottom), "grid"))
        marks.append(Line((x, bottom), (x, bottom + 4), "axis"))
        marks.append(Text(x, bottom + 17, f"{tick}", _SMALL, "middle"))
    marks.append(Text((scale.start + scale.end) / 2, bottom + 34, unit, _SMALL, "middle", "muted"))
    return marks
