"""A bar for every tester, split in the three parts of a discrepancy."""

from __future__ import annotations

from dataclasses import dataclass

from testround.kernel.units import LengthUnit, format_length
from testround.kernel.words import gettext as _
from testround.paper import fonts
from testround.paper.drawing import Drawing, Group, Line, Mark, Rect, Text, diamond, hatched, triangle
from testround.paper.plots.base import (
    LABEL,
    PHONE,
    SMALL,
    Plot,
    Scale,
    Sign,
    Table,
    band,
    band_sign,
    counted,
    label_column,
    legend_of,
    length_axis,
    own_size,
    range_of,
    who,
)


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


_BAR = 13.0


def parts_bars(data: Parts, *, units: LengthUnit = "cm", width: float = PHONE, ident: str = "parts") -> Plot:
    """A bar for every tester, split in what the counts, the gauge and neither explain.

    Parts that lengthen are laid end to end to the right of the target and parts that shorten to the left; the
    diamond is where the piece came out, their sum.
    """
    names = [bar.tester if bar.size is None else f"{bar.tester} · {bar.size}" for bar in data.bars]
    label_width = label_column(names, width)
    totals = [format_length(bar.total, units, signed=True) for bar in data.bars]
    total_width = max((fonts.width_of(total, SMALL) * 1.15 for total in totals), default=0.0)
    reach = [
        sum(part for part in (bar.counts, bar.gauge, bar.remainder) if part * side > 0)
        for bar in data.bars
        if not bar.asked
        for side in (-1, 1)
    ]
    scale = Scale(*range_of(reach, data.tolerance), start=label_width + 14, end=width - total_width - 16)
    legend, top = legend_of(
        [
            Sign((Rect(-9, -6, 18, 12, "solid"),), 18, _("counts worked")),
            Sign(hatched(-9, -6, 18, 12), 18, _("own gauge")),
            Sign((Rect(-9, -6, 18, 12, "hollow"),), 18, _("remainder")),
            Sign((diamond((0, 0), 5, "estimate"),), 10, _("measured")),
            band_sign(data.tolerance, units),
        ],
        width,
    )
    rows: list[Mark] = []
    y = top
    apart = False
    for bar, total in sorted(zip(data.bars, totals, strict=True), key=lambda pair: pair[0].asked):
        if bar.asked and not apart:
            # Gross errors stand apart from those that count.
            apart = True
            rows.append(Text(4, y + 15, _("to be asked"), SMALL, look="muted"))
            y += 22
        rows.append(_parts_mark(bar, scale, y + 5, units))
        rows.append(Text(label_width + 4, y + 16, _with_size(bar, label_width), LABEL, "end"))
        rows.append(Text(width - 4, y + 16, total, SMALL, "end"))
        y += _BAR + 10
        rows.append(Line((4, y), (width - 4, y), "rule"))
    if not data.bars:
        rows.append(
            Text((scale.start + scale.end) / 2, y + 16, _("nothing measured yet"), SMALL, "middle", "muted")
        )
        y += _BAR + 10
    marks = [
        *legend,
        *band(scale, data.tolerance, top, y),
        *length_axis(scale, top, y, units, _("{unit} off the target").format(unit=units)),
        *rows,
    ]
    return Plot(
        Drawing(
            width,
            y + 42,
            _("{title}: what explains each tester's difference").format(title=data.title),
            _("{testers}; measured minus target is counts worked, own gauge and remainder together.").format(
                testers=counted(len(data.bars))
            ),
            tuple(marks),
        ),
        Table(
            _("{title}: the three parts").format(title=data.title),
            (_("Tester"), _("Size"), _("Measured − target"), _("Counts"), _("Gauge"), _("Remainder")),
            tuple(
                (
                    bar.tester,
                    own_size(bar.size),
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
        return fonts.shortened(bar.tester, width, LABEL)
    size = f" · {fonts.shortened(bar.size, width / 2, LABEL)}"
    return fonts.shortened(bar.tester, width - fonts.width_of(size, LABEL), LABEL) + size


def _parts_mark(bar: PartsBar, scale: Scale, y: float, units: LengthUnit) -> Group:
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
    label = _("{who}: {total}: counts {counts}, gauge {gauge}, remainder {remainder}").format(
        who=who(bar.tester, bar.size), total=total, counts=counts, gauge=gauge, remainder=remainder
    )
    if bar.asked:
        label = _("{said}, set aside, to be asked").format(said=label)
    return Group(tuple(marks), label, "point")
