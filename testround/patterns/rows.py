"""What stands on a sheet's page: its fields, its rows, the sections that rows are folded into, what is said of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.paper.plots import Plot
from testround.patterns.fields import BY_SIZE, GROUPS, Column, Group

UNKNOWN = "–"
# The groups whose entries have formulas that give a value by size, or words.
COMPUTED_GROUPS = ("numbers", "shapings", "dimensions", "parts")
# The groups whose entries run over the sizes and can be drawn.
PLOTTED_GROUPS = ("measures", "numbers", "dimensions")
# A group with more rows than this is folded on the page.
MOST_OPEN = 6


@dataclass
class Cell:
    """One field on the page: its name there, what stands in it, and what is wrong with it."""

    name: str
    column: Column
    label: str
    text: str = ""
    errors: list[str] = field(default_factory=list)
    # Where a formula goes wrong: what is before, the place, and what follows.
    wrong: tuple[str, str, str] | None = None

    @property
    def id(self) -> str:
        return f"id_{self.name}"

    @property
    def errors_id(self) -> str:
        return f"{self.id}_errors"

    @property
    def is_blank(self) -> bool:
        return not self.text.strip()

    @property
    def try_name(self) -> str:
        return _("Try {field}").format(field=self.column.label)

    @property
    def choice_label(self) -> str:
        """What the chosen option is called."""
        return str(dict(self.column.choices).get(self.text, self.text))

    def refuse(self, sentence: str) -> None:
        if sentence not in self.errors:
            self.errors.append(sentence)


@dataclass
class Row:
    """One entry of a group, as typed. ``was`` is the key it is stored under, empty for a new one."""

    group: str
    index: int
    was: str
    cells: dict[str, Cell]
    sized: list[Cell]
    sizes: tuple[str, ...] = ()
    delete: bool = False
    is_new: bool = False
    errors: list[str] = field(default_factory=list)
    # The kernel's answers, filled in by `checks`.
    computed: list[Computed] = field(default_factory=list)
    # How its values run over the sizes: in words where a step breaks the run, and drawn where that is asked for.
    run_said: str = ""
    plots: bool = False
    plot: Plot | None = None
    # Fields of a made-to-measure sheet that are tried out and never stored.
    tries: list[Cell] = field(default_factory=list)

    @property
    def name(self) -> str:
        return f"{self.group}-{self.index}" if self.group in GROUPS else self.group

    @property
    def block_name(self) -> str:
        """What the names of its fields by size begin with."""
        return self.sized[0].name.rpartition("-")[0] if self.sized else self.name

    @property
    def title(self) -> str:
        if self.group in BY_SIZE:
            return str(BY_SIZE[self.group].label)
        for column in ("label", "key"):
            if column in self.cells and not self.cells[column].is_blank:
                return self.cells[column].text.strip()
        return nth_of(GROUPS[self.group], self.index) if self.group in GROUPS else self.group

    @property
    def all_cells(self) -> Iterator[Cell]:
        yield from self.cells.values()
        yield from self.sized

    @property
    def is_blank(self) -> bool:
        """Whether nothing was typed in it; what a choice stands on by itself does not count."""
        return all(cell.is_blank for cell in self.all_cells if cell.column.kind != "choice")

    @property
    def has_errors(self) -> bool:
        return bool(self.errors) or any(cell.errors for cell in self.all_cells)

    @property
    def describes(self) -> bool:
        """Whether the list under the row says something of the values in it."""
        return self.has_errors or bool(self.named_differences) or (bool(self.run_said) and not self.plot)

    @property
    def is_unfolded(self) -> bool:
        """Whether the fields that name the row are shown at once: a new row's, and those with something to mend."""
        named = [cell for name, cell in self.cells.items() if name not in _BESIDE]
        return (
            self.is_new or self.delete or self.cells["label"].is_blank or any(cell.errors for cell in named)
        )

    @property
    def can_plot(self) -> bool:
        """Whether it has values that run over the sizes, more than one."""
        return self.group in PLOTTED_GROUPS and len(self.sizes) > 1

    @property
    def title_id(self) -> str:
        """The element that holds its title, by which its fields are named; short, as a large sheet has hundreds."""
        return f"{self.group[0]}{self.index}" if self.group in GROUPS else f"t-{self.group}"

    @property
    def why_id(self) -> str:
        """The list under the row that says what is wrong with the values in it."""
        return f"why-{self.name}"

    @property
    def by_column(self) -> list[tuple[str, Cell | None, Computed | None]]:
        """By size: its name, the printed field and the computed value, either of which may be missing."""
        answers = self.answers
        n = max(len(self.sized), len(answers), len(self.sizes))
        if not self.sizes:
            return [(_("As tried"), None, answer) for answer in answers]
        return [
            (
                self.sizes[j],
                self.sized[j] if j < len(self.sized) else None,
                answers[j] if j < len(answers) else None,
            )
            for j in range(n)
        ]

    @property
    def answers(self) -> list[Computed]:
        """The computed values, or a dash for each where there is none.

        The dash holds the place into which a later check of the same page writes the value.
        """
        if self.computed or self.group not in COMPUTED_GROUPS:
            return self.computed
        return [Computed(computed_id(self, j), UNKNOWN) for j in range(len(self.sizes) or 1)]

    @property
    def named_differences(self) -> list[tuple[str, Computed]]:
        """The computed values that the printed ones differ from, each with its size."""
        return [
            (size, answer) for size, answer in zip(self.sizes, self.computed, strict=False) if answer.differs
        ]

    @property
    def sized_errors(self) -> list[Cell]:
        return [cell for cell in self.sized if cell.errors]


# Fields of a table that stand beside the row's name, not under it.
_BESIDE = ("formula", "stitches")


@dataclass(frozen=True, slots=True)
class Section:
    """Rows of a group that stand together on the page.

    ``title`` is the part of the text that they belong to, empty where they are the whole group. A section that
    ``folds`` is shown when it is asked for, or when something in it has to be mended.
    """

    group: str
    title: str
    rows: tuple[Row, ...]
    folds: bool

    @property
    def name(self) -> str:
        return self.rows[0].name

    @property
    def wrong(self) -> int:
        """How many of its rows have something to mend."""
        return sum(row.has_errors or bool(row.named_differences) for row in self.rows)

    @property
    def is_open(self) -> bool:
        return bool(self.wrong) or any(row.plots or row.is_unfolded for row in self.rows)

    @property
    def said(self) -> str:
        """What is in it: "Back, 9 numbers", "12 finished measurements"."""
        n = len(self.rows)
        match self.group:
            case "numbers":
                words = ngettext("{n} number", "{n} numbers", n)
            case "measures":
                words = ngettext("{n} measure", "{n} measures", n)
            case "constants":
                words = ngettext("{n} constant", "{n} constants", n)
            case "dimensions":
                words = ngettext("{n} finished measurement", "{n} finished measurements", n)
            case "parts":
                words = ngettext("{n} part", "{n} parts", n)
            case _:
                words = ngettext("{n} entry", "{n} entries", n)
        counted = words.format(n=n)
        return f"{self.title}, {counted}" if self.title else counted


def sections_of(group: str, rows: list[Row]) -> list[Section]:
    """The rows of a group as they stand on the page: at once where they are few, else folded.

    Numbers are folded by the part of the text that they belong to, which is what their place begins with, up to
    a comma: "Back, step 1". A row without a place stays with the one before it. Where that would leave a fold to
    almost every row, all are in one.
    """
    if not rows:
        return []
    if len(rows) <= MOST_OPEN:
        return [Section(group, "", tuple(rows), folds=False)]
    parts: list[str] = []
    for row in rows:
        place = row.cells["place"].text.partition(",")[0].strip() if "place" in row.cells else ""
        parts.append(place or (parts[-1] if parts else ""))
    found = [
        Section(group, part, tuple(row for _part, row in together), folds=True)
        for part, together in groupby(zip(parts, rows, strict=True), key=lambda pair: pair[0])
    ]
    if len(found) > len(rows) / 2:
        return [Section(group, "", tuple(rows), folds=True)]
    return found


@dataclass(frozen=True, slots=True)
class Computed:
    """What the formula gives in one column, beside what is printed there.

    ``differs`` is a sentence where the printed value is not what it should be, ``asks`` a question where
    nothing can be worked as it stands.
    """

    id: str
    text: str
    differs: str = ""
    asks: str = ""

    @property
    def is_known(self) -> bool:
        return self.text != UNKNOWN


def computed_id(row: Row, column: int) -> str:
    """Where on the page the value that a row's formula gives in one column stands."""
    return f"c-{row.name}-{column}"


@dataclass(frozen=True, slots=True)
class Placed:
    """A problem of the whole sheet, said with the row it is in and a link to the field."""

    where: str
    sentence: str
    target: str = ""

    @property
    def path(self) -> str:
        return self.where


def nth_of(group: Group, index: int) -> str:
    """What a row without a name is called."""
    return str(group.nth).format(n=index + 1)
