"""All that the server holds about a person: to be read, to be taken away, and to be erased.

The room of accounts knows only accounts. Each room above registers what it keeps of a person, why a person cannot
go yet, and what becomes of its own rows when they do.
"""

from __future__ import annotations

import email
import email.policy
import json
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from allauth.account.models import EmailAddress
from django.conf import settings
from django.core.files.storage import Storage
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import Q, QuerySet, Value
from django.db.models.functions import Upper
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.kernel.problems import InputProblems, Problem
from testround.outbox.mailbox import MAIL_NAME
from testround.outbox.models import Mail, Stopped
from testround.people.models import User
from testround.prepared import Prepared
from testround.security import Event, done

FORMAT = "testround/about-me"
VERSION = 1
CHUNK = 256 * 1024


@dataclass(frozen=True, slots=True)
class HeldFile:
    """A stored file and the name it gets in the ZIP."""

    name: str
    storage: Storage
    stored: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """One kind of thing held: ``key`` names it in the JSON, ``seen_by`` says who sees it besides the person."""

    key: str
    title: str
    seen_by: str
    rows: Sequence[Mapping[str, Any]]
    files: Sequence[HeldFile] = ()


Keeper = Callable[[User], Shelf]
Eraser = Callable[[User], None]
Hindrance = Callable[[User], str]
_keepers: list[Keeper] = []
_erasers: list[Eraser] = []
_hindrances: list[Hindrance] = []


def keeps(keeper: Keeper) -> Keeper:
    """Register what a room keeps of a person. It reads in a fixed number of queries, and nothing of anyone else."""
    _keepers.append(keeper)
    return keeper


def erases(eraser: Eraser) -> Eraser:
    """Register what becomes of a room's rows when a person erases themselves. It runs in that transaction."""
    _erasers.append(eraser)
    return eraser


def hinders(hindrance: Hindrance) -> Hindrance:
    """Register why a person cannot go yet: a sentence with what to do first, or nothing."""
    _hindrances.append(hindrance)
    return hindrance


class CannotErase(InputProblems):
    """Something of the person's has to find its place first. Each problem is a sentence."""


def held_of(user: User) -> list[Shelf]:
    """Everything the server holds about a person, room by room."""
    return [_account(user), _mails(user), *(keeper(user) for keeper in _keepers)]


_ADDRESSES: Prepared[EmailAddress] = Prepared(
    lambda user: EmailAddress.objects.filter(user=user).order_by("pk")
)
_STOPPED: Prepared[str] = Prepared(
    lambda user: Stopped.objects.filter(person=user).values_list("kind", flat=True)
)
_MAILS: Prepared[Mail] = Prepared(lambda user, address: _mails_to(user, address).order_by("pk"))


def _account(user: User) -> Shelf:
    row = {
        "name": user.name,
        "email": user.email,
        "joined": user.joined,
        "last_sign_in": user.last_login,
        "has_password": user.has_usable_password(),
        "lengths": user.units,
        "tools": user.tools,
        "terms": user.terms,
        "language": user.language,
        "time_zone": user.time_zone,
        "stopped_mails": _STOPPED.rows(user=user),
        "addresses": [
            {"email": address.email, "confirmed": address.verified, "main": address.primary}
            for address in _ADDRESSES.rows(user=user)
        ],
    }
    return Shelf(
        "account", _("Your account"), _("the designers of the rounds you test see name and address"), [row]
    )


def _mails(user: User) -> Shelf:
    rows = [
        {
            "to": mail.to,
            "subject": mail.subject,
            "state": mail.state,
            "written": mail.created,
            "left": mail.finished,
        }
        for mail in _MAILS.rows(user=user, address=user.email)
    ]
    return Shelf("mails", _("Mails to you"), _("nobody; their text is deleted once they are sent"), rows)


def document_of(shelves: Sequence[Shelf]) -> dict[str, Any]:
    """The shelves as one JSON document; its keys are described in docs/privacy.md."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "made": timezone.now(),
        **{shelf.key: [dict(row) for row in shelf.rows] for shelf in shelves},
    }


class _Outlet:
    """A file that cannot be wound back, and hands on what was written to it."""

    def __init__(self) -> None:
        self._written: list[bytes] = []

    def write(self, data: bytes) -> int:
        self._written.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        pass

    def take(self) -> bytes:
        data = b"".join(self._written)
        self._written.clear()
        return data


def takeaway(user: User) -> Iterator[bytes]:
    """A ZIP with ``about-me.json`` and every file, in pieces: no more than one piece is in memory.

    A file that storage no longer has is left out; the JSON names it all the same.
    """
    shelves = held_of(user)
    outlet = _Outlet()
    with zipfile.ZipFile(outlet, "w", zipfile.ZIP_DEFLATED) as archive:  # type: ignore[call-overload]
        text = json.dumps(document_of(shelves), cls=DjangoJSONEncoder, ensure_ascii=False, indent=2)
        archive.writestr("about-me.json", text + "\n")
        yield outlet.take()
        for file in (file for shelf in shelves for file in shelf.files):
            yield from _packed(archive, outlet, file)
    yield outlet.take()


def _packed(archive: zipfile.ZipFile, outlet: _Outlet, file: HeldFile) -> Iterator[bytes]:
    try:
        source = file.storage.open(file.stored, "rb")
    except FileNotFoundError:
        return
    # Photos are packed already; pressing them again only takes time.
    entry = zipfile.ZipInfo(file.name, date_time=timezone.now().timetuple()[:6])
    with source, archive.open(entry, "w", force_zip64=False) as target:
        while piece := source.read(CHUNK):
            target.write(piece)
            yield outlet.take()


def hindrances_of(user: User) -> list[str]:
    """Why a person cannot erase themselves yet; nothing when they can."""
    return [sentence for hindrance in _hindrances if (sentence := hindrance(user))]


@transaction.atomic
def person_erase(*, user: User) -> None:
    """Erase a person: what is private of them goes, what they sent stays without a name, the account is deleted.

    Erasing someone who is gone already does nothing.

    Raises
    ------
    CannotErase
        They own something that has to be handed over or deleted first.
    """
    # A report on its way holds its place and still has to name its sender: it must not wait for this row.
    locked = User.objects.select_for_update(no_key=True).filter(pk=user.pk).first()
    if locked is None:
        return
    if sentences := hindrances_of(locked):
        raise CannotErase(Problem("", sentence) for sentence in sentences)
    # The rooms above first: what they keep hangs on what the rooms below keep.
    for eraser in reversed(_erasers):
        eraser(locked)
    _mails_to(locked, locked.email).delete()
    address = locked.email
    done(Event.ACCOUNT_ERASED, account=locked.pk)
    locked.delete()
    transaction.on_commit(lambda: _folder_erase(address))


def _mails_to(user: User, address: str) -> QuerySet[Mail]:
    any_case = Mail.objects.alias(any_case=Upper("to"))
    return any_case.filter(Q(person=user) | Q(any_case=Upper(Value(address))))


def _folder_erase(address: str) -> None:
    """Where mails become files, those to this address are deleted too."""
    folder = Path(settings.MAIL_FOLDER)
    if not settings.EMBEDDED or settings.EMAIL_HOST or not folder.is_dir():
        return
    for path in folder.iterdir():
        if not MAIL_NAME.match(path.name):
            continue
        with path.open("rb") as file:
            head = email.message_from_binary_file(file, policy=email.policy.default)
        if address.lower() in str(head["To"] or "").lower():
            path.unlink(missing_ok=True)
