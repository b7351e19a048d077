"""The words of mails about dates: reminders, gathered into one, and a designer's friendly word."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from testround.kernel.words import listed
from testround.outbox.letters import Action, Letter, Link, Part, Words, letter
from testround.people.models import User
from testround.rounds.due import Due, What, date_of
from testround.rounds.letters.words import day
from testround.rounds.models import Place, Reminder

ACTIONS = {What.SWATCH: gettext_lazy("Send the swatch"), What.MEASURES: gettext_lazy("Send the measurements")}


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
    return (
        _("{title}, size {size}").format(title=title, size=place.size)
        if place.size
        else _("{title}, made to measure").format(title=title)
    )


def page_of(place: Place) -> str:
    return f"{settings.SITE_URL}{place.get_absolute_url()}"


def likely(place: Place) -> str:
    """When the piece is likely done, against the date that counts; nothing where that is not known."""
    first, last = place.likely_from, place.likely_until
    if first is None or last is None:
        return ""
    closes = place.round.closes
    own = date_of(place, What.MEASURES)
    if own is not None and closes is not None and own > closes:
        said, until = (
            (
                _("At the pace so far the piece is likely done on {last}; you said until {until}."),
                _(
                    "At the pace so far the piece is likely done between {first} and {last}; you said until {until}."
                ),
            ),
            day(own),
        )
    elif closes:
        said, until = (
            (
                _("At the pace so far the piece is likely done on {last}; the round closes on {until}."),
                _(
                    "At the pace so far the piece is likely done between {first} and {last}; the round closes on "
                    "{until}."
                ),
            ),
            day(closes),
        )
    else:
        said, until = (
            (
                _("At the pace so far the piece is likely done on {last}."),
                _("At the pace so far the piece is likely done between {first} and {last}."),
            ),
            "",
        )
    return said[first != last].format(first=day(first), last=day(last), until=until)


def reminder(*, person: User, reminded: Sequence[Reminded], today: dt.date) -> Letter:
    """One mail for all of a person's dates of the day, over all their rounds."""
    parts: list[Part] = [Words(_("Hello {name},").format(name=reminded[0].place.name))]
    for one in reminded:
        parts.append(Words(_said(one, today)))
    first = reminded[0]
    if len(reminded) == 1:
        parts.append(Action(str(ACTIONS[What(first.due.what)]), page_of(first.place)))
    else:
        parts.append(Action(_("See what is due"), f"{settings.SITE_URL}{reverse('home')}"))
    for url, words in _more_time(reminded):
        parts.append(Link(words, url))
    titles = sorted({one.place.round.edition.pattern.title for one in reminded})
    return letter(
        _subject(reminded),
        *parts,
        why=_(
            "You get this mail because you test {titles}. It comes by day in your time zone, "
            "{time_zone}, and at most once a day."
        ).format(titles=listed(titles), time_zone=person.time_zone),
    )


def _subject(reminded: Sequence[Reminded]) -> str:
    if len(reminded) > 1:
        return ngettext(
            "{n} date of what you are testing", "{n} dates of what you are testing", len(reminded)
        ).format(n=len(reminded))
    one = reminded[0]
    is_swatch, is_before = one.due.what == What.SWATCH, one.when == Reminder.When.BEFORE
    if is_swatch and is_before:
        said = _("{title}: your swatch is due on {day}")
    elif is_swatch:
        said = _("{title}: your swatch was due on {day}")
    elif is_before:
        said = _("{title}: your finished measurements are due on {day}")
    else:
        said = _("{title}: your finished measurements were due on {day}")
    return said.format(title=one.place.round.edition.pattern.title, day=day(one.due.date))


def _said(one: Reminded, today: dt.date) -> str:
    what, place = one.due.what, one.place
    # Translators: a piece and its designer, as in "Little top, size S, for Ann".
    about = _("{piece}, for {owner}").format(piece=made(place), owner=place.round.edition.pattern.owner)
    if one.when == Reminder.When.AFTER:
        overdue = (
            _("{about}: your swatch was due on {day}. It is welcome all the same, and only marked as late.")
            if what == What.SWATCH
            else _(
                "{about}: your finished measurements were due on {day}. They are welcome all the same, and only marked "
                "as late."
            )
        )
        return overdue.format(about=about, day=day(one.due.date))
    said = _due_in((one.due.date - today).days, is_swatch=what == What.SWATCH)
    said = said.format(about=about, day=day(one.due.date))
    pace = likely(place) if what == What.MEASURES else ""
    return f"{said} {pace}".strip()


def _due_in(days: int, *, is_swatch: bool) -> str:
    """The sentence for a date so many days ahead, with places for what it is about and the date."""
    if days == 0:
        return (
            _("{about}: your swatch is due today, on {day}.")
            if is_swatch
            else _("{about}: your finished measurements are due today, on {day}.")
        )
    if days == 1:
        return (
            _("{about}: your swatch is due tomorrow, on {day}.")
            if is_swatch
            else _("{about}: your finished measurements are due tomorrow, on {day}.")
        )
    said = (
        ngettext(
            "{about}: your swatch is due in {n} day, on {day}.",
            "{about}: your swatch is due in {n} days, on {day}.",
            days,
        )
        if is_swatch
        else ngettext(
            "{about}: your finished measurements are due in {n} day, on {day}.",
            "{about}: your finished measurements are due in {n} days, on {day}.",
            days,
        )
    )
    return said.replace("{n}", str(days))


def _more_time(reminded: Sequence[Reminded]) -> list[tuple[str, str]]:
    """The way to more time, once for each place."""
    several = len({one.place.pk for one in reminded}) > 1
    ways: dict[str, str] = {}
    for one in reminded:
        words = (
            _("More time for {piece}? I need until…").format(piece=made(one.place))
            if several
            else _("More time? I need until…")
        )
        ways.setdefault(one.until_url, words)
    return list(ways.items())


def nudge_draft(*, place: Place, why: str, due: dt.date | None) -> str:
    """What a designer may write to a tester of whom nothing came: hers to change."""
    title = place.round.edition.pattern.title
    match why:
        case "swatch" if due:
            about = _("your swatch for {title} was due on {day}. Is all well?")
        case "swatch":
            about = _("I await your swatch for {title}. Is all well?")
        case "measurements" if due:
            about = _("your finished measurements for {title} were due on {day}. Is all well?")
        case "measurements":
            about = _("I await your finished measurements for {title}. Is all well?")
        case _other:
            about = _("I have not heard for a while how {title} is coming along. Is all well?")
    pace = likely(place)
    return "\n\n".join(
        part
        for part in (
            _("Hello {name},").format(name=place.name),
            about.format(title=title, day=day(due) if due else ""),
            pace,
            _(
                "If you need more time, just say until when. If it does not work out after all, give the place back; "
                "nobody will mind."
            ),
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
        _("How is {title} coming along?").format(title=title),
        *paragraphs,
        Action(_("Open your place"), page_of(place)),
        Link(_("More time? I need until…"), until_url),
        why=_("{name} wrote this to you because you test {title}.").format(name=by, title=title),
    )
