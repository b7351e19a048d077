"""A sheet as it is typed: every field of the sheet's page, what stands in it, and what is wrong with it.

A draft is made from a stored sheet or from a posted form, and turned back into a sheet. What was not edited
comes back exactly as it was stored, whatever unit it was shown in: the text of a field is compared with
the text that its stored value is shown as, and only parsed when it differs.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _

from testround.kernel.problems import Problem
from testround.kernel.round import Pattern
from testround.kernel.roundfile import RoundFileError, plain, read_pattern
from testround.kernel.units import UnitsError
from testround.kernel.words import commas
from testround.patterns.fields import BY_SIZE, CRAFTS, GROUPS, HEAD, PER_M2, SIZES, Column, Group, Scale
from testround.patterns.rows import Cell, Placed, Row, Section, nth_of, sections_of

# More rows than any sheet may have are not read off a form; the sheet's own limits say the rest.
MOST_ROWS = 600


class SheetDraft:
    """All fields of one sheet's page. Make one with :meth:`of` or :meth:`typed`."""

    def __init__(self, *, scale: Scale, kind: str, craft: str) -> None:
        self.scale = scale
        self.kind = kind
        self.craft = craft
        self.columns: list[str] = []
        # The typed list of sizes is not the columns the page was made with.
        self.columns_changed = False
        self.head: dict[str, Cell] = {}
        self.sizes = Cell(SIZES.name, SIZES, str(SIZES.label))
        self.yarn_per_m2 = Cell(PER_M2.name, PER_M2, str(PER_M2.label))
        self.rows: dict[str, list[Row]] = {name: [] for name in GROUPS}
        self.by_size: dict[str, Row] = {}
        self.errors: list[str] = []
        # Rows whose run over the sizes is broken are drawn without being asked for.
        self.shows_broken = False
        self._stored: dict[str, Any] = {}

    @property
    def is_graded(self) -> bool:
        return self.kind == "graded"

    # From a stored sheet

    @classmethod
    def of(cls, pattern: Pattern, scale: Scale) -> SheetDraft:
        """The page of a stored sheet."""
        draft = cls(scale=scale, kind=pattern.kind, craft=pattern.craft)
        document = plain(pattern)
        draft._stored = document
        draft.columns = list(pattern.sizes)
        draft.sizes.text = ", ".join(pattern.sizes)
        for column in HEAD:
            draft.head[column.name] = Cell(column.name, column, str(column.label), str(document[column.name]))
        draft.yarn_per_m2.text = draft._shown(draft.yarn_per_m2.column, document.get("yarn_per_m2"))
        for name, group in GROUPS.items():
            for index, entry in enumerate(document.get(name, [])):
                draft.rows[name].append(draft._row(group, index, entry["key"], draft._texts(group, entry)))
        for name, column in BY_SIZE.items():
            draft.by_size[name] = draft._by_size_row(name, column, document.get(name) or {})
        return draft

    def _shown(self, column: Column, value: Any, unit: str | None = None) -> str:
        return self.scale.shown(column.kind, value, craft=self.craft, unit=unit)

    def _texts(self, group: Group, entry: Mapping[str, Any]) -> dict[str, str]:
        """Texts of a stored entry by the part of the field's name that follows the row's."""
        texts = {
            column.name: self._shown(column, entry.get(column.name), entry.get("unit"))
            for column in group.columns
        }
        if group.sized is not None:
            values = entry.get(group.sized.name) or {}
            for j, size in enumerate(self.columns):
                texts[f"{group.sized.name}-{j}"] = self._shown(group.sized, values.get(size))
        return texts

    def _row(self, group: Group, index: int, was: str, texts: Mapping[str, str]) -> Row:
        prefix = f"{group.name}-{index}"
        title = texts.get("label", "").strip() or nth_of(group, index)
        cells = {
            column.name: Cell(
                f"{prefix}-{column.name}",
                column,
                _("{row}: {field}").format(row=title, field=column.within),
                texts.get(column.name, ""),
            )
            for column in group.columns
        }
        sized = []
        if group.sized is not None and self.is_graded:
            sized = [
                Cell(
                    f"{prefix}-{group.sized.name}-{j}",
                    group.sized,
                    _("{row}: {field}, {size}").format(row=title, field=group.sized.within, size=size),
                    texts.get(f"{group.sized.name}-{j}", ""),
                )
                for j, size in enumerate(self.columns)
            ]
        return Row(group.name, index, was, cells, sized, tuple(self.columns))

    def _by_size_row(self, name: str, column: Column, values: Mapping[str, Any]) -> Row:
        sized = [
            Cell(
                f"{name}-{j}",
                column,
                _("{field}, {size}").format(field=column.label, size=size),
                self._shown(column, values.get(size)),
            )
            for j, size in enumerate(self.columns)
        ]
        return Row(name, 0, name, {}, sized if self.is_graded else [], tuple(self.columns))

    # From a posted form

    @classmethod
    def typed(cls, post: Mapping[str, str], stored: Pattern, scale: Scale) -> SheetDraft:
        """The page as it was posted, with everything that was typed still in it."""
        document = plain(stored)
        craft = post.get("craft", "")
        draft = cls(
            scale=scale, kind=stored.kind, craft=craft if craft in dict(CRAFTS) else str(document["craft"])
        )
        draft._stored = document
        for column in HEAD:
            draft.head[column.name] = Cell(column.name, column, str(column.label), post.get(column.name, ""))
        draft.yarn_per_m2.text = post.get("yarn_per_m2", "")
        draft.sizes.text = post.get("sizes", "")
        came_from = draft._read_columns(post)
        for name, group in GROUPS.items():
            for index, texts in draft._posted_rows(post, group, came_from):
                row = draft._row(group, index, post.get(f"{name}-{index}-was", ""), texts)
                row.delete = bool(post.get(f"{name}-{index}-delete"))
                row.plots = bool(post.get(f"{name}-{index}-plot"))
                draft.rows[name].append(row)
        for name, column in BY_SIZE.items():
            row = draft._by_size_row(name, column, {})
            for cell, old in zip(row.sized, came_from, strict=False):
                cell.text = "" if old is None else post.get(f"{name}-{old}", "")
            draft.by_size[name] = row
        return draft

    def _read_columns(self, post: Mapping[str, str]) -> list[int | None]:
        """Take the sizes as typed, and say for each which column of the page its values stand in.

        A size typed in place of another, the rest unchanged, is that one renamed.
        """
        if not self.is_graded:
            return []
        before: list[str] = []
        while (name := post.get(f"column-{len(before)}")) is not None and len(before) < MOST_ROWS:
            before.append(name)
        self.columns = [name for name in (part.strip() for part in self.sizes.text.split(",")) if name]
        self.columns_changed = self.columns != before
        renamed = len(before) == len(self.columns)
        came_from: list[int | None] = []
        for j, size in enumerate(self.columns):
            if size in before:
                came_from.append(before.index(size))
            elif renamed and before[j] not in self.columns:
                came_from.append(j)
            else:
                came_from.append(None)
        return came_from

    def _posted_rows(
        self, post: Mapping[str, str], group: Group, came_from: list[int | None]
    ) -> Iterator[tuple[int, dict[str, str]]]:
        found = re.compile(rf"{group.name}-(\d{{1,4}})-")
        indexes = sorted({int(match[1]) for name in post if (match := found.match(name))})
        for index in indexes[:MOST_ROWS]:
            prefix = f"{group.name}-{index}-"
            texts = {column.name: post.get(prefix + column.name, "") for column in group.columns}
            if group.sized is not None:
                for j, old in enumerate(came_from):
                    texts[f"{group.sized.name}-{j}"] = (
                        "" if old is None else post.get(f"{prefix}{group.sized.name}-{old}", "")
                    )
            yield index, texts

    def take_tries(self, given: Mapping[str, str]) -> None:
        """Give a made-to-measure sheet the measures and gauges to try it with; gauges start as stated."""
        if self.is_graded:
            return
        for row in self.rows["measures"]:
            name = f"try-{row.name}"
            said = _("Try {field}").format(field=row.title)
            row.tries = [Cell(name, Column("try", said, said, "length"), said, given.get(name, ""))]
        for row in self.rows["gauges"]:
            row.tries = []
            for axis, words in (("stitches", _("stitches")), ("rows", _("rows"))):
                name = f"try-{row.name}-{axis}"
                said = _("Try {row}, {field}").format(row=row.title, field=words)
                given_or_stated = given.get(name, row.cells[axis].text)
                row.tries.append(Cell(name, Column(axis, words, words, "gauge"), said, given_or_stated))

    def take_plots(self, names: Iterable[str]) -> None:
        """Ask for the plots of the rows with these names; without any, for those whose run is broken."""
        wanted = set(names)
        self.shows_broken = not wanted
        for row in self.all_rows():
            row.plots = row.plots or (row.can_plot and row.name in wanted)

    def tried(self, group: str) -> dict[str, list[float | None]]:
        """What is tried, by key; None where nothing is written or it cannot be read, which is said beside it."""
        return {
            row.cells["key"].text.strip(): [self._value(cell, None) for cell in row.tries]
            for row in self.kept_rows(group)
        }

    def add_row(self, group_name: str) -> None:
        """One more empty row at the end of a group."""
        rows = self.rows[group_name]
        index = max((row.index for row in rows), default=-1) + 1
        row = self._row(GROUPS[group_name], index, "", {"unit": "st"} if group_name == "numbers" else {})
        row.is_new = True
        rows.append(row)

    # Back to a sheet

    def read(self) -> Pattern | None:
        """The sheet that was typed; None when it cannot be one, with every reason put beside its field."""
        document, places = self._document()
        try:
            pattern = read_pattern(json.dumps(document).encode())
        except RoundFileError as refusal:
            for problem in refusal.problems:
                self._attach(problem, places)
            return None
        return None if self.has_errors else pattern

    def readable_part(self) -> Pattern | None:
        """What is left of the sheet without the rows that have problems, so that the rest can be computed."""
        document, _places = self._document(stand_ins=False)
        for name, standing in (("title", "untitled"), ("edition", "0")):
            document.setdefault(name, standing)
        for _pass in range(_MOST_PASSES):
            try:
                return read_pattern(json.dumps(document).encode())
            except RoundFileError as refusal:
                if not _drop(document, refusal.problems):
                    return None
        return None

    @property
    def has_errors(self) -> bool:
        return (
            bool(self.errors)
            or any(cell.errors for cell in self.single_cells())
            or any(row.has_errors for row in self.all_rows())
        )

    def single_cells(self) -> Iterator[Cell]:
        yield from self.head.values()
        yield self.sizes
        yield self.yarn_per_m2

    def all_rows(self) -> Iterator[Row]:
        for rows in self.rows.values():
            yield from rows
        yield from self.by_size.values()

    def refuse(self, problems: Iterable[Problem]) -> None:
        """Put problems that were found elsewhere beside their fields."""
        _read, places = self._document()
        for problem in problems:
            self._attach(problem, places)

    def problems(self) -> list[Placed]:
        """Everything that is wrong, in the order of the page."""
        found = [Placed("", sentence) for sentence in self.errors]
        for cell in self.single_cells():
            found += [Placed(cell.label, sentence, cell.id) for sentence in cell.errors]
        for row in self.all_rows():
            found += [Placed(row.title, sentence, row.name) for sentence in row.errors]
            for cell in row.all_cells:
                found += [Placed(cell.label, sentence, cell.id) for sentence in cell.errors]
        return found

    @property
    def parted(self) -> dict[str, list[Section]]:
        """The rows of every group in the sections in which they stand on the page."""
        return {name: sections_of(name, rows) for name, rows in self.rows.items()}

    @property
    def span(self) -> int:
        """How many columns a table of the sheet has."""
        return 2 + (len(self.columns) if self.is_graded else 1)

    def kept_rows(self, group: str) -> list[Row]:
        """The rows that belong to the sheet: neither ticked for deletion nor left empty."""
        return [row for row in self.rows[group] if not row.delete and not row.is_blank]

    def _document(self, *, stand_ins: bool = True) -> tuple[dict[str, Any], dict[str, Row]]:
        """The document as far as it can be read, and which row each of its entries came from.

        Everything hangs on the gauges. With ``stand_ins`` a count of theirs that cannot be read has another in
        its place, so that what is wrong elsewhere is found all the same; nothing is computed from it.
        """
        document: dict[str, Any] = {"kind": self.kind}
        for name, cell in self.head.items():
            if (value := self._value(cell, self._stored.get(name))) is not None:
                document[name] = value
        if self.is_graded:
            document["sizes"] = list(self.columns)
            if not self.columns:
                self.sizes.refuse(_("Write the sizes, smallest first, with commas between, as in XS, S, M."))
        places: dict[str, Row] = {}
        for name, group in GROUPS.items():
            stored = {entry["key"]: entry for entry in self._stored.get(name, [])}
            entries: list[dict[str, Any]] = []
            for row in self.kept_rows(name):
                self._name(row)
                places[f"{name}[{len(entries)}]"] = row
                entry = self._entry(group, row, stored.get(row.was, {}))
                if name == "gauges" and stand_ins:
                    entry = {"stitches": _STAND_IN, "rows": _STAND_IN, **entry}
                entries.append(entry)
            document[name] = entries
        for name, row in self.by_size.items():
            if values := self._sized_values(row.sized, self._stored.get(name) or {}):
                document[name] = values
        if (metres := self._value(self.yarn_per_m2, self._stored.get("yarn_per_m2"))) is not None:
            document["yarn_per_m2"] = metres
        return document, places

    def _name(self, row: Row) -> None:
        """A row without a key gets one from its name."""
        key, label = row.cells["key"], row.cells["label"]
        if key.is_blank and not label.is_blank:
            words = re.findall(r"[a-z0-9]+", label.text.lower())
            made = re.sub(r"^[0-9_]+", "", "_".join(words))[:50].strip("_") or GROUPS[row.group].one
            taken = {other.cells["key"].text.strip() for rows in self.rows.values() for other in rows}
            number = 2
            key.text = made
            while key.text in taken:
                key.text, number = f"{made}_{number}", number + 1

    def _entry(self, group: Group, row: Row, stored: Mapping[str, Any]) -> dict[str, Any]:
        unit = row.cells["unit"].text if "unit" in row.cells else None
        # Another unit makes another constant, whatever its text was before.
        same_unit = (stored.get("unit") or "") == (unit or "")
        entry: dict[str, Any] = {}
        for name, cell in row.cells.items():
            known = stored.get(name) if cell.column.kind != "constant" or same_unit else None
            value = self._value(cell, known, unit)
            if value is not None:
                entry[name] = value
        if group.sized is not None:
            values = self._sized_values(row.sized, stored.get(group.sized.name) or {})
            if values or (group.sized.required and self.is_graded):
                entry[group.sized.name] = values
        return entry

    def _sized_values(self, cells: list[Cell], stored: Mapping[str, Any]) -> dict[str, Any]:
        values = {}
        for size, cell in zip(self.columns, cells, strict=True):
            # A size that was renamed brings its stored values along under its old name.
            known = stored.get(size, stored.get(self._old_name(size)))
            value = self._value(cell, known, optional=True)
            if value is not None:
                values[size] = value
        return values

    def _old_name(self, size: str) -> str:
        before = self._stored.get("sizes") or []
        j = self.columns.index(size)
        return before[j] if len(before) == len(self.columns) else size

    def _value(self, cell: Cell, stored: Any, unit: str | None = None, *, optional: bool = False) -> Any:
        """The value of one field, None where there is none; what cannot be read is refused beside it."""
        column = cell.column
        text = cell.text.replace("\r\n", "\n").strip()
        if not text:
            if column.required and not optional:
                cell.refuse(_what_to_write(column))
            return None
        if stored is not None and text == self.scale.shown(
            column.kind, stored, craft=str(self._stored["craft"]), unit=unit
        ):
            return stored
        if column.kind == "choice":
            if text not in dict(column.choices):
                offered = commas(str(words) for _stored, words in column.choices)
                cell.refuse(
                    _("There is no such choice here; choose one of {offered}.").format(offered=offered)
                )
                return None
            return int(text) if column.name == "yarn_weight" else text
        try:
            return self.scale.read(column.kind, text, name=cell.label, craft=self.craft, unit=unit)
        except UnitsError as error:
            cell.refuse(_sentence(str(error).removeprefix(f"{cell.label}: ")))
            return None

    def _attach(self, problem: Problem, places: Mapping[str, Row]) -> None:
        """Say a problem where it is."""
        found = _PATH.fullmatch(problem.path)
        sentence = _sentence(problem.sentence)
        row = None if found is None else places.get(found["entry"]) or self.by_size.get(found["entry"])
        if row is not None and found is not None:
            self._attach_to_row(row, found["field"] or "", found["rest"] or "", sentence)
        elif problem.path.startswith("sizes"):
            self._refuse_once(self.sizes, sentence)
        elif problem.path in self.head:
            self._refuse_once(self.head[problem.path], sentence)
        elif problem.path == "yarn_per_m2":
            self._refuse_once(self.yarn_per_m2, sentence)
        elif problem.path == "gauges" and not places.get("gauges[0]"):
            self.errors.append(_("The sheet has no gauge; add the one the pattern states."))
        else:
            self.errors.append(_sentence(str(problem)))

    def _attach_to_row(self, row: Row, name: str, rest: str, sentence: str) -> None:
        if row.group in BY_SIZE:
            name, rest = row.group, f"{name}.{rest}" if rest else name
        cell = row.cells.get(name)
        if cell is not None:
            if not cell.errors and cell.column.kind == "formula":
                cell.wrong = _where_wrong(cell.text.strip(), sentence)
            self._refuse_once(cell, sentence)
        elif rest in self.columns and row.sized:
            self._refuse_once(row.sized[self.columns.index(rest)], sentence)
        elif row.sized_errors:
            # What misses a value that could not be read has been said beside that value.
            return
        elif sentence not in row.errors:
            row.errors.append(sentence)

    @staticmethod
    def _refuse_once(cell: Cell, sentence: str) -> None:
        """A field that could not be read says why; that its value is then missing is no news.

        A formula may have several faults, and says them all.
        """
        if not cell.errors or cell.wrong is not None:
            cell.refuse(sentence)


_MOST_PASSES = 12
_STAND_IN = 20.0
_PATH = re.compile(
    r"(?P<entry>[a-z]+\[\d+\]|yarn|hours)(?:\.(?P<field>[^.]+)(?:\.(?P<rest>.*))?)?", re.DOTALL
)
_ENTRY = re.compile(r"([a-z]+)\[(\d+)\]")
_TOKEN = re.compile(r"[A-Za-z_][\w.]*|[0-9.]+|[<>=!]=|.", re.DOTALL)


def _sentence(text: str) -> str:
    """A problem's sentence as it stands alone: a capital first, a stop last."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?", "!")) else f"{text}."


def _what_to_write(column: Column) -> str:
    match column.kind, bool(column.example):
        case "formula", True:
            said = _("Write the formula, as in {example}.")
        case "formula", False:
            said = _("Write the formula.")
        case "key", True:
            said = _("Give it a key or a name, as in {example}.")
        case "key", False:
            said = _("Give it a key or a name.")
        case _kind, True:
            said = _("Write the {field}, as in {example}.")
        case _kind, _example:
            said = _("Write the {field}.")
    return said.format(field=column.within, example=column.example)


def _where_wrong(text: str, sentence: str) -> tuple[str, str, str] | None:
    """A formula cut before and after the place that a sentence complains of."""
    found = _complaint().match(sentence)
    if found is None:
        return None
    start = min(int(found[1]) - 1, len(text))
    token = _TOKEN.match(text, start)
    end = token.end() if token else len(text)
    return text[:start], text[start:end], text[end:]


def _complaint() -> re.Pattern[str]:
    """How a complaint of one place in a formula begins, in the language that it is said in."""
    before, _start, rest = _("at character {start}: {message}; {mend}{stop}").partition("{start}")
    return re.compile(re.escape(before) + r"(\d+)" + re.escape(rest.partition("{message}")[0]), re.IGNORECASE)


def _drop(document: dict[str, Any], problems: Iterable[Problem]) -> bool:
    """Take the entries with problems out of the document.

    False when none of the problems names one, or when the sizes themselves are wrong: nothing can be computed
    by size then.
    """
    bad: dict[str, set[int]] = {}
    dropped = False
    for problem in problems:
        name = re.split(r"[.\[]", problem.path, maxsplit=1)[0]
        if name == "sizes":
            return False
        if found := _ENTRY.match(problem.path):
            bad.setdefault(found[1], set()).add(int(found[2]))
        elif name in ("yarn", "hours", "yarn_per_m2"):
            dropped |= document.pop(name, None) is not None
    for name, indexes in bad.items():
        if isinstance(document.get(name), list):
            document[name] = [entry for i, entry in enumerate(document[name]) if i not in indexes]
            dropped = True
    return dropped
