"""What a place owes next, and by when: the round's date, or a later one that its tester asked for."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import F, Q

from testround.people.clock import zone_of_person
from testround.rounds.models import Place, Reminder, Round

What = Reminder.What
FINISHED = (Place.State.MEASURED, Place.State.DONE, Place.State.GIVEN_BACK)
UNMEASURED = (Place.State.TAKEN, Place.State.SWATCH_SENT, Place.State.GAUGE_AGREED, Place.State.MAKING)


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that is awaited. ``date`` is the day that counts; ``of_round`` the round's own."""

    what: str
    date: dt.date
    of_round: dt.date | None

    @property
    def is_own(self) -> bool:
        return self.date != self.of_round


def date_of(place: Place, what: str) -> dt.date | None:
    """The day that counts for a place: its own where that is later than the round's."""
    round_ = place.round
    of_round, own = (
        (round_.swatches_due, place.swatch_until)
        if what == What.SWATCH
        else (round_.closes, place.measures_until)
    )
    return max((date for date in (of_round, own) if date), default=None)


def overdue(what: str, date: dt.date, *, of_round: str = "round__", own: str = "") -> Q:
    """Places whose day that counts, as `date_of` has it, is before a date.

    ``of_round`` and ``own`` lead from the rows that are filtered to the round and to the place.
    """
    fields = ("swatches_due", "swatch_until") if what == What.SWATCH else ("closes", "measures_until")
    round_s, own_s = f"{of_round}{fields[0]}", f"{own}{fields[1]}"
    own_past = Q(**{f"{own_s}__lt": date})
    return Q(**{f"{round_s}__lt": date}) & (own_past | Q(**{own_s: None})) | Q(**{round_s: None}) & own_past


def places_late(date: dt.date) -> Q:
    """Of a query of rounds: which of their places owe something that was due before a date."""
    swatch = Q(places__state=Place.State.TAKEN) & overdue(What.SWATCH, date, of_round="", own="places__")
    measures = overdue(What.MEASURES, date, of_round="", own="places__")
    return swatch | Q(places__state__in=UNMEASURED) & measures


def places_likely_late() -> Q:
    """Of a query of rounds: which of their places will hardly be done by the day that counts for each."""
    after_round = Q(places__likely_from__gt=F("closes"))
    after_own = Q(places__measures_until=None) | Q(places__likely_from__gt=F("places__measures_until"))
    return Q(places__state__in=UNMEASURED) & after_round & after_own


def dues_of(place: Place) -> list[Due]:
    """What is awaited from the holder of a place and has a date, the nearest step first."""
    if place.state not in UNMEASURED:
        return []
    found = []
    for what, of_round in ((What.SWATCH, place.round.swatches_due), (What.MEASURES, place.round.closes)):
        if what == What.SWATCH and place.state != Place.State.TAKEN:
            continue
        date = date_of(place, what)
        if date is not None:
            found.append(Due(what, date, of_round))
    return found


def closed_by_its_date(round_: Round) -> bool:
    """Whether a closed round ended because its date came, and not because its designer closed it."""
    if round_.state != Round.State.CLOSED or round_.closes is None or round_.moved_at is None:
        return False
    zone = zone_of_person(round_.edition.pattern.owner)
    return round_.moved_at.astimezone(zone).date() > round_.closes


def still_awaits(round_: Round) -> bool:
    """Whether anybody is to be reminded of what is not there yet."""
    if round_.state == Round.State.CLOSED:
        return closed_by_its_date(round_)
    return round_.state != Round.State.PLANNED
