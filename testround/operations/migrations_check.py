"""What in a migration would break the release before it, or hold a large table locked."""

from __future__ import annotations

from collections.abc import Iterator, Set
from typing import Any

from django.contrib.postgres.operations import NotInTransactionMixin
from django.db import migrations, models
from django.db.migrations.loader import MigrationLoader

# The last migration of each app in the newest release, whose code runs on while this version's are applied; nothing
# for an app that it has not. Brought up to date with each release. Before the first it is where the rule began.
RELEASED = {
    "api": "",
    "errata": "0007_waiting_and_asking",
    "following": "0002_webhooks",
    "operations": "",
    "outbox": "0003_mails",
    "patterns": "0005_what_readers_see",
    "people": "0003_the_language_chosen",
    "reports": "0006_what_a_photo_shows",
    "rounds": "0019_how_testers_are_thanked",
    "talk": "0002_whom_a_word_is_to",
}

# Of these, a migration's ``safe_because`` may say for each why it does no harm: {"RemoveField Place.old": "…"}.
Explained = dict[str, str]
Made = Set[tuple[str, str]]


def problems_since_release() -> list[str]:
    """What is not safe in any migration that the newest release has not."""
    new = migrations_since_release()
    made = {
        (migration.app_label, operation.name.lower())
        for migration in new
        for operation in migration.operations
        if isinstance(operation, migrations.CreateModel)
    }
    return [problem for migration in new for problem in problems_of(migration, made)]


def problems_of(migration: migrations.Migration, made: Made = frozenset()) -> list[str]:
    """A sentence for each operation that is not safe while the release before is at work, unless it is explained.

    Tables in ``made`` the release before does not know.

    Rows are there when it runs, and people write more of them meanwhile. So nothing may be taken away, renamed or
    made stricter that the release before still reads or writes, and no large table be locked for long.
    """
    explained: Explained = getattr(migration, "safe_because", {})
    new = {name for app, name in made if app == migration.app_label}
    new |= {op.name.lower() for op in migration.operations if isinstance(op, migrations.CreateModel)}
    return [
        f"{migration.app_label}.{migration.name}: {what}: {why}"
        for operation in migration.operations
        for what, why in _unsafe(operation, new)
        if not explained.get(what)
    ]


def _unsafe(operation: Any, made: set[str]) -> Iterator[tuple[str, str]]:
    model = str(getattr(operation, "model_name", "") or getattr(operation, "name", ""))
    if model.lower() in made:
        # Nobody has rows in it yet, or knows of it.
        return
    named = f"{type(operation).__name__} {model}"
    match operation:
        case migrations.RemoveField() | migrations.DeleteModel():
            where = f"{named}.{operation.name}" if isinstance(operation, migrations.RemoveField) else named
            yield where, "the release before still reads it; take it away one release after its last use"
        case migrations.RenameField():
            yield (
                f"{named}.{operation.old_name}",
                "the release before knows it by its old name; add the new one, write both, take away the old later",
            )
        case migrations.RenameModel() | migrations.AlterModelTable():
            yield f"{type(operation).__name__} {model}", "the release before knows the table by its old name"
        case migrations.AddField() if not _can_be_left_out(operation.field):
            yield (
                f"{named}.{operation.name}",
                "the release before writes rows without it; give it a db_default, or let it be null",
            )
        case migrations.AlterField() if not _can_be_left_out(operation.field):
            yield (
                f"{named}.{operation.name}",
                "what it refuses from now on the release before may write; say why it does not, or add a "
                "constraint one release later",
            )
        case migrations.AddConstraint():
            yield (
                f"{named}.{operation.constraint.name}",
                "rows may be there that do not keep it, and the table is locked while they are read",
            )
        case migrations.AddIndex() if not isinstance(operation, NotInTransactionMixin):
            yield (
                f"{named}.{operation.index.name}",
                "the table is locked while it is built; use AddIndexConcurrently in a migration that is not atomic",
            )
        case migrations.RunSQL() | migrations.RunPython():
            function = getattr(operation, "code", None)
            what = getattr(function, "__name__", "") or "statement"
            yield (
                f"{type(operation).__name__} {what}",
                "it may take long or lock rows that people are at; say how it goes by small steps and may be repeated",
            )


def _can_be_left_out(field: models.Field[Any, Any]) -> bool:
    return field.null or field.has_db_default() or field.many_to_many


def migrations_since_release() -> list[migrations.Migration]:
    """The program's own migrations that the newest release has not, in the order in which they are applied."""
    loader = MigrationLoader(None)
    plan: list[tuple[str, str]] = []
    for leaf in loader.graph.leaf_nodes():
        plan += [key for key in loader.graph.forwards_plan(leaf) if key not in plan]
    return [
        loader.disk_migrations[app, name] for app, name in plan if app in RELEASED and name > RELEASED[app]
    ]
