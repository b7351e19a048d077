"""The region of gauges at which everything keeps its tolerance, cut to the axes of a plot."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from testround.paper.drawing import Group, Mark, Point, Polygon, Polyline, Text, square
from testround.paper.plots.base import SMALL, Scale

_LETTERS = "ABCD"


@dataclass(frozen=True, slots=True)
class RegionSide:
    """A side of the region: where it ends straight from its middle, per 10 cm, and what ends it, in a sentence."""

    st: float
    row: float
    words: str


def region_marks(
    region: Sequence[tuple[float, float]], across: Scale, up: Scale
) -> tuple[list[Mark], list[Mark]]:
    """The region's ground and its edges, as far as they lie within the axes."""
    if not region:
        return [], []
    corners = [(across(st), up(row)) for st, row in region]
    frame = (across.start, up.end, across.end, up.start)
    ground = _clipped(corners, frame)
    fill: list[Mark] = [Polygon(tuple(_simpler(ground)), "band")] if len(ground) > 2 else []
    return fill, [Polyline(tuple(_simpler(line)), "band-edge") for line in _lines_within(corners, frame)]


Frame = tuple[float, float, float, float]
"""Left, top, right and bottom."""


def _clipped(corners: Sequence[Point], frame: Frame) -> list[Point]:
    """A polygon cut to a frame, side by side.

    References
    ----------
    Sutherland, I. E. and Hodgman, G. W. (1974). Reentrant polygon clipping. Communications of the ACM 17(1).
    """
    found = list(corners)
    for axis, bound, sign in ((0, frame[0], 1), (0, frame[2], -1), (1, frame[1], 1), (1, frame[3], -1)):
        cut: list[Point] = []
        for a, b in zip(found[-1:] + found[:-1], found, strict=True):
            a_in, b_in = sign * (a[axis] - bound) >= 0, sign * (b[axis] - bound) >= 0
            if a_in != b_in:
                share = (bound - a[axis]) / (b[axis] - a[axis])
                cut.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
            if b_in:
                cut.append(b)
        found = cut
        if not found:
            break
    return found


def _lines_within(corners: Sequence[Point], frame: Frame) -> list[list[Point]]:
    """The edges of a polygon that lie within a frame, as lines that do not leave it."""
    lines: list[list[Point]] = []
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        kept = _segment_within(a, b, frame)
        if kept is None:
            continue
        if lines and math.dist(lines[-1][-1], kept[0]) < 1e-6:
            lines[-1].append(kept[1])
        else:
            lines.append(list(kept))
    if len(lines) > 1 and math.dist(lines[-1][-1], lines[0][0]) < 1e-6:
        lines[0] = lines.pop() + lines[0][1:]
    return lines


def _segment_within(a: Point, b: Point, frame: Frame) -> tuple[Point, Point] | None:
    low, high = 0.0, 1.0
    for axis, least, most in ((0, frame[0], frame[2]), (1, frame[1], frame[3])):
        step = b[axis] - a[axis]
        if abs(step) < 1e-12:
            if not least <= a[axis] <= most:
                return None
            continue
        ends = sorted(((least - a[axis]) / step, (most - a[axis]) / step))
        low, high = max(low, ends[0]), min(high, ends[1])
    if low >= high:
        return None

    def at(share: float) -> Point:
        return (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))

    return at(low), at(high)


def _simpler(line: Sequence[Point]) -> list[Point]:
    """Without the points that lie on the straight line from the last one kept to the next, to a tenth of a unit."""
    kept = [line[0]]
    for here, after in pairwise(line):
        start = kept[-1]
        long = math.dist(start, after)
        across = abs(
            (after[0] - start[0]) * (start[1] - here[1]) - (start[0] - here[0]) * (after[1] - start[1])
        )
        if long < 1e-9 or across / long > 0.1:
            kept.append(here)
    return [*kept, line[-1]] if len(line) > 1 else kept


def side_letters(sides: Sequence[RegionSide], across: Scale, up: Scale) -> list[Mark]:
    """A letter on every side of the region that is in the picture; the sentences under it explain them."""
    marks: list[Mark] = []
    for letter, side in zip(_LETTERS, sides, strict=False):
        if not (across.low < side.st < across.high and up.low < side.row < up.high):
            continue
        x, y = across(side.st), up(side.row)
        marks.append(
            Group(
                (square((x, y), 8, "hollow"), Text(x, y + 4.5, letter, SMALL, "middle", "strong")),
                f"{letter}. {side.words}",
                "side",
            )
        )
    return marks
