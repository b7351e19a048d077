"""A round's days: its dates are the designer's, wherever its testers are."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.utils import timezone

from testround.rounds.models import Round

# How long a round's private data is kept after its closing date, unless its designer says otherwise.
KEPT_AFTER_CLOSING = dt.timedelta(days=183)


def zone_of(round: Round) -> ZoneInfo:
    """The designer's time zone."""
    try:
        return ZoneInfo(round.edition.pattern.owner.time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def today_for(round: Round) -> dt.date:
    """The date at the designer's, which is the one her round's dates mean."""
    return timezone.localdate(timezone=zone_of(round))


def end_of_day(round: Round, date: dt.date) -> dt.datetime:
    """The last second of a day at the designer's."""
    return dt.datetime.combine(date, dt.time(23, 59, 59), tzinfo=zone_of(round))


def purge_date(closes: dt.date | None, *, today: dt.date) -> dt.date:
    """The day offered for deleting what is private: half a year after the closing date, or from now if later."""
    return max(closes or today, today) + KEPT_AFTER_CLOSING


def local_day(round: Round, moment: dt.datetime) -> dt.date:
    """The day of a moment at the designer's."""
    return timezone.localdate(moment, timezone=zone_of(round))
