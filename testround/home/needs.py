"""What waits for a person, one thing at a time: how pressing it is, and what a tester and a reader have to do."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import IntEnum

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.people.models import User
from testround.rounds.due import What, date_of
from testround.rounds.models import Place
from testround.talk.selectors import Waiting

REMIND_DAYS = 7


class Pressing(IntEnum):
    """How pressing a need is: the first page begins with the smallest."""

    WAITED_FOR = 1
    """Somebody cannot go on before it is done."""
    LATE = 2
    """Its day has passed, or somebody's has."""
    SOON = 3
    """Its day is near, or will hardly be kept; and what was said and is to be read."""
    ANY_DAY = 4


@dataclass(frozen=True, slots=True)
class Need:
    """One thing that waits for this person, with where to do it; ``sends`` makes the action a press, not a way.

    ``or_else`` is the other way out, where there are two: its words and its address.
    """

    about: str
    sentence: str
    action: str
    url: str
    sends: tuple[tuple[str, str], ...] = ()
    or_else: tuple[str, str] | None = None
    pressing: Pressing = field(default=Pressing.ANY_DAY, compare=False)
    days: int = field(default=0, compare=False)
    """For how many days that has been so, where it is known."""


def needs_of_place(place: Place, date: dt.date) -> Iterator[Need]:
    about = place.round.edition.pattern.title
    if place.size:
        about = _("{pattern}, size {size}").format(pattern=about, size=place.size)
    url = place.get_absolute_url()
    if place.state == Place.State.TAKEN:
        due = date_of(place, What.SWATCH)
        yield _due(about, _swatch_is(due, date), _("Send the swatch"), url, due, date)
    elif place.state not in (Place.State.MEASURED, Place.State.DONE):
        due = date_of(place, What.MEASURES)
        if _is_near(due, date):
            said = _measures_are(due, date)
            yield _due(about, said, _("Send measurements"), url, due, date)


def _due(about: str, said: str, action: str, url: str, due: dt.date | None, date: dt.date) -> Need:
    late = (date - due).days if due is not None else 0
    if late > 0:
        return Need(about, said, action, url, pressing=Pressing.LATE, days=late)
    return Need(about, said, action, url, pressing=Pressing.SOON)


def said_to(waiting: Waiting, user: User) -> Need:
    """What was said and waits to be answered or read."""
    n, round = waiting.count, waiting.round
    code = round.code
    match waiting.what:
        case "question":
            said = ngettext("{n} question waits for an answer.", "{n} questions wait for an answer.", n)
            url = f"{reverse('talk:questions', args=[code])}?waiting=1"
            return Need(str(round), said.format(n=n), _("Answer"), url, pressing=Pressing.WAITED_FOR)
        case "word":
            place = waiting.place
            assert place is not None  # noqa: S101 -- private words are said about a place
            other = round.edition.pattern.owner if place.tester_id == user.pk else place.name
            said = ngettext(
                "{name} wrote to you in private.", "{name} wrote to you in private, {n} times.", n
            ).format(n=n, name=other)
            url = reverse("talk:words", args=[place.pk])
            return Need(str(round), said, _("Read"), url, pressing=Pressing.WAITED_FOR)
        case "answer":
            said = ngettext(
                "{n} new answer to what testers asked.", "{n} new answers to what testers asked.", n
            )
            url = reverse("talk:questions", args=[code])
            return Need(str(round), said.format(n=n), _("Read"), url, pressing=Pressing.SOON)
        case _:
            said = ngettext("{n} new note to all testers.", "{n} new notes to all testers.", n)
            url = reverse("talk:notes", args=[code])
            return Need(str(round), said.format(n=n), _("Read"), url, pressing=Pressing.SOON)


def _is_near(due: dt.date | None, date: dt.date) -> bool:
    return due is not None and due - date <= dt.timedelta(days=REMIND_DAYS)


def _swatch_is(due: dt.date | None, date: dt.date) -> str:
    if due is None:
        return _("your swatch is awaited.")
    days = (due - date).days
    if days < 0:
        said = ngettext(
            "your swatch is late by {n} day; what comes late is taken all the same.",
            "your swatch is late by {n} days; what comes late is taken all the same.",
            -days,
        )
    elif days == 0:
        said = _("your swatch is due today.")
    else:
        said = ngettext("your swatch is due in {n} day.", "your swatch is due in {n} days.", days)
    return said.format(n=abs(days))


def _measures_are(due: dt.date | None, date: dt.date) -> str:
    if due is None:
        return _("your finished measurements are awaited.")
    days = (due - date).days
    if days < 0:
        said = ngettext(
            "your finished measurements are late by {n} day; what comes late is taken all the same.",
            "your finished measurements are late by {n} days; what comes late is taken all the same.",
            -days,
        )
    elif days == 0:
        said = _("your finished measurements are due today.")
    else:
        said = ngettext(
            "your finished measurements are due in {n} day.",
            "your finished measurements are due in {n} days.",
            days,
        )
    return said.format(n=abs(days))
