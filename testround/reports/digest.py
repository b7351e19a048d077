"""A name for what the kernel reads of a stored round, worked out where the rows are.

Reading two hundred testers' rows only to find that nothing has changed takes longer than all else on a page. Here the
database writes every value that is read into one text, which is hashed: rounds of one name are the same to the kernel.
A column is in it unless it is named as unread, so that a new one counts from its first day.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connections, router
from django.db.models import Field, FloatField, Model

from testround import kernel
from testround.reports.bridge import REPORTED
from testround.reports.models import Photo
from testround.rounds.models import Candidate, Place, Round, SuppliedYarn

# Columns that `kernel_round` and the forecasts of a round leave alone, whatever stands in them.
UNREAD: dict[type[Model], frozenset[str]] = {
    SuppliedYarn: frozenset({"round"}),
    Candidate: frozenset(
        {"round", "typed", "email", "email_key", "units", "terms", "adult", "thanked_at", "form_hash"}
        | {"photo_pattern", "photo_online", "photo_face", "photo_name", "created", "changed"}
    ),
    Place: frozenset(
        {"round", "tester", "candidate", "offered_until", "agreed_at", "agreed_terms", "swatch_until"}
        | {"measures_until", "likely_from", "likely_until", "forgotten_at", "left_at", "changed", "created"}
    ),
}
# Of what testers send. Who supersedes a row is another row; one superseded is not read.
UNREAD_OF_REPORTS = frozenset({"submission", "typed", "sent", "superseded_at"})
UNREAD_OF_PHOTOS = frozenset(
    {"code", "dimension", "state", "problem", "incoming", "original", "width", "height"}
)
# Columns of the round itself that are read; all others are about its people and its days.
READ_OF_ROUNDS = ("title", "opens", "swatches_due", "closes", "places_plan")


def columns_read(model: type[Model]) -> list[Field[Any, Any]]:
    """The columns of a table that count."""
    unread = UNREAD.get(model)
    if unread is None:
        unread = UNREAD_OF_REPORTS | (UNREAD_OF_PHOTOS if model is Photo else frozenset())
    return [field for field in model._meta.concrete_fields if field.name not in unread]


def round_digest(round_: Round) -> str:
    """SHA-256 of all that the kernel reads of a round, and of the kernel itself: one query.

    Round and edition count as they were loaded, since that is how they are read.
    """
    own = [getattr(round_, name) for name in READ_OF_ROUNDS]
    document = json.dumps([own, round_.edition.sheet], cls=DjangoJSONEncoder)
    digest = hashlib.sha256(program_digest() + document.encode())
    connection = connections[router.db_for_read(Round)]
    statement = _statement(connection.vendor)
    with connection.cursor() as cursor:
        cursor.execute(statement, [round_.pk] * statement.count("%s"))
        # The end of each table is said, so that no row of one can stand for a row of the next.
        for text in cursor.fetchone():
            digest.update((text or "").encode() + b"\0")
    return digest.hexdigest()


@cache
def _statement(vendor: str) -> str:
    """Writes the rows of each table as one text, or in PostgreSQL as the hash of one."""
    write = {"sqlite": _written_by_sqlite, "postgresql": _written_by_postgresql}[vendor]
    parts = [write(model, "{table}.round_id = %s") for model in (SuppliedYarn, Candidate, Place)]
    parts += [write(model, _OF_PLACES) for model in REPORTED]
    return f"SELECT {', '.join(parts)}"


_PLACES = f"SELECT id FROM {Place._meta.db_table} WHERE round_id = %s"  # noqa: S608 - a name of our own
_OF_PLACES = f"{{table}}.superseded_at IS NULL AND {{table}}.place_id IN ({_PLACES})"


def _written_by_sqlite(model: type[Model], those: str) -> str:
    def written(field: Field[Any, Any]) -> str:
        if not isinstance(field, FloatField):
            return f'"{field.column}"'
        # As JSON a number loses its last digits; `quote` keeps them, and takes its time.
        whole = f'CAST("{field.column}" AS INTEGER)'
        return f'CASE WHEN "{field.column}" = {whole} THEN {whole} ELSE quote("{field.column}") END'

    table = model._meta.db_table
    row = ", ".join(written(field) for field in columns_read(model))
    where = those.format(table=table)
    return f"(SELECT json_group_array(json_array({row})) FROM {table} WHERE {where})"  # noqa: S608 - as above


def _written_by_postgresql(model: type[Model], those: str) -> str:
    table = model._meta.db_table
    columns = ", ".join(f'"{field.column}"' for field in columns_read(model))
    rows = f"SELECT {columns} FROM {table} WHERE {those.format(table=table)}"  # noqa: S608 - as above
    text = "json_agg(chosen ORDER BY chosen.id)::text"
    return f"(SELECT encode(sha256(convert_to({text}, 'UTF8')), 'hex') FROM ({rows}) chosen)"  # noqa: S608


@lru_cache(maxsize=1)
def program_digest() -> bytes:
    """A digest of the kernel's source: another program may say something else of the same round."""
    digest = hashlib.sha256()
    for path in sorted(Path(kernel.__path__[0]).glob("**/*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.digest()
