"""How a swatch is measured, in one drawing: as it comes off, and washed and laid flat with a ruler over its middle."""

from __future__ import annotations

from collections.abc import Iterator

from testround.kernel.round import Craft
from testround.kernel.units import LengthUnit, format_gauge
from testround.kernel.words import gettext as _
from testround.paper.drawing import Circle, Drawing, Line, Mark, Polygon, Rect, Text, hatched

_WIDTH, _HEIGHT = 320.0, 232.0
# The swatch when it is flat, and how much of each side is left out.
_LEFT, _TOP, _SIDE, _EDGE = 112.0, 8.0, 200.0, 22.0
_RULER_TOP, _RULER = 112.0, 26.0
_MOST_STITCHES = 60
# Corner, three points along the side to the next corner, and so on around.
_CURLED = (
    *((12.0, 24.0), (30.0, 31.0), (46.0, 33.0), (62.0, 31.0)),
    *((80.0, 24.0), (74.0, 44.0), (72.0, 62.0), (74.0, 80.0)),
    *((80.0, 104.0), (62.0, 97.0), (46.0, 95.0), (30.0, 97.0)),
    *((12.0, 104.0), (18.0, 80.0), (20.0, 62.0), (18.0, 44.0)),
)


def swatch_drawing(stitches: float, craft: Craft, *, units: LengthUnit = "cm") -> Drawing:
    """The swatch of a gauge.

    Parameters
    ----------
    stitches : float
        What the pattern means, per 10 cm; as many are drawn over the span of the ruler.
    craft : Craft
    units : {"cm", "in"}
        The ruler's: over 10 cm or over 4 in.
    """
    over, span = ("4in", "4 in") if units == "in" else ("10cm", "10 cm")
    said = format_gauge(stitches, over)  # type: ignore[arg-type]
    begin, end = _LEFT + 1.8 * _EDGE, _LEFT + _SIDE - 1.8 * _EDGE
    knit = craft is Craft.KNIT
    first = _("First the swatch off the needles, its edges curling.")
    if not knit:
        first = _("First the swatch off the hook, its edges curling.")
    marks: list[Mark] = [
        *_as_worked(),
        Text(46, 128, _("1. worked"), 12, "middle"),
        *_flat(),
        *_stitches(begin, end, stitches if units == "cm" else stitches * 1.016),
        *_ruler(begin, end, units),
        Text(
            (begin + end) / 2,
            _RULER_TOP - 36,
            _("{count} stitches").format(count=said),
            12,
            "middle",
            "strong",
        ),
        Text((begin + end) / 2, _RULER_TOP + 17, span, 12, "middle", "strong"),
        Text((begin + end) / 2, _RULER_TOP + 46, _("edges left out"), 12, "middle"),
        Text(_LEFT + _SIDE / 2, _TOP + _SIDE + 18, _("2. washed, dried, laid flat"), 12, "middle"),
    ]
    then = _(
        "Then the same swatch washed, dried and pinned flat without stretching: a ruler lies over its middle, and "
        "the pattern means {count} stitches over {span} of it. The stitches along all four edges are left out. "
        "Rows are counted in the same way with the ruler upright."
    )
    return Drawing(
        _WIDTH,
        _HEIGHT,
        _("How a swatch is measured"),
        f"{first} {then.format(count=said, span=span)}",
        tuple(marks),
    )


def _as_worked() -> Iterator[Mark]:
    """Edges that draw in: a square whose sides are hollow."""
    yield Polygon(_CURLED, "band")
    yield Polygon(_CURLED, "target")
    yield Line((88, 64), (104, 64), "axis")
    yield Polygon(((106, 64), (100, 60), (100, 68)), "solid")


def _flat() -> Iterator[Mark]:
    """The square with its edges hatched, and pins around it."""
    inner = _SIDE - 2 * _EDGE
    yield from hatched(_LEFT, _TOP, _SIDE, _EDGE, step=7)
    yield from hatched(_LEFT, _TOP + _SIDE - _EDGE, _SIDE, _EDGE, step=7)
    yield from hatched(_LEFT, _TOP + _EDGE, _EDGE, inner, step=7)
    yield from hatched(_LEFT + _SIDE - _EDGE, _TOP + _EDGE, _EDGE, inner, step=7)
    yield Rect(_LEFT, _TOP, _SIDE, _SIDE, "target")
    for k in range(5):
        along = k * _SIDE / 4
        for at in (
            (_LEFT + along, _TOP),
            (_LEFT + along, _TOP + _SIDE),
            (_LEFT, _TOP + along),
            (_LEFT + _SIDE, _TOP + along),
        ):
            yield Circle(at, 2.2, "solid")


def _stitches(begin: float, end: float, stitches: float) -> Iterator[Mark]:
    """A row of stitches over the span, each a V; lines down to the ruler where counting begins and ends."""
    count = min(max(round(stitches), 1), _MOST_STITCHES)
    wide = (end - begin) / count
    foot = _RULER_TOP - 10
    for k in range(count):
        x = begin + k * wide
        yield Line((x + 0.12 * wide, foot - 12), (x + wide / 2, foot), "hatch")
        yield Line((x + 0.88 * wide, foot - 12), (x + wide / 2, foot), "hatch")
    for x in (begin, end):
        yield Line((x, foot - 20), (x, _RULER_TOP + _RULER), "target")


def _ruler(begin: float, end: float, units: LengthUnit) -> Iterator[Mark]:
    yield Rect(_LEFT + 8, _RULER_TOP, _SIDE - 16, _RULER, "hollow")
    steps, long = (10, 5) if units == "cm" else (16, 4)
    for k in range(steps + 1):
        x = begin + k * (end - begin) / steps
        yield Line((x, _RULER_TOP), (x, _RULER_TOP + (8 if k % long == 0 else 5)), "axis")
    for x in (begin, end):
        yield Line((x, _RULER_TOP), (x, _RULER_TOP + _RULER), "target")
