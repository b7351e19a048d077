"""Where a person is signed in: noted when they sign in and now and then after that, listed, and ended.

Of a browser is kept which one it is, in two words, and from which network it came, without the end of the address
that would say from which home. Both go with the session.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from allauth.account.signals import (
    authentication_step_completed,
    password_changed,
    password_reset,
    password_set,
)
from allauth.core.internal.httpkit import get_client_ip
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.db import transaction
from django.dispatch import receiver
from django.http import HttpRequest
from django.utils import timezone

from testround.outbox.services import regularly
from testround.people.devices import Device, device_of, network_of, network_words
from testround.people.models import User
from testround.security import Event, done

# In the session itself, as seconds since 1970: when it began, and when it was last seen to be used.
BEGAN, SEEN = "began", "seen"
# What is used all day is noted so often, and not at each page.
SEEN_EVERY_SECONDS = 10 * 60
SWEPT_EVERY_SECONDS = 60 * 60


@dataclass(frozen=True, slots=True)
class SignedIn:
    """One browser in which a person is signed in."""

    pk: int | None
    device: Device
    network: str
    since: dt.datetime
    used: dt.datetime
    is_this_one: bool


# -- reading ---------------------------------------------------------------------------------------------------


def signed_in_of(user: User, this: str | None) -> list[SignedIn]:
    """Every browser in which a person is signed in, the present one first, then as they were last used: two queries.

    ``this`` is the key of the present session. What has run out, or has been ended elsewhere, is not among them.
    """
    began = timezone.now() - dt.timedelta(days=settings.SESSION_LASTS_DAYS)
    rows = list(UserSession.objects.filter(user=user, created_at__gt=began).order_by("-last_seen_at", "-pk"))
    alive = set(
        Session.objects.filter(
            session_key__in=[row.session_key for row in rows], expire_date__gt=timezone.now()
        ).values_list("session_key", flat=True)
    )
    found = [_shown(row, this) for row in rows if row.session_key in alive]
    return sorted(found, key=lambda one: not one.is_this_one)


def _shown(row: UserSession, this: str | None) -> SignedIn:
    return SignedIn(
        pk=row.pk,
        device=Device(row.data.get("browser", ""), row.data.get("system", "")),
        network=network_words(row.ip),
        since=row.created_at,
        used=row.last_seen_at,
        is_this_one=row.session_key == this,
    )


# -- ending ----------------------------------------------------------------------------------------------------


def session_end(*, user: User, pk: int) -> bool:
    """End one of a person's sessions; whether there was such a one."""
    return bool(_end(user, UserSession.objects.filter(user=user, pk=pk)))


def sessions_end(*, user: User, but: str | None = None, by: User | None = None) -> int:
    """End all sessions of a person, ``but`` the one with that key; how many these were. ``by`` is somebody else."""
    return _end(user, UserSession.objects.filter(user=user).exclude(session_key=but or ""), by)


@transaction.atomic
def _end(user: User, rows: Iterable[UserSession], by: User | None = None) -> int:
    keys = [row.session_key for row in rows]
    Session.objects.filter(session_key__in=keys).delete()
    UserSession.objects.filter(session_key__in=keys).delete()
    if keys:
        done(Event.SESSIONS_ENDED, account=user.pk, sessions=len(keys), by=by.pk if by else None)
    return len(keys)


# -- noting ----------------------------------------------------------------------------------------------------


def session_note(request: HttpRequest) -> None:
    """Note that this session is used now, by which browser, from where. The session is saved with the answer."""
    now = time.time()
    request.session.setdefault(BEGAN, now)
    request.session[SEEN] = now
    address = get_client_ip(request)
    if not address:
        # Nobody came over a network: a command, or a test that signs somebody in.
        return
    if not request.session.session_key:
        request.session.save()
    device = device_of(request.META.get("HTTP_USER_AGENT", ""))
    noted = {
        "user": request.user,
        "ip": network_of(address),
        "data": {"browser": device.browser, "system": device.system},
        "last_seen_at": timezone.now(),
    }
    began = dt.datetime.fromtimestamp(request.session[BEGAN], tz=dt.UTC)
    UserSession.objects.update_or_create(
        session_key=request.session.session_key,
        defaults=noted,
        create_defaults={**noted, "created_at": began},
    )


def is_due(session: Any) -> bool:
    """Whether it is time again to note that a session is used."""
    return time.time() - session.get(SEEN, 0) >= SEEN_EVERY_SECONDS


def has_lasted(session: Any) -> bool:
    """Whether a session has been used for as long as one may be, however often."""
    lasts = dt.timedelta(days=settings.SESSION_LASTS_DAYS).total_seconds()
    return bool(time.time() - session.get(BEGAN, time.time()) >= lasts)


@receiver(user_logged_in)
def _begin(request: HttpRequest | None, user: User, **_: Any) -> None:
    if request is None or not hasattr(request, "session"):
        return
    request.session.pop(BEGAN, None)
    request.user = user
    session_note(request)


@receiver(user_logged_out)
def _ended(request: HttpRequest | None, **_: Any) -> None:
    key = getattr(getattr(request, "session", None), "session_key", None)
    if key:
        UserSession.objects.filter(session_key=key).delete()


@receiver(authentication_step_completed)
def _said_again(request: HttpRequest, reauthenticated: bool = False, **_: Any) -> None:
    """Who has said once more who they are goes on under a new key: one that was stolen before opens nothing more."""
    before = request.session.session_key
    if not reauthenticated or not before:
        return
    request.session.cycle_key()
    UserSession.objects.filter(session_key=before).update(session_key=request.session.session_key)


@receiver([password_changed, password_set])
def _password_is_new(request: HttpRequest, user: User, **_: Any) -> None:
    """Who has a new password is signed in nowhere else. The session has a new key by now, and stays as it began."""
    sessions_end(user=user, but=request.session.session_key)
    session_note(request)


@receiver(password_reset)
def _password_was_forgotten(user: User, **_: Any) -> None:
    sessions_end(user=user)


@regularly
def sessions_sweep() -> None:
    """Once an hour, delete what is left of sessions that have run out, and what was noted of them."""
    if not cache.add("people:sessions-swept", True, SWEPT_EVERY_SECONDS):
        return
    Session.objects.filter(expire_date__lt=timezone.now()).delete()
    unused = timezone.now() - dt.timedelta(seconds=settings.SESSION_COOKIE_AGE)
    UserSession.objects.filter(last_seen_at__lt=unused).delete()
