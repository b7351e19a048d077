"""`manage.py restore`: the whole of a backup into a server that has nothing yet, or none of it."""

from __future__ import annotations

import contextlib
import json
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from django.apps import apps
from django.core.cache import cache
from django.core.files.storage import default_storage
from django.core.management.color import no_style
from django.db import DEFAULT_DB_ALIAS, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from testround import __version__
from testround.operations.backup.archive import BEGIN, FORMAT, Damaged, Member, members
from testround.operations.backup.files import FOLDER, file_put
from testround.operations.backup.rows import MADE_BY_ITSELF, kept_models, rows_put
from testround.outbox.mail import mails_doubt
from testround.reports.photos import photos_gone

MOST_IN_MEMORY = 8_000_000
ROWS = "rows/"

Tell = Callable[[str], object]


class NotRestored(Exception):
    """Nothing was restored, and the sentence says why."""


@dataclass
class Restored:
    """What was restored."""

    made: str
    version: str
    rows: int = 0
    files: int = 0
    missing: list[str] = field(default_factory=list)
    # Mails that waited when the backup was made: whether they left since, nobody knows here.
    doubted: int = 0


def backup_restore(path: Path, tell: Tell = lambda _: None) -> Restored:
    """Restore a backup into this server's database and storage.

    The archive is read through and compared with its checksums before anything is written. All rows are written in
    one transaction, which is committed when the last file is in the storage.

    Raises
    ------
    Damaged
        The file is not a whole backup.
    NotRestored
        It is a newer version's, or this server is not empty, or the database or the storage refused.
    """
    with _opened(path) as file:
        tell("Reading it through")
        begin, end = _read_through(file)
        targets = _known_migrations(begin)
        tell("Making the tables")
        _make_tables(targets)
        file.seek(0)
        restored = Restored(made=begin["made"], version=begin["version"], missing=end["missing"])
        with tempfile.TemporaryFile("w+") as stored:
            try:
                with transaction.atomic(durable=True):
                    _fill(file, begin, targets, restored, stored, tell)
            except BaseException as error:
                _take_away(stored)
                if isinstance(error, NotRestored | Damaged) or not isinstance(error, Exception):
                    raise
                raise NotRestored(f"It broke off, and nothing is left of it: {error}") from error
    tell("Bringing it to this version")
    _migrate()
    photos_gone(names=end["gone"])
    restored.doubted = mails_doubt()
    # What is kept ready was written of other rows.
    cache.clear()
    return restored


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[IO[bytes]]:
    try:
        file = path.open("rb")
    except OSError as error:
        raise NotRestored(f"{path} cannot be read: {error.strerror}.") from error
    with file:
        yield file


def _read_through(file: IO[bytes]) -> tuple[dict[str, Any], dict[str, Any]]:
    begin: dict[str, Any] = {}
    end: dict[str, Any] = {}
    for number, member in enumerate(members(file, end)):
        if number == 0:
            begin = _beginning(member)
    if not begin:
        raise Damaged("It has no beginning.")
    return begin, end


def _beginning(member: Member) -> dict[str, Any]:
    if member.name != BEGIN or member.size > MOST_IN_MEMORY:
        raise Damaged(f"It begins with {member.name}, and a backup begins with {BEGIN}.")
    begin: dict[str, Any] = json.loads(member.content())
    if begin.get("format") != FORMAT:
        raise NotRestored(
            f"It is of the format {begin.get('format')!r}, and this version ({__version__}) reads {FORMAT!r}: "
            "restore it with the version that made it, or a later one."
        )
    return begin


# -- which tables ------------------------------------------------------------------------------------------


def _known_migrations(begin: dict[str, Any]) -> set[tuple[str, str]]:
    """The migrations at which the backup was made, all of which this program has to know."""
    made_at = {(app, name) for app, name in begin["migrations"]}
    loader = MigrationLoader(connection)
    installed = {config.label for config in apps.get_app_configs()}
    unknown = sorted(
        f"{app}.{name}" for app, name in made_at if app in installed and (app, name) not in loader.graph.nodes
    )
    unknown += sorted(f"{app}.{name}" for app, name in made_at if app not in installed)
    if unknown:
        raise NotRestored(
            f"It was made by a newer version ({begin['version']}, this is {__version__}), whose {unknown[0]} is not "
            "known here: restore it with that version or a later one."
        )
    return made_at


def _make_tables(targets: set[tuple[str, str]]) -> None:
    """Bring a database without tables to the backup's migrations; one with tables has to be there already."""
    _check_empty(apps)
    executor = MigrationExecutor(connection)
    if set(executor.loader.applied_migrations) - targets:
        raise NotRestored(
            "This server's tables are those of a later version than the backup's: restore into a database without "
            "tables, which are then made as they were and brought to this version."
        )
    executor.migrate(_leaves(executor.loader, targets))


def _leaves(loader: MigrationLoader, targets: set[tuple[str, str]]) -> list[tuple[str, str]]:
    """Those of the migrations on which none other of them rests."""
    parents = {
        parent.key
        for key in targets
        for parent in loader.graph.node_map[key].parents
        if parent.key in targets
    }
    return sorted(targets - parents)


def _check_empty(state: Any) -> None:
    """Refuse a server on which there is anything already."""
    there = connection.introspection.table_names()
    for model in kept_models(state):
        if model._meta.label in MADE_BY_ITSELF or model._meta.db_table not in there:
            continue
        if model._base_manager.exists():
            raise NotRestored(
                f"This server is not empty: there are rows in {model._meta.db_table}. A backup is restored into an "
                "empty server alone, so that nothing is overwritten or mixed."
            )


# -- what is in them ---------------------------------------------------------------------------------------


def _fill(
    file: IO[bytes],
    begin: dict[str, Any],
    targets: set[tuple[str, str]],
    restored: Restored,
    stored: IO[str],
    tell: Tell,
) -> None:
    loader = MigrationLoader(connection)
    state = loader.project_state(_leaves(loader, targets)).apps
    models = {model._meta.label: model for model in kept_models(state)}
    _check_empty(state)
    for label in MADE_BY_ITSELF:
        models[label]._base_manager.all().delete()
    end: dict[str, Any] = {}
    rows: dict[str, int] = dict.fromkeys(begin["columns"], 0)
    with _without_triggers():
        tell("Writing the rows")
        for member in members(file, end):
            if member.name.startswith(ROWS):
                label = member.name.split("/")[1]
                rows[label] += rows_put(
                    models[label], begin["columns"][label], member.content(), DEFAULT_DB_ALIAS
                )
            elif member.name.startswith(FOLDER):
                _store(member, stored)
                restored.files += 1
        _check_references()
    if rows != end["rows"] or restored.files != end["files"]:
        raise ValueError("there is more or less in it than its end says")
    restored.rows = sum(rows.values())
    for statement in connection.ops.sequence_reset_sql(no_style(), list(models.values())):
        with connection.cursor() as cursor:
            cursor.execute(statement)


def _store(member: Member, stored: IO[str]) -> None:
    name = member.name.removeprefix(FOLDER)
    with tempfile.SpooledTemporaryFile(max_size=MOST_IN_MEMORY) as content:
        for piece in member.pieces:
            content.write(piece)
        content.seek(0)
        stored.write(f"{name}\n")
        file_put(name, content)


def _take_away(stored: IO[str]) -> None:
    """Delete the files of a restore that failed."""
    stored.seek(0)
    for line in stored:
        with contextlib.suppress(OSError):
            default_storage.delete(line.rstrip("\n"))


@contextlib.contextmanager
def _without_triggers() -> Iterator[None]:
    """Our own triggers stand aside: rows come in the order of their keys, which is not the one they arose in."""
    if connection.vendor == "postgresql":
        tables = _asked(
            "SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid"
            " WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace"
        )
        before = [f"ALTER TABLE {table} DISABLE TRIGGER USER" for (table,) in tables]
        after = [f"ALTER TABLE {table} ENABLE TRIGGER USER" for (table,) in tables]
    else:
        triggers = _asked("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        before = [f'DROP TRIGGER "{name}"' for name, _ in triggers]
        after = [sql for _, sql in triggers]
    with connection.cursor() as cursor:
        for statement in before:
            cursor.execute(statement)
    yield
    with connection.cursor() as cursor:
        for statement in after:
            cursor.execute(statement)


def _asked(statement: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchall()


def _check_references() -> None:
    """Every row that a row refers to is there; PostgreSQL alters no table before that is settled."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    else:
        connection.check_constraints()


def _migrate() -> None:
    from django.core.management import call_command

    call_command("migrate", interactive=False, verbosity=0)
