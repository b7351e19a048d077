"""Second factors: who has one, who needs one, and who is told so.

What a factor is and how it is checked is the library's matter (``allauth.mfa``): codes of an authenticator app by
RFC 6238, passkeys by W3C's Web Authentication. Codes to come back in with are in `people.recovery`.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from dataclasses import dataclass

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.db.models import Exists, OuterRef
from django.http import HttpRequest

from testround.people.models import User
from testround.people.recovery import codes_left
from testround.prepared import Prepared

Kind = Authenticator.Type
Designs = Callable[[User], bool]
_designs: list[Designs] = []


@dataclass(frozen=True, slots=True)
class Factors:
    """The second factors of one person, oldest passkey first."""

    app: Authenticator | None
    passkeys: list[Authenticator]
    codes_left: int

    def __bool__(self) -> bool:
        return self.app is not None or bool(self.passkeys)


def factors_of(user: User) -> Factors:
    """What a person has, in two queries."""
    found = _FACTORS.rows(user=user)
    return Factors(
        app=next((one for one in found if one.type == Kind.TOTP), None),
        passkeys=[one for one in found if one.type == Kind.WEBAUTHN],
        codes_left=codes_left(user),
    )


_FACTORS: Prepared[Authenticator] = Prepared(
    lambda user: Authenticator.objects.filter(user=user, type__in=(Kind.TOTP, Kind.WEBAUTHN)).order_by("pk")
)


def has_factor(user: User) -> bool:
    return _HAS_FACTOR.first(user=user) is not None


_HAS_FACTOR: Prepared[int] = Prepared(
    lambda user: (
        Authenticator.objects.filter(user=user, type__in=(Kind.TOTP, Kind.WEBAUTHN))
        .order_by()
        .values_list("pk", flat=True)[:1]
    )
)


def designs(asked: Designs) -> Designs:
    """Register who is a designer: this room knows only accounts."""
    _designs.append(asked)
    return asked


def factor_is_missing(user: User) -> bool:
    """Whether this person may not go on without a second factor: here alone it is decided.

    The staff of a served installation, who read every table, may never. Where the operator demands one, nor may
    whoever runs or edits a pattern, as testers trust them with what is private.
    """
    demanded = settings.DESIGNERS_NEED_SECOND_FACTOR
    of_the_staff = user.is_staff and (settings.SERVED or demanded)
    if not (demanded or of_the_staff) or has_factor(user):
        return False
    return of_the_staff or any(asked(user) for asked in _designs)


def address_is_confirmed(user: User) -> bool:
    """Whether a person may have a second factor: nobody may lock the owner of an address out of it."""
    unconfirmed = EmailAddress.objects.filter(user=OuterRef("pk"), primary=True, verified=False)
    return not User.objects.filter(Exists(unconfirmed), pk=user.pk).exists()


def passkeys_are_possible(request: HttpRequest) -> bool:
    """Browsers tie a passkey to the name of a site, and know none where it is reached by a bare address."""
    host = request.get_host()
    name = host[1:].partition("]")[0] if host.startswith("[") else host.partition(":")[0]
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return request.is_secure() or name == "localhost" or name.endswith(".localhost")
    return False
