"""What every PDF of the program has in common: paper, typeface, running lines, bookmarks, tables.

Documents are tagged (see `testround.paper.tagging`): they are made of the flowables that are named here. The same input
gives the same bytes: ReportLab's invariant mode leaves out the clock.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal
from xml.sax.saxutils import escape

from reportlab import rl_config
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.lib.colors import Color, black
from reportlab.lib.enums import TA_CENTER, TA_LEFT, TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch, mm
from reportlab.platypus import BaseDocTemplate, CondPageBreak, Flowable, Frame, KeepTogether, PageTemplate

from testround.kernel.words import either, pgettext
from testround.kernel.words import gettext as _
from testround.paper import fonts
from testround.paper.flowables import Caption, Figure, Link, Paragraph, Table
from testround.paper.flowables import Heading as _Heading
from testround.paper.plots import Table as Figures
from testround.paper.tagging import Canvas

Paper = Literal["A4", "Letter"]

# ISO 216 A4 is 210 × 297 mm; US Letter, ANSI/ASME Y14.1, is 8.5 × 11 in.
PAPERS: dict[str, tuple[float, float]] = {"A4": (210 * mm, 297 * mm), "Letter": (8.5 * inch, 11 * inch)}

MARGIN = 17 * mm
_HAIRLINE = Color(0.6, 0.6, 0.6)
_MUTED = Color(0.3, 0.3, 0.3)
_SHADE = Color(0.94, 0.94, 0.94)

# A text longer than this is cut with an ellipsis: no line of a sheet is nearly so long.
LONGEST_TEXT = 6000
LONGEST_CELL = 300


class PaperError(ValueError):
    """A document that cannot be made as asked; the message names what to give instead."""


def page_size(paper: str) -> tuple[float, float]:
    """Width and height in points.

    Raises
    ------
    PaperError
        A paper that is not in `PAPERS`.
    """
    if paper not in PAPERS:
        said = _("paper: “{paper}” is not known; choose {papers}.")
        raise PaperError(said.format(paper=paper, papers=either(PAPERS)))
    return PAPERS[paper]


def _style(name: str, size: float, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        name,
        **{
            "fontName": fonts.REGULAR,
            "bulletFontName": fonts.REGULAR,
            "fontSize": size,
            "leading": size * 1.32,
            "textColor": black,
            "splitLongWords": 1,
            **more,
        },
    )


fonts.register()
# Streams are written as they are: in letters (ASCII85) they would be a quarter longer, and no mail needs that today.
rl_config.useA85 = 0

BODY = _style("body", 9.5, spaceAfter=4)
BODY_STRONG = _style("body-strong", 9.5, fontName=fonts.BOLD, spaceAfter=4)
SMALL = _style("small", 8, textColor=_MUTED, spaceAfter=3)
STEP = _style("step", 8, leftIndent=14, bulletIndent=2, bulletFontSize=8, spaceAfter=1)
TITLE = _style("title", 20, fontName=fonts.BOLD, spaceAfter=2)
SUBTITLE = _style("subtitle", 11, textColor=_MUTED, spaceAfter=8)
HEADING = _style("heading", 13, fontName=fonts.BOLD, spaceBefore=12, spaceAfter=5)
SUBHEADING = _style("subheading", 10.5, fontName=fonts.BOLD, spaceBefore=8, spaceAfter=3)
CELL = _style("cell", 8.5)
CELL_RIGHT = _style("cell-right", 8.5, alignment=TA_RIGHT)
CELL_HEAD = _style("cell-head", 8, fontName=fonts.BOLD)
CELL_HEAD_RIGHT = _style("cell-head-right", 8, fontName=fonts.BOLD, alignment=TA_RIGHT)
CELL_STRONG = _style("cell-strong", 10, fontName=fonts.BOLD, alignment=TA_RIGHT)
CELL_SMALL = _style("cell-small", 7.5, textColor=_MUTED)
CELL_NARROW = _style("cell-narrow", 7.5, alignment=TA_CENTER)
CELL_NARROW_HEAD = _style("cell-narrow-head", 7.5, fontName=fonts.BOLD, alignment=TA_CENTER)


def words(text: str) -> str:
    """Text that people typed, safe inside a paragraph's markup and in signs that the typeface has."""
    if len(text) > LONGEST_TEXT:
        text = text[: LONGEST_TEXT - 1] + "…"
    return escape(fonts.printable(text))


def capital(text: str) -> str:
    """A word that begins a line; what follows its first letter stays as its language writes it."""
    return text[:1].upper() + text[1:]


def cut(text: str, longest: int = LONGEST_CELL) -> str:
    """A text that fits a cell: a row cannot be taller than a page."""
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


def para(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph of plain text; nothing in it is read as markup."""
    return Paragraph(words(text), style)


def caption(text: str) -> Caption:
    """What the table that comes next is about."""
    return Caption(words(text), SMALL)


def paragraphs(text: str, style: ParagraphStyle = BODY) -> list[Flowable]:
    """Plain text with its own line breaks, each line a paragraph."""
    return [para(line, style) for line in text.splitlines() if line.strip()]


def link(url: str, told: str, style: ParagraphStyle = BODY, *, shown: str = "") -> Link:
    """An address in letters that leads to it where it is shown on a screen.

    ``told`` says what is there; ``shown`` is what is printed, where that is shorter than the address.
    """
    return Link(words(shown or url), style, url=url, told=fonts.printable(told))


class Heading(_Heading):
    """A heading that also becomes a bookmark of the document's outline."""

    def __init__(
        self, text: str | None, level: Any = 0, *, outline: str | None = None, **options: Any
    ) -> None:
        if text is None:
            # A part of one that a page break cuts: ReportLab hands over its style and what it is made of.
            super().__init__(None, level, **options)
        else:
            look = (TITLE, HEADING, SUBHEADING)[level]
            super().__init__(words(text), look, level=level, outline=fonts.printable(outline or text))


def section(text: str, level: int = 1, *, room: float = 30 * mm) -> list[Flowable]:
    """A heading that does not stand alone at the foot of a page: ``room`` is what it wants beneath it."""
    return [CondPageBreak(room), Heading(text, level)]


# Tables ---------------------------------------------------------------------------------------------------

_BESIDE = 3
"""Points to the left and the right of what stands in a cell."""
_GRID = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LINEBELOW", (0, 0), (-1, -1), 0.4, _HAIRLINE),
    ("LINEBELOW", (0, 0), (-1, 0), 0.8, black),
    ("LEFTPADDING", (0, 0), (-1, -1), _BESIDE),
    ("RIGHTPADDING", (0, 0), (-1, -1), _BESIDE),
    ("TOPPADDING", (0, 0), (-1, -1), 2.5),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
]
_ALIGNED = {TA_LEFT: "LEFT", TA_CENTER: "CENTER", TA_RIGHT: "RIGHT"}


def _as_lines(start: tuple[int, int], end: tuple[int, int], look: ParagraphStyle) -> list[tuple[Any, ...]]:
    """How a table sets its cells of one line, so that they look as a paragraph of that style."""
    return [
        ("FONT", start, end, look.fontName, look.fontSize, look.leading),
        ("ALIGN", start, end, _ALIGNED[look.alignment]),
        ("TEXTCOLOR", start, end, look.textColor),
    ]


def grid(
    head: Sequence[str | Flowable],
    rows: Sequence[Sequence[str | Flowable | list[Flowable]]],
    widths: Sequence[float],
    *,
    right: Sequence[int] = (),
    narrow: bool = False,
    names: int = 0,
    longest: int = LONGEST_CELL,
    style: Sequence[tuple[Any, ...]] = (),
) -> Table:
    """A table whose head is repeated on every page; plain strings are escaped and wrapped.

    ``right`` are the columns set flush right; ``narrow`` makes a table of many small figures; ``names`` is the column
    that says what each row is about; a text of more than ``longest`` signs is cut.
    """

    def style_of(column: int, *, is_head: bool) -> ParagraphStyle:
        if narrow and column > 0:
            return CELL_NARROW_HEAD if is_head else CELL_NARROW
        if column in right:
            return CELL_HEAD_RIGHT if is_head else CELL_RIGHT
        return CELL_HEAD if is_head else CELL

    def cell(content: Any, column: int, look: ParagraphStyle) -> Any:
        if not isinstance(content, str):
            return content
        content = cut(content, longest)
        # What fits its column needs no paragraph, which takes many times as long to read and to set.
        line = fonts.printable(content)
        room = widths[column] - 2 * _BESIDE
        if fonts.width_of(line, look.fontSize, bold=look.fontName == fonts.BOLD) <= room:
            return line
        return para(content, look)

    heads = [style_of(column, is_head=True) for column in range(len(head))]
    looks = [style_of(column, is_head=False) for column in range(len(head))]
    data = [
        [cell(content, column, heads[column]) for column, content in enumerate(head)],
        *([cell(content, column, looks[column]) for column, content in enumerate(row)] for row in rows),
    ]
    lines = [
        command
        for column in range(len(head))
        for first, last, look in ((0, 0, heads[column]), (1, -1, looks[column]))
        for command in _as_lines((column, first), (column, last), look)
        if first <= len(rows)
    ]
    return Table(
        data,
        colWidths=list(widths),
        repeatRows=1,
        heads=1,
        names=names,
        hAlign="LEFT",
        style=[*_GRID, *lines, *style],
        spaceBefore=2,
        spaceAfter=6,
    )


_COLUMNS_ABREAST = 10
_KEPT_TOGETHER = 12


def by_size(
    columns: Sequence[str],
    rows: Sequence[tuple[str, Sequence[str]]],
    width: float,
    *,
    head: str = "",
    caption: str = "",
    large: bool = False,
    strong: Sequence[int] = (),
) -> list[Flowable]:
    """A table with a column for every size; more than ten sizes go on in a further table below.

    A table of few rows is kept on one page, with its caption. With ``large`` its figures are as large as their columns
    allow, to be read while working; those of the rows ``strong`` are bold.
    """
    parts: list[Flowable] = []
    for start in range(0, len(columns), _COLUMNS_ABREAST):
        part = columns[start : start + _COLUMNS_ABREAST]
        label = min(width * 0.22, 38 * mm)
        each = min((width - label) / len(part), 24 * mm)
        shown = [(name, cells[start : start + _COLUMNS_ABREAST]) for name, cells in rows]
        size = _largest([part, *(cells for _name, cells in shown)], each) if large else CELL_NARROW.fontSize
        table = grid(
            [head, *part],
            [
                [
                    para(cut(name), CELL_HEAD if row in strong else CELL),
                    *(_figure(cell, size, strong=row in strong) for cell in cells),
                ]
                for row, (name, cells) in enumerate(shown)
            ],
            [label, *[each] * len(part)],
            narrow=True,
        )
        block = [Caption(words(caption), SMALL), table] if caption and start == 0 else [table]
        parts += [KeepTogether(block)] if len(rows) <= _KEPT_TOGETHER else block
    return parts


_NARROW = {
    (size, strong): _style(f"cell-{size}", size, fontName=face, alignment=TA_CENTER)
    for size in (9.5, 8.5, 7.5)
    for strong, face in ((False, fonts.REGULAR), (True, fonts.BOLD))
}


def _figure(text: str, size: float, *, strong: bool) -> Paragraph:
    return para(cut(text), _NARROW[size, strong])


def _largest(rows: Sequence[Sequence[str]], width: float) -> float:
    """The size at which no figure breaks in a column of that width; the smallest where all do."""
    widest = max((fonts.width_of(cell, 1, bold=True) for row in rows for cell in row), default=0)
    return next((size for size, _strong in _NARROW if widest * size <= width - 6), CELL_NARROW.fontSize)


def figures(table: Figures, width: float) -> list[Flowable]:
    """The table beside a plot, with its caption."""
    if not table.rows:
        return []
    # Each column as wide as its widest word needs, within what there is.
    needs = [
        max(
            fonts.width_of(table.columns[column], 8, bold=True),
            *(min(fonts.width_of(row[column], 8.5), 60 * mm) for row in table.rows),
        )
        + 10
        for column in range(len(table.columns))
    ]
    scale = min(1.0, width / sum(needs))
    return [
        CondPageBreak(22 * mm),
        caption(table.caption),
        grid(table.columns, table.rows, [need * scale for need in needs]),
    ]


class Box(Flowable):
    """An empty box to tick or to write in."""

    def __init__(self, width: float, height: float, *, label: str = "") -> None:
        super().__init__()
        self.width, self.height, self.label = width, height, label

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        self.width = min(self.width, available_width)
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        with canvas.artifact():
            canvas.setLineWidth(0.7)
            canvas.rect(0, 0, self.width, self.height)
        if self.label:
            with canvas.content(canvas.element("P")):
                canvas.setFont(fonts.REGULAR, 6)
                canvas.setFillColor(_MUTED)
                canvas.drawString(2, self.height - 6.5, self.label)


class Lines(Flowable):
    """Ruled lines to write on, as many as the page has room for; on the next page where that is less than ``least``."""

    def __init__(self, least: float, *, apart: float = 8 * mm) -> None:
        super().__init__()
        self.least, self.apart = least, apart

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        self.width = available_width
        self.tall = max(self.least, available_height // self.apart * self.apart)
        return available_width, self.tall

    def draw(self) -> None:
        with self.canv.artifact():
            self.canv.setLineWidth(0.4)
            self.canv.setStrokeColor(_HAIRLINE)
            y = self.tall - self.apart
            while y >= 0:
                self.canv.line(0, y, self.width, y)
                y -= self.apart


def plot(drawing: Figure) -> Flowable:
    drawing.hAlign = "LEFT"
    return drawing


def qr_code(address: str, side: float) -> Figure:
    """The address as a QR code (ISO/IEC 18004) with its quiet zone of four modules, ``side`` points wide.

    Medium error correction, for a creased sheet.
    """
    said = _("QR code that leads to {address}").format(address=address)
    code = QrCodeWidget(address, barLevel="M", barWidth=side, barHeight=side, barBorder=4)
    return Figure(side, side, code, alt=said)


# The document ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cover:
    """What a document says of itself: in its properties and on the running lines."""

    title: str
    author: str
    subject: str
    running: str
    """At the head of every page."""

    @property
    def language(self) -> str:
        """Of the words of the program in it, as a tag of BCP 47."""
        # Translators: the language of this catalogue as documents name it, as in "de" or "pt-BR".
        return pgettext("name of this language", "en-GB")


def build(story: Callable[[float], list[Flowable]], *, paper: str, cover: Cover) -> bytes:
    """The PDF of a story; ``story`` is given the width to fill."""
    size = page_size(paper)
    width, height = size
    inner = width - 2 * MARGIN

    def running_lines(canvas: Canvas, number: int, pages: int) -> None:
        canvas.saveState()
        canvas.setFont(fonts.REGULAR, 7.5)
        canvas.setFillColor(_MUTED)
        half = inner / 2 - 6
        canvas.drawString(
            MARGIN, height - 11 * mm, fonts.shortened(fonts.printable(cover.title), inner - 60 * mm, 7.5)
        )
        canvas.drawRightString(
            width - MARGIN, height - 11 * mm, fonts.shortened(fonts.printable(cover.running), 58 * mm, 7.5)
        )
        canvas.drawString(MARGIN, 10 * mm, fonts.shortened(fonts.printable(cover.subject), half * 1.5, 7.5))
        said = _("Page {number} of {all}").format(number=number, all=pages)
        canvas.drawRightString(width - MARGIN, 10 * mm, fonts.printable(said))
        canvas.restoreState()

    stream = io.BytesIO()
    document = BaseDocTemplate(
        stream,
        pagesize=size,
        title=fonts.printable(cover.title),
        author=fonts.printable(cover.author),
        subject=fonts.printable(cover.subject),
        creator="Testround",
        lang=cover.language,
        initialFontName=fonts.REGULAR,
        invariant=1,
        pageCompression=1,
    )
    frame = Frame(
        MARGIN,
        16 * mm,
        inner,
        height - 16 * mm - 16 * mm,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    document.addPageTemplates(PageTemplate("page", [frame], pagesize=size))
    document.build(story(inner), canvasmaker=partial(Canvas, running=running_lines))
    return stream.getvalue()
