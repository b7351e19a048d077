"""Personal tokens: made, used, revoked."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import secrets
from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from testround.api import letters
from testround.api.models import Answered, Token
from testround.outbox.mail import mail_send
from testround.outbox.services import regularly
from testround.people.language import speaking_to
from testround.people.models import User
from testround.security import Event, done, refused

PREFIX = "testround_"
"""How every token begins, so that scanners of published code can tell one."""
LONGEST = dt.timedelta(days=365)
HINT_LENGTH = 4
# How exactly it is kept when a token was last used.
USED_WITHIN = dt.timedelta(hours=1)
# How long the answer to a POST is kept under its key, at least.
ANSWERS_KEPT = dt.timedelta(hours=24)
# How long what has ended is still listed to its person.
ENDED_KEPT = dt.timedelta(days=90)


@transaction.atomic
def token_make(
    *, user: User, name: str, scopes: Iterable[str], expires: dt.datetime, now: dt.datetime | None = None
) -> tuple[Token, str]:
    """A new token and its secret, which is told this once; its person hears of it by mail.

    Raises
    ------
    ValueError
        When it would hold for longer than a year, or not at all: the form offers neither.
    """
    now = now or timezone.now()
    if not now < expires <= now + LONGEST:
        raise ValueError("A token expires within a year.")
    # 256 bits: nothing to guess, so that a plain hash keeps it as well as a slow one would.
    secret = PREFIX + secrets.token_urlsafe(32)
    token = Token.objects.create(
        user=user,
        name=name,
        hint=secret[-HINT_LENGTH:],
        secret_hash=hash_of(secret),
        scopes=sorted(set(scopes)),
        created=now,
        expires=expires,
    )
    with speaking_to(user):
        mail_send(letter=letters.token_made(token=token), to=user.email, person=user)
    done(Event.TOKEN_MADE, account=user.pk, token=token.pk)
    return token, secret


@transaction.atomic
def token_revoke(*, token: Token) -> None:
    """End a token, now. Ending an ended one changes nothing."""
    if Token.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=timezone.now()):
        done(Event.TOKEN_REVOKED, account=token.user_id, token=token.pk)


def token_of(secret: str, *, now: dt.datetime | None = None) -> Token | None:
    """The token with this secret, with its person, while both are good; that it was used is kept to the hour."""
    now = now or timezone.now()
    hashed = hash_of(secret)
    token = Token.objects.select_related("user").filter(secret_hash=hashed).first()
    # The database found it by comparing as it likes; what decides takes the same time wherever it differs.
    if token is None or not hmac.compare_digest(token.secret_hash, hashed):
        refused(Event.TOKEN_REFUSED, reason="unknown")
        return None
    if not token.is_good(now) or not token.user.is_active:
        why = "revoked" if token.revoked_at else "expired" if token.user.is_active else "account_closed"
        refused(Event.TOKEN_REFUSED, account=token.user_id, token=token.pk, reason=why)
        return None
    if token.last_used is None or now - token.last_used >= USED_WITHIN:
        Token.objects.filter(pk=token.pk).update(last_used=now)
    return token


def hash_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


@regularly
def answers_forget(*, now: dt.datetime | None = None) -> int:
    """Delete the answers kept under keys after a day, and tokens that ended long ago. Returns how many answers."""
    now = now or timezone.now()
    gone, _ = Answered.objects.filter(created__lt=now - ANSWERS_KEPT).delete()
    Token.objects.filter(expires__lt=now - ENDED_KEPT).delete()
    Token.objects.filter(revoked_at__lt=now - ENDED_KEPT).delete()
    return gone
