"""One small drawing, written twice: as SVG for a page and as vector shapes for a PDF.

A drawing is a list of marks in points or pixels, x to the right and y down. Marks name a look, never a
colour: on a page the look is a class, which the style sheet draws in the ink of the page, on paper it is a grey.
So a plot keeps its meaning in print, in a dark theme and without colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

from reportlab.graphics import shapes
from reportlab.lib.colors import Color

from testround.paper import fonts
from testround.paper.flowables import Figure

Point = tuple[float, float]

LETTERING = 12.0
"""How large words are where nothing else is said, in points or pixels."""


@dataclass(frozen=True, slots=True)
class Look:
    """How a mark is drawn: stroke width (None: no stroke), fill ("none", "ink" or "paper"), dashes, strength."""

    stroke: float | None = None
    fill: str = "none"
    dash: tuple[float, ...] = ()
    strength: float = 1.0
    """1 is full ink, 0 is the paper."""
    on_paper: bool = True
    """False for what a page shows only when it is pointed at."""


# Every look is told from the others by shape, fill or stroke, not by colour.
LOOKS: dict[str, Look] = {
    "axis": Look(stroke=1),
    "grid": Look(stroke=0.75, strength=0.2),
    "band": Look(fill="ink", strength=0.1),
    "band-edge": Look(stroke=1, dash=(4, 3), strength=0.65),
    "target": Look(stroke=1.5),
    "rule": Look(stroke=0.75, strength=0.35),
    "solid": Look(stroke=1, fill="ink"),
    "hollow": Look(stroke=1.25, fill="paper"),
    "asked": Look(stroke=1.25, fill="paper", dash=(2, 1.5)),
    "estimate": Look(stroke=1.75, fill="paper"),
    "consensus": Look(stroke=2.25),
    "interval": Look(stroke=2.5),
    "whisker": Look(stroke=1, strength=0.7),
    "join": Look(stroke=1, dash=(2, 2), strength=0.7),
    "pointed": Look(stroke=1.25, on_paper=False),
    "pointed-name": Look(fill="ink", on_paper=False),
    "hatch": Look(stroke=0.9),
    "text": Look(fill="ink"),
    "muted": Look(fill="ink", strength=0.75),
    "strong": Look(fill="ink"),
}


@dataclass(frozen=True, slots=True)
class Line:
    start: Point
    end: Point
    look: str


@dataclass(frozen=True, slots=True)
class Rect:
    x: float
    y: float
    width: float
    height: float
    look: str


@dataclass(frozen=True, slots=True)
class Circle:
    centre: Point
    radius: float
    look: str


@dataclass(frozen=True, slots=True)
class Polygon:
    points: tuple[Point, ...]
    look: str


@dataclass(frozen=True, slots=True)
class Polyline:
    """A line through points; it is not closed, and has no inside."""

    points: tuple[Point, ...]
    look: str


@dataclass(frozen=True, slots=True)
class Text:
    x: float
    y: float
    """The baseline."""
    words: str
    size: float = LETTERING
    anchor: str = "start"
    """"start", "middle" or "end"."""
    look: str = "text"


@dataclass(frozen=True, slots=True)
class Group:
    """Marks that are one thing; ``label`` is what a reader hears or sees when pointing at it.

    With ``ident`` a page can be opened at it: its address in the page is that of the plot, a hyphen and this.
    """

    marks: tuple[Mark, ...]
    label: str = ""
    kind: str = ""
    ident: str = ""


Leaf = Line | Rect | Circle | Polygon | Polyline | Text
Mark = Leaf | Group


@dataclass(frozen=True, slots=True)
class Drawing:
    width: float
    height: float
    title: str
    description: str
    marks: tuple[Mark, ...] = field(repr=False)

    def leaves(self) -> Iterator[Leaf]:
        """Every mark that is drawn, groups opened."""
        return _leaves(self.marks)

    def labels(self) -> list[str]:
        """The labels of its data points, in order."""
        return [group.label for group in _groups(self.marks) if group.label]


def _leaves(marks: Sequence[Mark]) -> Iterator[Leaf]:
    for mark in marks:
        if isinstance(mark, Group):
            yield from _leaves(mark.marks)
        else:
            yield mark


def _groups(marks: Sequence[Mark]) -> Iterator[Group]:
    for mark in marks:
        if isinstance(mark, Group):
            yield mark
            yield from _groups(mark.marks)


# Shapes made of the marks above ---------------------------------------------------------------------------


def diamond(centre: Point, radius: float, look: str) -> Polygon:
    x, y = centre
    return Polygon(((x, y - radius), (x + radius, y), (x, y + radius), (x - radius, y)), look)


def square(centre: Point, radius: float, look: str) -> Polygon:
    x, y = centre
    return Polygon(
        (
            (x - radius, y - radius),
            (x + radius, y - radius),
            (x + radius, y + radius),
            (x - radius, y + radius),
        ),
        look,
    )


def triangle(centre: Point, radius: float, look: str, *, towards: str) -> Polygon:
    """A triangle whose tip points ``towards`` "left", "right" or "up"."""
    x, y = centre
    if towards == "up":
        return Polygon(((x, y - radius), (x + radius, y + radius), (x - radius, y + radius)), look)
    tip = radius if towards == "right" else -radius
    return Polygon(((x + tip, y), (x - tip, y - radius), (x - tip, y + radius)), look)


def hatched(x: float, y: float, width: float, height: float, *, step: float = 5) -> tuple[Mark, ...]:
    """A rectangle filled with slanted lines, each cut at the edges by geometry.

    A fill pattern would need an identifier in the page's SVG and has no counterpart in ReportLab.
    """
    marks: list[Mark] = [Rect(x, y, width, height, "hollow")]
    # Lines u + v = c inside the rectangle, u to the right and v down from its corner.
    c = step
    while c < width + height:
        start = (min(c, width), max(0.0, c - width))
        end = (max(0.0, c - height), min(c, height))
        marks.append(Line((x + start[0], y + start[1]), (x + end[0], y + end[1]), "hatch"))
        c += step
    return tuple(marks)


# SVG ------------------------------------------------------------------------------------------------------


def svg(drawing: Drawing, *, ident: str = "plot") -> str:
    """The drawing as an SVG element to stand in a page.

    No style element and no style attribute, so that it shows under a strict content security policy: each mark
    has the class of its look, which ``static/css/parts.css`` draws as ``LOOKS`` says. The identifiers of its title
    and description begin with ``ident``; give each plot of a page its own.
    """
    name = f"{ident}-title"
    about = f"{ident}-about"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="img" '
        f"aria-labelledby={quoteattr(name)} aria-describedby={quoteattr(about)} "
        f'viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}" '
        f'width="{_n(drawing.width)}" height="{_n(drawing.height)}" font-size="{_n(LETTERING)}">',
        f"<title id={quoteattr(name)}>{_xml(drawing.title)}</title>",
        f"<desc id={quoteattr(about)}>{_xml(drawing.description)}</desc>",
        *_svg_marks(drawing.marks, ident),
        "</svg>",
    ]
    return "".join(parts)


def _n(value: float) -> str:
    """A coordinate to a tenth of a pixel, short, and never "-0"."""
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")


def _xml(text: str) -> str:
    """Text that an XML parser takes: control signs that XML forbids become spaces."""
    return escape("".join(sign if sign >= " " or sign in "\n\t" else " " for sign in text))


def look_css(name: str) -> str:
    """What the style sheet says of a look: declarations that take nothing but the page's ink and its ground."""
    look = LOOKS[name]
    given = [f"fill: {SVG_FILLS[look.fill]};"]
    if look.fill == "ink" and look.strength < 1:
        given.append(f"fill-opacity: {look.strength:g};")
    if look.stroke is not None:
        given += ["stroke: currentcolor;", f"stroke-width: {look.stroke:g};"]
        if look.strength < 1:
            given.append(f"stroke-opacity: {look.strength:g};")
        if look.dash:
            given.append(f"stroke-dasharray: {' '.join(f'{part:g}' for part in look.dash)};")
    return " ".join(given)


# The paper behind a hollow mark is the page's own ground, light or dark.
SVG_FILLS = {"none": "none", "ink": "currentcolor", "paper": "var(--ground)"}


def _svg_marks(marks: Sequence[Mark], ident: str) -> Iterator[str]:
    """Marks in their order; lines of one look that follow each other are one path, which is a third as long."""
    for kind, run in groupby(
        marks, key=lambda mark: (type(mark), mark.look if isinstance(mark, Line) else "")
    ):
        several = list(run)
        if kind[0] is Line and len(several) > 1:
            ways = _ways([(line.start, line.end) for line in several if isinstance(line, Line)])
            yield f'<path d="{ways}" class="plot-{kind[1]}"/>'
        else:
            yield from (_svg_mark(mark, ident) for mark in several)


def _ways(ways: Sequence[Sequence[Point]]) -> str:
    """Ways through points as one path: where the first begins, and how far each point is from the one before.

    So marks of one shape are told alike wherever they stand, and a level or upright line in one number; a plot of
    many packs to half of what it takes otherwise.
    """
    steps = []
    at: tuple[int, int] | None = None
    for way in ways:
        # Tenths as whole numbers, whose differences are exact: nothing adds up along the way.
        for k, (x, y) in enumerate((round(10 * x), round(10 * y)) for x, y in way):
            right, down = (x, y) if at is None else (x - at[0], y - at[1])
            onward = k > 0
            if onward and not down:
                steps.append(f"h{_n(right / 10)}")
            elif onward and not right:
                steps.append(f"v{_n(down / 10)}")
            else:
                kind = "M" if at is None else "l" if onward else "m"
                steps.append(f"{kind}{_n(right / 10)}{'' if down < 0 else ' '}{_n(down / 10)}")
            at = x, y
    return "".join(steps)


def _svg_mark(mark: Mark, ident: str) -> str:
    if isinstance(mark, Group):
        named = f" id={quoteattr(f'{ident}-{mark.ident}')}" if mark.ident else ""
        kind = f' class="plot-{mark.kind}"' if mark.kind else ""
        title = f"<title>{_xml(mark.label)}</title>" if mark.label else ""
        return f"<g{named}{kind}>{title}{''.join(_svg_marks(mark.marks, ident))}</g>"
    look = f'class="plot-{mark.look}"'
    if isinstance(mark, Line):
        (x1, y1), (x2, y2) = mark.start, mark.end
        return f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" {look}/>'
    if isinstance(mark, Rect):
        return (
            f'<rect x="{_n(mark.x)}" y="{_n(mark.y)}" width="{_n(mark.width)}" height="{_n(mark.height)}" '
            f"{look}/>"
        )
    if isinstance(mark, Circle):
        return f'<circle cx="{_n(mark.centre[0])}" cy="{_n(mark.centre[1])}" r="{_n(mark.radius)}" {look}/>'
    if isinstance(mark, Polygon | Polyline):
        return f'<path d="{_ways([mark.points])}{"z" if isinstance(mark, Polygon) else ""}" {look}/>'
    weight = ' font-weight="bold"' if mark.look == "strong" else ""
    anchor = f' text-anchor="{mark.anchor}"' if mark.anchor != "start" else ""
    size = f' font-size="{_n(mark.size)}"' if mark.size != LETTERING else ""
    return f'<text x="{_n(mark.x)}" y="{_n(mark.y)}"{size}{anchor}{weight} {look}>{_xml(mark.words)}</text>'


# Paper ----------------------------------------------------------------------------------------------------

_INK = 0.08


@cache
def _grey(strength: float) -> Color:
    level = 1 - strength * (1 - _INK)
    return Color(level, level, level)


def paper(drawing: Drawing, *, scale: float = 1.0) -> Figure:
    """The drawing as ReportLab shapes, which a document takes as a flowable; vector, with real text.

    Its title and description are what is said in its place.

    ``scale`` is points per unit of the drawing, lettering and strokes included.
    """
    fonts.register()
    said = ". ".join(part.rstrip(".") for part in (drawing.title, drawing.description) if part) + "."
    sheet = Figure(drawing.width * scale, drawing.height * scale, alt=said)
    for mark in drawing.leaves():
        if LOOKS[mark.look].on_paper:
            sheet.add(_shape(mark, drawing.height, scale))
    return sheet


def _shape(mark: Leaf, height: float, scale: float) -> shapes.Shape:
    """One mark as a shape; ReportLab counts y upwards from the foot."""

    def at(point: Point) -> Point:
        return (point[0] * scale, (height - point[1]) * scale)

    look = LOOKS[mark.look]
    if isinstance(mark, Text):
        return shapes.String(
            *at((mark.x, mark.y)),
            fonts.printable(mark.words),
            fontName=fonts.BOLD if mark.look == "strong" else fonts.REGULAR,
            fontSize=mark.size * scale,
            textAnchor=mark.anchor,
            fillColor=_grey(look.strength),
        )
    style = {
        "strokeColor": None if look.stroke is None else _grey(look.strength),
        "strokeWidth": (look.stroke or 0) * scale,
        "strokeDashArray": [dash * scale for dash in look.dash] or None,
    }
    if isinstance(mark, Line):
        return shapes.Line(*at(mark.start), *at(mark.end), **style)
    if isinstance(mark, Polyline):
        return shapes.PolyLine([part for point in mark.points for part in at(point)], **style)
    style["fillColor"] = {"none": None, "ink": _grey(look.strength), "paper": Color(1, 1, 1)}[look.fill]
    if isinstance(mark, Rect):
        return shapes.Rect(
            *at((mark.x, mark.y + mark.height)), mark.width * scale, mark.height * scale, **style
        )
    if isinstance(mark, Circle):
        return shapes.Circle(*at(mark.centre), mark.radius * scale, **style)
    return shapes.Polygon([part for point in mark.points for part in at(point)], **style)
