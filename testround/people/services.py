from __future__ import annotations

from django.db import transaction

from testround.outbox.stopping import choices_save
from testround.people.models import User
from testround.people.readers import Reader


@transaction.atomic
def preferences_save(
    *, user: User, name: str, time_zone: str, shown: Reader, mails: set[str] | None = None
) -> User:
    """Keep how a person is called, where their clock stands, how they like things shown and which mails they want.

    ``mails`` are the kinds that are wanted, of those that can be stopped; None leaves them as they are.
    """
    user.name = name
    user.time_zone = time_zone
    user.units, user.tools, user.terms = shown.units, shown.tools, shown.terms
    user.save(update_fields=["name", "time_zone", "units", "tools", "terms"])
    if mails is not None:
        choices_save(person=user, wanted=mails)
    return user


@transaction.atomic
def newcomer_introduce(*, user: User, name: str, shown: Reader) -> User:
    """What someone said of themselves at sign-up; what they chose to see before stays chosen."""
    user.name = name
    user.units, user.tools, user.terms = shown.units, shown.tools, shown.terms
    user.save(update_fields=["name", "units", "tools", "terms"])
    return user
