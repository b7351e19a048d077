"""The testers' gauges against the stated one, and the region in which the pattern's measurements hold."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import median

from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    decimal,
    format_gauge,
    gauge_over,
    gauge_per_10cm,
    rounded,
)
from testround.kernel.words import gettext as _
from testround.kernel.words import pgettext
from testround.paper.drawing import (
    Circle,
    Drawing,
    Group,
    Line,
    Mark,
    Point,
    Text,
    diamond,
)
from testround.paper.plots.base import (
    PHONE,
    SMALL,
    Plot,
    Scale,
    Sign,
    Table,
    band_look,
    counted,
    legend_of,
    pooled_sign,
    ticks,
)
from testround.paper.plots.region import RegionSide, region_marks, side_letters


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
    """The testers' gauges against the stated one, per 10 cm; pooled ones as (estimate, low, high).

    ``region`` goes round the gauges at which every measurement keeps its tolerance, (stitches, rows) each.
    """

    title: str
    stated_st: float
    stated_row: float
    points: tuple[GaugePoint, ...]
    pooled_st: tuple[float, float, float] | None = None
    pooled_row: tuple[float, float, float] | None = None
    region: tuple[tuple[float, float], ...] = ()
    sides: tuple[RegionSide, ...] = ()


_GAUGE_STEPS = [Fraction(1, 4), Fraction(1, 2), *(Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100))]
_DOT = 4.0
_BUNCH = 4
"""Dots abreast where several testers counted the same."""
_USUAL = 1.5
"""A swatch is as sure as usual when its uncertainty is within this factor of the middle one."""


def gauge_plot(
    data: Gauges, *, units: LengthUnit = "cm", width: float = PHONE, ident: str = "gauges"
) -> Plot:
    """Stitches across and rows up, over 10 cm or 4 inches: the stated gauge, the region and every tester's swatches.

    The worked and the blocked gauge of one tester are joined. Swatches are counted in quarters, so that several stand
    on one spot: their dots stand side by side there. Most swatches are equally sure, and how sure is drawn once, in
    the corner; a swatch less sure than that carries its own whiskers (two standard uncertainties each way), and
    any other shows them on a page when it is pointed at or opened from the table. A gauge counted one way only
    is a stroke on its own axis.
    """
    over: GaugeSpan = "4in" if units == "in" else "10cm"
    span = "4 in" if over == "4in" else "10 cm"
    left, right, tall = 40.0, width - 20, min(width * 0.9, 420.0)
    usual = _usual(data.points)
    legend, top = legend_of(_signs(data, over, usual), width)
    # The axis's own words stand apart from the legend's.
    top += 32
    bottom = top + tall
    sides = [(side.st, side.row) for side in data.sides]
    across = _gauge_scale(
        data.stated_st, [p.st for p in data.points], data.pooled_st, [st for st, _ in sides], left, right
    )
    up = _gauge_scale(
        data.stated_row, [p.row for p in data.points], data.pooled_row, [row for _, row in sides], bottom, top
    )

    marks: list[Mark] = [*legend]
    fill, edges = region_marks(data.region, across, up)
    marks += fill
    for value, label in _gauge_ticks(across, over, 40):
        x = across(value)
        marks += [Line((x, top), (x, bottom), "grid"), Text(x, bottom + 16, label, SMALL, "middle")]
    for value, label in _gauge_ticks(up, over, 32):
        y = up(value)
        marks += [Line((left, y), (right, y), "grid"), Text(left - 6, y + 4, label, SMALL, "end")]
    marks += [
        *edges,
        Line((left, bottom), (right, bottom), "axis"),
        Line((left, top), (left, bottom), "axis"),
        Text(
            (left + right) / 2,
            bottom + 34,
            _("stitches over {span}").format(span=span),
            SMALL,
            "middle",
            "muted",
        ),
        Text(4, top - 7, _("rows over {span}").format(span=span), SMALL, look="muted"),
        Line((across(data.stated_st), top), (across(data.stated_st), bottom), "target"),
        Line((left, up(data.stated_row)), (right, up(data.stated_row)), "target"),
        *_usual_marks(usual, across, up),
    ]
    places = _places(data.points, across, up)
    at = {(point.tester, point.state): place for point, place in zip(data.points, places, strict=True)}
    for (tester, state), start in at.items():
        end = at.get((tester, "blocked"))
        if state == "worked" and start and end:
            marks.append(Line(start, end, "join"))
    points = zip(data.points, places, strict=True)
    drawn = [
        (point.state, _gauge_mark(point, place, (across, up), usual, over, f"{k}"))
        for k, (point, place) in enumerate(points)
    ]
    # What counts lies on top.
    marks += [mark for state, mark in drawn if state != "blocked"] + [m for s, m in drawn if s == "blocked"]
    if data.pooled_st or data.pooled_row:
        marks.append(_pooled_gauge_mark(data, across, up, over))
    marks += side_letters(data.sides, across, up)
    return Plot(
        Drawing(
            width,
            bottom + 42,
            _("{title}: testers' gauges against the stated one").format(title=data.title),
            _gauge_words(data, over),
            tuple(marks),
        ),
        _gauge_table(data, over, span),
        _pooled_gauge_table(data, over),
        ident,
        tuple(side.words for side in data.sides),
    )


def _signs(data: Gauges, over: GaugeSpan, usual: tuple[float | None, float | None]) -> list[Sign]:
    cross = (Line((-8, 0), (8, 0), "target"), Line((0, -8), (0, 8), "target"))
    states = {point.state for point in data.points}
    signs = [
        Sign((Circle((0, 0), _DOT, "solid"),), 9, _state("blocked")),
        *([Sign((Circle((0, 0), _DOT, "hollow"),), 9, _("as worked"))] if "worked" in states else []),
        Sign(cross, 16, _("stated {gauge}").format(gauge=_pair(data.stated_st, data.stated_row, over))),
    ]
    if data.pooled_st or data.pooled_row:
        signs.append(pooled_sign())
    if data.region:
        signs.append(Sign(band_look(22, 12), 22, _("all within tolerance")))
    if any(usual):
        ends = (Line((-9, -4), (-9, 4), "whisker"), Line((9, -4), (9, 4), "whisker"))
        signs.append(Sign((Line((-9, 0), (9, 0), "whisker"), *ends), 18, _("usual spread of one swatch")))
    return signs


# Swatches -------------------------------------------------------------------------------------------------


def _usual(points: Sequence[GaugePoint]) -> tuple[float | None, float | None]:
    """The middle uncertainty of the swatches, stitches and rows."""
    st = [point.u_st for point in points if point.u_st is not None]
    row = [point.u_row for point in points if point.u_row is not None]
    return (median(st) if st else None, median(row) if row else None)


def _usual_marks(usual: tuple[float | None, float | None], across: Scale, up: Scale) -> list[Mark]:
    """How sure a swatch usually is, two standard uncertainties each way, along the two edges of a corner."""
    marks: list[Mark] = []
    x, y = across.end - 6, up.start - 8
    u_st, u_row = usual
    if u_st is not None:
        long = min(across(across.low + 4 * u_st) - across.start, 0.8 * (across.end - across.start))
        start, end = (x - 8 - long, y), (x - 8, y)
        marks += [
            Line(start, end, "whisker"),
            *(Line((p[0], y - 4), (p[0], y + 4), "whisker") for p in (start, end)),
        ]
    if u_row is not None:
        long = min(up.start - up(up.low + 4 * u_row), 0.8 * (up.start - up.end))
        start, end = (x, y - 8), (x, y - 8 - long)
        marks += [
            Line(start, end, "whisker"),
            *(Line((x - 4, p[1]), (x + 4, p[1]), "whisker") for p in (start, end)),
        ]
    if not marks:
        return []
    if u_row is None:
        said = _("How sure a swatch usually is, in stitches")
    elif u_st is None:
        said = _("How sure a swatch usually is, in rows")
    else:
        said = _("How sure a swatch usually is, in stitches and rows")
    return [Group(tuple(marks), said, "usual")]


def _places(points: Sequence[GaugePoint], across: Scale, up: Scale) -> list[Point | None]:
    """Where each dot stands; those that fall on one spot stand side by side about it, in the order given."""
    spots: dict[tuple[int, int], list[int]] = defaultdict(list)
    found: list[Point | None] = []
    for k, point in enumerate(points):
        if point.st is None or point.row is None:
            found.append(None)
            continue
        place = (across(point.st), up(point.row))
        found.append(place)
        spots[round(place[0]), round(place[1])].append(k)
    step = 2 * _DOT + 1
    for several in spots.values():
        lines = math.ceil(len(several) / _BUNCH)
        for n, k in enumerate(several):
            line, column = divmod(n, _BUNCH)
            abreast = min(len(several) - line * _BUNCH, _BUNCH)
            spot = found[k]
            if spot is not None:
                found[k] = (
                    spot[0] + (column - (abreast - 1) / 2) * step,
                    spot[1] + (line - (lines - 1) / 2) * step,
                )
    return found


def _gauge_mark(
    point: GaugePoint,
    place: Point | None,
    scales: tuple[Scale, Scale],
    usual: tuple[float | None, float | None],
    over: GaugeSpan,
    ident: str,
) -> Group:
    across, up = scales
    label = _("{name}, {state}: {gauge}").format(
        name=point.tester, state=_state(point.state), gauge=_pair(point.st, point.row, over)
    )
    if place is None:
        marks: list[Mark] = []
        if point.st is not None:
            x = across(point.st)
            marks.append(Line((x, up.start), (x, up.start - 10), "interval"))
        elif point.row is not None:
            y = up(point.row)
            marks.append(Line((across.start, y), (across.start + 10, y), "interval"))
        return Group(tuple(marks), label, "point", ident)
    x, y = place
    marks = []
    for value, u, middle, scale in (
        (point.st, point.u_st, usual[0], across),
        (point.row, point.u_row, usual[1], up),
    ):
        if value is None or u is None:
            continue
        ends = [scale.clipped(value + side * 2 * u) for side in (-1, 1)]
        line = ((ends[0], y), (ends[1], y)) if scale is across else ((x, ends[0]), (x, ends[1]))
        marks.append(Line(*line, "whisker" if middle and u > _USUAL * middle else "pointed"))
    marks.append(Circle((x, y), _DOT, "solid" if point.state == "blocked" else "hollow"))
    middle_of = (across.start + across.end) / 2
    anchor, aside = ("start", 8) if x < middle_of else ("end", -8)
    marks.append(Text(x + aside, y - 7, point.tester, SMALL, anchor, "pointed-name"))
    return Group(tuple(marks), label, "point", ident)


# Words and figures ----------------------------------------------------------------------------------------


def _state(state: str) -> str:
    """How a swatch was when it was counted."""
    words = {
        "worked": pgettext("state of a swatch", "worked"),
        "blocked": pgettext("state of a swatch", "blocked"),
    }
    return words.get(state, state)


def _gauge_table(data: Gauges, over: GaugeSpan, span: str) -> Table:
    return Table(
        _("{title}: gauges over {span}").format(title=data.title, span=span),
        (_("Tester"), pgettext("of a swatch", "State"), _("Stitches"), _("Rows")),
        (
            (
                pgettext("of a gauge", "stated"),
                "",
                format_gauge(data.stated_st, over),
                format_gauge(data.stated_row, over),
            ),
            *(
                (
                    point.tester,
                    _state(point.state),
                    _with_error(point.st, point.u_st, over),
                    _with_error(point.row, point.u_row, over),
                )
                for point in data.points
            ),
        ),
    )


def _pair(st: float | None, row: float | None, over: GaugeSpan) -> str:
    return f"{_gauge(st, over)} × {_gauge(row, over)}"


def _gauge(value: float | None, over: GaugeSpan) -> str:
    return "?" if value is None else format_gauge(value, over)


def _with_error(value: float | None, error: float | None, over: GaugeSpan) -> str:
    """A gauge with two standard uncertainties, to a tenth, as in "22 1/4 ± 0.6"."""
    if value is None:
        return _("not counted")
    if error is None:
        return format_gauge(value, over)
    return f"{format_gauge(value, over)} ± {gauge_to_a_tenth(2 * error, over)}"


def _gauge_scale(
    stated: float,
    readings: Sequence[float | None],
    pooled: tuple[float, float, float] | None,
    sides: Sequence[float],
    start: float,
    end: float,
) -> Scale:
    """Holds the stated gauge, every reading, and the sides of the region that are not far from them."""
    values = [stated, *(value for value in readings if value is not None), *(pooled or ())]
    low, high = min(values), max(values)
    room = max(high - low, 0.06 * stated)
    near = [side for side in sides if low - 0.6 * room <= side <= high + 0.6 * room]
    low, high = min([low, *near]), max([high, *near])
    air = 0.12 * max(high - low, room)
    return Scale(low - air, high + air, start, end)


def _gauge_ticks(scale: Scale, over: GaugeSpan, apart: float) -> list[tuple[float, str]]:
    most = int(abs(scale.end - scale.start) // apart) + 1
    found = ticks(gauge_over(scale.low, over), gauge_over(scale.high, over), _GAUGE_STEPS, most)
    return [
        (gauge_per_10cm(float(tick), over), format_gauge(gauge_per_10cm(float(tick), over), over))
        for tick in found
    ]


def _pooled_gauge_mark(data: Gauges, across: Scale, up: Scale, over: GaugeSpan) -> Group:
    st, row = data.pooled_st, data.pooled_row
    x = across.clipped(st[0] if st else data.stated_st)
    y = up.clipped(row[0] if row else data.stated_row)
    marks: list[Mark] = []
    if st:
        marks.append(Line((across.clipped(st[1]), y), (across.clipped(st[2]), y), "interval"))
    if row:
        marks.append(Line((x, up.clipped(row[1])), (x, up.clipped(row[2])), "interval"))
    # Hollow: it lies on the dots, and hides none.
    marks.append(diamond((x, y), 8, "consensus"))
    said = [gauge_to_a_tenth(pooled[0], over) if pooled else "?" for pooled in (st, row)]
    return Group(tuple(marks), _("Pooled: {gauge}").format(gauge=" × ".join(said)), "pooled")


def gauge_to_a_tenth(per_10cm: float, over: GaugeSpan) -> str:
    """A pooled gauge, or a difference of gauges: known better than the quarter that a swatch is counted to."""
    tenths = rounded(gauge_over(per_10cm, over), Fraction(1, 10))
    return f"{'−' if tenths < 0 else ''}{decimal(float(abs(tenths)), '.1f')}"


def _gauge_words(data: Gauges, over: GaugeSpan) -> str:
    testers = len({point.tester for point in data.points})
    span = "4 in" if over == "4in" else "10 cm"
    words = [
        _("{testers}; the stated gauge is {st} stitches and {row} rows over {span}.").format(
            testers=counted(testers),
            st=format_gauge(data.stated_st, over),
            row=format_gauge(data.stated_row, over),
            span=span,
        )
    ]
    for said, pooled in (
        (_("Pooled stitches: {value}, {low} to {high}."), data.pooled_st),
        (_("Pooled rows: {value}, {low} to {high}."), data.pooled_row),
    ):
        if pooled:
            value, low, high = (gauge_to_a_tenth(part, over) for part in pooled)
            words.append(said.format(value=value, low=low, high=high))
    return " ".join(words)


def _pooled_gauge_table(data: Gauges, over: GaugeSpan) -> Table | None:
    rows = tuple(
        (name, format_gauge(stated, over), *(gauge_to_a_tenth(part, over) for part in pooled))
        for name, stated, pooled in (
            (_("stitches"), data.stated_st, data.pooled_st),
            (_("rows"), data.stated_row, data.pooled_row),
        )
        if pooled
    )
    if not rows:
        return None
    span = "4 in" if over == "4in" else "10 cm"
    return Table(
        _("{title}: pooled gauge over {span}").format(title=data.title, span=span),
        ("", _("Stated"), _("Pooled"), pgettext("a range", "From"), pgettext("a range", "To")),
        rows,
    )
