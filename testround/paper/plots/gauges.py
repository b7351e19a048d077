"""The testers' gauges against the stated one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from testround.kernel.units import GaugeSpan, LengthUnit, format_gauge, gauge_over, gauge_per_10cm, rounded
from testround.paper.drawing import Circle, Drawing, Group, Line, Mark, Point, Text, diamond
from testround.paper.plots.base import (
    DOT,
    PHONE,
    POOLED_SIGN,
    SMALL,
    Plot,
    Scale,
    Sign,
    Table,
    counted,
    dot_sign,
    legend_of,
    ticks,
)


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


_GAUGE_STEPS = [Fraction(1, 4), Fraction(1, 2), *(Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100))]


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
        dot_sign("solid", "blocked"),
        *([dot_sign("hollow", "as worked")] if "worked" in drawn else []),
        Sign(cross, 16, f"stated {_pair(data.stated_st, data.stated_row, over)}"),
    ]
    if data.pooled_st or data.pooled_row:
        signs.append(POOLED_SIGN)
    legend, top = legend_of(signs, width)
    top += 4
    bottom = top + tall
    across = _gauge_scale(data.stated_st, [(p.st, p.u_st) for p in data.points], data.pooled_st, left, right)
    up = _gauge_scale(data.stated_row, [(p.row, p.u_row) for p in data.points], data.pooled_row, bottom, top)

    marks: list[Mark] = [*legend]
    for value, label in _gauge_ticks(across, over, 40):
        x = across(value)
        marks += [Line((x, top), (x, bottom), "grid"), Text(x, bottom + 16, label, SMALL, "middle")]
    for value, label in _gauge_ticks(up, over, 32):
        y = up(value)
        marks += [Line((left, y), (right, y), "grid"), Text(left - 6, y + 4, label, SMALL, "end")]
    marks += [
        Line((left, bottom), (right, bottom), "axis"),
        Line((left, top), (left, bottom), "axis"),
        Text((left + right) / 2, bottom + 34, f"stitches over {span}", SMALL, "middle", "muted"),
        Text(left + 6, top + 12, f"rows over {span}", SMALL, look="muted"),
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
        Text(across(st) + 7, up(row) - 5, f"×{often}", SMALL)
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
) -> Scale:
    """Holds the stated gauge and every reading, none of them at the very edge.

    A whisker reaches at most half the way again, so that one poor swatch does not squeeze the others.
    """
    values = [stated, *(value for value, _ in readings if value is not None), *(pooled[:1] if pooled else ())]
    low, high = min(values), max(values)
    room = max(high - low, 0.06 * stated)
    errors = [2 * error for value, error in readings if value is not None and error is not None]
    air = max(min(max(errors, default=0.0), 0.5 * room), 0.08 * room) + 0.04 * room
    return Scale(low - air, high + air, start, end)


def _gauge_ticks(scale: Scale, over: GaugeSpan, apart: float) -> list[tuple[float, str]]:
    most = int(abs(scale.end - scale.start) // apart) + 1
    found = ticks(gauge_over(scale.low, over), gauge_over(scale.high, over), _GAUGE_STEPS, most)
    return [
        (gauge_per_10cm(float(tick), over), format_gauge(gauge_per_10cm(float(tick), over), over))
        for tick in found
    ]


def _gauge_place(point: GaugePoint, across: Scale, up: Scale) -> Point | None:
    if point.st is None or point.row is None:
        return None
    return (across(point.st), up(point.row))


def _gauge_mark(point: GaugePoint, across: Scale, up: Scale, over: GaugeSpan) -> Group:
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
    marks.append(Circle((x, y), DOT, "solid" if point.state == "blocked" else "hollow"))
    return Group(tuple(marks), label, "point")


def _pooled_gauge_mark(data: Gauges, across: Scale, up: Scale, over: GaugeSpan) -> Group:
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
        f"{counted(testers)}; the stated gauge is {format_gauge(data.stated_st, over)} stitches and "
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
