"""What differs between two sheets, place by place: pure, so that a page, a list and a check can say it alike."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from testround.kernel.words import commas
from testround.patterns.fields import BY_SIZE, GROUPS, HEAD, PER_M2, SIZES, Column, Group, Scale

Document = Mapping[str, Any]

ADDED = "added"
REMOVED = "removed"


@dataclass(frozen=True, slots=True)
class Change:
    """One place of a sheet that is not as it was.

    ``where`` names the entry and ``key`` is its key, ``column`` its field, ``size`` the size for what goes by size. A whole entry that
    came or went has ``was`` or ``now`` alone, and no column.
    """

    where: str
    column: Column | None
    size: str = ""
    was: Any = None
    now: Any = None
    unit_was: str | None = None
    unit_now: str | None = None
    key: str = ""

    @property
    def place(self) -> str:
        """Entry, field and size, as in "Back, cast on, printed, M"."""
        field = "" if self.column is None else str(self.column.within)
        return commas(part for part in (self.where, field, self.size) if part)

    @property
    def is_entry(self) -> bool:
        return self.column is None

    def texts(self, scale: Scale, craft: str) -> tuple[str, str]:
        """Was and now as the sheet's page shows them; empty where nothing stands."""
        if self.column is None:
            return str(self.was or ""), str(self.now or "")
        if self.column.choices:
            names = dict(self.column.choices)
            return tuple(str(names.get(str(v if v is not None else ""), v)) for v in (self.was, self.now))  # type: ignore[return-value]
        return (
            scale.shown(self.column.kind, self.was, craft=craft, unit=self.unit_was),
            scale.shown(self.column.kind, self.now, craft=craft, unit=self.unit_now),
        )


def changes_between(before: Document, after: Document) -> list[Change]:
    """Every place in which two documents of a sheet differ, in the order of the sheet's page.

    Entries are the same when they have the same key, wherever they stand in their list.
    """
    return list(_changes(before, after))


def _changes(before: Document, after: Document) -> Iterator[Change]:
    for column in HEAD:
        if before.get(column.name) != after.get(column.name):
            yield Change("", column, was=before.get(column.name), now=after.get(column.name))
    sizes = (list(before.get("sizes") or []), list(after.get("sizes") or []))
    if sizes[0] != sizes[1]:
        yield Change("", SIZES, was=", ".join(sizes[0]), now=", ".join(sizes[1]))
    # In wearing order, as the document has it; a database may keep the keys of an object in any.
    order = tuple(dict.fromkeys((*sizes[0], *sizes[1])))
    for group in GROUPS.values():
        yield from _in_group(group, before, after, order)
    for name, column in BY_SIZE.items():
        yield from _by_size("", column, order, before.get(name), after.get(name))
    if before.get(PER_M2.name) != after.get(PER_M2.name):
        yield Change("", PER_M2, was=before.get(PER_M2.name), now=after.get(PER_M2.name))


def _in_group(group: Group, before: Document, after: Document, order: Sequence[str]) -> Iterator[Change]:
    were = {entry["key"]: entry for entry in before.get(group.name) or []}
    are = {entry["key"]: entry for entry in after.get(group.name) or []}
    for key, entry in were.items():
        if key not in are:
            yield Change(entry["label"], None, was=REMOVED, key=key)
    for key, entry in are.items():
        old = were.get(key)
        if old is None:
            yield Change(entry["label"], None, now=ADDED, key=key)
            continue
        for column in group.columns:
            if old.get(column.name) != entry.get(column.name):
                yield Change(
                    entry["label"],
                    column,
                    was=old.get(column.name),
                    now=entry.get(column.name),
                    unit_was=old.get("unit"),
                    unit_now=entry.get("unit"),
                    key=key,
                )
        if group.sized is not None:
            name = group.sized.name
            yield from _by_size(entry["label"], group.sized, order, old.get(name), entry.get(name), key)


def _by_size(
    where: str,
    column: Column,
    order: Sequence[str],
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
    key: str = "",
) -> Iterator[Change]:
    were, are = before or {}, after or {}
    # What is given for no size of the document comes last.
    for size in dict.fromkeys((*(size for size in order if size in were or size in are), *were, *are)):
        if were.get(size) != are.get(size):
            yield Change(where, column, size, were.get(size), are.get(size), key=key)


@dataclass(frozen=True, slots=True)
class Told:
    """One change in words: where, what stood there and what stands there."""

    place: str
    was: str
    now: str
    is_entry: bool


def told(before: Document, after: Document, scale: Scale) -> list[Told]:
    """What differs between two sheets, in a reader's units."""
    craft = str(after.get("craft", "knit"))
    return [
        Told(change.place, *change.texts(scale, craft), change.is_entry)
        for change in changes_between(before, after)
    ]
