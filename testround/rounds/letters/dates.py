"""The words of mails about dates: reminders, gathered into one, and a designer's friendly word."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.conf import settings
from django.urls import reverse

from testround.outbox.letters import Action, Letter, Link, Part, Words, letter
from testround.people.models import User
from testround.rounds.due import Due, What, date_of
from testround.rounds.letters.words import day
from testround.rounds.models import Place, Reminder

ACTIONS = {What.SWATCH: "Send the swatch", What.MEASURES: "Send the measurements"}
AWAITED = {What.SWATCH: "your swatch", What.MEASURES: "your finished measurements"}


@dataclass(frozen=True, slots=True)
class Reminded:
    """One date of one place, of which its tester is reminded."""

    place: Place
    due: Due
    when: str
    until_url: str


def made(place: Place) -> str:
    """The piece: "Little top, size S"."""
    title = place.round.edition.pattern.title
    return f"{title}, size {place.size}" if place.size else f"{title}, made to measure"


def page_of(place: Place) -> str:
    return f"{settings.SITE_URL}{place.get_absolute_url()}"


def is_or_are(what: str) -> str:
    return "is" if what == What.SWATCH else "are"


def was_or_were(what: str) -> str:
    return "was" if what == What.SWATCH else "were"


def likely(place: Place) -> str:
    """When the piece is likely done, against the date that counts; nothing where that is not known."""
    first, last = place.likely_from, place.likely_until
    if first is None or last is None:
        return ""
    between = f"between {day(first)} and {day(last)}" if first != last else f"on {day(last)}"
    sentence = f"At the pace so far the piece is likely done {between}"
    closes = place.round.closes
    own = date_of(place, What.MEASURES)
    if own is not None and closes is not None and own > closes:
        return f"{sentence}; you said until {day(own)}."
    return f"{sentence}; the round closes on {day(closes)}." if closes else f"{sentence}."


def reminder(*, person: User, reminded: Sequence[Reminded], today: dt.date) -> Letter:
    """One mail for all of a person's dates of the day, over all their rounds."""
    parts: list[Part] = [Words(f"Hello {reminded[0].place.name},")]
    for one in reminded:
        parts.append(Words(_said(one, today)))
    first = reminded[0]
    if len(reminded) == 1:
        parts.append(Action(ACTIONS[What(first.due.what)], page_of(first.place)))
    else:
        parts.append(Action("See what is due", f"{settings.SITE_URL}{reverse('home')}"))
    for url, words in _more_time(reminded):
        parts.append(Link(words, url))
    titles = sorted({one.place.round.edition.pattern.title for one in reminded})
    return letter(
        _subject(reminded),
        *parts,
        why=f"You get this mail because you test {_listed(titles)}. It comes by day in your time zone, "
        f"{person.time_zone}, and at most once a day.",
    )


def _subject(reminded: Sequence[Reminded]) -> str:
    if len(reminded) > 1:
        return f"{len(reminded)} dates of what you are testing"
    one = reminded[0]
    title = one.place.round.edition.pattern.title
    what = one.due.what
    verb = is_or_are(what) if one.when == Reminder.When.BEFORE else was_or_were(what)
    return f"{title}: {AWAITED[What(what)]} {verb} due on {day(one.due.date)}"


def _said(one: Reminded, today: dt.date) -> str:
    what, place = one.due.what, one.place
    about = f"{made(place)}, for {place.round.edition.pattern.owner}"
    if one.when == Reminder.When.AFTER:
        it = "It is" if what == What.SWATCH else "They are"
        return (
            f"{about}: {AWAITED[What(what)]} {was_or_were(what)} due on {day(one.due.date)}. {it} welcome all the same, "
            "and only marked as late."
        )
    days = (one.due.date - today).days
    in_days = "today" if days == 0 else "tomorrow" if days == 1 else f"in {days} days"
    said = f"{about}: {AWAITED[What(what)]} {is_or_are(what)} due {in_days}, on {day(one.due.date)}."
    pace = likely(place) if what == What.MEASURES else ""
    return f"{said} {pace}".strip()


def _more_time(reminded: Sequence[Reminded]) -> list[tuple[str, str]]:
    """The way to more time, once for each place."""
    several = len({one.place.pk for one in reminded}) > 1
    ways: dict[str, str] = {}
    for one in reminded:
        about = f" for {made(one.place)}" if several else ""
        ways.setdefault(one.until_url, f"More time{about}? I need until…")
    return list(ways.items())


def _listed(titles: Sequence[str]) -> str:
    return titles[0] if len(titles) == 1 else f"{', '.join(titles[:-1])} and {titles[-1]}"


def nudge_draft(*, place: Place, why: str, due: dt.date | None) -> str:
    """What a designer may write to a tester of whom nothing came: hers to change."""
    title = place.round.edition.pattern.title
    match why:
        case "swatch":
            about = (
                f"your swatch for {title} was due on {day(due)}."
                if due
                else f"I await your swatch for {title}."
            )
        case "measurements":
            about = (
                f"your finished measurements for {title} were due on {day(due)}."
                if due
                else f"I await your finished measurements for {title}."
            )
        case _:
            about = f"I have not heard for a while how {title} is coming along."
    pace = likely(place)
    return "\n\n".join(
        part
        for part in (
            f"Hello {place.name},",
            f"{about} Is all well?",
            pace,
            "If you need more time, just say until when. If it does not work out after all, give the place back; "
            "nobody will mind.",
            f"{place.round.edition.pattern.owner}",
        )
        if part
    )


def nudge(*, place: Place, text: str, by: User, until_url: str) -> Letter:
    """A designer's own words, with the way to the place and to more time."""
    title = place.round.edition.pattern.title
    paragraphs = [
        Words(part.strip("\n")) for part in text.replace("\r\n", "\n").split("\n\n") if part.strip()
    ]
    return letter(
        f"How is {title} coming along?",
        *paragraphs,
        Action("Open your place", page_of(place)),
        Link("More time? I need until…", until_url),
        why=f"{by} wrote this to you because you test {title}.",
    )
