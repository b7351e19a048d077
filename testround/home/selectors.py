"""What the first page reads: everything a person has to do, in a fixed number of queries."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count, Exists, F, Max, Min, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.home.needs import Need, Pressing, needs_of_place, said_to
from testround.outbox.mail import TROUBLED
from testround.outbox.models import Mail
from testround.patterns.access import Right
from testround.patterns.models import Edition, Pattern
from testround.patterns.selectors import patterns_of
from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.desks import desks_of
from testround.reports.steps import Step, next_step
from testround.rounds.course import somebody_in, standstill
from testround.rounds.due import UNMEASURED, places_late, places_likely_late
from testround.rounds.letters import day
from testround.rounds.models import Candidate, Invitation, Place, Round, Vacancy
from testround.rounds.selectors import places_of, rounds_of, rounds_with_progress
from testround.rounds.selectors.assignment import vacancies_for
from testround.rounds.selectors.nudges import Nudgeable, nudgeable_in
from testround.rounds.selectors.standing import rounds_looked_on
from testround.talk.selectors import waiting_for

SHOWN = 50
NUDGES_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Making:
    """A place its tester holds, with the next step there; none where everything was sent."""

    place: Place
    step: Step | None


@dataclass(frozen=True, slots=True)
class Today:
    """A designer's rounds and patterns, a tester's places, and what needs the person first."""

    needs: list[Need]
    rounds: list[Round]
    patterns: list[Pattern]
    places: list[Making]
    looked_on: list[Round]
    """Rounds of which the person sees how they stand, and nothing else."""


def today_of(user: User) -> Today:
    """What a person has to do. Whoever runs no pattern is asked after as a tester alone, and most people test."""
    date = timezone.localdate()
    patterns = _PATTERNS.rows(user=user)
    # Every right to do something comes with the right to see.
    rounds = _RUNNING.rows(user=user, date=date, now=timezone.now()) if patterns else []
    places = _PLACES.rows(user=user)
    needs = [need for place in places for need in needs_of_place(place, date)]
    if patterns:
        needs += _needs_of_rounds(rounds, user)
        needs += [_next_in_reserve(vacancy) for vacancy in _VACANCIES.rows(user=user)]
    needs += [said_to(waiting, user) for waiting in waiting_for(user, places, runs=bool(patterns))]
    return Today(
        # What is as pressing comes by how long it has been so, then in the order of its rounds.
        needs=sorted(needs, key=lambda need: (need.pressing, -need.days)),
        rounds=rounds,
        patterns=patterns,
        places=[Making(desk.place, next_step(desk)) for desk in desks_of(places)],
        looked_on=_LOOKED_ON.rows(user=user),
    )


def _running(user: User, date: dt.date, now: dt.datetime) -> QuerySet[Round]:
    """Rounds that are not closed, each with its late places and its offered places without an open link."""
    open_links = Invitation.objects.filter(
        place=OuterRef("places__pk"), used_at=None, withdrawn_at=None, expires__gt=now
    )
    trouble = (
        Mail.objects.filter(about=OuterRef("code"), state__in=TROUBLED, finished=None)
        .order_by()
        .values("about")
        .annotate(n=Count("pk"))
        .values("n")
    )
    offers = (
        Candidate.objects.filter(round=OuterRef("pk"), state=Candidate.State.CONFIRMED)
        .order_by()
        .values("round")
        .annotate(n=Count("pk"))
        .values("n")
    )
    # Those without an account cannot be written to, and are only counted.
    unmeasured = Q(places__state__in=UNMEASURED)
    late, likely_late = places_late(date), places_likely_late()
    return (
        rounds_with_progress(user)
        .exclude(state=Round.State.CLOSED)
        .annotate(
            late_count=Count("places", filter=Q(places__tester=None) & late),
            # Of one, their name.
            late_name=Min("places__name", filter=Q(places__tester=None) & late),
            unlinked_count=Count("places", filter=Q(places__state=Place.State.OFFERED) & ~Exists(open_links)),
            likely_late_count=Count("places", filter=likely_late),
            likely_name=Min("places__name", filter=likely_late),
            likely_last=Max("places__likely_until", filter=likely_late),
            asked_count=Count("places", filter=unmeasured & Q(places__measures_until__gt=F("closes"))),
            asked_last=Max("places__measures_until", filter=unmeasured),
            trouble_count=Subquery(trouble),
            offer_count=Subquery(offers),
            has_somebody=somebody_in(),
        )
    )


def _needs_of_rounds(rounds: list[Round], user: User) -> Iterator[Need]:
    # Those that a date has closed are asked after as well, though they are on the list no more.
    waiting: dict[Round, list[Nudgeable]] = {}
    for one in nudgeable_in(_ASKED_AFTER.rows(user=user)):
        waiting.setdefault(one.place.round, []).append(one)
    for round in rounds:
        yield from _needs_of_round(round)
        yield from _nudges(round, waiting.pop(round, []))
        yield from _at_the_close(round)
    for round, ones in waiting.items():
        yield from _nudges(round, ones)
    for round in _WITHOUT_A_DAY.rows(user=user):
        yield _day_of_deleting(round)


def _closed_without_a_day(user: User) -> QuerySet[Round]:
    """Closed rounds from before a day of deleting was asked for, in which somebody gave something private."""
    gave = Exists(Place.objects.filter(round=OuterRef("pk"))) | Exists(
        Candidate.objects.filter(round=OuterRef("pk"))
    )
    closed = rounds_of(user, Right.EDIT).filter(gave, state=Round.State.CLOSED, purge_on=None)
    return closed.defer("edition__sheet", "terms")


_PATTERNS: Prepared[Pattern] = Prepared(
    lambda user: patterns_of(user).prefetch_related(Prefetch("editions", Edition.objects.defer("sheet")))[
        :SHOWN
    ]
)
_RUNNING: Prepared[Round] = Prepared(lambda user, date, now: _running(user, date, now)[:SHOWN])
_PLACES: Prepared[Place] = Prepared(lambda user: places_of(user).order_by("round__closes", "pk")[:SHOWN])
_VACANCIES: Prepared[Vacancy] = Prepared(lambda user: vacancies_for(user)[:SHOWN])
_LOOKED_ON: Prepared[Round] = Prepared(
    lambda user: rounds_looked_on(user).order_by("-created", "-pk")[:SHOWN]
)
# Their keys first: within the query for places, whose rounds they are would be found out last, after every place there
# is.
_ASKED_AFTER: Prepared[int] = Prepared(
    lambda user: rounds_of(user, Right.EDIT).order_by().values_list("pk", flat=True)
)
_WITHOUT_A_DAY: Prepared[Round] = Prepared(lambda user: _closed_without_a_day(user)[:SHOWN])


def _day_of_deleting(round: Round) -> Need:
    return Need(
        str(round),
        _("no day is set on which names, body measurements, photos and words are deleted."),
        _("Set the day"),
        f"{reverse('rounds:edit', args=[round.code])}#id_purge_on",
        pressing=Pressing.SOON,
    )


def _next_in_reserve(vacancy: Vacancy) -> Need:
    place = vacancy.place
    if place.size:
        said = _("{name}'s place in {size} fell free; {candidate} is next in reserve.")
    else:
        said = _("{name}'s place fell free; {candidate} is next in reserve.")
    return Need(
        str(place.round),
        said.format(name=place.name, size=place.size, candidate=vacancy.candidate),
        _("Invite {name}").format(name=vacancy.candidate),
        reverse("rounds:vacancy_invite", args=[place.round.code, vacancy.pk]),
        sends=(("candidate", str(vacancy.candidate_id)),),
        pressing=Pressing.WAITED_FOR,
    )


def _nudges(round: Round, waiting: list[Nudgeable]) -> Iterator[Need]:
    """Who needs a friendly word, those first who have had none for the longest."""
    waiting = [one for one in waiting if not one.is_recent]
    for one in waiting[:NUDGES_SHOWN]:
        url = reverse("rounds:nudge", args=[round.code, one.place.pk])
        yield Need(
            str(round),
            one.sentence,
            _("Nudge {name}").format(name=one.place.name),
            url,
            pressing=Pressing.LATE,
            days=one.days,
        )
    more = len(waiting) - NUDGES_SHOWN
    if more > 0:
        said = ngettext(
            "{n} more tester needs a friendly word.", "{n} more testers need a friendly word.", more
        ).format(n=more)
        url = f"{round.get_absolute_url()}#late"
        yield Need(str(round), said, _("See who"), url, pressing=Pressing.LATE)


def _at_the_close(round: Round) -> Iterator[Need]:
    """What the pace so far, and what testers asked for, mean for the closing date."""
    if round.closes is None:
        return
    edit = reverse("rounds:edit", args=[round.code])
    if round.asked_count:
        n = round.asked_count
        said = ngettext(
            "{n} tester needs longer, until {until}; the round closes on {day}.",
            "{n} testers need longer, until {until}; the round closes on {day}.",
            n,
        ).format(n=n, until=day(round.asked_last), day=day(round.closes))
        yield Need(str(round), said, _("Change the dates"), edit, pressing=Pressing.SOON)
    if round.likely_late_count:
        n = round.likely_late_count
        said = ngettext(
            "at the pace so far {name}'s piece is likely late: it may be done by {last}; "
            "the round closes on {day}.",
            "at the pace so far {n} pieces are likely late: the last may be done by {last}; "
            "the round closes on {day}.",
            n,
        ).format(n=n, name=round.likely_name, last=day(round.likely_last), day=day(round.closes))
        url = f"{round.get_absolute_url()}#outlook"
        yield Need(str(round), said, _("See the forecast"), url, pressing=Pressing.SOON)


def _needs_of_round(round: Round) -> Iterator[Need]:
    about = str(round)
    said = "" if round.has_somebody else standstill(round, timezone.now())
    if said:
        yield Need(
            about,
            said,
            _("Change the dates"),
            reverse("rounds:edit", args=[round.code]),
            or_else=(_("Move it on by hand"), reverse("rounds:move", args=[round.code])),
            pressing=Pressing.LATE,
        )
    if round.offer_count and not round.place_count:
        n = round.offer_count
        said = ngettext("{n} person offers to test.", "{n} people offer to test.", n).format(n=n)
        url = reverse("rounds:proposal", args=[round.code])
        yield Need(about, said, _("Who should make what?"), url, pressing=Pressing.WAITED_FOR)
    elif not round.place_count:
        yield Need(
            about, _("it has no places yet."), _("Add places"), reverse("rounds:place_new", args=[round.code])
        )
    if round.unlinked_count:
        n = round.unlinked_count
        yield Need(
            about,
            ngettext(
                "{n} offered place has no open link, so nobody can take it.",
                "{n} offered places have no open link, so nobody can take them.",
                n,
            ).format(n=n),
            _("Invite"),
            f"{reverse('rounds:places', args=[round.code])}?state=offered",
            pressing=Pressing.WAITED_FOR,
        )
    if round.late_count:
        n = round.late_count
        yield Need(
            about,
            ngettext(
                "{name} is late, and has no account to be written to.",
                "{n} testers are late, and have no account to be written to.",
                n,
            ).format(n=n, name=round.late_name),
            _("Since when?"),
            f"{round.get_absolute_url()}#late",
            pressing=Pressing.LATE,
        )
    if round.trouble_count:
        n = round.trouble_count
        yield Need(
            about,
            ngettext(
                "{n} mail has not arrived for certain.", "{n} mails have not arrived for certain.", n
            ).format(n=n),
            _("Look"),
            reverse("rounds:mails", args=[round.code]),
            pressing=Pressing.WAITED_FOR,
        )
    # A round from before such days were asked for. In a planned one nobody has given anything yet.
    if round.purge_on is None and round.state != Round.State.PLANNED:
        yield _day_of_deleting(round)
    if round.place_count and round.place_count == round.measured_count:
        said = _("everybody has measured.")
        yield Need(about, said, _("Read the results"), round.get_absolute_url(), pressing=Pressing.SOON)
