"""Migrations: forward over a database full of rows, while the release before goes on writing and reading."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models

from testround.operations.migrations_check import (
    RELEASED,
    migrations_since_release,
    problems_of,
    problems_since_release,
)
from tests.operations.servers import embedded


def migration(*operations: Any, **said: Any) -> migrations.Migration:
    made = type("Migration", (migrations.Migration,), {"operations": list(operations), **said})
    return made("0099_next", "rounds")


TEXT = {"max_length": 20}
UNSAFE: dict[str, Any] = {
    "RemoveField place.yarn": migrations.RemoveField("place", "yarn"),
    "DeleteModel Nudge": migrations.DeleteModel("Nudge"),
    "RenameField place.yarn": migrations.RenameField("place", "yarn", "wool"),
    "RenameModel Nudge": migrations.RenameModel("Nudge", "Push"),
    "AddField place.dye": migrations.AddField("place", "dye", models.CharField(default="", **TEXT)),
    "AlterField place.name": migrations.AlterField("place", "name", models.CharField(**TEXT)),
    "AddConstraint place.once": migrations.AddConstraint(
        "place", models.UniqueConstraint(fields=["name"], name="once")
    ),
    "AddIndex place.by_name": migrations.AddIndex("place", models.Index(fields=["name"], name="by_name")),
    "RunPython noop": migrations.RunPython(migrations.RunPython.noop),
    "RunSQL statement": migrations.RunSQL("UPDATE rounds_place SET name = ''"),
}
SAFE: dict[str, Any] = {
    "a column that may be null": migrations.AddField("place", "dye", models.CharField(null=True, **TEXT)),
    "a column with a value of the database's": migrations.AddField(
        "place", "dye", models.CharField(db_default="", **TEXT)
    ),
    "a column that becomes laxer": migrations.AlterField(
        "place", "name", models.CharField(null=True, **TEXT)
    ),
    "an index built beside the work": AddIndexConcurrently(
        "place", models.Index(fields=["name"], name="by_name")
    ),
    "a table": migrations.CreateModel("Dye", [("id", models.BigAutoField(primary_key=True))]),
}


@pytest.mark.parametrize("what", UNSAFE)
def test_what_would_break_the_release_before_or_hold_a_table_is_named(what: str) -> None:
    (problem,) = problems_of(migration(UNSAFE[what]))

    assert problem.startswith(f"rounds.0099_next: {what}")
    assert problems_of(migration(UNSAFE[what], safe_because={what: "Nobody ever wrote one."})) == []


@pytest.mark.parametrize("what", SAFE)
def test_what_widens_is_safe(what: str) -> None:
    assert problems_of(migration(SAFE[what])) == []


def test_a_table_of_the_same_migration_may_have_anything() -> None:
    index = migrations.AddIndex("dye", models.Index(fields=["id"], name="by_id"))

    assert problems_of(migration(SAFE["a table"], index)) == []


def test_a_table_that_came_since_the_release_may_be_changed() -> None:
    stricter = migrations.AlterField("dye", "name", models.CharField(**TEXT))

    assert problems_of(migration(stricter), {("rounds", "dye")}) == []
    assert len(problems_of(migration(stricter), {("errata", "dye")})) == 1


def test_every_migration_since_the_release_leaves_the_release_before_at_work() -> None:
    new = migrations_since_release()

    assert ("outbox", "0004_request_ids") in [(one.app_label, one.name) for one in new] or RELEASED[
        "outbox"
    ] > "0003"
    assert problems_since_release() == []


def test_every_app_with_tables_is_one_of_those_that_are_looked_at() -> None:
    ours = {config.label for config in apps.get_app_configs() if config.name.startswith("testround.")}
    with_migrations = {
        label for label in ours if (Path(apps.get_app_config(label).path) / "migrations").is_dir()
    }

    assert with_migrations == set(RELEASED)


def test_rows_of_the_first_version_come_through_and_the_release_before_goes_on_writing(
    tmp_path: Path,
) -> None:
    done = embedded(tmp_path / "var").run("-m", "tests.operations.migrating")

    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert len(told["before"]) >= 20
    assert set(told["before"].values()) == {6}
    # Tables that a later version has not are none of those.
    for label, count in told["before"].items():
        assert (told["between"][label], told["after"][label]) == (count, count), label
    assert set(told["written by the release before"].values()) == {6}
    for label, count in told["written by the release before"].items():
        assert told["read by the release before"][label] == told["between"][label] + count, label
