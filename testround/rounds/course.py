"""Where its dates would have a round by now, and whether anybody is there to be moved along."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from testround.rounds.clock import zone_of
from testround.rounds.letters.words import day
from testround.rounds.models import Candidate, Place, Round
from testround.rounds.states import ROUND_ORDER

UNHELD = (Place.State.OFFERED, Place.State.GIVEN_BACK)


@dataclass(frozen=True, slots=True)
class Step:
    """A state that a round is to reach on a date."""

    state: str
    date: dt.date
    begins: dt.datetime

    @property
    def why(self) -> str:
        """The reason that a diary gives for the step, with its date."""
        said = {
            Round.State.GATHERING: _("the call was to open on {day}"),
            Round.State.SWATCHING: _("it was to open on {day}"),
            Round.State.MAKING: _("swatches were due on {day}"),
            Round.State.CLOSED: _("it was to close on {day}"),
        }
        return said[Round.State(self.state)].format(day=day(self.date))

    @property
    def needs_somebody(self) -> bool:
        """Whether the step means anything while nobody is in the round. A call opens before anybody is."""
        return self.state != Round.State.GATHERING


def steps_of(round: Round) -> Iterator[Step]:
    """The steps that have a date, in order: each begins at the designer's midnight."""
    # A call that was never written has nothing to open.
    call_opens = round.call_opens if round.call_code else None
    zone, next_day = zone_of(round), dt.timedelta(days=1)
    for date, wait, state in (
        (call_opens, dt.timedelta(0), Round.State.GATHERING),
        (round.opens, dt.timedelta(0), Round.State.SWATCHING),
        (round.swatches_due, next_day, Round.State.MAKING),
        (round.closes, next_day, Round.State.CLOSED),
    ):
        if date is not None:
            yield Step(state, date, dt.datetime.combine(date + wait, dt.time(), tzinfo=zone))


def steps_begun(round: Round, now: dt.datetime) -> list[Step]:
    """The steps before the round whose date has passed since it was last moved, the furthest last."""
    at = ROUND_ORDER.index(round.state)
    return [
        step
        for step in steps_of(round)
        if step.begins <= now
        and (round.moved_at is None or step.begins > round.moved_at)
        and ROUND_ORDER.index(step.state) > at
    ]


def somebody_in() -> Q:
    """Of a query of rounds: whether anybody holds a place, or has offered and stays."""
    held = Place.objects.filter(round=OuterRef("pk"), left_at=None).exclude(state__in=UNHELD)
    stay = Candidate.objects.filter(round=OuterRef("pk"), state__in=Candidate.HOLDING)
    return Exists(held) | Exists(stay)


def standstill(round: Round, now: dt.datetime) -> str:
    """Why a round that nobody is in has not followed its dates, as a sentence that begins small; nothing if it has.

    The first date that it is held up at is named: the later ones passed because of that.
    """
    held_up = next((step for step in steps_begun(round, now) if step.needs_somebody), None)
    if held_up is None:
        return ""
    said = {
        Round.State.SWATCHING: _("it was to begin on %(day)s and has no testers yet."),
        Round.State.MAKING: _("it was to have its swatches by %(day)s and nobody is in it."),
        Round.State.CLOSED: _("it was to close on %(day)s and nobody is in it."),
    }
    return said[held_up.state] % {"day": day(held_up.date)}
