"""The structure tree of a tagged PDF: what each piece of a page is, in the order in which it is read.

ReportLab draws and does not say what it drew. This keeps the tree beside the drawing and writes it as ISO 32000-1:2008
has it: logical structure in 14.7, the roles of tagged PDF in 14.8.4, attributes in 14.8.5. What is drawn carries a
number on its page (an MCID); the tree names the numbers, and the parent tree leads from each number back to its
element, so that a program that stands at a word can say what the word belongs to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial

from reportlab.pdfbase.pdfdoc import PDFDocument, PDFObject, PDFObjectReference, PDFString, format


@dataclass(frozen=True, slots=True)
class Content:
    """A numbered piece of a page; ``page`` counts from 0."""

    page: int
    mcid: int


@dataclass(frozen=True, slots=True)
class Annotation:
    """A link's active area; ``key`` is its number in the parent tree."""

    page: int
    reference: PDFObjectReference
    key: int


@dataclass(eq=False, slots=True)
class Element:
    """One element of the tree. ``attributes`` are those of its role, as PDF writes them, each with its owner."""

    role: str
    kids: list[Element | Content | Annotation] = field(default_factory=list)
    attributes: str = ""
    alt: str = ""
    alone: bool = False
    """For a cell that one text fills: the text is the cell's own content, with no paragraph between."""
    name: str = ""
    """Under which the document knows it while it is written."""

    def walk(self) -> Iterator[Element]:
        """This element and all below it, in reading order."""
        yield self
        for kid in self.kids:
            if isinstance(kid, Element):
                yield from kid.walk()


class _Written(PDFObject):
    """An object whose text is made when the document is, so that every page has its number by then."""

    __RefOnly__ = 1

    def __init__(self, write: Callable[[], bytes]) -> None:
        self.write = write

    def format(self, document: PDFDocument) -> bytes:
        return self.write()


_EMPTY_SPEAKS = ("TD", "TH")
"""A cell without content keeps those after it in their columns."""


def _pruned(element: Element) -> bool:
    """Whether something is left of the element once what holds nothing is taken out below it."""
    element.kids = [kid for kid in element.kids if not isinstance(kid, Element) or _pruned(kid)]
    return bool(element.kids) or element.role in _EMPTY_SPEAKS


class _Writer:
    def __init__(self, document: PDFDocument, pages: Sequence[tuple[PDFObject, int]], root: Element) -> None:
        self.document = document
        self.pages = [self.number(document.Reference(page)) for page, _key in pages]
        self.keys = [key for _page, key in pages]
        _pruned(root)
        self.elements = list(root.walk())
        for index, element in enumerate(self.elements):
            element.name = f"structure.{index}"

    def number(self, reference: PDFObjectReference) -> bytes:
        return bytes(format(reference, self.document))

    def reference(self, element: Element) -> bytes:
        return self.number(PDFObjectReference(element.name))

    def element(self, element: Element, parent: str) -> bytes:
        pages = [kid.page for kid in element.kids if not isinstance(kid, Element)]
        page = pages[0] if pages else None
        kids = [self.kid(kid, page) for kid in element.kids]
        parts = [
            b"<</S/" + element.role.encode(),
            b"/P " + self.number(PDFObjectReference(parent)),
            b"" if page is None else b"/Pg " + self.pages[page],
            b"" if not kids else b"/K " + (kids[0] if len(kids) == 1 else b"[" + b" ".join(kids) + b"]"),
            element.attributes and b"/A" + element.attributes.encode(),
            element.alt and b"/Alt" + bytes(format(PDFString(element.alt), self.document)),
        ]
        return b"".join(part for part in parts if part) + b">>"

    def kid(self, kid: Element | Content | Annotation, page: int | None) -> bytes:
        if isinstance(kid, Element):
            return self.reference(kid)
        other = b"" if kid.page == page else b"/Pg " + self.pages[kid.page]
        if isinstance(kid, Annotation):
            return b"<</Type/OBJR" + other + b"/Obj " + self.number(kid.reference) + b">>"
        if not other:
            return b"%d" % kid.mcid
        return b"<</Type/MCR" + other + b"/MCID %d>>" % kid.mcid

    def parents(self) -> bytes:
        """The parent tree: for each page its elements by number, then each annotation's element."""
        by_page: dict[int, dict[int, Element]] = {}
        entries: dict[int, bytes] = {}
        for element in self.elements:
            for kid in element.kids:
                if isinstance(kid, Content):
                    by_page.setdefault(kid.page, {})[kid.mcid] = element
                elif isinstance(kid, Annotation):
                    entries[kid.key] = self.reference(element)
        for page, found in by_page.items():
            of_page = b" ".join(self.reference(found[mcid]) for mcid in range(len(found)))
            entries[self.keys[page]] = b"[" + of_page + b"]"
        return b"<</Nums[" + b"\n".join(b"%d %b" % entry for entry in sorted(entries.items())) + b"]>>"


def write(
    document: PDFDocument, pages: Sequence[tuple[PDFObject, int]], root: Element, *, next_key: int
) -> None:
    """Enter the tree below ``root`` into the document's catalogue.

    Parameters
    ----------
    document : PDFDocument
        ReportLab's, before it is saved.
    pages : sequence of (PDFPage, int)
        In order, each with its key in the parent tree.
    root : Element
        The element of the whole document.
    next_key : int
        The first key in the parent tree that neither a page nor an annotation has.
    """
    writer = _Writer(document, pages, root)
    tree, parents = "structure", "structure.parents"
    above = {
        kid.name: element.name
        for element in writer.elements
        for kid in element.kids
        if isinstance(kid, Element)
    }

    def of_tree() -> bytes:
        return (
            b"<</Type/StructTreeRoot/K "
            + writer.reference(root)
            + b"/ParentTree "
            + writer.number(PDFObjectReference(parents))
            + b"/ParentTreeNextKey %d>>" % next_key
        )

    document.Catalog.StructTreeRoot = _Written(of_tree)
    document.Reference(document.Catalog.StructTreeRoot, tree)
    document.Reference(_Written(writer.parents), parents)
    for element in writer.elements:
        document.Reference(
            _Written(partial(writer.element, element, above.get(element.name, tree))), element.name
        )
