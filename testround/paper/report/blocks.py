"""What a report is made of, before it is laid out: sections of texts, tables and plots, for page and paper alike.

Whoever writes the report makes these once; `layout` sets them as a PDF and the templates of the site as a page, so
that neither can say what the other does not.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from testround.paper.plots import PHONE, Plot

Draw = Callable[[float, str], Plot]
"""A plot so many units wide, under a name of its own."""


class Linked(str):
    """A cell that leads somewhere on a page; on paper it is its text."""

    url: str

    def __new__(cls, text: str, url: str) -> Linked:
        """The text with the address that it leads to."""
        made = super().__new__(cls, text)
        made.url = url
        return made


@dataclass(frozen=True, slots=True)
class Text:
    """One paragraph, in which nothing is markup."""

    kind: ClassVar[str] = "text"
    text: str
    look: Literal["body", "small", "strong"] = "body"


@dataclass(frozen=True, slots=True)
class Grid:
    """A table. ``shares`` are the widths of its columns on paper, as parts of the whole width."""

    kind: ClassVar[str] = "grid"
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]
    caption: str = ""
    right: tuple[int, ...] = ()
    """Columns of figures, set flush right."""
    fold: str = ""
    """The title of the fold in which a page keeps it until it is asked for; a paper shows it in any case."""


@dataclass(frozen=True, slots=True)
class BySize:
    """A table with a column for every size."""

    kind: ClassVar[str] = "by_size"
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    head: str = ""
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """What a finding rests on: the check by hand, and figures that no other part of the report has."""

    kind: ClassVar[str] = "check"
    about: str
    lead: str
    steps: tuple[str, ...]
    close: str
    blocks: tuple[Text | Grid, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """One plot, whole for a page; ``pieces`` are as many drawings as it takes to fit the pages of a paper."""

    draw: Draw
    pieces: Callable[[float], Sequence[Plot]]


@dataclass(frozen=True, slots=True)
class Pictures:
    """One plot, or two abreast. ``widest`` is how many points a single one takes at most on paper."""

    kind: ClassVar[str] = "pictures"
    pictures: tuple[Picture, ...]
    caption: str
    widest: float = 400.0
    ident: str = "plot"

    @property
    def drawn(self) -> tuple[Plot, ...]:
        """The plots for a page, as wide as a phone."""
        return tuple(one.draw(PHONE, f"{self.ident}-{k}") for k, one in enumerate(self.pictures))


Block = Text | Grid | BySize | Check | Pictures


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with what stands under it. ``room`` is what it wants beneath it on paper, in points."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    level: Literal[1, 2] = 1
    room: float = 85.0


@dataclass(frozen=True, slots=True)
class Report:
    """A report, told in its reader's language, units and terms."""

    title: str
    heading: str
    subtitle: str
    subject: str
    running: str
    sections: tuple[Section, ...] = field(default=())

    @property
    def parts(self) -> tuple[tuple[Section, tuple[Section, ...]], ...]:
        """Every main section with those that are part of it."""
        gathered: list[tuple[Section, list[Section]]] = []
        for section in self.sections:
            if section.level == 1 or not gathered:
                gathered.append((section, []))
            else:
                gathered[-1][1].append(section)
        return tuple((section, tuple(inner)) for section, inner in gathered)
