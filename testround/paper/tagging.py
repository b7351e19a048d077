"""A canvas that keeps the structure of what is drawn on it.

Everything on a page is either content of an element or an artifact (ISO 32000-1:2008, 14.8.2.2): running lines, rules,
backgrounds, boxes to write in and the repeated head of a table. Whatever draws does so inside `Canvas.content` or
`Canvas.artifact`; the flowables in `testround.paper.flowables` do.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from xml.sax.saxutils import escape

from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFInfo, PDFPage, PDFStream, PDFString, PDFZCompress
from reportlab.pdfgen import canvas as pdfgen

from testround.paper import structure
from testround.paper.packing import packed
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
            last = self.element("L", attributes="<</O/List/ListNumbering/None>>")
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
            # ReportLab would write it in letters, a quarter larger.
            page.Contents = PDFStream(content=page.stream, filters=[PDFZCompress])
        self._code = []
        catalogue = self._doc.Catalog
        catalogue.MarkInfo = PDFDictionary({"Marked": "true"})
        catalogue.Metadata = _Metadata(metadata(self._doc.info, self._lang))
        structure.write(self._doc, self._done, self.root, next_key=self._keys)
        self._doc.format = self._written
        super().save()

    def _written(self) -> bytes:
        """The file, once ReportLab has entered the typefaces."""
        for name, entry in self._doc.idToObject.items():
            if name.startswith("toUnicodeCMap:"):
                entry.content = meanings(entry.content)
        return packed(self._doc)


def meanings(cmap: str) -> str:
    """ReportLab's map from codes to letters, without the codes that stand for none.

    No value may be zero (ISO 14289-1, 7.21.7), and a block has at most a hundred entries (Adobe Technical Note 5014).
    """
    before, rest = re.split(r"\d+ beginbfchar\n", cmap)
    entries, after = rest.split("\nendbfchar\n")
    meant = [entry for entry in entries.split("\n") if not entry.endswith("<0000>")]
    blocks = [meant[start : start + 100] for start in range(0, len(meant), 100)]
    said = [f"{len(block)} beginbfchar\n" + "\n".join(block) + "\nendbfchar\n" for block in blocks]
    return "".join([before, *said, after])


class _Metadata(PDFStream):
    """Read by programs that know nothing else of PDF, and so never packed."""

    def __init__(self, text: str) -> None:
        names = {"Type": "/Metadata", "Subtype": "/XML"}
        super().__init__(PDFDictionary(names), text.encode(), filters=[])


def metadata(info: PDFInfo, language: str) -> str:
    """Title, author, subject and language as XMP (ISO 16684-1), which PDF/UA asks for beside the old properties.

    It says that the file follows PDF/UA-1 (ISO 14289-1, clause 5). Whoever draws something new has to keep that true:
    `tests/paper/test_tagging.py` holds every document to what a machine can tell of it.
    """

    def one(name: str, kind: str, text: str, tongue: str = "") -> str:
        item = f"<rdf:li{tongue}>{escape(text)}</rdf:li>"
        return f"<dc:{name}><rdf:{kind}>{item}</rdf:{kind}></dc:{name}>" if text else ""

    any_tongue = ' xml:lang="x-default"'
    return "\n".join(
        [
            '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>',
            '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">',
            '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"'
            ' xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">',
            "<pdfuaid:part>1</pdfuaid:part>",
            one("title", "Alt", info.title, any_tongue),
            one("creator", "Seq", info.author),
            one("description", "Alt", info.subject, any_tongue),
            one("language", "Bag", language),
            "</rdf:Description></rdf:RDF></x:xmpmeta>",
            '<?xpacket end="r"?>',
        ]
    )
