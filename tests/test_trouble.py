"""Which trouble passes by itself, and which is a mistake of ours or of whoever installs the program."""

from __future__ import annotations

import errno
import sqlite3

import psycopg
import pytest
from botocore.exceptions import ClientError, EndpointConnectionError
from django.db import IntegrityError, InterfaceError, OperationalError

from testround.trouble import no_room, passes


def raised(error: Exception, cause: Exception) -> Exception:
    error.__cause__ = cause
    return error


def of_sqlite(code: int) -> Exception:
    cause = sqlite3.OperationalError("…")
    cause.sqlite_errorcode = code
    return raised(OperationalError("…"), cause)


def of_s3(status: int) -> Exception:
    return ClientError({"Error": {"Code": "…"}, "ResponseMetadata": {"HTTPStatusCode": status}}, "PutObject")  # type: ignore[typeddict-item]


FULL_POSTGRES = raised(OperationalError("…"), psycopg.errors.DiskFull("…"))


@pytest.mark.parametrize(
    ("error", "it_passes", "is_full"),
    [
        (OSError(errno.ENOSPC, "no space left on device"), True, True),
        (OSError(errno.EDQUOT, "quota exceeded"), True, True),
        (FileNotFoundError(errno.ENOENT, "no such file"), False, False),
        (ConnectionRefusedError(errno.ECONNREFUSED, "another program's"), False, False),
        (FULL_POSTGRES, True, True),
        (raised(OperationalError("…"), psycopg.errors.AdminShutdown("…")), True, False),
        (raised(OperationalError("…"), psycopg.OperationalError("connection refused")), True, False),
        (raised(InterfaceError("…"), psycopg.InterfaceError("connection already closed")), True, False),
        (of_sqlite(sqlite3.SQLITE_FULL), True, True),
        (of_sqlite(sqlite3.SQLITE_BUSY_SNAPSHOT), True, False),
        (of_sqlite(sqlite3.SQLITE_CANTOPEN), True, False),
        # A table that is not there: somebody has to migrate.
        (of_sqlite(sqlite3.SQLITE_ERROR), False, False),
        (IntegrityError("…"), False, False),
        (EndpointConnectionError(endpoint_url="http://127.0.0.1:1"), True, False),
        (of_s3(503), True, False),
        (of_s3(403), False, False),
        (ValueError("a mistake of ours"), False, False),
        (None, False, False),
    ],
)
def test_trouble_that_passes_is_told_from_what_somebody_has_to_mend(
    error: Exception | None, it_passes: bool, is_full: bool
) -> None:
    assert (passes(error), no_room(error)) == (it_passes, is_full)
