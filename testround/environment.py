"""Typed readers of environment variables: what is missing or not understood stops the start with a sentence."""

from __future__ import annotations

import os
import zoneinfo
from collections.abc import Sequence
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

YES = frozenset({"1", "true", "yes", "on"})
NO = frozenset({"0", "false", "no", "off"})


def text(name: str, default: str = "") -> str:
    """The variable's value, or what the file named by ``NAME_FILE`` holds, as container secrets do.

    An empty value counts as none: lines of ``.env.example`` copied as they are leave the default in force.
    """
    if file_name := os.environ.get(f"{name}_FILE"):
        try:
            value = Path(file_name).read_text(encoding="utf-8").strip()
        except OSError as error:
            raise ImproperlyConfigured(
                f"{name}_FILE names {file_name}, which cannot be read: {error.strerror}. Mend the path or unset it."
            ) from error
        if not value:
            raise ImproperlyConfigured(
                f"{name}_FILE names {file_name}, which is empty. Write the value into it."
            )
        return value
    return os.environ.get(name, "").strip() or default


def choice(name: str, options: Sequence[str], *, default: str) -> str:
    """One of a few words."""
    value = text(name, default)
    if value not in options:
        raise ImproperlyConfigured(f"{name} is {value!r}; write one of {', '.join(options)}.")
    return value


def truth(name: str, *, default: bool) -> bool:
    value = text(name).lower()
    if not value:
        return default
    if value in YES:
        return True
    if value in NO:
        return False
    raise ImproperlyConfigured(f"{name} is {value!r}; write one of {', '.join(sorted(YES | NO))}.")


def whole_number(name: str, *, default: int) -> int:
    value = text(name)
    if not value:
        return default
    try:
        return int(value)
    except ValueError:
        raise ImproperlyConfigured(f"{name} is {value!r}; write a whole number.") from None


def zone(name: str, *, default: str) -> str:
    """A zone by its name in the IANA database, as in Europe/London."""
    value = text(name, default)
    try:
        zoneinfo.ZoneInfo(value)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        raise ImproperlyConfigured(
            f"{name} is {value!r}, which is no time zone known here; write one such as Europe/London or UTC."
        ) from None
    return value


def address(name: str) -> tuple[str, int] | None:
    """A host and a port, as in 127.0.0.1:9101; None when it is not set."""
    value = text(name)
    if not value:
        return None
    host, _, port = value.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise ImproperlyConfigured(f"{name} is {value!r}; write a host and a port, as in 127.0.0.1:9101.")
    return host, int(port)


def names(name: str, *, default: list[str]) -> list[str]:
    """Comma-separated values."""
    value = text(name)
    return [part.strip() for part in value.split(",") if part.strip()] if value else default
