"""What the plots of a round share: what comes out, axes, legends, lanes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from testround.kernel.units import LengthUnit, format_length
from testround.kernel.words import gettext as _
from testround.kernel.words import ngettext, pgettext
from testround.paper import fonts
from testround.paper.drawing import Circle, Drawing, Group, Line, Mark, Point, Rect, Text, diamond, paper, svg
from testround.paper.flowables import Figure

PHONE = 328.0
"""The width that a phone of 360 pixels leaves for a plot beside its margins, so that lettering is as large as said."""

LABEL = 12.5
SMALL = 12.0
DOT = 4.5


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
    notes: tuple[str, ...] = ()
    """What the letters in the drawing stand for, in their order."""

    @property
    def svg(self) -> str:
        return svg(self.drawing, ident=self.ident)

    def __html__(self) -> str:
        return self.svg

    def flowable(self, *, scale: float = 1.0) -> Figure:
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
class Scale:
    """A straight line from values to places on the drawing."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def clipped(self, value: float) -> float:
        return self(min(max(value, self.low), self.high))


def _length_ticks(scale: Scale, units: LengthUnit) -> list[tuple[float, str]]:
    """Where the ticks of a length axis (in cm) stand, and what is written there."""
    # "−10" is narrower than "−1 1/2".
    most = int(abs(scale.end - scale.start) // (44 if units == "in" else 34)) + 1
    steps = _INCH_STEPS if units == "in" else _CM_STEPS
    per = 2.54 if units == "in" else 1.0
    found = ticks(scale.low / per, scale.high / per, steps, most)
    return [
        (float(tick) * per, _bare(format_length(float(tick) * per, units, signed=True))) for tick in found
    ]


def _bare(length: str) -> str:
    """Without its unit, which the axis says once."""
    return length.rsplit(" ", 1)[0]


def range_of(values: Iterable[float], tolerance: float) -> tuple[float, float]:
    """A range that holds the tolerance with air around it, and every value up to six tolerances out."""
    wanted = [-1.3 * tolerance, 1.3 * tolerance]
    wanted += [min(max(value, -6 * tolerance), 6 * tolerance) for value in values]
    low, high = min(wanted), max(wanted)
    air = 0.04 * (high - low)
    return low - air, high + air


def who(tester: str, size: str | None) -> str:
    """A tester by what they are called, which may be "Tester 4", and the size they make."""
    if size is None:
        return tester
    return _("{name}, size {size}").format(name=tester, size=size)


def counted(count: int) -> str:
    return ngettext("{n} tester", "{n} testers", count).format(n=count)


def between(low: str, high: str) -> str:
    """A range from one figure to another."""
    return pgettext("a range", "{low} to {high}").format(low=low, high=high)


def row_name(size: str | None) -> str:
    """What a size is called beside its row, or the one row of a piece that has no sizes."""
    return size if size is not None else pgettext("all sizes", "All")


def own_size(size: str | None) -> str:
    """A size in a table of testers, or that the piece is made to measure."""
    return size or pgettext("size of a piece made to measure", "own")


# Legends --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign of a legend, drawn around (0, 0), and what it means."""

    marks: tuple[Mark, ...]
    wide: float
    words: str


def legend_of(signs: Sequence[Sign], width: float) -> tuple[list[Mark], float]:
    """Signs with their meaning, flowing over as many lines as they need; and where the plot can begin."""
    marks: list[Mark] = []
    x, y = 4.0, 12.0
    for sign in signs:
        length = sign.wide + 6 + fonts.width_of(sign.words, SMALL) * 1.15 + 14
        if x > 4 and x + length > width:
            x, y = 4.0, y + 18
        marks += [moved(mark, x + sign.wide / 2, y - 4) for mark in sign.marks]
        marks.append(Text(x + sign.wide + 6, y, sign.words, SMALL, look="muted"))
        x += length
    return marks, y + 8


def moved(mark: Mark, dx: float, dy: float) -> Mark:
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
        return Group(tuple(moved(part, dx, dy) for part in mark.marks), mark.label, mark.kind, mark.ident)
    return type(mark)(tuple(at(point) for point in mark.points), mark.look)


def pooled_sign() -> Sign:
    marks = (Line((-14, 0), (14, 0), "interval"), diamond((0, 0), 6, "estimate"))
    return Sign(marks, 28, _("all testers together, 95 %"))


def dot_sign(look: str, words: str) -> Sign:
    return Sign((Circle((0, 0), DOT, look),), 10, words)


def band_look(wide: float, tall: float) -> tuple[Mark, ...]:
    """A piece of a band with its two edges, around (0, 0)."""
    x, y = wide / 2, tall / 2
    edges = (Line((-x, -y), (-x, y), "band-edge"), Line((x, -y), (x, y), "band-edge"))
    return (Rect(-x, -y, wide, tall, "band"), *edges)


def band_sign(tolerance: float, units: LengthUnit) -> Sign:
    said = _("tolerance ±{tolerance}").format(tolerance=format_length(tolerance, units))
    return Sign(band_look(22, 12), 22, said)


def band(scale: Scale, tolerance: float, top: float, bottom: float) -> list[Mark]:
    left, right = scale(-tolerance), scale(tolerance)
    return [
        Rect(left, top, right - left, bottom - top, "band"),
        Line((left, top), (left, bottom), "band-edge"),
        Line((right, top), (right, bottom), "band-edge"),
    ]


def length_axis(scale: Scale, top: float, bottom: float, units: LengthUnit, words: str) -> list[Mark]:
    marks: list[Mark] = [Line((scale.start, bottom), (scale.end, bottom), "axis")]
    for value, label in _length_ticks(scale, units):
        x = scale(value)
        marks.append(Line((x, top), (x, bottom), "target" if abs(value) < 1e-9 else "grid"))
        marks.append(Line((x, bottom), (x, bottom + 4), "axis"))
        marks.append(Text(x, bottom + 17, label, SMALL, "middle"))
    marks.append(Text((scale.start + scale.end) / 2, bottom + 34, words, SMALL, "middle", "muted"))
    return marks


def label_column(labels: Iterable[str], width: float) -> float:
    """How wide the column of labels on the left is: what they need, at most three tenths of the plot."""
    needed = max((fonts.width_of(label, LABEL) * 1.15 for label in labels), default=0.0)
    return min(max(needed, 22.0), 0.3 * width)


_MOST_LANES = 14


def lane_of(x: float, lanes: list[float]) -> int:
    """The lane in which a dot at ``x`` touches no other, dots coming from left to right; ``lanes`` holds the last
    place taken in each, and is brought up to date. When all lanes are full, the one that is least so."""
    lane = next((k for k, last in enumerate(lanes) if x - last >= 2 * DOT + 2), len(lanes))
    if lane == len(lanes):
        if lane < _MOST_LANES:
            lanes.append(x)
        else:
            lane = min(range(len(lanes)), key=lanes.__getitem__)
    lanes[lane] = x
    return lane
