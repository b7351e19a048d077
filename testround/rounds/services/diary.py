"""The diary of a round: dated entries, and the words they share."""

from __future__ import annotations

import datetime as dt

from testround.people.models import User
from testround.rounds import letters
from testround.rounds.models import DiaryEntry, Place, Round


def diary_write(*, round: Round, text: str, by: User | None = None, place: Place | None = None) -> DiaryEntry:
    """Write one dated entry; a text longer than the column is cut with an ellipsis."""
    most = DiaryEntry._meta.get_field("text").max_length
    if len(text) > most:
        text = text[: most - 1] + "…"
    return DiaryEntry.objects.create(round=round, place=place, by=by, text=text)


def said(value: object) -> str:
    if value is None or value == "":
        return "none"
    if isinstance(value, dt.date):
        return letters.day(value)
    return f"“{value}”"


def because(cause: str) -> str:
    cause = cause.strip().rstrip(".")
    return f": {cause}" if cause else ""
