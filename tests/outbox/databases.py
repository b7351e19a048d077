"""A database that several threads can work in at once."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connections


@pytest.fixture
def shared_by_threads(transactional_db: None, tmp_path: Path) -> Iterator[None]:
    """SQLite's test database lives in memory, where threads meet with errors that no file has: use a file.

    Any other database is shared as it is.
    """
    inherited = connections["default"]
    if inherited.vendor != "sqlite":
        yield
        return
    path = tmp_path / "shared.sqlite3"
    inherited.ensure_connection()
    with sqlite3.connect(path) as file:
        inherited.connection.backup(file)
    file.close()
    in_memory = inherited.settings_dict["NAME"]
    inherited.settings_dict["NAME"] = str(path)
    connections["default"] = connections.create_connection("default")
    yield
    connections["default"].close()
    # Restored here, before the database fixture cleans up: under the file's name it would drop the memory.
    inherited.settings_dict["NAME"] = in_memory
    connections["default"] = inherited
