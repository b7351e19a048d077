"""Mail to a folder, for an installation without a mail server, and reading that folder back for its page."""

from __future__ import annotations

import datetime as dt
import email
import email.policy
import itertools
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from email.message import EmailMessage as ParsedMessage
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.utils import timezone

MAIL_NAME = re.compile(r"^\d{8}T\d{12}-\d+-\d+\.eml$")
_serial = itertools.count()


class NotWritten(Exception):
    """The folder did not take the mail."""


class FolderBackend(BaseEmailBackend):
    """Writes each message as a file; the name begins with the time, so that names sort by it."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for message in email_messages:
            try:
                self._write(message)
            except OSError as error:
                raise NotWritten(f"{settings.MAIL_FOLDER}: {error.strerror or error}") from error
        return len(email_messages)

    def _write(self, message: EmailMessage) -> None:
        folder = Path(settings.MAIL_FOLDER)
        folder.mkdir(parents=True, exist_ok=True)
        stamp = timezone.now().strftime("%Y%m%dT%H%M%S%f")
        name = f"{stamp}-{os.getpid()}-{next(_serial)}.eml"
        partial = folder / f".{name}.part"
        try:
            partial.write_bytes(message.message().as_bytes())
            partial.rename(folder / name)
        except OSError:
            # Of a disk that is full, the beginning of a mail takes up what is left.
            partial.unlink(missing_ok=True)
            raise


@dataclass(frozen=True, slots=True)
class Mail:
    """One mail as the page shows it."""

    name: str
    sender: str
    to: str
    subject: str
    sent: dt.datetime
    text: str
    html: str
    stop: str
    """The address that ends this kind of mail, where it names one."""


def mail_names() -> list[str]:
    """The names of all mails of the folder, newest first."""
    folder = Path(settings.MAIL_FOLDER)
    if not folder.is_dir():
        return []
    return sorted((path.name for path in folder.iterdir() if MAIL_NAME.match(path.name)), reverse=True)


def mails(most: int = 100) -> list[Mail]:
    """The newest mails of the folder, newest first."""
    return [_read(Path(settings.MAIL_FOLDER) / name) for name in mail_names()[:most]]


def mail_named(name: str) -> Mail | None:
    """One mail of the folder; None where there is none of that name."""
    path = Path(settings.MAIL_FOLDER) / name
    return _read(path) if MAIL_NAME.match(name) and path.is_file() else None


def _read(path: Path) -> Mail:
    message = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
    assert isinstance(message, ParsedMessage)  # noqa: S101 -- what the default policy makes
    plain, html = (message.get_body(preferencelist=(form,)) for form in ("plain", "html"))
    return Mail(
        name=path.name,
        sender=str(message["From"] or ""),
        to=str(message["To"] or ""),
        subject=str(message["Subject"] or ""),
        # The name begins with the time, in UTC.
        sent=dt.datetime.strptime(path.name.split("-")[0], "%Y%m%dT%H%M%S%f").replace(tzinfo=dt.UTC),
        text=plain.get_content() if plain else "",
        html=html.get_content() if html else "",
        stop=str(message["List-Unsubscribe"] or "").strip("<>"),
    )
