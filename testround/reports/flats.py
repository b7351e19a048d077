"""The drawings on a tester's pages: the pieces of their size laid flat, lettered, and what a swatch makes of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from testround.kernel.gauge import SwatchAnswer, SwatchEffect, own_gauges
from testround.kernel.pieces import laid_flat
from testround.kernel.sheet import Inputs
from testround.kernel.units import LengthUnit
from testround.paper.drawing import Drawing, svg
from testround.paper.schematic import compared, lettered, said, scale_of, schematic
from testround.paper.swatch_drawing import swatch_drawing
from testround.reports.forms import FinishedForm, MeasureLine
from testround.reports.selectors import Desk

# Small enough to stand beside what is said of them on a phone.
COMPARED_SIZE = 0.6
# With the first question under it on the first screen of a phone; where there is room it is drawn larger.
MEASURED_SIZE = 0.6


@dataclass(frozen=True, slots=True)
class Flat:
    """One piece with its schematic, and its dimensions in the order of their letters."""

    label: str
    count: int
    drawing: Drawing
    svg: str
    dimensions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Compared:
    """One piece as meant and as it would come out, with a sentence for each dimension, hit hardest first."""

    label: str
    svg: str
    within: bool
    said: tuple[tuple[SwatchEffect, str], ...]

    @property
    def shown(self) -> tuple[tuple[SwatchEffect, str], ...]:
        """What stands beside the drawing: all that is too far off, or the one that is off most."""
        return tuple(one for one in self.said if not one[0].within) or self.said[:1]


def flats_of(desk: Desk, size: float = 1.0) -> list[Flat]:
    """Where every dimension is measured, piece by piece. No lengths: they are not to be peeked at.

    ``size`` is the share of the usual scale at which the pieces are drawn; the letters are as large at any.
    """
    pieces = desk.worksheet.pieces
    letter = lettered(pieces)
    labels = {dimension.key: dimension.label for dimension in desk.pattern.dimensions}
    named = {key: (letter[key], labels[key]) for key in letter}
    scale = size * scale_of(pieces)
    found = []
    for index, piece in enumerate(pieces):
        drawing = schematic(piece, named, scale)
        found.append(
            Flat(
                label=piece.label,
                count=piece.count,
                drawing=drawing,
                svg=svg(drawing, ident=f"piece-{index + 1}"),
                dimensions=tuple(mark.dimension for mark in piece.marks),
            )
        )
    return found


def compared_flats(desk: Desk, answer: SwatchAnswer, units: LengthUnit) -> list[Compared]:
    """The pieces at the gauge of the swatch over the pieces as they should be, the one hit hardest first.

    Empty for a piece made to measure, whose numbers follow the gauge, and where nothing was counted.
    """
    effects = {effect.dimension: effect for effect in answer.rows}
    size = desk.tester.size
    if not (answer.graded and answer.measured and effects and size):
        return []
    stated, numbers = desk.sheet.stated([size]), desk.sheet.printed_or_computed(size)
    own = Inputs(own_gauges(desk.sheet, [desk.tester]).columns(), stated.measures)
    meant, made = laid_flat(desk.sheet, stated, numbers), laid_flat(desk.sheet, own, numbers)
    scale = COMPARED_SIZE * scale_of([*meant, *made])
    found = []
    # The same sheet has the same pieces in the same order, whatever the gauge.
    for index, (first, second) in enumerate(zip(meant, made, strict=True)):
        here = [effects[mark.dimension] for mark in first.marks if mark.dimension in effects]
        if not here:
            continue
        drawing = compared(first, second, effects, scale, units=units)
        here.sort(key=lambda effect: -effect.tolerances)
        found.append(
            Compared(
                label=first.label,
                svg=svg(drawing, ident=f"made-{index + 1}"),
                within=all(effect.within for effect in here),
                said=tuple((effect, said(effect, units)) for effect in here),
            )
        )
    found.sort(key=lambda one: -one.said[0][0].tolerances)
    return found


def swatch_how(desk: Desk, units: LengthUnit) -> str:
    """How a swatch is measured, with the stitches of the pattern's first gauge on it."""
    pattern = desk.pattern
    return svg(swatch_drawing(pattern.gauges[0].stitches, pattern.craft, units=units), ident="swatch-how")


# The page of finished measurements ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LetteredLine:
    line: MeasureLine
    letter: str


@dataclass(frozen=True, slots=True)
class MeasuredPiece:
    """One piece on the page: its drawing and its questions; ``open`` where the tester is to go on."""

    label: str
    svg: str
    known: bool
    lines: tuple[LetteredLine, ...]
    open: bool

    @property
    def done(self) -> int:
        """How many of its dimensions were sent before."""
        return sum(bool(line.line.sent) for line in self.lines)


def measured_pieces(desk: Desk, form: FinishedForm) -> list[MeasuredPiece]:
    """Every question of the form beside the drawing of the piece it is about.

    Open is what was typed in or is to be mended, else the first piece that something is missing of.
    """
    pieces = desk.worksheet.pieces
    letter = lettered(pieces)
    lines = {line.entry.key: line for line in form.lines()}
    found: list[MeasuredPiece] = []
    for piece, flat in zip(pieces, flats_of(desk, MEASURED_SIZE), strict=True):
        here = tuple(LetteredLine(lines[key], letter[key]) for key in flat.dimensions)
        busy = form.is_bound and any(
            one.line.errors or any(field.data for field in one.line.fields) for one in here
        )
        missing = not form.is_bound and not all(one.line.sent for one in here)
        go_on = busy or (missing and not any(before.open for before in found))
        found.append(MeasuredPiece(flat.label, flat.svg, piece.known, here, go_on))
    if found and not any(piece.open for piece in found):
        found[0] = replace(found[0], open=True)
    return found
