"""What the program writes down of its work: lines that belong to a request, with nothing of a person in them.

Every request has an id, its own ``X-Request-ID`` where that is sane and one made here otherwise. Whatever is logged
while it is answered bears it, and so does the work that follows, since rows of work and mails keep the id of the
request that wrote them.

No line holds an address of mail or network, a query string, or the secret part of an address: what a message or
an exception would tell is taken out of it here, whoever logs it.
"""

from __future__ import annotations

import logging
import re
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from pythonjsonlogger.json import JsonFormatter

SANE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{7,63}")
LONGEST = 64

_current: ContextVar[str] = ContextVar("request_id", default="")


def request_id() -> str:
    """The id of the request that is answered here, or whose work is done; empty outside of any."""
    return _current.get()


def new_id() -> str:
    return uuid.uuid4().hex


def id_of_header(said: str | None) -> str:
    """The id that a request brought along, or a new one where it has none that can be written down as it is."""
    return said if said and SANE.fullmatch(said) else new_id()


@contextmanager
def following(request: str) -> Iterator[None]:
    """What is logged in here belongs to that request."""
    token = _current.set(request)
    try:
        yield
    finally:
        _current.reset(token)


# -- nothing of a person -----------------------------------------------------------------------------------

TAKEN_OUT = (
    # What PostgreSQL says of the row: it quotes values.
    (re.compile(r"DETAIL: .*"), "DETAIL: […]"),
    (re.compile(r"[^\s@<>\"'(),;:=\[\]]+@[^\s@<>\"'(),;:=\[\]]+"), "[address]"),
    (re.compile(r"(/[^\s?\"'<>]*)\?[^\s\"'<>]+"), r"\1?[…]"),
    # Signed values, of three parts; and long parts of a path, but for the names of photos and files of code.
    (re.compile(r"[\w=-]{6,}:[\w-]{4,}:[\w-]{20,}"), "[secret]"),
    (re.compile(r"(?<=/)(?![0-9a-f-]{36}\b)[\w=-]{20,}(?=/)(?!/[^\s]*\.py)"), "[secret]"),
    (re.compile(r"(?<![\d.])(?!127\.0\.0\.1\b|0\.0\.0\.0\b)\d{1,3}(?:\.\d{1,3}){3}(?![\d.])"), "[network]"),
    (re.compile(r"(?<![\w:.])(?:[0-9a-fA-F]{1,4}:{1,2}){3,7}[0-9a-fA-F]{0,4}(?![\w:])"), "[network]"),
)


def without_persons(text: str) -> str:
    for pattern, instead in TAKEN_OUT:
        text = pattern.sub(instead, text)
    return text


class Discreet(logging.Filter):
    """Puts the request's id on each record, and lets Django's own words about a request name its route alone."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = getattr(record, "request_id", "") or request_id()
        request = record.__dict__.pop("request", None)
        if request is not None and record.name.startswith(("django.request", "django.security")):
            what = re.split(r"[:(]", record.getMessage())[0].strip()
            record.msg, record.args = f"{what}: {request.method} {route_of(request)}", ()
        return True


def route_of(request: Any) -> str:
    """The name of the address that a request asked for, which tells nothing of whom or what it is about."""
    match = getattr(request, "resolver_match", None)
    return (match.view_name if match else "") or "(none)"


class Lines(logging.Formatter):
    """A line for a person to read."""

    def __init__(self) -> None:
        super().__init__("{asctime} {levelname} {name}: {message}", style="{")

    def format(self, record: logging.LogRecord) -> str:
        return without_persons(super().format(record))


class Json(JsonFormatter):
    """A line of JSON for a program to read."""

    def __init__(self) -> None:
        super().__init__(
            "{levelname}{name}{message}{request_id}",
            style="{",
            rename_fields={"levelname": "level", "name": "logger"},
            timestamp="time",
            json_ensure_ascii=False,
        )

    def process_log_record(self, log_data: dict[str, Any]) -> dict[str, Any]:
        return {name: without_persons(v) if isinstance(v, str) else v for name, v in log_data.items()}


FORMATS = {"lines": "testround.logs.Lines", "json": "testround.logs.Json"}


def configuration(*, level: str, form: str) -> dict[str, Any]:
    """What `logging.config.dictConfig` takes: everything on standard error, in one form."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"discreet": {"()": "testround.logs.Discreet"}},
        "formatters": {"chosen": {"()": FORMATS[form]}},
        "handlers": {
            "console": {"class": "logging.StreamHandler", "formatter": "chosen", "filters": ["discreet"]}
        },
        "loggers": {
            # The development server's own line has the whole address in it; ours says the same without.
            "django.server": {"handlers": ["console"], "level": "WARNING", "propagate": False},
            "gunicorn.error": {"handlers": ["console"], "level": level, "propagate": False},
            "gunicorn.access": {"handlers": [], "propagate": False},
            # Written however little else is.
            "testround.security": {"level": "INFO"},
            # It would name every passkey that is made.
            "fido2": {"level": "WARNING"},
        },
        "root": {"handlers": ["console"], "level": level},
    }
