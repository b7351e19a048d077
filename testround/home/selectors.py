"""What the first page reads: everything a person has to do, in a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from testround.patterns.models import Pattern
from testround.patterns.selectors import patterns_of
from testround.people.models import User
from testround.rounds.models import Invitation, Place, Round
from testround.rounds.selectors import places_of, rounds_with_progress
from testround.talk.selectors import Waiting, waiting_for

SHOWN = 50
REMIND_DAYS = 7


@dataclass(frozen=True, slots=True)
class Need:
    """One thing that waits for this person, with where to do it."""

    about: str
    sentence: str
    action: str
    url: str


@dataclass(frozen=True, slots=True)
class Today:
    """A designer's rounds and patterns, a tester's places, and what needs the person first."""

    needs: list[Need]
    rounds: list[Round]
    patterns: list[Pattern]
    places: list[Place]


def today_of(user: User) -> Today:
    date = timezone.localdate()
    rounds = list(_running(user, date)[:SHOWN])
    places = list(places_of(user).order_by("round__closes", "pk")[:SHOWN])
    needs = [need for place in places for need in _needs_of_place(place, date)]
    needs += [need for round in rounds for need in _needs_of_round(round)]
    needs += [_said(waiting) for waiting in waiting_for(user)]
    return Today(
        needs=needs,
        rounds=rounds,
        patterns=list(patterns_of(user).prefetch_related("editions")[:SHOWN]),
        places=places,
    )


def _running(user: User, date: dt.date) -> QuerySet[Round]:
    """Rounds that are not closed, each with its late places and its offered places without an open link."""
    open_links = Invitation.objects.filter(
        place=OuterRef("places__pk"), used_at=None, withdrawn_at=None, expires__gt=timezone.now()
    )
    swatch_late = Q(places__state=Place.State.TAKEN, swatches_due__lt=date)
    unmeasured = [Place.State.TAKEN, Place.State.SWATCH_SENT, Place.State.GAUGE_AGREED, Place.State.MAKING]
    measures_late = Q(places__state__in=unmeasured, closes__lt=date)
    return (
        rounds_with_progress(user)
        .exclude(state=Round.State.CLOSED)
        .annotate(
            late_count=Count("places", filter=swatch_late | measures_late),
            unlinked_count=Count("places", filter=Q(places__state=Place.State.OFFERED) & ~Exists(open_links)),
        )
    )


def _needs_of_round(round: Round) -> Iterator[Need]:
    about = str(round)
    if not round.place_count:
        yield Need(
            about, "it has no places yet.", "Add places", reverse("rounds:place_new", args=[round.code])
        )
    if round.unlinked_count:
        n = round.unlinked_count
        yield Need(
            about,
            f"{n} offered place{' has' if n == 1 else 's have'} no open link, so nobody can take {'it' if n == 1 else 'them'}.",
            "Invite",
            f"{reverse('rounds:places', args=[round.code])}?state=offered",
        )
    if round.late_count:
        n = round.late_count
        yield Need(
            about,
            f"{n} tester{' is' if n == 1 else 's are'} late.",
            "See who",
            f"{round.get_absolute_url()}#late",
        )
    if round.place_count and round.place_count == round.measured_count:
        yield Need(about, "everybody has measured.", "Read the results", round.get_absolute_url())


def _needs_of_place(place: Place, date: dt.date) -> Iterator[Need]:
    round = place.round
    about = f"{round.edition.pattern.title}{f', size {place.size}' if place.size else ''}"
    url = place.get_absolute_url()
    if place.state == Place.State.TAKEN:
        yield Need(about, f"your swatch is {_due(round.swatches_due, date)}.", "Send the swatch", url)
    elif place.state not in (Place.State.MEASURED, Place.State.DONE) and _is_near(round.closes, date):
        yield Need(
            about, f"your finished measurements are {_due(round.closes, date)}.", "Send measurements", url
        )


def _said(waiting: Waiting) -> Need:
    """What was said and waits to be answered or read."""
    n, round = waiting.count, waiting.round
    code = round.code
    match waiting.what:
        case "question":
            said = f"{n} question{' waits' if n == 1 else 's wait'} for an answer."
            return Need(str(round), said, "Answer", f"{reverse('talk:questions', args=[code])}?waiting=1")
        case "word":
            place = waiting.place
            assert place is not None  # noqa: S101 -- private words are said about a place
            said = f"{n} new private word{'' if n == 1 else 's'} ({place.name})."
            return Need(str(round), said, "Read", reverse("talk:words", args=[place.pk]))
        case "answer":
            said = f"{n} new answer{'' if n == 1 else 's'} to what testers asked."
            return Need(str(round), said, "Read", reverse("talk:questions", args=[code]))
        case _:
            said = f"{n} new note{'' if n == 1 else 's'} to all testers."
            return Need(str(round), said, "Read", reverse("talk:notes", args=[code]))


def _is_near(due: dt.date | None, date: dt.date) -> bool:
    return due is not None and due - date <= dt.timedelta(days=REMIND_DAYS)


def _due(due: dt.date | None, date: dt.date) -> str:
    if due is None:
        return "awaited"
    days = (due - date).days
    if days < 0:
        return f"late by {-days} day{'' if days == -1 else 's'}; what comes late is taken all the same"
    if days == 0:
        return "due today"
    return f"due in {days} day{'' if days == 1 else 's'}"
