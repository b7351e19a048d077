"""Who needs a friendly word: swatches late, no progress heard of, measurements missing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import DateField, DateTimeField, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.people.clock import zone_of_person
from testround.people.models import User
from testround.rounds.due import UNMEASURED, What, closed_by_its_date, date_of, overdue
from testround.rounds.models import DiaryEntry, Nudge, Place, Round

# Nothing heard of a piece in progress for so long (common practice: a fortnight without a word is asked about).
STALLED_AFTER_DAYS = 14
# A round that its date has closed is asked after for so long.
ASKED_AFTER_CLOSING = dt.timedelta(days=30)
# After a word, days in which nobody is asked to write another (common practice: about a week).
QUIET_DAYS = 5
MOST = 200


@dataclass(frozen=True, slots=True)
class Nudgeable:
    """One tester who may need a word. ``why``: swatch, progress or measurements; ``days`` since that is so."""

    place: Place
    why: str
    due: dt.date | None
    days: int
    nudged: dt.date | None
    today: dt.date
    """By the tester's own clock."""

    @property
    def is_recent(self) -> bool:
        """Whether they have had a word within the last days, so that none is due."""
        return self.nudged is not None and (self.today - self.nudged).days < QUIET_DAYS

    @property
    def sentence(self) -> str:
        match self.why:
            case "swatch":
                said = ngettext(
                    "{name}'s swatch is {n} day late", "{name}'s swatch is {n} days late", self.days
                )
            case "measurements":
                said = ngettext(
                    "{name}'s finished measurements are {n} day late",
                    "{name}'s finished measurements are {n} days late",
                    self.days,
                )
            case _other:
                said = ngettext(
                    "nothing was heard of {name}'s piece for {n} day",
                    "nothing was heard of {name}'s piece for {n} days",
                    self.days,
                )
        said = said.format(name=self.place.name, n=self.days)
        if self.nudged is None:
            # Translators: a sentence without its full stop, as in "Ann's swatch is 3 days late".
            return _("{sentence}.").format(sentence=said)
        # Translators: the same sentence without its full stop.
        return _("{sentence}; you wrote on {day}.").format(
            sentence=said, day=date_format(self.nudged, "MONTH_DAY_FORMAT")
        )


def nudgeable_in(rounds: Collection[Round | int], *, now: dt.datetime | None = None) -> list[Nudgeable]:
    """Whoever needs a word in these rounds, given as they are or by their keys, the longest late first: one query.

    Only those who have an account can be written to.
    """
    if not rounds:
        return []
    now = now or timezone.now()
    found = [_why(place, now) for place in _waited_for(rounds, now)[:MOST]]
    return sorted((one for one in found if one), key=lambda one: (-one.days, one.place.pk))


def nudgeable(place: Place, *, now: dt.datetime | None = None) -> Nudgeable | None:
    """Whether, and why, one place's tester needs a word."""
    now = now or timezone.now()
    row = _waited_for([place.round], now).filter(pk=place.pk).first()
    return _why(row, now) if row else None


def _waited_for(rounds: Collection[Round | int], now: dt.datetime) -> QuerySet[Place]:
    heard = DiaryEntry.objects.filter(place=OuterRef("pk"), by=OuterRef("tester")).order_by("-at")
    nudges = Nudge.objects.filter(place=OuterRef("pk")).order_by("-day")
    # A day wider than any zone needs; settled in each place's own below.
    date = now.date() + dt.timedelta(days=1)
    swatch_late = Q(state=Place.State.TAKEN) & overdue(What.SWATCH, date)
    measures_late = overdue(What.MEASURES, date)
    stalled = Q(heard__lte=now - dt.timedelta(days=STALLED_AFTER_DAYS))
    going = ~Q(round__state__in=[Round.State.PLANNED, Round.State.CLOSED])
    closed = Q(round__state=Round.State.CLOSED, round__closes__gte=date - ASKED_AFTER_CLOSING)
    return (
        Place.objects.filter(round__in=rounds, state__in=UNMEASURED, tester__is_active=True)
        .annotate(
            heard=Coalesce(Subquery(heard.values("at")[:1], output_field=DateTimeField()), F("agreed_at")),
            nudged=Subquery(nudges.values("day")[:1], output_field=DateField()),
        )
        .filter(going | closed)
        .filter(swatch_late | measures_late | stalled)
        .select_related("round__edition__pattern__owner", "tester")
        .defer("round__edition__sheet", "round__terms", "agreed_terms")
        .order_by("round__closes", "pk")
    )


def _why(place: Place, now: dt.datetime) -> Nudgeable | None:
    assert place.tester is not None  # noqa: S101 -- as the query says
    if place.round.state == Round.State.CLOSED and not closed_by_its_date(place.round):
        return None
    today = now.astimezone(zone_of_person(place.tester)).date()
    closes, swatch = date_of(place, What.MEASURES), date_of(place, What.SWATCH)
    heard: dt.datetime | None = place.heard
    nudged: dt.date | None = place.nudged
    if closes is not None and closes < today:
        return Nudgeable(place, "measurements", closes, (today - closes).days, nudged, today)
    if place.state == Place.State.TAKEN:
        late = swatch is not None and swatch < today
        return (
            Nudgeable(place, "swatch", swatch, (today - swatch).days, nudged, today)
            if late and swatch
            else None
        )
    if heard is None:
        return None
    silent = (now - heard).days
    return (
        Nudgeable(place, "progress", closes, silent, nudged, today) if silent >= STALLED_AFTER_DAYS else None
    )


def nudged_today(person: User, *, now: dt.datetime | None = None) -> bool:
    """Whether somebody has written to this person today, by the person's own clock."""
    today = (now or timezone.now()).astimezone(zone_of_person(person)).date()
    return Nudge.objects.filter(person=person, day=today).exists()
