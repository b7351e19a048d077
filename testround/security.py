"""What touches security, written down: a line to the logger ``testround.security`` for each event.

A line names the event, the number of the account that it is about, where one is known, and a few words of the
program's own; the request's id and the time come with every line of the log. Whose names, addresses, passwords, codes
or contents these were is never given to this module. It asks the database for nothing.

Rooms call `done` and `refused`; what the libraries tell by signals, and what shows in an answer, is noted in
`operations.security_events`.
"""

from __future__ import annotations

import logging
from enum import StrEnum, auto
from functools import partial
from typing import Any

from allauth.core import context
from django.db import transaction
from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

logger = logging.getLogger("testround.security")


class Event(StrEnum):
    """Every kind there is; `docs/running.md` says what each means."""

    SIGNED_IN = auto()
    SIGN_IN_FAILED = auto()
    FIRST_FACTOR_PASSED = auto()
    SECOND_FACTOR_PASSED = auto()
    SECOND_FACTOR_FAILED = auto()
    REAUTHENTICATED = auto()
    REAUTHENTICATION_FAILED = auto()
    SIGNED_OUT = auto()
    SESSIONS_ENDED = auto()
    ACCOUNT_MADE = auto()
    ACCOUNT_CHANGED = auto()
    ACCOUNT_ERASED = auto()
    PASSWORD_CHANGED = auto()
    ADDRESS_CHANGED = auto()
    FACTOR_ADDED = auto()
    FACTOR_REMOVED = auto()
    RECOVERY_CODES_MADE = auto()
    TOKEN_MADE = auto()
    TOKEN_REVOKED = auto()
    TOKEN_REFUSED = auto()
    ACCESS_REFUSED = auto()
    THROTTLED = auto()
    FORGED_REQUEST = auto()
    SUSPICIOUS_REQUEST = auto()
    UPLOAD_REFUSED = auto()


def done(event: Event, *, account: int | None, **words: Any) -> None:
    """Note what somebody did, once it is in the database: what was rolled back did not happen.

    ``words`` are numbers and words of the program, never what somebody typed.
    """
    transaction.on_commit(partial(_write, logging.INFO, event, account, words))


def refused(event: Event, *, account: int | None = None, level: int = logging.WARNING, **words: Any) -> None:
    """Note at once what was tried and not let through; of whoever asks now where no account is named."""
    _write(level, event, account or account_of(context.request), words)


def account_of(request: HttpRequest | None) -> int | None:
    """The number of whoever asks, where that has been found out; nobody is looked up for this."""
    user = request.__dict__.get("user") if request is not None else None
    if isinstance(user, SimpleLazyObject):
        # It would ask the database when it is first looked at; once it has, what it found is kept here.
        user = getattr(request, "_cached_user", None)
    return user.pk if user is not None else None


def _write(level: int, event: Event, account: int | None, words: dict[str, Any]) -> None:
    told = {"account": account, **words}
    said = " ".join(f"{name}={value}" for name, value in told.items() if value is not None)
    logger.log(level, "%s", f"{event} {said}".strip(), extra={"event": str(event), **told})
