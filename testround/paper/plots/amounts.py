"""Yarn and hours: what pieces took, what is printed and what to print."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from testround.kernel.units import format_count
from testround.kernel.words import gettext as _
from testround.kernel.words import ngettext, pgettext
from testround.paper import fonts
from testround.paper.drawing import Circle, Drawing, Group, Line, Mark, Rect, Text, diamond, triangle
from testround.paper.plots.base import (
    DOT,
    LABEL,
    PHONE,
    SMALL,
    Plot,
    Scale,
    Sign,
    Table,
    between,
    dot_sign,
    label_column,
    lane_of,
    legend_of,
    own_size,
    row_name,
    ticks,
    who,
)

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
    names = {one.size: row_name(one.size) for one in data.sizes}
    label_width = label_column(names.values(), width)
    wanted = [point.value for point in data.points]
    wanted += [value for one in data.sizes for value in (one.least, one.most)]
    wanted += [one.proposed for one in data.sizes if data.beyond_half]
    # A misprint ten times off would squeeze everything else; it stands at the edge then, as an arrow.
    most = 2 * max(wanted, default=1.0)
    wanted += [one.printed for one in data.sizes if one.printed is not None and one.printed <= most]
    low, high = min(wanted, default=0.0), max(wanted, default=1.0)
    air = 0.04 * max(high - low, 0.05 * high)
    # What is to be printed is written beside its triangle.
    beside = max((_wide(one.proposed) for one in data.sizes), default=0.0) if data.beyond_half else 0.0
    scale = Scale(low - air, high + air, start=label_width + 14, end=width - 14 - beside)

    signs = [dot_sign("solid", _("a maker"))]
    if any(point.rough for point in data.points):
        signs.append(dot_sign("hollow", _("not finished, scaled up")))
    edges = (Line((-11, -6), (-11, 6), "band-edge"), Line((11, -6), (11, 6), "band-edge"))
    signs.append(Sign((Rect(-11, -6, 22, 12, "band"), *edges), 22, _("eight makers in ten")))
    signs.append(Sign((diamond((0, 0), 6, "estimate"),), 12, _("half of makers")))
    if any(one.printed is not None for one in data.sizes):
        signs.append(Sign((Line((0, -7), (0, 7), "interval"),), 6, pgettext("an amount", "printed")))
    if data.beyond_half:
        signs.append(
            Sign((triangle((0, 0), 6, "hollow", towards="left"),), 10, pgettext("an amount", "to print"))
        )
    legend, top = legend_of(signs, width)
    top += 18

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
            lane = lane_of(x, lanes)
            words = f"{who(point.tester, point.size)}: {point.value:.0f} {data.unit}"
            if point.rough:
                words = _("{said}, scaled up from a piece not finished").format(said=words)
            sign = Circle((x, y + 7 + 11 * lane), DOT, "hollow" if point.rough else "solid")
            rows.append(Group((sign,), words, "point"))
        y += 14 + 11 * max(len(lanes) - 1, 0) + 6 if lanes else 6
        label = fonts.shortened(names[one.size], label_width, LABEL)
        rows.append(Text(label_width + 4, (begin + y) / 2 + 4, label, LABEL, "end"))
        rows.append(Line((4, y), (width - 14, y), "rule"))
    marks: list[Mark] = [*legend, *_amount_axis(scale, top, y, data.unit), *rows]
    makers = len(data.points)
    caption = _("{title}, in {unit}")
    if any(one.proposed_balls is not None for one in data.sizes):
        caption = _("{title}, in {unit} (and balls)")
    return Plot(
        Drawing(
            width,
            y + 42,
            _("{title}: what it took, what is printed and what to print").format(title=data.title),
            ngettext("{n} maker, in {unit}.", "{n} makers, in {unit}.", makers).format(
                n=makers, unit=data.unit
            ),
            tuple(marks),
        ),
        Table(
            _("{title}: every maker, in {unit}").format(title=data.title, unit=data.unit),
            (_("Tester"), _("Size"), _("Took"), ""),
            tuple(
                (p.tester, own_size(p.size), f"{p.value:.0f}", _("scaled up") if p.rough else "")
                for p in data.points
            ),
        ),
        Table(
            caption.format(title=data.title, unit=data.unit),
            (_("Size"), _("Printed"), _("To print"), _("Half take"), _("Eight in ten")),
            tuple(
                (
                    names[one.size],
                    _amount(one.printed, one.printed_balls),
                    _amount(one.proposed, one.proposed_balls),
                    f"{one.typical:.0f}",
                    between(f"{one.least:.0f}", f"{one.most:.0f}"),
                )
                for one in data.sizes
            ),
        ),
        ident,
    )


def _amount(value: float | None, balls: int | None) -> str:
    """ "1125 (5)": the figure and its whole balls."""
    if value is None:
        return pgettext("is printed", "nothing")
    return format_count(value) + ("" if balls is None else f" ({balls})")


def _amount_in_words(value: float, balls: int | None, unit: str) -> str:
    said = f"{format_count(value)} {unit}"
    if balls is None:
        return said
    return ngettext("{amount}, {n} ball", "{amount}, {n} balls", balls).format(amount=said, n=balls)


def _amount_of_size(one: AmountOfSize, scale: Scale, y: float, data: Amounts) -> Group:
    unit = data.unit
    left, right = scale.clipped(one.least), scale.clipped(one.most)
    marks: list[Mark] = [
        Rect(left, y - 6, right - left, 12, "band"),
        Line((left, y - 6), (left, y + 6), "band-edge"),
        Line((right, y - 6), (right, y + 6), "band-edge"),
        diamond((scale.clipped(one.typical), y), 5, "estimate"),
    ]
    if data.beyond_half:
        x = scale.clipped(one.proposed)
        marks.append(triangle((x, y), 5, "hollow", towards="left"))
        marks.append(Text(x + 8, y + 4, format_count(one.proposed), SMALL))
    if one.printed is not None:
        x = scale.clipped(one.printed)
        if one.printed > scale.high:
            marks.append(triangle((x, y), 5, "solid", towards="right"))
        else:
            marks.append(Line((x, y - 8), (x, y + 8), "interval"))
    printed = ""
    # Translators: {where} is as in "Size M"; {typical}, {printed} and {proposed} are amounts with their unit.
    words = _("{where}: half of makers {typical}, eight in ten {range}, to print {proposed}")
    if one.printed is not None:
        printed = _amount_in_words(one.printed, one.printed_balls, unit)
        words = _(
            "{where}: half of makers {typical}, eight in ten {range}, printed {printed}, to print {proposed}"
        )
    said = words.format(
        where=row_name(None) if one.size is None else _("Size {size}").format(size=one.size),
        typical=f"{one.typical:.0f} {unit}",
        range=between(f"{one.least:.0f}", f"{one.most:.0f}"),
        printed=printed,
        proposed=_amount_in_words(one.proposed, one.proposed_balls, unit),
    )
    return Group(tuple(marks), said, "pooled")


def _wide(value: float) -> float:
    """How much room a number beside its triangle takes."""
    return 8 + fonts.width_of(format_count(value), SMALL) * 1.15


def _amount_axis(scale: Scale, top: float, bottom: float, unit: str) -> list[Mark]:
    marks: list[Mark] = [Line((scale.start, bottom), (scale.end, bottom), "axis")]
    for tick in ticks(scale.low, scale.high, _AMOUNT_STEPS, int((scale.end - scale.start) // 44) + 1):
        x = scale(float(tick))
        marks.append(Line((x, top), (x, bottom), "grid"))
        marks.append(Line((x, bottom), (x, bottom + 4), "axis"))
        marks.append(Text(x, bottom + 17, f"{tick}", SMALL, "middle"))
        marks.append(Text(x, top - 5, f"{tick}", SMALL, "middle"))
    marks.append(Text((scale.start + scale.end) / 2, bottom + 34, unit, SMALL, "middle", "muted"))
    return marks
