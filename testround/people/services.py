from __future__ import annotations

from django.db import transaction

from testround.people.models import User
from testround.people.readers import Reader


@transaction.atomic
def preferences_save(*, user: User, name: str, time_zone: str, shown: Reader) -> User:
    """Keep how a person is called, where their clock stands and how they like things shown."""
    user.name = name
    user.time_zone = time_zone
    user.units, user.tools, user.terms = shown.units, shown.tools, shown.terms
    user.save(update_fields=["name", "time_zone", "units", "tools", "terms"])
    return user


@transaction.atomic
def newcomer_introduce(*, user: User, name: str, shown: Reader) -> User:
    """What someone said of themselves at sign-up; what they chose to see before stays chosen."""
    user.name = name
    user.units, user.tools, user.terms = shown.units, shown.tools, shown.terms
    user.save(update_fields=["name", "units", "tools", "terms"])
    return user
