"""Rows as lines of JSON and back, exact to the last bit, on whichever database."""

from __future__ import annotations

import datetime as dt
import decimal
import gzip
import json
from collections.abc import Iterator
from typing import Any

from django.db import connections, models

# So much of lines goes into one member.
CHUNK_BYTES = 4_000_000
READ_AT_ONCE = 1000
# Who is signed in is nobody's to take along, and a copy that is stolen opens no door.
LEFT_OUT = frozenset({"sessions.Session"})
# Rows that Django makes by itself beside the tables.
MADE_BY_ITSELF = ("auth.Permission", "contenttypes.ContentType")

Model = type[models.Model]


def kept_models(apps: Any) -> list[Model]:
    """Every table that goes into a backup, of the program's apps or of a state of its migrations."""
    found = [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and model._meta.label not in LEFT_OUT
    ]
    return sorted(found, key=lambda model: model._meta.label)


def columns_of(model: Model) -> list[str]:
    return [field.attname for field in model._meta.concrete_fields]


def chunks_of(model: Model, using: str) -> Iterator[tuple[int, bytes]]:
    """The table's rows, some megabytes of lines at a time, packed; with how many rows each chunk has."""
    fields = model._meta.concrete_fields
    rows = model._base_manager.using(using).order_by("pk").iterator(chunk_size=READ_AT_ONCE)
    lines: list[str] = []
    size = 0
    for row in rows:
        line = json.dumps([_said(field, row) for field in fields], default=_as_text, separators=(",", ":"))
        lines.append(line)
        size += len(line)
        if size >= CHUNK_BYTES:
            yield len(lines), _packed(lines)
            lines, size = [], 0
    if lines:
        yield len(lines), _packed(lines)


def _packed(lines: list[str]) -> bytes:
    return gzip.compress("\n".join(lines).encode(), compresslevel=4, mtime=0)


def _said(field: Any, row: models.Model) -> Any:
    value = field.value_from_object(row)
    if value is None or isinstance(field, models.JSONField) or isinstance(value, bool | int | float):
        return value
    if isinstance(value, dt.datetime | dt.date | dt.time | decimal.Decimal):
        return _as_text(value)
    return field.value_to_string(row)


def _as_text(value: Any) -> str:
    # Whole: Django's own encoder cuts a moment to milliseconds.
    return value.isoformat() if isinstance(value, dt.datetime | dt.date | dt.time) else str(value)


def rows_put(model: Model, columns: list[str], packed: bytes, using: str) -> int:
    """Write the rows of one chunk as they were, whatever the model would fill in. Returns how many.

    Raises
    ------
    LookupError
        A column of the chunk is not one of the table.
    """
    by_name = {field.attname: field for field in model._meta.concrete_fields}
    fields = [by_name[name] for name in columns]
    lines = gzip.decompress(packed).decode().split("\n")
    rows = [
        model(
            **{
                field.attname: _heard(field, value)
                for field, value in zip(fields, json.loads(line), strict=True)
            }
        )
        for line in lines
    ]
    at_once = connections[using].ops.bulk_batch_size(fields, rows) or 1
    at_once = min(at_once, READ_AT_ONCE)
    for start in range(0, len(rows), at_once):
        model._base_manager.using(using)._insert(
            rows[start : start + at_once], fields=fields, using=using, raw=True
        )
    return len(rows)


def _heard(field: Any, value: Any) -> Any:
    if isinstance(field, models.JSONField):
        # "Nothing" in a column that has to hold something is JSON's own null.
        return models.Value(None, field) if value is None and not field.null else value
    if isinstance(field, models.ForeignKey):
        return field.target_field.to_python(value)
    return field.to_python(value)
