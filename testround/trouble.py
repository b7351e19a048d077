"""What is wrong with the machine and not with a request: a database that does not answer, a disk that is full.

Such trouble passes. Whoever asked is told to come back, and work that met it is done later, however often it met it.
"""

from __future__ import annotations

import errno
import sqlite3
import sys

from django.db import InterfaceError, OperationalError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

# Seconds after which it is worth asking again: a database is restarted in less.
RETRY_AFTER = 20
NO_ROOM = gettext_noop(
    "There is no room left on this server for what you sent, so it was not taken. Keep it where it is, and send it "
    "again later; what had arrived before is safe."
)
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
# Of https://www.sqlite.org/rescode.html: others, as a table that is not there, do not pass by themselves.
_SQLITE_FULL = sqlite3.SQLITE_FULL
_SQLITE_AWAY = frozenset(
    {
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_READONLY,
    }
)
_POSTGRES_FULL = "53100"


def no_room(error: BaseException | None) -> bool:
    """Whether a disk, a quota or the database's own storage is full."""
    if isinstance(error, OSError):
        return error.errno in _FULL
    if isinstance(error, OperationalError):
        cause = error.__cause__
        return _sqlite_code(cause) == _SQLITE_FULL or getattr(cause, "sqlstate", None) == _POSTGRES_FULL
    return False


def passes(error: BaseException | None) -> bool:
    """Whether it is trouble that passes: no room, a database that is away or busy, or a store of files that is."""
    if no_room(error):
        return True
    if isinstance(error, OperationalError | InterfaceError):
        code = _sqlite_code(error.__cause__)
        return code is None or code in _SQLITE_AWAY
    return _is_store_away(error)


def no_room_words() -> str:
    """What its sender is told where there is no room."""
    return _(NO_ROOM)


def _sqlite_code(cause: BaseException | None) -> int | None:
    """SQLite's primary result code, where the trouble is SQLite's."""
    code = getattr(cause, "sqlite_errorcode", None)
    return None if code is None else int(code) & 0xFF


def _is_store_away(error: BaseException | None) -> bool:
    """Of an S3 store: whether it could not be reached, or is out of order itself."""
    module = sys.modules.get("botocore.exceptions")
    if module is None:
        # Whoever has not loaded it has not asked such a store.
        return False
    if isinstance(error, module.ClientError):
        return int(error.response.get("ResponseMetadata", {}).get("HTTPStatusCode", 0)) >= 500
    return isinstance(error, module.HTTPClientError | module.ConnectionError)
