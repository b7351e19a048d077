"""`manage.py backup`: the rows of one moment and their files, into a file that is there whole or not at all."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connection, connections, transaction
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from testround import __version__
from testround.operations.backup.archive import BEGIN, FORMAT, Writer
from testround.operations.backup.files import Spool, file_add, names_in, still_named
from testround.operations.backup.rows import chunks_of, columns_of, kept_models
from testround.operations.models import Backup

SNAPSHOT = "snapshot"
# Uploads are re-encoded within seconds of each other; each try needs only those that came since the one before.
MOST_TRIES = 40


class NotMade(Exception):
    """There is no backup, and the sentence says why."""


@dataclass
class Made:
    """What a backup holds."""

    rows: dict[str, int] = field(default_factory=dict)
    files: int = 0
    file_bytes: int = 0
    # Taken back by their owners while the files were copied.
    gone: list[str] = field(default_factory=list)
    # Named by the database, then and now, and not in the storage.
    missing: list[str] = field(default_factory=list)
    size: int = 0

    @property
    def row_count(self) -> int:
        return sum(self.rows.values())


def backup_make(path: Path) -> Made:
    """Write a backup to ``path``, while the server runs.

    Raises
    ------
    NotMade
        The file exists, cannot be written, or the database is not at this program's migrations.
    """
    started = timezone.now()
    try:
        made = _make(path)
    except Exception as error:
        sentence = str(error) if isinstance(error, NotMade) else f"{path} could not be written: {error}."
        Backup.objects.create(started=started, file=str(path)[:500], problem=sentence)
        raise NotMade(sentence) from error
    Backup.objects.create(
        started=started,
        file=str(path)[:500],
        size=made.size,
        rows=made.row_count,
        files=made.files,
        file_bytes=made.file_bytes,
        missing=len(made.missing),
    )
    return made


def _make(path: Path) -> Made:
    if path.exists():
        raise NotMade(f"{path} is there already; name a new file, and remove old ones when they are old.")
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise NotMade("The database is not at this version's migrations: run manage.py migrate first.")
    part = path.with_name(f"{path.name}.part")
    spool = Path(tempfile.mkdtemp(prefix=f".{path.name}-", dir=path.parent))
    try:
        # Whoever may read this file reads everything: it is its owner's alone.
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            made = _write(file, Spool(spool), sorted(executor.loader.applied_migrations))
            file.flush()
            os.fsync(file.fileno())
        made.size = part.stat().st_size
        part.rename(path)
    finally:
        part.unlink(missing_ok=True)
        shutil.rmtree(spool, ignore_errors=True)
    return made


def _write(file: IO[bytes], spool: Spool, applied: list[tuple[str, str]]) -> Made:
    made = Made()
    writer = Writer(file)
    with tempfile.TemporaryFile("w+", dir=spool.folder) as names:
        with _snapshot(spool, made) as moment:
            begin = {
                "format": FORMAT,
                "version": __version__,
                "made": moment.isoformat(),
                "database": connection.vendor,
                "migrations": applied,
                "columns": {model._meta.label: columns_of(model) for model in kept_models(apps)},
            }
            writer.add(BEGIN, json.dumps(begin).encode())
            for model in kept_models(apps):
                label = model._meta.label
                made.rows[label] = 0
                for number, (count, packed) in enumerate(chunks_of(model, SNAPSHOT), start=1):
                    writer.add(f"rows/{label}/{number}.jsonl.gz", packed)
                    made.rows[label] += count
            for passing in (True, False):
                names.writelines(f"{name}\n" for name in names_in(SNAPSHOT, passing=passing))
        names.seek(0)
        for line in names:
            _add_file(writer, line.rstrip("\n"), spool, made)
    writer.end(
        {
            "rows": made.rows,
            "files": made.files,
            "file_bytes": made.file_bytes,
            "gone": made.gone,
            "missing": made.missing,
        }
    )
    return made


def _add_file(writer: Writer, name: str, spool: Spool, made: Made) -> None:
    if name in made.missing:
        return
    size = file_add(writer, name, spool)
    if size is not None:
        made.files += 1
        made.file_bytes += size
    elif still_named(name):
        made.missing.append(name)
    else:
        made.gone.append(name)


@contextlib.contextmanager
def _snapshot(spool: Spool, made: Made) -> Iterator[dt.datetime]:
    """The database of one moment, under the alias SNAPSHOT, with every upload that waits in it spooled."""
    lost: set[str] = set()
    with _second_connection():
        for _ in range(MOST_TRIES):
            with transaction.atomic(using=SNAPSHOT):
                _hold_still()
                moment = timezone.now()
                gone = set(spool.take(names_in(SNAPSHOT, passing=True)))
                if gone <= lost:
                    made.missing = sorted(gone)
                    yield moment
                    return
                # Of two snapshots both of which name it: it is not on its way, it is lost.
                lost = {name for name in gone if still_named(name)}
    raise NotMade("Uploads come and go faster than they can be copied; try again when fewer are sent.")


def _hold_still() -> None:
    connection_ = connections[SNAPSHOT]
    with connection_.cursor() as cursor:
        if connection_.vendor == "postgresql":
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        # The first reading is the moment.
        cursor.execute("SELECT 1 FROM django_migrations")
        cursor.fetchone()


@contextlib.contextmanager
def _second_connection() -> Iterator[None]:
    """A connection beside the program's own, whose reading keeps nobody from writing."""
    second = connections[DEFAULT_DB_ALIAS].copy(alias=SNAPSHOT)
    if second.vendor == "sqlite":
        second.settings_dict["OPTIONS"]["transaction_mode"] = "DEFERRED"
    connections[SNAPSHOT] = second
    try:
        yield
    finally:
        second.close()
        del connections[SNAPSHOT]
