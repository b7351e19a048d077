"""The pieces of a garment drawn flat and to scale: where each dimension is taken, and how a gauge changes them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from testround.kernel.gauge import SwatchEffect
from testround.kernel.pieces import Mark as Taken
from testround.kernel.pieces import Piece
from testround.kernel.units import LengthUnit, format_length
from testround.kernel.words import gettext as _
from testround.paper import fonts
from testround.paper.drawing import (
    Circle,
    Drawing,
    Group,
    Leaf,
    Line,
    Mark,
    Point,
    Polygon,
    Polyline,
    Rect,
    Text,
)

# All in pixels of the page, which become points on paper.
_MOST = 190.0
_LEAST = 24.0
_MARGIN = 6.0
_GAP = 23.0
"""From one dimension line to the next, so that their letters keep apart."""
_RADIUS = 9.5
_LETTER = 12.0
_ROOM = 2 * _RADIUS + 14
"""A line shorter than this has its letter at its end."""
_ARROW = 5.0


def letters(count: int) -> list[str]:
    """A to Z, then AA, AB and so on."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return [("" if k < 26 else alphabet[k // 26 - 1]) + alphabet[k % 26] for k in range(count)]


def lettered(pieces: Sequence[Piece]) -> dict[str, str]:
    """A letter for every dimension, piece by piece."""
    keys = [mark.dimension for piece in pieces for mark in piece.marks]
    return dict(zip(keys, letters(len(keys)), strict=True))


def scale_of(pieces: Sequence[Piece]) -> float:
    """Pixels for a centimetre at which the largest of these pieces fits; one scale for all of a garment."""
    most = max((max(piece.width, piece.height) for piece in pieces), default=0.0)
    return _MOST / most if most > 0 else 1.0


def schematic(
    piece: Piece, named: Mapping[str, tuple[str, str]], scale: float, *, said: Mapping[str, str] | None = None
) -> Drawing:
    """One piece with its dimension lines.

    Parameters
    ----------
    piece : Piece
        As ``testround.kernel.pieces.laid_flat`` gives it.
    named : mapping of dimension to (letter, label)
    scale : float
        Pixels for a centimetre; see `scale_of`.
    said : mapping of dimension to str, optional
        What it should be, for those who may read it in the description.

    Returns
    -------
    Drawing
        Each dimension is a group of the kind "dim dim-KEY", with its letter and its label.
    """
    flat = _Flat.of(piece, scale)
    parts: list[Mark] = list(flat.body())
    across = sorted((m for m in piece.marks if m.across), key=lambda m: (-flat.y(m.at), -m.length))
    inside = [mark for mark in across if mark.at is not None]
    beside = sorted((m for m in across if m.at is None), key=lambda m: m.length)
    lines: list[tuple[Taken, float]] = []
    # From the lower edge upwards; one that would meet the line before it gives way.
    free = flat.height
    for mark in inside:
        y = min(flat.y(mark.at) - 1, free - _RADIUS)
        lines.append((mark, y))
        free = y - _GAP + _RADIUS
    top = min([0.0, *(y - _RADIUS for _, y in lines)])
    for mark in reversed(beside):
        top -= _GAP
        lines.append((mark, top + _RADIUS))
    widest = flat.width / 2
    for mark, y in lines:
        group, reach = _across(mark, y, max(mark.length * scale, 1.0), named[mark.dimension])
        parts.append(group)
        widest = max(widest, reach)
    x = widest + _GAP
    for mark in sorted((m for m in piece.marks if not m.across), key=lambda m: (m.length, m.dimension)):
        parts.append(_along(mark, x, flat, named[mark.dimension]))
        x += _GAP
    told = "; ".join(
        _("{letter}, {dimension}: {length}").format(
            letter=named[mark.dimension][0], dimension=named[mark.dimension][1], length=said[mark.dimension]
        )
        if said and mark.dimension in said
        else _("{letter}, {dimension}").format(
            letter=named[mark.dimension][0], dimension=named[mark.dimension][1]
        )
        for mark in piece.marks
    )
    sentences = [
        _("{piece}, to scale.")
        if piece.known
        else _("{piece}, not to scale, as its numbers are not known yet."),
        *([_("Work {count} alike.")] if piece.count > 1 else []),
        _("Where to measure: {dimensions}."),
    ]
    return boxed(
        parts,
        _("{piece}, laid flat").format(piece=piece.label),
        " ".join(
            sentence.format(piece=piece.label, count=piece.count, dimensions=told) for sentence in sentences
        ),
    )


@dataclass(frozen=True, slots=True)
class _Flat:
    """A piece in pixels: x from its middle, y downwards from its top."""

    piece: Piece
    scale: float
    width: float
    height: float

    @classmethod
    def of(cls, piece: Piece, scale: float) -> _Flat:
        width, height = piece.width * scale, piece.height * scale
        # Of one that only a width is known of, no more is claimed than that it has some height.
        return cls(piece, scale, width or 0.6 * height, height or 0.6 * width)

    def y(self, at: float | None) -> float:
        """The height of what is so far from the first edge."""
        down = (at or 0.0) * self.scale
        return down if self.piece.from_top else self.height - down

    def outline(self) -> tuple[Point, ...]:
        if not self.piece.outline:
            half = self.width / 2
            return ((-half, self.height), (half, self.height), (half, 0), (-half, 0))
        right = [(width * self.scale / 2, self.y(at)) for at, width in self.piece.outline]
        return (*right, *((-x, y) for x, y in reversed(right)))

    def body(self) -> Iterator[Mark]:
        outline = self.outline()
        yield Polygon(outline, "band")
        # Dashed where the sheet says how large it is, and not what shape it has.
        yield Polygon(outline, "target" if self.piece.outline else "band-edge")


def _across(mark: Taken, y: float, length: float, named: tuple[str, str]) -> tuple[Group, float]:
    """A level dimension line about the middle, and how far it reaches to the right."""
    half = length / 2
    short = length < _ROOM
    x = half + _RADIUS + 4 if short else 0.0
    line = (Line((-half, y), (half, y), "axis"), *_arrows((-half, y), (half, y)))
    return _group(mark, line, (x, y), named), max(half, x + _RADIUS)


def _along(mark: Taken, x: float, flat: _Flat, named: tuple[str, str]) -> Group:
    """An upright dimension line to the right of the piece, with a thin line to where it begins and ends."""
    begin, end = flat.y(mark.at), flat.y((mark.at or 0.0) + mark.length)
    top, foot = min(begin, end), max(begin, end)
    short = foot - top < _ROOM
    y = foot + _RADIUS + 4 if short else (top + foot) / 2
    guides = tuple(Line((flat.width / 2 + 3, at), (x - 3, at), "grid") for at in (top, foot))
    line = (*guides, Line((x, top), (x, foot), "axis"), *_arrows((x, top), (x, foot)))
    return _group(mark, line, (x, y), named)


def _group(mark: Taken, line: Sequence[Mark], at: Point, named: tuple[str, str]) -> Group:
    letter, label = named
    size = _LETTER if len(letter) == 1 else 10.0
    return Group(
        (
            *line,
            Circle(at, _RADIUS, "hollow"),
            Text(at[0], at[1] + 0.36 * size, letter, size, "middle", "strong"),
        ),
        f"{letter}: {label}",
        f"dim dim-{mark.dimension}",
    )


def _arrows(start: Point, end: Point) -> tuple[Mark, ...]:
    """A head at both ends of a level or upright line, no longer than the line has room for."""
    (x1, y1), (x2, y2) = start, end
    size = min(_ARROW, (abs(x2 - x1) + abs(y2 - y1)) / 2)
    if y1 == y2:
        heads = [
            ((x1, y1), (x1 + size, y1 - 3), (x1 + size, y1 + 3)),
            ((x2, y2), (x2 - size, y2 - 3), (x2 - size, y2 + 3)),
        ]
    else:
        heads = [
            ((x1, y1), (x1 - 3, y1 + size), (x1 + 3, y1 + size)),
            ((x2, y2), (x2 - 3, y2 - size), (x2 + 3, y2 - size)),
        ]
    return tuple(Polygon(head, "solid") for head in heads)


# At the gauge of a swatch ---------------------------------------------------------------------------------


def compared(
    meant: Piece, made: Piece, effects: Mapping[str, SwatchEffect], scale: float, *, units: LengthUnit = "cm"
) -> Drawing:
    """A piece as it should be, drawn full, and as it would come out at another gauge, dashed over it.

    Both lie on the same first edge. Its longest dimension each way is written below with its difference.

    Parameters
    ----------
    meant, made : Piece
        The same piece at the stated and at the tester's own gauge.
    effects : mapping of dimension to SwatchEffect
        What the gauge does to each dimension.
    scale : float
        Pixels for a centimetre; see `scale_of`.
    units : {"cm", "in"}
    """
    first, second = _Flat.of(meant, scale), _Flat.of(made, scale)
    tall = max(first.height, second.height)
    parts: list[Mark] = [
        Polygon(_on_edge(first, tall), "band"),
        Polygon(_on_edge(first, tall), "target"),
        Polygon(_on_edge(second, tall), "band-edge"),
    ]
    told = []
    y = tall + 4
    for across, arrow in ((True, "↔"), (False, "↕")):
        mark = meant.longest(across=across)
        if mark is None or mark.dimension not in effects:
            continue
        effect = effects[mark.dimension]
        told.append(_("{dimension}: {sentence}").format(dimension=effect.label, sentence=said(effect, units)))
        y += 15
        made_cm = format_length(effect.at_own_gauge, units)
        off = format_length(effect.difference, units, signed=True)
        parts.append(Text(0, y, f"{arrow} {made_cm} ({off})", 12, "middle"))
    drawn = _("{piece} to scale, full line as it should be, dashed as it would come out.")
    return boxed(
        parts,
        _("{piece}: as it should be, and at your gauge").format(piece=meant.label),
        " ".join([drawn.format(piece=meant.label), *told]),
    )


def said(effect: SwatchEffect, units: LengthUnit) -> str:
    """What becomes of one dimension, in a sentence that needs no drawing."""
    meant, made = format_length(effect.target, units), format_length(effect.at_own_gauge, units)
    off, limit = format_length(abs(effect.difference), units), format_length(effect.tolerance, units)
    if abs(effect.difference) < 0.05:
        return _("{length}, as it should be.").format(length=made)
    if effect.within:
        sentence = (
            _("{length}, {off} more than {meant}; within the {limit} that are fine.")
            if effect.difference > 0
            else _("{length}, {off} less than {meant}; within the {limit} that are fine.")
        )
    else:
        if off == limit:
            # Both are rounded: what is beyond the limit must not read as if it were the limit.
            off = _("just over {length}").format(length=off)
        sentence = (
            _("{length}, {off} more than {meant}; beyond the {limit} that are fine.")
            if effect.difference > 0
            else _("{length}, {off} less than {meant}; beyond the {limit} that are fine.")
        )
    return sentence.format(length=made, off=off, meant=meant, limit=limit)


def _on_edge(flat: _Flat, tall: float) -> tuple[Point, ...]:
    """Its outline, moved down to a common first edge unless that is the upper one."""
    down = 0.0 if flat.piece.from_top else tall - flat.height
    return tuple((x, y + down) for x, y in flat.outline())


# The box --------------------------------------------------------------------------------------------------


def boxed(parts: Sequence[Mark], title: str, description: str) -> Drawing:
    """A drawing that is as large as what is in it."""
    whole = Drawing(0, 0, title, description, tuple(parts))
    left, top, right, foot = bounds(whole)
    dx, dy = _MARGIN - left, _MARGIN - top
    return Drawing(
        right - left + 2 * _MARGIN,
        foot - top + 2 * _MARGIN,
        title,
        description,
        tuple(moved(part, dx, dy) for part in parts),
    )


def bounds(drawing: Drawing) -> tuple[float, float, float, float]:
    """Left, top, right and foot of all that is drawn."""
    boxes = [_bounds(leaf) for leaf in drawing.leaves()]
    return (
        min(box[0] for box in boxes),
        min(box[1] for box in boxes),
        max(box[2] for box in boxes),
        max(box[3] for box in boxes),
    )


def _bounds(mark: Leaf) -> tuple[float, float, float, float]:
    if isinstance(mark, Circle):
        (x, y), r = mark.centre, mark.radius
        return x - r, y - r, x + r, y + r
    if isinstance(mark, Rect):
        return mark.x, mark.y, mark.x + mark.width, mark.y + mark.height
    if isinstance(mark, Text):
        width = fonts.width_of(mark.words, mark.size, bold=mark.look == "strong")
        left = mark.x - {"start": 0.0, "middle": width / 2, "end": width}[mark.anchor]
        return left, mark.y - 0.8 * mark.size, left + width, mark.y + 0.25 * mark.size
    points = mark.points if isinstance(mark, Polygon | Polyline) else (mark.start, mark.end)
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def moved(mark: Mark, dx: float, dy: float) -> Mark:
    """The same mark elsewhere."""

    def at(point: Point) -> Point:
        return point[0] + dx, point[1] + dy

    match mark:
        case Group():
            return replace(mark, marks=tuple(moved(part, dx, dy) for part in mark.marks))
        case Line():
            return replace(mark, start=at(mark.start), end=at(mark.end))
        case Circle():
            return replace(mark, centre=at(mark.centre))
        case Polygon() | Polyline():
            return replace(mark, points=tuple(at(point) for point in mark.points))
        case Text() | Rect():
            return replace(mark, x=mark.x + dx, y=mark.y + dy)
