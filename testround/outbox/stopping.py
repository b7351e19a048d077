"""Which kinds of mail a person does not want, and the address that says so without signing in (RFC 8058)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core import signing
from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from testround.outbox.models import Mail, Stopped

SALT = "testround.outbox.stop"
KINDS: dict[str, str] = {
    Mail.Kind.REMINDERS: _("Reminders of dates, and a designer's friendly word"),
    Mail.Kind.NOTES: _(
        "Notes from the designer, questions and answers of a round, and corrections that touch your size"
    ),
}


class UnknownAddress(LookupError):
    """Not an address that we signed."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One kind of mail that a person can do without."""

    kind: str
    words: str
    wanted: bool


def stop_address(*, person_id: int, kind: str) -> str:
    """The address that ends one kind of mail for one person. It holds for as long as the site keeps its key."""
    token = signing.dumps([person_id, kind], salt=SALT)
    return f"{settings.SITE_URL}{reverse('outbox:stop', args=[token])}"


def of_token(token: str) -> tuple[int, str]:
    """The person and kind of such an address.

    Raises
    ------
    UnknownAddress
        It is not one of ours, or its kind cannot be stopped.
    """
    try:
        person_id, kind = signing.loads(token, salt=SALT)
    except (signing.BadSignature, ValueError, TypeError):
        raise UnknownAddress from None
    if kind not in KINDS:
        raise UnknownAddress
    return int(person_id), str(kind)


def choices_of(person: Any) -> list[Choice]:
    """Every kind that can be stopped, and whether this person wants it."""
    stopped = set(Stopped.objects.filter(person=person).values_list("kind", flat=True))
    return [Choice(kind, words, kind not in stopped) for kind, words in KINDS.items()]


def wants(person: Any, kind: str) -> bool:
    return not Stopped.objects.filter(person=person, kind=kind).exists()


@transaction.atomic
def mail_stop(*, person_id: int, kind: str) -> None:
    """No more mails of this kind, those that still wait included. Twice is as good as once.

    Somebody who has no account any more gets none as it is.
    """
    if not get_user_model().objects.filter(pk=person_id).exists():
        return
    Stopped.objects.get_or_create(person_id=person_id, kind=kind)
    Mail.objects.filter(person_id=person_id, kind=kind, state=Mail.State.WAITING).delete()


@transaction.atomic
def mail_resume(*, person_id: int, kind: str) -> None:
    """This kind of mail again."""
    Stopped.objects.filter(person_id=person_id, kind=kind).delete()


@transaction.atomic
def choices_save(*, person: Any, wanted: set[str]) -> None:
    """Keep which kinds a person wants, of all that can be stopped."""
    for kind in KINDS:
        if kind in wanted:
            mail_resume(person_id=person.pk, kind=kind)
        else:
            mail_stop(person_id=person.pk, kind=kind)
