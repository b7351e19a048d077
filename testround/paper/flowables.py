"""ReportLab's flowables, each of which tells the canvas what it draws: documents are made of these.

A flowable that goes on over the foot of a page stays one element: its parts have one key. The head of a table that is
repeated on a page is an artifact there.
"""

from __future__ import annotations

from typing import Any

from reportlab import platypus
from reportlab.graphics import shapes
from reportlab.lib.attrmap import AttrMap, AttrMapValue
from reportlab.lib.rl_accel import fp_str

from testround.paper import fonts
from testround.paper.structure import Element
from testround.paper.tagging import PAGINATION, Canvas


class Key:
    """What two parts of one flowable have in common after a page break."""

    def __deepcopy__(self, memo: Any) -> Key:
        return self


# Paragraphs -----------------------------------------------------------------------------------------------


class Paragraph(platypus.Paragraph):
    """A paragraph; one with a bullet is an item of a list."""

    role = "P"

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.bulletText: str | None
        self.key = Key()
        self.in_list = bool(self.bulletText)

    def split(self, available_width: float, available_height: float) -> list[Any]:
        parts = super().split(available_width, available_height)
        for index, part in enumerate(parts):
            if part is not self:
                self.hand_on(part, first=index == 0)
        return parts

    def hand_on(self, part: Any, *, first: bool) -> None:
        """What a part after a page break keeps of the whole."""
        part.key, part.in_list = self.key, self.in_list

    def draw(self) -> None:
        canvas = self.canv
        if not self.in_list:
            with canvas.content(self.begin(canvas)):
                super().draw()
            return
        item = canvas.list_item(self.key)
        with canvas.inside(item):
            bullet, self.bulletText = self.bulletText, None
            if bullet:
                with canvas.content(canvas.element("Lbl")):
                    self.draw_bullet(bullet)
            with canvas.content(canvas.element("LBody", (self.key, "body"))):
                super().draw()

    def begin(self, canvas: Canvas) -> Element:
        """The element that it is content of; where it fills a cell alone, the cell."""
        cell = canvas.parent
        if cell.alone:
            return cell
        return canvas.element(self.role, self.key)

    def draw_bullet(self, bullet: str) -> None:
        style = self.style
        self.canv.saveState()
        self.canv.setFont(style.bulletFontName, style.bulletFontSize)
        self.canv.setFillColor(style.textColor)
        self.canv.drawString(style.bulletIndent, self.height - style.fontSize, bullet)
        self.canv.restoreState()


class Caption(Paragraph):
    """What the table below it is about; it is drawn before the table and is the first thing inside it."""

    role = "Caption"


class Heading(Paragraph):
    """A heading of ``level`` 0, 1 or 2 that is also a bookmark, called ``outline`` there."""

    def __init__(self, *args: Any, level: int = 0, outline: str = "", **options: Any) -> None:
        super().__init__(*args, **options)
        self.level, self.outline = level, outline

    @property
    def role(self) -> str:  # type: ignore[override]
        return f"H{self.level + 1}"

    def hand_on(self, part: Any, *, first: bool) -> None:
        super().hand_on(part, first=first)
        part.level, part.outline = self.level, self.outline if first else ""

    def begin(self, canvas: Canvas) -> Element:
        if self.outline:
            canvas.begin_section(self.level)
        return canvas.element(self.role, self.key)

    def draw(self) -> None:
        canvas = self.canv
        if self.outline:
            name = f"h{canvas.getPageNumber()}-{canvas._headings}"
            canvas._headings += 1
            canvas.bookmarkPage(name, fit="FitH", top=canvas.absolutePosition(0, self.height)[1] + 6)
            canvas.addOutlineEntry(self.outline, name, level=self.level, closed=False)
        super().draw()


class Link(Paragraph):
    """A paragraph that leads to an address; ``told`` says where, for those who do not see it."""

    def __init__(self, *args: Any, url: str = "", told: str = "", **options: Any) -> None:
        super().__init__(*args, **options)
        self.url, self.told = url, told

    def hand_on(self, part: Any, *, first: bool) -> None:
        super().hand_on(part, first=first)
        part.url, part.told = self.url, self.told

    def begin(self, canvas: Canvas) -> Element:
        with canvas.inside(super().begin(canvas)):
            return canvas.element("Link", (self.key, "link"))

    def draw(self) -> None:
        super().draw()
        link = self.begin(self.canv)
        style = self.style
        for index, line in enumerate(self.blPara.lines):
            wide = max(self.width - (line[0] if isinstance(line, tuple) else line.extraSpace), 1)
            top = self.height - index * style.leading
            self.canv.link(link, self.url, (0, top - style.leading, wide, top), told=self.told)


# Tables ---------------------------------------------------------------------------------------------------


class _Cells:
    """What a table calls while it draws itself; the names are ReportLab's."""

    def __call__(self, table: Table, event: str, *given: Any) -> None:
        getattr(self, event)(table, table.canv, *given)

    def startTable(self, table: Table, canvas: Canvas) -> None:
        if table.heads is None:
            return
        begun = canvas.element("Table", table.key)
        above = canvas.parent.kids
        before = above[-2] if above[-1] is begun and len(above) > 1 else None
        if isinstance(before, Element) and before.role == "Caption":
            # Drawn above the table, it belongs inside (ISO 32000-1, 14.8.4.3.4).
            above.remove(before)
            begun.kids.insert(0, before)
        canvas.open(begun)

    def endTable(self, table: Table, canvas: Canvas) -> None:
        if table.heads is not None:
            canvas.close()

    def startRow(self, table: Table, canvas: Canvas, row: int) -> None:
        if row < table.again:
            canvas.begin_artifact(PAGINATION)
        elif table.heads is not None:
            canvas.open(canvas.element("TR"))
        table.row = row

    def endRow(self, table: Table, canvas: Canvas) -> None:
        if table.row < table.again:
            canvas.end_artifact()
        elif table.heads is not None:
            canvas.close()

    def startCell(self, table: Table, canvas: Canvas, row: int, column: int, held: Any, *_place: Any) -> None:
        if table.heads is not None:
            canvas.open(table.begin_cell(canvas, row, column, held))
        if isinstance(held, str):
            if held.strip():
                canvas.begin_content(canvas.parent if table.heads is not None else canvas.element("P"))
            else:
                canvas.begin_artifact()
        table.held = held

    def endCell(self, table: Table, canvas: Canvas) -> None:
        if isinstance(table.held, str):
            if table.held.strip():
                canvas.end_content()
            else:
                canvas.end_artifact()
        if table.heads is not None:
            canvas.close()

    def startBG(self, table: Table, canvas: Canvas) -> None:
        canvas.begin_artifact()

    def endBG(self, table: Table, canvas: Canvas) -> None:
        canvas.end_artifact()

    startLines, endLines = startBG, endBG


_CELLS = _Cells()


class Table(platypus.Table):
    """A table that only lays out, or one of figures.

    Parameters
    ----------
    heads : int, optional
        How many rows at the top are heads of columns; without it the table only lays out, and what its cells hold
        is read one after the other as if it stood alone.
    names : int, optional
        The column whose cells name their rows.
    """

    def __init__(
        self, data: Any, *given: Any, heads: int | None = None, names: int | None = None, **options: Any
    ) -> None:
        if "cellStyles" not in options:
            # An empty cell is drawn too, in a typeface that would not be embedded.
            options["style"] = [("FONTNAME", (0, 0), (-1, -1), fonts.REGULAR), *options.get("style", ())]
        super().__init__(data, *given, **options)
        self._renderCB = _CELLS
        self.key = Key()
        self.heads, self.names = heads, names
        self.again = 0
        """How many rows at the top were on the page before."""
        self.row = 0
        self.held: Any = None

    def split(self, available_width: float, available_height: float) -> list[Any]:
        parts = super().split(available_width, available_height)
        for index, part in enumerate(parts):
            if part is self:
                continue
            part.key, part.heads, part.names = self.key, self.heads, self.names
            part.again = part.repeatRows if index else self.again
        return parts

    def begin_cell(self, canvas: Canvas, row: int, column: int, held: Any) -> Element:
        """The element of one cell."""
        said = []
        role = "TD"
        if row < (self.heads or 0):
            role, said = "TH", ["/Scope/Column"]
        elif column == self.names:
            role, said = "TH", ["/Scope/Row"]
        if self._spanCmds:
            left, top, right, bottom = self._spanRanges[column, row]
            said += [f"/ColSpan {right - left + 1}"] if right > left else []
            said += [f"/RowSpan {bottom - top + 1}"] if bottom > top else []
        cell = canvas.element(role, attributes=f"<</O/Table{''.join(said)}>>" if said else "")
        cell.alone = isinstance(held, Paragraph) or (
            isinstance(held, list | tuple) and len(held) == 1 and isinstance(held[0], Paragraph)
        )
        return cell


# Drawings -------------------------------------------------------------------------------------------------


class Figure(shapes.Drawing):
    """A drawing with the words that stand for it."""

    _attrMap = AttrMap(BASE=shapes.Drawing, alt=AttrMapValue(None))

    def __init__(self, width: float, height: float, *marks: Any, alt: str = "", **options: Any) -> None:
        super().__init__(width, height, *marks, **options)
        self.initialFontName = fonts.REGULAR
        self.alt = alt

    def draw(self, *given: Any, **options: Any) -> None:
        canvas = self.canv
        left, foot = canvas.absolutePosition(0, 0)
        right, top = canvas.absolutePosition(self.width, self.height)
        box = fp_str(left, foot, right, top)
        figure = canvas.element(
            "Figure", attributes=f"<</O/Layout/Placement/Block/BBox[{box}]>>", alt=fonts.printable(self.alt)
        )
        with canvas.content(figure):
            super().draw(*given, **options)
