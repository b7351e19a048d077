"""Clocks that jump: nothing waits for a time that was never meant, and no date counts before the clock has settled."""

from __future__ import annotations

import datetime as dt

from django.core.cache import cache
from django.db.models import Q

# Between two rounds of chores there is a minute. What is off by more than this was not the work of a minute.
JUMP = dt.timedelta(hours=1)
# A clock that is wrong is usually put right within minutes of a start or of a machine that wakes up.
STEADY_FOR = dt.timedelta(minutes=10)
_SEEN = "outbox-clock"


def has_come(field: str, *, now: dt.datetime, longest: dt.timedelta) -> Q:
    """Rows whose time in a field has come, and those that name one further off than anything ever waits.

    The latter were written while the clock was ahead; they would wait until it is that late again.
    """
    return Q(**{f"{field}__lte": now}) | Q(**{f"{field}__gt": now + longest})


def long_since(field: str, *, now: dt.datetime, ago: dt.timedelta) -> Q:
    """Rows of at least so long ago, and those that by this clock are still to come by as much."""
    return Q(**{f"{field}__lte": now - ago}) | Q(**{f"{field}__gt": now + ago})


def clock_is_steady(now: dt.datetime) -> bool:
    """Whether the clock has gone on evenly of late. Called at each round of chores.

    After a jump, in whichever direction, it is not for ten minutes: what follows from a date, as a reminder to
    everybody or the deletion of what is private, cannot be taken back. A clock that was never seen is believed.
    """
    since, last = cache.get(_SEEN) or (None, now)
    if not dt.timedelta() <= now - last <= JUMP:
        since = now
    cache.set(_SEEN, (since, now), None)
    return since is None or now - since >= STEADY_FOR
