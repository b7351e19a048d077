"""A PDF's structure read back, by a reader that shares nothing with what wrote it (pikepdf)."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pikepdf

# ISO 32000-1:2008, Annex A: operators that show text or paint.
SHOWS = {"Tj", "TJ", "'", '"'}
PAINTS = {"S", "s", "f", "F", "f*", "B", "B*", "b", "b*", "sh", "Do", "EI", "INLINE IMAGE"}


@dataclass
class Mark:
    """A piece of a page between BDC and EMC."""

    tag: str
    mcid: int | None
    text: str = ""
    drawn: int = 0


@dataclass
class Node:
    """An element of the tree with what it holds: further nodes, marks of pages, and annotations."""

    role: str
    element: Any
    held: list[Node | Mark | Any] = field(default_factory=list)

    @property
    def nodes(self) -> list[Node]:
        return [kid for kid in self.held if isinstance(kid, Node)]

    def walk(self) -> Iterator[Node]:
        yield self
        for kid in self.nodes:
            yield from kid.walk()

    @property
    def text(self) -> str:
        """Its words in reading order."""
        said = [kid.text for kid in self.held if isinstance(kid, Node | Mark)]
        return re.sub(r"\s+", " ", " ".join(said)).strip()

    def attribute(self, name: str) -> Any:
        attributes = self.element.get("/A")
        return None if attributes is None else attributes.get(f"/{name}")


class Structure:
    """A tagged PDF: ``marks`` by page, ``root`` the tree, ``loose`` whatever is drawn outside of all marks."""

    def __init__(self, pdf: bytes) -> None:
        self.pdf = pikepdf.open(io.BytesIO(pdf))
        self.loose: list[str] = []
        self.marks = [self._marks(page) for page in self.pdf.pages]
        self.reached: list[tuple[int, int]] = []
        self.annotations: list[Any] = []
        self.root = self._node(self.pdf.Root.StructTreeRoot.K)

    def _marks(self, page: Any) -> list[Mark]:
        found: list[Mark] = []
        open_: list[Mark] = []
        letters: dict[str, dict[bytes, str]] = {}
        font = ""
        for operands, operator in pikepdf.parse_content_stream(page):
            name = str(operator)
            if name in ("BDC", "BMC"):
                assert not open_, "a mark inside a mark"
                of = operands[1] if len(operands) > 1 else {}
                open_.append(Mark(str(operands[0]), int(of["/MCID"]) if "/MCID" in of else None))
            elif name == "EMC":
                found.append(open_.pop())
            elif name == "Tf":
                font = str(operands[0])
                if font not in letters:
                    letters[font] = _letters(page.Resources.Font[font])
            elif name in SHOWS | PAINTS:
                if not open_:
                    self.loose.append(f"{name} {operands}")
                    continue
                open_[0].drawn += 1
                if name in SHOWS:
                    codes = b"".join(
                        bytes(part)
                        for part in (operands[0] if name == "TJ" else operands)
                        if isinstance(part, pikepdf.String)
                    )
                    open_[0].text += "".join(letters[font][codes[k : k + 1]] for k in range(len(codes)))
            elif name in ("ET", "T*", "Td", "Tm") and open_:
                open_[0].text += " "
        assert not open_
        return found

    def _node(self, element: Any, parent: Any = None) -> Node:
        if parent is not None:
            assert element.P.objgen == parent.objgen
        node = Node(str(element.S)[1:], element)
        kids = element.get("/K", pikepdf.Array())
        for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
            if isinstance(kid, int):
                node.held.append(self._reach(element.Pg, kid, element))
            elif kid.get("/Type") == "/MCR":
                node.held.append(self._reach(kid.get("/Pg", element.get("/Pg")), kid.MCID, element))
            elif kid.get("/Type") == "/OBJR":
                self.annotations.append((kid.Obj, element))
                node.held.append(kid.Obj)
            else:
                node.held.append(self._node(kid, element))
        return node

    def _reach(self, page: Any, mcid: int, element: Any) -> Mark:
        (number,) = (k for k, one in enumerate(self.pdf.pages) if one.objgen == page.objgen)
        self.reached.append((number, mcid))
        back = self.parents()[int(page.StructParents)][mcid]
        assert back.objgen == element.objgen, "the parent tree leads elsewhere"
        (mark,) = (mark for mark in self.marks[number] if mark.mcid == mcid)
        return mark

    def parents(self) -> dict[int, Any]:
        nums = list(self.pdf.Root.StructTreeRoot.ParentTree.Nums)
        return dict(zip(map(int, nums[::2]), nums[1::2], strict=True))

    def all(self, *roles: str) -> list[Node]:
        return [node for node in self.root.walk() if node.role in roles]


def _letters(font: Any) -> dict[bytes, str]:
    """What each code of a font stands for, by its ToUnicode map (ISO 32000-1:2008, 9.10.3)."""
    text = font.ToUnicode.read_bytes().decode("latin-1")
    return {
        bytes.fromhex(code): bytes.fromhex(value).decode("utf-16-be")
        for part in re.findall(r"beginbfchar(.*?)endbfchar", text, re.DOTALL)
        for code, value in re.findall(r"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", part)
    }
