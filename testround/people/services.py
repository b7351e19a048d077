from __future__ import annotations

from django.db import transaction

from testround.outbox.stopping import choices_save
from testround.people.models import User
from testround.people.readers import Reader

SHOWN = ("units", "tools", "terms", "language")


@transaction.atomic
def preferences_save(
    *, user: User, name: str, time_zone: str, shown: Reader, mails: set[str] | None = None
) -> User:
    """Keep how a person is called, where their clock stands, how they like things shown and which mails they want.

    ``mails`` are the kinds that are wanted, of those that can be stopped; None leaves them as they are.
    """
    user.name = name
    user.time_zone = time_zone
    _shown_keep(user, shown)
    user.save(update_fields=["name", "time_zone", *SHOWN])
    if mails is not None:
        choices_save(person=user, wanted=mails)
    return user


@transaction.atomic
def newcomer_introduce(*, user: User, name: str, shown: Reader) -> User:
    """What someone said of themselves at sign-up; what they chose to see before stays chosen."""
    user.name = name
    _shown_keep(user, shown)
    user.save(update_fields=["name", *SHOWN])
    return user


def _shown_keep(user: User, shown: Reader) -> None:
    """Put into the fields of an account how its person likes things shown; the caller saves them."""
    for field in SHOWN:
        setattr(user, field, getattr(shown, field))
