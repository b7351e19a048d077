"""The report on paper: its sections set with ReportLab."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Spacer

from testround.kernel.words import gettext as _
from testround.paper.document import (
    BODY,
    CELL_HEAD,
    SMALL,
    STEP,
    SUBTITLE,
    Cover,
    Flowable,
    Heading,
    Paragraph,
    Table,
    build,
    by_size,
    caption,
    figures,
    grid,
    para,
    section,
    words,
)
from testround.paper.plots import Plot
from testround.paper.plots import Table as Figures
from testround.paper.report.blocks import BySize, Check, Grid, Pictures, Report, Section, Text

_SCALE = 0.75
"""Points to a unit of a plot: its lettering is as large as that of the tables."""
_APART = 10.0
_ABOVE_A_PLOT = 45 * mm
"""Heading, verdict and caption."""
_LONGEST_CELL = 1200
"""Signs of what people wrote: in the narrowest column of words still half a page."""
_TALLEST_ROOM = 220 * mm
_LOOKS = {"body": BODY, "small": SMALL, "strong": CELL_HEAD}


def laid_out(report: Report, *, paper: str = "A4") -> bytes:
    """The report as a PDF.

    Raises
    ------
    PaperError
        A paper that is not known.
    """
    cover = Cover(title=report.title, author="Testround", subject=report.subject, running=report.running)

    def story(width: float) -> list[Flowable]:
        outline = _("{pattern}: report of the round").format(pattern=report.heading)
        parts: list[Flowable] = [
            Heading(report.heading, 0, outline=outline),
            para(report.subtitle, SUBTITLE),
        ]
        for one in report.sections:
            parts += _section(one, width)
        return parts

    return build(story, paper=paper, cover=cover)


def _section(one: Section, width: float) -> list[Flowable]:
    body: list[Flowable] = []
    room = one.room
    for block in one.blocks:
        if isinstance(block, Pictures):
            rows = _rows_of(block, width)
            # A plot comes with its heading.
            tallest = max(plot.drawing.height for plot in rows[0] if plot is not None) * _SCALE
            room = max(room, min(tallest + _ABOVE_A_PLOT, _TALLEST_ROOM))
            body += _pictures(block, rows, width)
        else:
            body += _set(block, width)
    return [*section(one.title, one.level, room=room), *body]


def _set(block: Text | Grid | BySize | Check, width: float) -> list[Flowable]:
    match block:
        case Text():
            return [para(block.text, _LOOKS[block.look])]
        case BySize():
            return by_size(block.columns, block.rows, width, head=block.head, caption=block.caption)
        case Check():
            return _check(block, width)
        case Grid():
            return _grid(block, width)


def _grid(block: Grid, width: float) -> list[Flowable]:
    if not block.shares:
        return figures(Figures(block.caption, block.head, block.rows), width)
    widths = [width * share for share in block.shares]
    table = grid(block.head, block.rows, widths, right=block.right, longest=_LONGEST_CELL)
    return [CondPageBreak(22 * mm), caption(block.caption), table] if block.caption else [table]


def _check(block: Check, width: float) -> list[Flowable]:
    parts: list[Flowable] = [
        para(_("Check it by hand"), CELL_HEAD),
        para(block.lead, SMALL),
        *(Paragraph(words(step), STEP, bulletText="–") for step in block.steps),
        para(block.close, SMALL),
    ]
    for inner in block.blocks:
        parts += _set(inner, width)
    return [*parts, Spacer(1, 4)]


def _rows_of(block: Pictures, width: float) -> list[tuple[Plot | None, ...]]:
    """The drawings that stand abreast, row by row; each column may be on several."""
    alone = len(block.pictures) == 1
    each = min(width, block.widest) if alone else (width - _APART) / len(block.pictures)
    columns = [picture.pieces(each / _SCALE) for picture in block.pictures]
    return list(zip_longest(*columns))


def _pictures(block: Pictures, rows: Sequence[tuple[Plot | None, ...]], width: float) -> list[Flowable]:
    parts: list[Flowable] = [para(block.caption, SMALL)] if block.caption else []
    for row in rows:
        drawn = ["" if plot is None else _left(plot) for plot in row]
        parts.append(drawn[0] if len(drawn) == 1 and drawn[0] else _abreast(drawn, (width - _APART) / 2))
    return [*parts, Spacer(1, 4)]


def _left(plot: Plot) -> Flowable:
    drawing = plot.flowable(scale=_SCALE)
    drawing.hAlign = "LEFT"
    return drawing


def _abreast(pair: Sequence[object], half: float) -> Flowable:
    return Table(
        [list(pair)],
        colWidths=[half + _APART, half],
        hAlign="LEFT",
        style=[
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ],
    )
