"""Copies of a stencil: the same rows under other keys, for other people, on other days, with values of their own."""

from __future__ import annotations

import datetime as dt
import random
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import ForeignKey, Model

from testround.following.models import Follower
from testround.home.populate.bulk import Table
from testround.home.populate.stencils import Stencil
from testround.patterns.models import Pattern
from testround.people.models import User
from testround.reports.models import Finished, Photo, Sitting, Swatch
from testround.rounds.models import DiaryEntry, Invitation, Place, Round
from testround.talk.models import Word

CODE = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
# How much testers differ: of a reading, of the hours of a sitting, of a swatch; parts of the value.
READINGS, HOURS, GAUGES = 0.01, 0.3, 0.02


@dataclass(frozen=True, slots=True)
class Person:
    pk: int
    name: str


@dataclass(frozen=True, slots=True)
class _Row:
    values: list[Any]
    links: tuple[tuple[int, type[Model], int], ...]
    """Columns that name another row of the stencil: which, of which table, the how-manieth."""
    people: tuple[tuple[int, int | None], ...]
    """Columns that name a person: a seat's number, or None for the designer."""
    dates: tuple[tuple[int, dt.date], ...]
    source: Model


class Copier:
    """One stencil, made ready to be written over and over."""

    def __init__(self, stencil: Stencil, tables: Mapping[type[Model], Table]) -> None:
        self._tables = tables
        self.stencil = stencil
        index = {
            model: {row.pk: number for number, row in enumerate(rows)} for model, rows in stencil.rows.items()
        }
        self._rows = {
            model: [_row(row, tables[model], index, stencil) for row in rows]
            for model, rows in stencil.rows.items()
        }

    def write(
        self, *, designer: Person, testers: Sequence[Person], title: str, days_back: int, rng: random.Random
    ) -> None:
        """One copy: its designer's, its places held by the testers in turn, moved back by some days."""
        first = {model: self._tables[model].next_pk for model in self._rows}
        back = dt.timedelta(days=days_back)
        for model, rows in self._rows.items():
            table = self._tables[model]
            own = _OWN.get(model)
            for row in rows:
                values = row.values.copy()
                values[0] = table.written("id", table.next_pk)
                table.next_pk += 1
                for column, target, number in row.links:
                    values[column] = str(first[target] + number)
                for column, seat in row.people:
                    values[column] = str(designer.pk if seat is None else testers[seat % len(testers)].pk)
                for column, day in row.dates:
                    values[column] = table.written(table.fields[column].attname, day - back)
                if own is not None:
                    own(_Copy(table, values, row, self.stencil, testers, title, rng))
                table.add(values)


@dataclass(slots=True)
class _Copy:
    table: Table
    values: list[Any]
    row: _Row
    stencil: Stencil
    testers: Sequence[Person]
    title: str
    rng: random.Random

    def put(self, field: str, value: Any) -> None:
        self.values[self.table.columns[field]] = self.table.written(field, value)

    def tester(self, place: int) -> Person:
        return self.testers[self.stencil.testers[place] % len(self.testers)]

    def code(self) -> str:
        return "".join(self.rng.choices(CODE, k=11))


def _pattern(copy: _Copy) -> None:
    copy.put("code", copy.code())
    copy.put("title", copy.title)


def _round(copy: _Copy) -> None:
    source: Any = copy.row.source
    copy.put("code", copy.code())
    if source.call_code:
        copy.put("call_code", copy.code())


def _place(copy: _Copy) -> None:
    source: Any = copy.row.source
    copy.put("name", copy.tester(source.pk).name)
    copy.put(
        "measures", {key: round(value * copy.rng.gauss(1, 0.01), 1) for key, value in source.measures.items()}
    )


def _diary(copy: _Copy) -> None:
    source: Any = copy.row.source
    if source.place_id is not None:
        name = copy.tester(source.place_id).name
        copy.put("text", source.text.replace(source.names[0], name))
        copy.put("names", [name])


def _finished(copy: _Copy) -> None:
    source: Any = copy.row.source
    copy.put("values", [round(value * copy.rng.gauss(1, READINGS), 1) for value in source.values])


def _sitting(copy: _Copy) -> None:
    source: Any = copy.row.source
    copy.put("hours", max(0.25, round(source.hours * copy.rng.gauss(1, HOURS) * 4) / 4))


def _swatch(copy: _Copy) -> None:
    source: Any = copy.row.source
    if source.stitches is not None:
        copy.put("stitches", round(source.stitches * copy.rng.gauss(1, GAUGES) * 4) / 4)


def _unique(field: str) -> Callable[[_Copy], None]:
    def put(copy: _Copy) -> None:
        copy.put(field, uuid.UUID(int=copy.rng.getrandbits(128), version=4))

    return put


def _invitation(copy: _Copy) -> None:
    copy.put("secret_hash", f"{copy.rng.getrandbits(256):064x}")


_OWN: dict[type[Model], Callable[[_Copy], None]] = {
    Pattern: _pattern,
    Round: _round,
    Place: _place,
    DiaryEntry: _diary,
    Finished: _finished,
    Sitting: _sitting,
    Swatch: _swatch,
    Photo: _unique("code"),
    Follower: _unique("key"),
    Invitation: _invitation,
}


def _row(
    instance: Any, table: Table, index: Mapping[type[Model], Mapping[int, int]], stencil: Stencil
) -> _Row:
    values = table.row_of(instance)
    links, dates = [], []
    people: list[tuple[int, int | None]] = []
    for column, field in enumerate(table.fields):
        value = getattr(instance, field.attname)
        if isinstance(field, ForeignKey) and value is not None:
            target = field.related_model
            if target is User:
                people.append((column, None))
            else:
                links.append((column, target, index[target][value]))
        elif isinstance(value, dt.date):
            dates.append((column, value))
    if isinstance(instance, Place):
        people.append((table.columns["tester_id"], stencil.testers[instance.pk]))
    elif hasattr(instance, "by_id") and instance.by_id is None and getattr(instance, "place_id", None):
        # What a tester sent or said.
        people.append((table.columns["by_id"], stencil.testers[instance.place_id]))
    if isinstance(instance, Word) and instance.to_id is None:
        people.append((table.columns["to_id"], stencil.testers[instance.place_id]))
    return _Row(values, tuple(links), tuple(people), tuple(dates), instance)
