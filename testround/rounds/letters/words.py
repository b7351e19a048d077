"""Words that several mails of a round share."""

from __future__ import annotations

import datetime as dt

from testround.rounds.models import Place


def day(date: dt.date) -> str:
    """A date without doubt about which figure is the month: 25 January 2027."""
    return f"{date.day} {date:%B %Y}"


def size_of(place: Place) -> str:
    return f"size {place.size}" if place.size else "made to measure"


def one_line(text: str) -> str:
    return " ".join(text.split())
