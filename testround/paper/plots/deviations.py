"""One dimension: every tester's point by size over the tolerance, and the pooled estimates."""

from __future__ import annotations

from dataclasses import dataclass

from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.units import LengthUnit, format_length
from testround.kernel.words import gettext as _
from testround.kernel.words import ngettext, pgettext
from testround.paper import fonts
from testround.paper.drawing import Circle, Drawing, Group, Line, Mark, Text, diamond, square, triangle
from testround.paper.plots.base import (
    DOT,
    LABEL,
    PHONE,
    Plot,
    Scale,
    Sign,
    Table,
    band,
    band_sign,
    between,
    counted,
    dot_sign,
    label_column,
    lane_of,
    legend_of,
    length_axis,
    own_size,
    pooled_sign,
    range_of,
    row_name,
    who,
)


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


def deviation_plot(
    data: Deviations, *, units: LengthUnit = "cm", width: float = PHONE, ident: str = "deviations"
) -> Plot:
    """One dimension: each tester's point by size over the tolerance band, and the pooled estimates.

    Sizes go down and the deviation goes across, so that any number of sizes with names of any length can be
    read on a phone. A point beyond the axis stands at its edge as an arrow; its value is in its label and in
    the table.
    """
    sizes: tuple[str | None, ...] = data.sizes or (None,)
    names = {size: row_name(size) for size in sizes}
    label_width = label_column(names.values(), width)
    pooled = {pool.size: pool for pool in data.pooled}

    kept = [point.value for point in data.points if not point.asked]
    spread = max([data.tolerance * 1.3, *map(abs, kept), *(abs(pool.estimate) for pool in data.pooled)])
    # A very wide interval would squeeze everything else; it may leave the plot, and its end is then open.
    ends = [min(max(end, -2 * spread), 2 * spread) for pool in data.pooled for end in (pool.low, pool.high)]
    scale = Scale(
        *range_of([*kept, *ends, *(pool.estimate for pool in data.pooled)], data.tolerance),
        start=label_width + 14,
        end=width - 14,
    )

    signs = [dot_sign("solid", _("a tester"))]
    if data.pooled:
        signs.append(pooled_sign())
    signs.append(band_sign(data.tolerance, units))
    if any(point.asked for point in data.points):
        signs.append(Sign((square((0, 0), DOT, "asked"),), 10, _("set aside, to be asked")))
    legend, top = legend_of(signs, width)

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
            lane = lane_of(x, lanes)
            rows.append(_deviation_mark(point, scale, y + 7 + 11 * lane, units))
        y += 14 + 11 * max(len(lanes) - 1, 0) + 6
        rows.append(
            Text(
                label_width + 4,
                (begin + y) / 2 + 4,
                fonts.shortened(names[size], label_width, LABEL),
                LABEL,
                "end",
            )
        )
        rows.append(Line((4, y), (width - 14, y), "rule"))
    bottom = y
    marks = [
        *legend,
        *band(scale, data.tolerance, top, bottom),
        *length_axis(scale, top, bottom, units, _("{unit} off the target").format(unit=units)),
        *rows,
    ]
    return Plot(
        Drawing(
            width,
            bottom + 42,
            _("{title}: left over after counts and gauge").format(title=data.title),
            _deviation_words(data, units),
            tuple(marks),
        ),
        _deviation_table(data, units),
        pooled_table(data, units) if data.pooled else None,
        ident,
    )


def _deviation_label(point: DeviationPoint, units: LengthUnit) -> str:
    words = f"{who(point.tester, point.size)}: {format_length(point.value, units, signed=True)}"
    return _("{said}, set aside, to be asked").format(said=words) if point.asked else words


def _deviation_mark(point: DeviationPoint, scale: Scale, y: float, units: LengthUnit) -> Group:
    x = scale.clipped(point.value)
    if point.value < scale.low or point.value > scale.high:
        towards = "left" if point.value < scale.low else "right"
        sign: Mark = triangle((x, y), DOT + 1, "asked" if point.asked else "solid", towards=towards)
    elif point.asked:
        sign = square((x, y), DOT, "asked")
    else:
        sign = Circle((x, y), DOT, "solid")
    return Group((sign,), _deviation_label(point, units), "point")


def _pooled_mark(pool: PooledDeviation, scale: Scale, y: float, units: LengthUnit) -> Group:
    left, right = scale.clipped(pool.low), scale.clipped(pool.high)
    marks: list[Mark] = [Line((left, y), (right, y), "interval")]
    for end, x, towards in ((pool.low, left, "left"), (pool.high, right, "right")):
        if scale.low <= end <= scale.high:
            marks.append(Line((x, y - 4), (x, y + 4), "whisker"))
        else:
            marks.append(triangle((x, y), 4, "solid", towards=towards))
    marks.append(diamond((scale.clipped(pool.estimate), y), 6, "estimate"))
    where = _("Pooled") if pool.size is None else _("Pooled, size {size}").format(size=pool.size)
    label = (
        f"{where}: {format_length(pool.estimate, units, signed=True)} ({_interval(pool, units)}), "
        f"{counted(pool.testers)}, {VERDICT_WORDS.get(pool.verdict, pool.verdict)}"
    )
    return Group(tuple(marks), label, "pooled")


def _interval(pool: PooledDeviation, units: LengthUnit) -> str:
    return between(format_length(pool.low, units, signed=True), format_length(pool.high, units, signed=True))


def _deviation_words(data: Deviations, units: LengthUnit) -> str:
    sizes = len({point.size for point in data.points})
    said = _("{testers}; the tolerance is ±{tolerance} about the target.")
    if data.sizes:
        said = ngettext(
            "{testers} in {sizes} of {n} size; the tolerance is ±{tolerance} about the target.",
            "{testers} in {sizes} of {n} sizes; the tolerance is ±{tolerance} about the target.",
            len(data.sizes),
        )
    words = [
        said.format(
            testers=counted(len(data.points)),
            sizes=sizes,
            n=len(data.sizes),
            tolerance=format_length(data.tolerance, units),
        )
    ]
    for pool in data.pooled:
        where = _("Pooled") if pool.size is None else _("Size {size}").format(size=pool.size)
        words.append(
            f"{where}: {format_length(pool.estimate, units, signed=True)}, {_interval(pool, units)}, "
            f"{VERDICT_WORDS.get(pool.verdict, pool.verdict)}."
        )
    return " ".join(words)


def _deviation_table(data: Deviations, units: LengthUnit) -> Table:
    order = {size: rank for rank, size in enumerate(data.sizes)}
    points = sorted(data.points, key=lambda p: (order.get(p.size or "", -1), p.tester))
    return Table(
        _("{title}: each tester, left over after counts and gauge").format(title=data.title),
        (_("Size"), _("Tester"), _("Off the target"), _("Note")),
        tuple(
            (
                own_size(point.size),
                point.tester,
                format_length(point.value, units, signed=True),
                _("set aside, to be asked") if point.asked else "",
            )
            for point in points
        ),
    )


def pooled_table(data: Deviations, units: LengthUnit) -> Table:
    """The pooled figures by size."""
    return Table(
        _("{title}: pooled by size").format(title=data.title),
        (_("Size"), _("Testers"), _("Off the target"), _("95 % interval"), _("Tolerance"), _("Verdict")),
        tuple(
            (
                pool.size or pgettext("all sizes", "all"),
                str(pool.testers),
                format_length(pool.estimate, units, signed=True),
                _interval(pool, units),
                f"±{format_length(data.tolerance, units)}",
                VERDICT_WORDS.get(pool.verdict, pool.verdict),
            )
            for pool in data.pooled
        ),
    )
