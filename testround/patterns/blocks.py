"""A block of cells copied from a spreadsheet, put in its place in a draft.

The one reading of blocks: a press of Paste with scripts and the plain form without both come here.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.units import UnitsError
from testround.patterns.drafts import SheetDraft
from testround.patterns.rows import Cell, Row

MOST_CHARACTERS = 200_000
# Problems beyond this many are counted, not told: a column pasted one too far is wrong in every line.
MOST_TOLD = 8

# A cell that stands in quotation marks whole, at the start of a line or after a comma.
_QUOTED = re.compile(r'(?:(?<=^)|(?<=,))"(?:[^"]|"")*"', re.MULTILINE)
_BLANKS = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\ufeff": None})


class BlockRefused(Exception):
    """A block that was not put in; ``sentences`` say why, each naming the cell and the mend."""

    def __init__(self, sentences: Sequence[str]) -> None:
        self.sentences = tuple(sentences)
        super().__init__(" ".join(self.sentences))


@dataclass(frozen=True, slots=True)
class Filled:
    """What a block was put into: the fields, in order, with the row and the size it began at."""

    cells: tuple[Cell, ...]
    first: str

    @property
    def sentence(self) -> str:
        return ngettext(
            "{n} cell filled from {first} on. Nothing is saved yet.",
            "{n} cells filled from {first} on. Nothing is saved yet.",
            len(self.cells),
        ).format(n=len(self.cells), first=self.first)


def cells_of(text: str) -> list[list[str]]:
    """The lines of a block, each as its cells, trimmed; blank lines at its end are no part of it.

    Between cells stand tabs, or else semicolons, or else commas. A comma without a space after it is a decimal
    comma where a line has no other one: "36,5" is one cell, "94, 106" and "94,106,118" are several.

    Raises
    ------
    BlockRefused
        The text is empty, too long, or has quotation marks that never close.
    """
    if len(text) > MOST_CHARACTERS:
        raise BlockRefused(
            [
                _(
                    "The block has {n} thousand characters, and a sheet has far fewer; paste less of it."
                ).format(n=len(text) // 1000)
            ]
        )
    lines = text.translate(_BLANKS).replace("\r\n", "\n").replace("\r", "\n").rstrip("\n ")
    if not lines.strip():
        raise BlockRefused(
            [_("There is nothing in the block; copy cells in the spreadsheet and paste them.")]
        )
    between = _between(lines)
    if between == ", ":
        found = [re.split(r",\s+|,$", line) for line in lines.split("\n")]
    else:
        try:
            found = list(csv.reader(lines.split("\n"), delimiter=between))
        except csv.Error:
            raise BlockRefused(
                [_("The block cannot be taken apart into cells; copy it from the spreadsheet once more.")]
            ) from None
    return [[cell.strip() for cell in cells] for cells in found]


def _between(lines: str) -> str:
    """What stands between the cells of a block."""
    for sign in ("\t", ";"):
        if sign in lines:
            return sign
    bare = _QUOTED.sub("", lines)
    if re.search(r",[ ]", bare):
        return ", "
    if any(line.count(",") > 1 for line in bare.split("\n")) or (bare != lines and "," in bare):
        return ","
    return "\t"


def pastable(draft: SheetDraft) -> list[list[Row]]:
    """The rows that blocks go into: those of one table together, as a block runs down one table only."""
    tables = [
        [row for row in draft.rows[name] if row.sized] for name in ("measures", "numbers", "dimensions")
    ]
    tables.append([row for row in draft.by_size.values() if row.sized])
    return [table for table in tables if table]


def fill(draft: SheetDraft, text: str, at: str) -> Filled:
    """Put a block into the fields of a draft, to the right and down from the field named ``at``.

    An empty cell of the block empties its field, as it does in a spreadsheet.

    Raises
    ------
    BlockRefused
        The block has no such place, does not fit, or has cells that cannot be read; the draft is as it was.
    """
    if draft.columns_changed:
        raise BlockRefused(
            [_("The sizes have changed since the page was made; check or save the sheet first, then paste.")]
        )
    table, i, j = _place(draft, at)
    block = cells_of(text)
    _check_fits(block, table, i, j, draft.columns)
    fields = [
        (table[i + k].sized[j + m], words, _at(k, m, table[i + k], draft.columns[j + m]))
        for k, cells in enumerate(block)
        for m, words in enumerate(cells)
    ]
    problems = []
    for cell, words, where in fields:
        if not words:
            continue
        try:
            draft.scale.read(cell.column.kind, words, name=where, craft=draft.craft)
        except UnitsError as error:
            problems.append(str(error))
    if problems:
        raise BlockRefused(_told(problems))
    for cell, words, _where in fields:
        cell.text = words
    return Filled(tuple(cell for cell, *_rest in fields), f"{table[i].title}, {draft.columns[j]}")


def _place(draft: SheetDraft, at: str) -> tuple[list[Row], int, int]:
    for table in pastable(draft):
        for i, row in enumerate(table):
            for j, cell in enumerate(row.sized):
                if cell.name == at:
                    return table, i, j
    raise BlockRefused([_("Choose the row and the size that the block begins with.")])


def _at(line: int, cell: int, row: Row, size: str) -> str:
    return _("Line {line}, cell {cell} of the block, for {row}, size {size}").format(
        line=line + 1, cell=cell + 1, row=row.title, size=size
    )


def _check_fits(block: list[list[str]], table: list[Row], i: int, j: int, sizes: list[str]) -> None:
    widest = max(range(len(block)), key=lambda k: len(block[k]))
    across, room = len(block[widest]), len(sizes) - j
    problems = []
    if across > room:
        problems.append(
            _(
                "Line {line} of the block has {across} cells, and from {first} on there is room for "
                "{room}, up to {last}. Begin further to the left, or leave out the cells that are no sizes."
            ).format(line=widest + 1, across=across, first=sizes[j], room=room, last=sizes[-1])
        )
    if len(block) > len(table) - i:
        problems.append(
            _(
                "The block has {lines} lines, and from {first} on this table has room for {room}, down "
                "to {last}. Begin further up, add rows first, or paste fewer lines."
            ).format(lines=len(block), first=table[i].title, room=len(table) - i, last=table[-1].title)
        )
    if problems:
        raise BlockRefused(problems)


def _told(problems: list[str]) -> list[str]:
    if len(problems) <= MOST_TOLD:
        return problems
    more = len(problems) - MOST_TOLD
    return [
        *problems[:MOST_TOLD],
        ngettext("And one more cell.", "And {n} more cells.", more).format(n=more),
    ]
