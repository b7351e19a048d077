"""Rows written many at a time: by COPY into PostgreSQL, by prepared statements into SQLite.

A row is a list of what its columns hold as the database takes it (`Table.written`), so that whoever writes the same
row a thousand times over works out most of it once.
"""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Iterable, Sequence
from typing import Any

from django.core.management.color import no_style
from django.db import connection
from django.db.models import Field, JSONField, Max, Model

# As COPY reads text: https://www.postgresql.org/docs/current/sql-copy.html
_NULL = "\\N"
_ESCAPED = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})
_AT_ONCE = 5000


class Table:
    """A table that is being filled, and the rows that wait to be written."""

    def __init__(self, model: type[Model]) -> None:
        self.model = model
        self.fields: list[Field[Any, Any]] = list(model._meta.concrete_fields)
        self.columns = {field.attname: index for index, field in enumerate(self.fields)}
        self.next_pk = 1 + (model._default_manager.aggregate(last=Max("pk"))["last"] or 0)
        self.written_rows = 0
        self._waiting: list[Sequence[Any]] = []
        self._copies = connection.vendor == "postgresql"

    def written(self, field: str, value: Any) -> Any:
        """What the column of this field holds for a value."""
        if self._copies:
            return _as_text(self.fields[self.columns[field]], value)
        return self.fields[self.columns[field]].get_db_prep_save(value, connection)

    def row_of(self, instance: Model) -> list[Any]:
        return [self.written(field.attname, getattr(instance, field.attname)) for field in self.fields]

    def add(self, row: Sequence[Any]) -> None:
        self._waiting.append(row)

    def add_new(self, instances: Iterable[Model]) -> None:
        """Add objects that have no key yet, and give them one."""
        for instance in instances:
            instance.pk = self.next_pk
            self.next_pk += 1
            self.add(self.row_of(instance))

    def flush(self) -> None:
        """Write what waits."""
        rows, self._waiting = self._waiting, []
        if not rows:
            return
        table = connection.ops.quote_name(self.model._meta.db_table)
        names = ", ".join(connection.ops.quote_name(field.column) for field in self.fields)
        with connection.cursor() as cursor:
            if self._copies:
                with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                    for start in range(0, len(rows), _AT_ONCE):
                        copy.write("".join("\t".join(row) + "\n" for row in rows[start : start + _AT_ONCE]))
            else:
                marks = ", ".join(["%s"] * len(self.fields))
                # Names of our own tables and columns, quoted.
                cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)  # noqa: S608
        self.written_rows += len(rows)


def sequences_follow(models: Iterable[type[Model]]) -> None:
    """Have the database give out keys after the ones that were written."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(models)):
            cursor.execute(statement)


def analyse_tables() -> None:
    """Let the database count what is in its tables, of which it makes its plans."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")


def _as_text(field: Field[Any, Any], value: Any) -> str:
    if value is None:
        return _NULL
    if isinstance(value, bool):
        return "t" if value else "f"
    if isinstance(field, JSONField):
        return json.dumps(value).translate(_ESCAPED)
    if isinstance(value, (dt.date, uuid.UUID)):
        return str(value)
    return str(value).translate(_ESCAPED)
