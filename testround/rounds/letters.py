"""The words of a round's mails: plain text, read on a phone."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.conf import settings
from django.urls import reverse

from testround.people.models import User
from testround.rounds.clock import local_day
from testround.rounds.models import Invitation, Place


@dataclass(frozen=True, slots=True)
class Letter:
    subject: str
    text: str


def day(date: dt.date) -> str:
    """A date without doubt about which figure is the month: 25 January 2027."""
    return f"{date.day} {date:%B %Y}"


def _dates(place: Place) -> str:
    round = place.round
    lines = [
        f"{what}: {day(date)}"
        for what, date in (
            ("Opens", round.opens),
            ("Swatches due", round.swatches_due),
            ("Closes", round.closes),
        )
        if date
    ]
    return "".join(f"{line}\n" for line in lines)


def invitation(*, invitation: Invitation, place: Place, url: str) -> Letter:
    round = place.round
    pattern = round.edition.pattern
    made = f"Size: {place.size}" if place.size else "Made to your own measurements"
    last = day(local_day(round, invitation.expires))
    if place.candidate_id is not None:
        foot = (
            f"The link is for you alone and works once, until {last}; the place is then offered to somebody else. "
            "You get this mail because you offered to test. You need no account beforehand.\n"
        )
    else:
        foot = (
            f"The link is for you alone and works once, until {last}. You need no account beforehand. If you did "
            "not expect this, do nothing: nothing is kept about you but this address and the name above.\n"
        )
    return Letter(
        subject=_one_line(f"A place for you: testing {pattern.title}"),
        text=(
            f"Hello {place.name},\n\n"
            f"{pattern.owner} asks you to test {pattern.title}, edition {round.edition.label}.\n\n"
            f"{made}\n"
            f"Yarn: {place.yarn_label or 'of your own choice'}\n"
            f"{_dates(place)}\n"
            "Read the terms and say yes or no, here:\n\n"
            f"{url}\n\n"
            f"{foot}"
        ),
    )


def welcome(*, place: Place, user: User) -> Letter:
    pattern = place.round.edition.pattern
    made = f"size {place.size}" if place.size else "made to measure"
    sign_in = f"{settings.SITE_URL}{reverse('account_request_login_code')}"
    return Letter(
        subject=_one_line(f"Your place in {pattern.title}, and how to come back"),
        text=(
            f"Hello {place.name},\n\n"
            f"the place is yours: {pattern.title}, {made}.\n"
            f"{settings.SITE_URL}{place.get_absolute_url()}\n\n"
            "On the device you said yes with you are signed in already. From anywhere else, ask for a code "
            "to be sent to this address; no password is needed:\n"
            f"{sign_in}\n\n"
            f"{_dates(place)}\n"
            "If it was not you who said yes, ask for such a code all the same: it lets you in, and you can "
            "give the place back.\n"
        ),
    )


def declined(*, place: Place, cause: str) -> Letter:
    round = place.round
    made = f"size {place.size}" if place.size else "made to measure"
    why = f"Why: {_one_line(cause)}\n\n" if cause.strip() else ""
    return Letter(
        subject=_one_line(f"{place.name} said no to a place: {round}"),
        text=(
            f"{place.name} would rather not take the place in {round} ({made}).\n\n"
            f"{why}"
            "See who is next for it:\n"
            f"{settings.SITE_URL}{reverse('rounds:proposal', args=[round.code])}\n"
        ),
    )


def given_back(*, place: Place, cause: str) -> Letter:
    round = place.round
    made = f"size {place.size}" if place.size else "made to measure"
    why = f"Why: {_one_line(cause)}\n\n" if cause.strip() else ""
    return Letter(
        subject=_one_line(f"{place.name} gave a place back: {round}"),
        text=(
            f"{place.name} has given back the place in {round} ({made}).\n\n"
            f"{why}"
            "What was sent from it stays and counts. See whether the size still has its testers:\n"
            f"{settings.SITE_URL}{round.get_absolute_url()}\n"
        ),
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())
