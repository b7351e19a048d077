"""Indexes that are made while people work."""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db.migrations import AddIndex
from django.db.migrations.state import ProjectState


class AddIndexAtWork(AddIndexConcurrently):
    """Adds an index without holding up who writes to the table, where the database can: PostgreSQL.

    The migration has to be ``atomic = False``:
    https://www.postgresql.org/docs/current/sql-createindex.html#SQL-CREATEINDEX-CONCURRENTLY.
    """

    def database_forwards(self, app_label: str, schema_editor: Any, *states: ProjectState) -> None:
        how = AddIndexConcurrently if schema_editor.connection.vendor == "postgresql" else AddIndex
        how.database_forwards(self, app_label, schema_editor, *states)

    def database_backwards(self, app_label: str, schema_editor: Any, *states: ProjectState) -> None:
        how = AddIndexConcurrently if schema_editor.connection.vendor == "postgresql" else AddIndex
        how.database_backwards(self, app_label, schema_editor, *states)
