"""A sheet's values by size as one table: body measurements, printed numbers, printed finished measurements.

Out and in again changes nothing: a value that comes back as it went out is the stored one, whatever unit and rounding
it went out in.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, cast

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.problems import Problem
from testround.kernel.round import Pattern
from testround.kernel.roundfile import RoundFileError, plain, read_pattern
from testround.kernel.units import UnitsError, rounded, to_inches
from testround.patterns.fields import GROUPS, Column, Scale
from testround.patterns.spreadsheets import FileRefused, Grid, Value, at, clean, number_text

TABLED = ("measures", "numbers", "dimensions")
KEY, NAME, WHAT, UNIT = "Key", "Name", "What", "Unit"
# Heads of columns are the same in every language, as a file goes from one person to another.
HEADS = (KEY, NAME, WHAT, UNIT)
WHATS = {"measures": "body", "numbers": "printed", "dimensions": "printed"}
MOST_TOLD = 60
_COLUMNS = {group: cast(Column, GROUPS[group].sized) for group in TABLED}


def table_of(pattern: Pattern, scale: Scale) -> list[list[Value]]:
    """The table of a graded sheet: a head, then a row for each entry with its values by size."""
    document = plain(pattern)
    sizes = document.get("sizes") or []
    table: list[list[Value]] = [[*HEADS, *sizes]]
    for group, entry in _entries(document):
        column = _COLUMNS[group]
        values = entry.get(column.name) or {}
        unit = entry["unit"] if group == "numbers" else scale.units
        table.append(
            [
                entry["key"],
                entry["label"],
                WHATS[group],
                unit,
                *(_out(values.get(size), column, scale) for size in sizes),
            ]
        )
    return table


def _entries(document: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for group in TABLED:
        for entry in document.get(group) or []:
            yield group, entry


def _out(value: float | None, column: Column, scale: Scale) -> float | None:
    """A stored value as the number that stands in a table: inches to an eighth, all else in full."""
    if value is None or column.kind != "length" or scale.units == "cm":
        return value
    return float(rounded(to_inches(value), Fraction(1, 8)))


# In -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Heads:
    """Which columns of a table are what: by index."""

    row: int
    key: int
    unit: int | None
    sizes: Mapping[int, str]


def pattern_with(grid: Grid, pattern: Pattern, scale: Scale) -> Pattern:
    """The sheet with the values of a table in place of its own.

    An empty cell takes a printed value away; rows and sizes that the table leaves out stay as they are. ``scale`` is
    the reader's, and counts where a row does not say its unit.

    Raises
    ------
    FileRefused
        Everything that is wrong with the table, each with its cell.
    """
    document = deepcopy(plain(pattern))
    problems: list[Problem] = []
    heads = _heads(grid, document.get("sizes") or [], problems)
    if heads is None:
        raise FileRefused(problems)
    entries = {entry["key"]: (group, entry) for group, entry in _entries(document)}
    seen: dict[str, str] = {}
    for i in range(heads.row + 1, len(grid)):
        row = grid[i]
        if not any(value is not None for value in row):
            continue
        key = _text(_cell(row, heads.key))
        where = at(i, heads.key)
        if key in seen:
            problems.append(
                Problem(
                    where,
                    _("“{key}” stands in {first} as well; keep one of the two.").format(
                        key=key, first=seen[key]
                    ),
                )
            )
        elif key in entries:
            seen[key] = where
            _take_row(
                i, row, heads, *entries[key], scale, str(document["craft"]), document["sizes"], problems
            )
        else:
            problems.append(Problem(where, _no_such_key(key, list(entries))))
    if problems:
        told = problems[:MOST_TOLD]
        if more := len(problems) - len(told):
            words = ngettext("There is {n} more of these.", "There are {n} more of these.", more)
            told.append(Problem("", words.format(n=more)))
        raise FileRefused(told)
    try:
        return read_pattern(json.dumps(document).encode())
    except RoundFileError as refusal:
        raise FileRefused(_named(problem, document) for problem in refusal.problems) from None


_PATH = re.compile(r"([a-z]+)\[(\d+)\]\.?(.*)", re.DOTALL)


def _named(problem: Problem, document: Mapping[str, Any]) -> Problem:
    """A problem of the sheet as a whole, with the name of its entry in place of a path into the document."""
    found = _PATH.fullmatch(problem.path)
    if found is None:
        return problem
    label = document[found[1]][int(found[2])]["label"]
    return Problem(f"{label}, {found[3]}" if found[3] else label, problem.sentence)


def _cell(row: list[Value], j: int | None) -> Value:
    return row[j] if j is not None and j < len(row) else None


def _text(value: Value) -> str:
    """A cell as text: a size called 36 may come back as a number."""
    return "" if value is None else value.strip() if isinstance(value, str) else number_text(value)


def _heads(grid: Grid, sizes: list[str], problems: list[Problem]) -> _Heads | None:
    first = next((i for i, row in enumerate(grid) if any(value is not None for value in row)), None)
    if first is None:
        problems.append(
            Problem("", _("The table is empty; begin from a file that was taken out of this sheet."))
        )
        return None
    heads = [_text(value) for value in grid[first]]
    # The heads of our own columns come first; a size may be called the same.
    own: dict[str, int] = {}
    for j, head in enumerate(heads):
        name = next((name for name in HEADS if name.casefold() == head.casefold()), None)
        if name is not None and name not in own:
            own[name] = j
    if KEY not in own:
        problems.append(
            Problem(
                at(first, 0),
                # Translators: {key} is the head of a column, the same in every language.
                _(
                    "the first row needs a column “{key}”; begin from a file that was taken out of this sheet."
                ).format(key=KEY),
            )
        )
        return None
    by_head = {clean(size).strip(): size for size in sizes}
    found: dict[int, str] = {}
    for j, head in enumerate(heads):
        if j in own.values() or not head:
            continue
        if by_head.get(head) in found.values():
            problems.append(
                Problem(at(first, j), _("the size {size} has two columns; keep one.").format(size=head))
            )
        elif head in by_head:
            found[j] = by_head[head]
        else:
            near = difflib.get_close_matches(head, sizes, n=1, cutoff=0.6)
            said = _("there is no size {size}; the sizes are {sizes}.").format(
                size=head, sizes=", ".join(sizes)
            )
            if near:
                said += " " + _("Did you mean {size}?").format(size=near[0])
            problems.append(Problem(at(first, j), said))
    return _Heads(first, own[KEY], own.get(UNIT), found)


def _no_such_key(key: str, keys: list[str]) -> str:
    if not key:
        return _("the row has no key; write the key of its measure, number or measurement, or empty the row.")
    near = difflib.get_close_matches(key, keys, n=1, cutoff=0.6)
    said = _(
        "the sheet has no values by size under the key “{key}”; write the key as it stands there."
    ).format(key=key)
    return " ".join([said, _("Did you mean {key}?").format(key=near[0])]) if near else said


def _take_row(
    i: int,
    row: list[Value],
    heads: _Heads,
    group: str,
    entry: dict[str, Any],
    scale: Scale,
    craft: str,
    sizes: list[str],
    problems: list[Problem],
) -> None:
    """Put the values of one row into its entry of the document."""
    column = _COLUMNS[group]
    if column.kind == "length" and (unit := _text(_cell(row, heads.unit))):
        if unit not in ("cm", "in"):
            problems.append(
                Problem(
                    at(i, heads.unit or 0),
                    _("“{unit}” is no unit of lengths here; write cm or in.").format(unit=unit),
                )
            )
            return
        scale = Scale(units="in" if unit == "in" else "cm", tools=scale.tools)
    before = entry.get(column.name) or {}
    after = dict(before)
    for j, size in heads.sizes.items():
        try:
            value = _taken(_cell(row, j), before.get(size), column, scale, craft, f"{entry['label']}, {size}")
        except UnitsError as error:
            problems.append(Problem(at(i, j), str(error)))
            continue
        if value is None:
            if column.required:
                problems.append(
                    Problem(
                        at(i, j),
                        _("{label}, {size}: a body measurement is needed for every size; write it.").format(
                            label=entry["label"], size=size
                        ),
                    )
                )
            after.pop(size, None)
        else:
            after[size] = value
    if after != before:
        entry[column.name] = {size: after[size] for size in sizes if size in after}
        if not after:
            del entry[column.name]


def _taken(
    value: Value, stored: float | None, column: Column, scale: Scale, craft: str, name: str
) -> float | None:
    """The value of a cell, the stored one where it came back as it went out. Raises UnitsError."""
    if value is None:
        return None
    went_out = _out(stored, column, scale)
    text = _text(value)
    if went_out is not None and (value == went_out or text == number_text(went_out)):
        return stored
    read: float = scale.read(column.kind, text, name=name, craft=craft)
    return read
