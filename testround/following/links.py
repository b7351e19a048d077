"""The signed links in mails to followers: one says yes once, the other leaves at any time (RFC 8058)."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.core import signing
from django.urls import reverse

from testround.following.models import Follower

CONFIRM = "testround.following.confirm"
LEAVE = "testround.following.leave"


class UnknownLink(LookupError):
    """Not a link that we signed."""


def confirm_address(follower: Follower) -> str:
    return _address("following:confirm", CONFIRM, follower)


def leave_address(follower: Follower) -> str:
    """Where this follower leaves. It holds for as long as the site keeps its key."""
    return _address("following:leave", LEAVE, follower)


def _address(name: str, salt: str, follower: Follower) -> str:
    token = signing.dumps(follower.key.hex, salt=salt)
    return f"{settings.SITE_URL}{reverse(name, args=[token])}"


def follower_of(token: str, salt: str) -> Follower | None:
    """Whose link it is; None when they have left, or never said yes and are forgotten.

    Raises
    ------
    UnknownLink
        It is not one of ours, or one for something else.
    """
    try:
        key = uuid.UUID(hex=signing.loads(token, salt=salt))
    except (signing.BadSignature, ValueError, TypeError, AttributeError):
        raise UnknownLink from None
    return Follower.objects.select_related("pattern").filter(key=key).first()
