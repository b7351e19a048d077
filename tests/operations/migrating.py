"""Run beside the suite, in a database of its own: rows at an early state, forward to this version, and written to by
the release before. Prints what was there before and after."""

from __future__ import annotations

import datetime as dt
import json
import sys
import uuid
from typing import Any

import django

django.setup()

from django.db import connection, models  # noqa: E402
from django.db.migrations.executor import MigrationExecutor  # noqa: E402

from testround.operations.migrations_check import RELEASED  # noqa: E402

EACH = 6
# Two apps began with two migrations, as they refer to each other; others began later.
EARLY = {"patterns": "0002_initial", "errata": "0002_initial"}
LATER = ("following", "operations", "api")
START = dt.datetime(2026, 1, 5, 9, 0, tzinfo=dt.UTC)


def value_for(field: Any, n: int, made: dict[str, list[Any]]) -> Any:
    """Something that the field takes, another for each ``n``."""
    if field.null and (n % 2 or isinstance(field, models.ForeignKey)):
        return None
    match field:
        case models.ForeignKey():
            rows = made[field.remote_field.model._meta.label]
            return rows[n % len(rows)]
        case models.UUIDField():
            return uuid.uuid4()
        case models.BooleanField():
            return bool(n % 2)
        case models.IntegerField():
            return n + 1
        case models.FloatField():
            return n + 0.5
        case models.DateTimeField():
            return START + dt.timedelta(hours=n)
        case models.DateField():
            return START.date() + dt.timedelta(days=n)
        case models.JSONField():
            return {}
        case models.EmailField():
            return f"{field.name}{n}@example.org"
    if field.choices:
        options = [key for key, _ in field.flatchoices]
        return options[n % len(options)]
    return f"{n}{field.name}"[: field.max_length or 40]


def fill(apps: Any, numbers: range, into: set[str] | None = None) -> dict[str, list[Any]]:
    """Rows in every table of that state, each after those it refers to."""
    made: dict[str, list[Any]] = {}
    waiting = [
        model
        for model in apps.get_models()
        if model._meta.managed
        and model._meta.app_label in RELEASED
        and (into is None or model._meta.label in into)
    ]
    while waiting:
        ready = [model for model in waiting if _needs(model) <= made.keys()]
        assert ready, f"nobody can begin: {waiting}"
        for model in ready:
            made[model._meta.label] = [_row(model, n, made) for n in numbers]
            waiting.remove(model)
    return made


def _needs(model: Any) -> set[str]:
    return {
        field.remote_field.model._meta.label
        for field in model._meta.concrete_fields
        if isinstance(field, models.ForeignKey) and not field.null and field.remote_field.model is not model
    }


def _row(model: Any, n: int, made: dict[str, list[Any]]) -> Any:
    values = {f.name: value_for(f, n, made) for f in model._meta.concrete_fields if not f.primary_key}
    return model._base_manager.create(**values)


def counts(apps: Any) -> dict[str, int]:
    return {
        model._meta.label: model._base_manager.count()
        for model in apps.get_models()
        if model._meta.app_label in RELEASED
    }


def migrated_to(targets: list[tuple[str, str]]) -> Any:
    executor = MigrationExecutor(connection)
    executor.migrate(targets)
    return executor.loader.project_state(targets).apps


def main() -> None:
    first = [(app, EARLY.get(app, "0001_initial")) for app in RELEASED if app not in LATER]
    early = migrated_to(first)
    fill(early, range(EACH))
    before = counts(early)
    # The release before, as it stood: its tables, and then those of this version under its models.
    released = migrated_to([(app, last) for app, last in RELEASED.items() if last])
    between = counts(released)
    executor = MigrationExecutor(connection)
    now = migrated_to(executor.loader.graph.leaf_nodes())
    after = counts(now)
    written = fill(released, range(EACH, 2 * EACH))
    sys.stdout.write(
        json.dumps(
            {
                "before": before,
                "between": between,
                "after": after,
                "written by the release before": {label: len(rows) for label, rows in written.items()},
                "read by the release before": counts(released),
            }
        )
    )


sys.exit(main())
