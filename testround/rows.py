"""A name for what stands in rows of the database, worked out where the rows are.

Loading hundreds of rows only to find that nothing has changed takes longer than all else on a page. Here the database
writes every value into one text, which is hashed: rows of one name say the same. A column is in it unless it is
named as unread, so that a new one counts from its first day.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from functools import cached_property
from typing import Any

from django.db import connections, router
from django.db.models import Field, FloatField, Model

Table = type[Model]


class RowsDigest:
    """The name of some rows of some tables, all found by one key: one query, and no object is made of any row.

    ``where`` says for every table which of its rows, with ``{table}`` for its name and ``%s`` for the key, wherever
    it is needed; ``unread`` names the columns that nobody looks at.
    """

    def __init__(
        self, where: Mapping[Table, str], unread: Mapping[Table, Collection[str]] | None = None
    ) -> None:
        self._where = where
        self._unread = unread or {}

    def columns(self, table: Table) -> list[Field[Any, Any]]:
        """The columns of a table that count."""
        unread = self._unread.get(table, ())
        return [field for field in table._meta.concrete_fields if field.name not in unread]

    def of(self, key: int, *beside: bytes) -> str:
        """SHA-256 of the rows of a key, and of whatever else is given."""
        connection = connections[router.db_for_read(next(iter(self._where)))]
        statement = self._statements[connection.vendor]
        digest = hashlib.sha256(b"".join(beside))
        with connection.cursor() as cursor:
            cursor.execute(statement, [key] * statement.count("%s"))
            # The end of each table is said, so that no row of one can stand for a row of the next.
            for text in cursor.fetchone():
                digest.update((text or "").encode() + b"\0")
        return digest.hexdigest()

    @cached_property
    def _statements(self) -> dict[str, str]:
        """Writes the rows of each table as one text, or in PostgreSQL as the hash of one."""
        return {
            vendor: "SELECT "
            + ", ".join(
                write(table._meta.db_table, self.columns(table), where.format(table=table._meta.db_table))
                for table, where in self._where.items()
            )
            for vendor, write in (("sqlite", _written_by_sqlite), ("postgresql", _written_by_postgresql))
        }


def rows_of(table: Table, where: str) -> str:
    """The keys of some rows, to find by them what hangs on those."""
    name = table._meta.db_table
    return f"(SELECT id FROM {name} WHERE {where.format(table=name)})"  # noqa: S608 - a name of our own


def _written_by_sqlite(table: str, columns: list[Field[Any, Any]], where: str) -> str:
    def written(field: Field[Any, Any]) -> str:
        if not isinstance(field, FloatField):
            return f'"{field.column}"'
        # As JSON a number loses its last digits; `quote` keeps them, and takes its time.
        whole = f'CAST("{field.column}" AS INTEGER)'
        return f'CASE WHEN "{field.column}" = {whole} THEN {whole} ELSE quote("{field.column}") END'

    row = ", ".join(written(field) for field in columns)
    return f"(SELECT json_group_array(json_array({row})) FROM {table} WHERE {where})"  # noqa: S608 - as above


def _written_by_postgresql(table: str, columns: list[Field[Any, Any]], where: str) -> str:
    names = ", ".join(f'"{field.column}"' for field in columns)
    rows = f"SELECT {names} FROM {table} WHERE {where}"  # noqa: S608 - as above
    text = "json_agg(chosen ORDER BY chosen.id)::text"
    return f"(SELECT encode(sha256(convert_to({text}, 'UTF8')), 'hex') FROM ({rows}) chosen)"  # noqa: S608


def hanging_on(table: Table, where: str) -> dict[Table, str]:
    """Some rows of a table and all rows anywhere that point to one of them, or to one that does, and so on.

    Tables of every room are among them, without being named, and so will be those that come.
    """
    found = {table: where}
    to_follow = [table]
    for table in to_follow:
        inside = rows_of(table, found[table])
        pointing: dict[Table, list[str]] = {}
        for relation in table._meta.related_objects:
            if relation.field.concrete and not relation.field.many_to_many:
                pointing.setdefault(relation.related_model, []).append(
                    f"{{table}}.{relation.field.column} IN {inside}"
                )
        for other, ways in pointing.items():
            if other not in found:
                found[other] = " OR ".join(ways)
                to_follow.append(other)
    return found


def as_loaded(*rows: Model) -> tuple[Any, ...]:
    """What stands in rows as they were loaded, for the name of what is written from them.

    A row may have been loaded just before somebody changed it; a digest asked for after that would name the new one.
    """
    return tuple(
        (type(row).__name__, [row.__dict__.get(field.attname) for field in row._meta.concrete_fields])
        for row in rows
    )
