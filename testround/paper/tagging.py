"""A canvas that keeps the structure of what is drawn on it, and the flowables that tell it.

Everything on a page is either content of an element or an artifact (ISO 32000-1:2008, 14.8.2.2): running lines, rules,
backgrounds, boxes to write in and the repeated head of a table. Flowables draw inside `Canvas.content` or
`Canvas.artifact`; those of ReportLab are taken up here once, so that a document is made of these and need not think
of tags.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from xml.sax.saxutils import escape

from reportlab import platypus
from reportlab.graphics import shapes
from reportlab.lib.attrmap import AttrMap, AttrMapValue
from reportlab.lib.rl_accel import fp_str
from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFInfo, PDFPage, PDFStream, PDFString
from reportlab.pdfgen import canvas as pdfgen

from testround.paper import fonts, structure
from testround.paper.structure import Annotation, Content, Element

PAGINATION = "/Artifact<</Type/Pagination>>"
LAYOUT = "/Artifact<</Type/Layout>>"

_Running = Callable[["Canvas", int, int], None]


class Canvas(pdfgen.Canvas):
    """A canvas whose drawing is marked, and which writes the structure tree when it is saved.

    ``running`` draws the running lines of a page, given its number and how many there are; it is called for every
    page at the end, when both are known.
    """

    def __init__(self, *args: Any, running: _Running | None = None, **options: Any) -> None:
        # Marked content needs PDF 1.3, the roles and attributes used here 1.5; PDF/UA-1 builds on 1.7.
        super().__init__(*args, pdfVersion=(1, 7), **options)
        self._lang = options.get("lang") or ""
        self.root = Element("Document")
        self._running = running
        self._done: list[tuple[PDFPage, int]] = []
        self._keys = 0
        self._on_page: list[Element] = []
        self._sections: list[tuple[int, Element]] = [(0, self.root)]
        self._open: list[Element] = []
        self._elements: dict[object, Element] = {}
        self._artifacts = 0
        self._marked, self._begun = self.root, 0
        self._headings = 0
        self.setViewerPreference("DisplayDocTitle", "true")
        self.showOutline()

    # The tree ---------------------------------------------------------------------------------------------

    @property
    def parent(self) -> Element:
        """What an element that begins now belongs to: the container that is open, or the section."""
        return self._open[-1] if self._open else self._sections[-1][1]

    def element(self, role: str, key: object = None, *, attributes: str = "", alt: str = "") -> Element:
        """A new element in its place, or the one begun under ``key`` on a page before."""
        if key is not None and key in self._elements:
            return self._elements[key]
        element = Element(role, attributes=attributes, alt=alt)
        if key is not None:
            self._elements[key] = element
        if not self._artifacts:
            self.parent.kids.append(element)
        return element

    @contextmanager
    def inside(self, element: Element) -> Iterator[None]:
        """Elements that begin meanwhile belong to ``element``."""
        self.open(element)
        yield
        self.close()

    def open(self, element: Element) -> None:
        self._open.append(element)

    def close(self) -> None:
        self._open.pop()

    def begin_section(self, level: int) -> None:
        """Where a heading stands: the sections of its level and below end, and its own begins.

        A heading of level 0 is the document's own. One inside a cell begins no section.
        """
        if self._open or self._artifacts:
            return
        while self._sections[-1][0] >= max(level, 1):
            self._sections.pop()
        if level:
            section = self.element("Sect")
            self._sections.append((level, section))

    def list_item(self, key: object) -> Element:
        """An item of the list that stands here; a new list if something else stands between."""
        if key in self._elements:
            return self._elements[key]
        kids = self.parent.kids
        last = kids[-1] if kids else None
        if not (isinstance(last, Element) and last.role == "L"):
            last = self.element("L")
        with self.inside(last):
            return self.element("LI", key)

    # Marks ------------------------------------------------------------------------------------------------

    @contextmanager
    def content(self, element: Element) -> Iterator[None]:
        """What is drawn meanwhile is content of ``element``, or an artifact inside one."""
        self.begin_content(element)
        yield
        self.end_content()

    def begin_content(self, element: Element) -> None:
        if not self._artifacts:
            self._marked = element
            self._code.append(f"/{element.role}<</MCID {len(self._on_page)}>>BDC")
            self._begun = len(self._code)

    def end_content(self) -> None:
        if self._artifacts:
            return
        if len(self._code) == self._begun:
            self._code.pop()
            return
        self._code.append("EMC")
        self._marked.kids.append(Content(len(self._done), len(self._on_page)))
        self._on_page.append(self._marked)

    @contextmanager
    def artifact(self, kind: str = LAYOUT) -> Iterator[None]:
        """What is drawn meanwhile is not part of what the document says."""
        self.begin_artifact(kind)
        yield
        self.end_artifact()

    def begin_artifact(self, kind: str = LAYOUT) -> None:
        if not self._artifacts:
            self._code.append(f"{kind}BDC")
            self._begun = len(self._code)
        self._artifacts += 1

    def end_artifact(self) -> None:
        self._artifacts -= 1
        if self._artifacts:
            return
        if len(self._code) == self._begun:
            self._code.pop()
        else:
            self._code.append("EMC")

    def link(self, element: Element, url: str, rect: tuple[float, float, float, float], *, told: str) -> None:
        """An active area over what ``element`` draws; ``rect`` as the canvas stands, ``told`` what it leads to."""
        if self._artifacts:
            return
        key = self._next_key()
        # F 4: what is shown on the screen may be printed too (ISO 14289-1, 7.18.1 wants nothing hidden).
        self.linkURL(url, rect, relative=1, Contents=PDFString(told), StructParent=key, F=4)
        element.kids.append(Annotation(len(self._done), self._annotationrefs[-1], key))

    def _next_key(self) -> int:
        self._keys += 1
        return self._keys - 1

    # Pages ------------------------------------------------------------------------------------------------

    def _setAnnotations(self, page: PDFPage) -> None:
        """ReportLab's last act on a page before it is put away."""
        super()._setAnnotations(page)
        key = self._next_key()
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents = key
        # Annotations are come to in the order of the structure (ISO 14289-1, 7.18.3).
        page.Tabs = "/S"
        self._done.append((page, key))
        self._on_page = []

    def save(self) -> None:
        if self._code:
            self.showPage()
        pages = len(self._done)
        for number, (page, _key) in enumerate(self._done, start=1):
            if self._running is not None:
                self._code: list[str] = []
                with self.artifact(PAGINATION):
                    self._running(self, number, pages)
                before, rest = page.stream.split("\n", 1)
                page.stream = "\n".join([before, *self._code, rest])
        self._code = []
        catalogue = self._doc.Catalog
        catalogue.MarkInfo = PDFDictionary({"Marked": "true"})
        catalogue.Metadata = _Metadata(metadata(self._doc.info, self._lang))
        structure.write(self._doc, self._done, self.root, next_key=self._keys)
        super().save()


class _Metadata(PDFStream):
    """Read by programs that know nothing else of PDF, and so never packed."""

    def __init__(self, text: str) -> None:
        names = {"Type": "/Metadata", "Subtype": "/XML"}
        super().__init__(PDFDictionary(names), text.encode(), filters=[])


def metadata(info: PDFInfo, language: str) -> str:
    """Title, author, subject and language as XMP (ISO 16684-1), which PDF/UA asks for beside the old properties."""

    def one(name: str, kind: str, text: str, tongue: str = "") -> str:
        item = f"<rdf:li{tongue}>{escape(text)}</rdf:li>"
        return f"<dc:{name}><rdf:{kind}>{item}</rdf:{kind}></dc:{name}>" if text else ""

    any_tongue = ' xml:lang="x-default"'
    return "\n".join(
        [
            '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>',
            '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">',
            '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">',
            one("title", "Alt", info.title, any_tongue),
            one("creator", "Seq", info.author),
            one("description", "Alt", info.subject, any_tongue),
            one("language", "Bag", language),
            "</rdf:Description></rdf:RDF></x:xmpmeta>",
            '<?xpacket end="r"?>',
        ]
    )


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

    _attrMap = AttrMap(BASE=shapes.Drawing, alt=AttrMapValue(None, desc="What is said in its place"))

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
