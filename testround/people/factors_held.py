"""What is held of how a person signs in: to be read and taken away by them, and what becomes of it when they go."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from allauth.mfa.signals import authenticator_removed
from django.dispatch import receiver
from django.utils.translation import gettext as _

from testround.people.factors import factors_of, has_factor
from testround.people.held import Shelf, erases, keeps
from testround.people.models import User
from testround.people.recovery import codes_forget
from testround.people.sessions import sessions_end, signed_in_of


@keeps
def factors_held(user: User) -> Shelf:
    """Which factors there are; never what they are made of."""
    factors = factors_of(user)
    found = [("authenticator app", "", factors.app)] if factors.app else []
    found += [("passkey", one.data.get("name", ""), one) for one in factors.passkeys]
    rows = [
        {"kind": kind, "name": name, "added": one.created_at, "last_used": one.last_used_at}
        for kind, name, one in found
    ]
    if factors.codes_left:
        rows.append({"kind": "recovery codes", "left": factors.codes_left})
    return Shelf("second_factors", _("Your second factors and passkeys"), _("nobody"), rows)


@keeps
def sessions_held(user: User) -> Shelf:
    rows = [
        {
            "browser": one.device.browser,
            "system": one.device.system,
            "network": one.network,
            "since": one.since,
            "last_used": one.used,
        }
        for one in signed_in_of(user, None)
    ]
    return Shelf(
        "sessions",
        _("Where you are signed in"),
        _("nobody; what is noted of a browser goes when you sign out of it"),
        rows,
    )


@erases
def sessions_erase(user: User) -> None:
    """Their other browsers know nobody from here on. Factors and codes go with the account."""
    sessions_end(user=user)


@receiver(authenticator_removed, sender=Authenticator)
def _last_factor_went(user: User, **_: object) -> None:
    if not has_factor(user):
        codes_forget(user=user)
