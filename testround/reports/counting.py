"""Rows and steps counted on a phone, taken in when it has a network: every press once, in any order.

A press is one event with a key made on the phone. Events of several phones add up. What cannot be meant is
refused by its key and nothing else with it, so that one bad event does not hold up those behind it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import QuerySet, Sum
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from testround.kernel.round import Pattern
from testround.reports.models import Counter, RowsCounted, StepTick
from testround.reports.models_phone import LONGEST_LABEL
from testround.rounds.models import Place
from testround.rounds.services.privacy import check_kept

MOST_AT_ONCE = 400
MOST_COUNTERS = 60
MOST_ROWS_A_PRESS = 10_000
MOST_PRESSES = 100_000
"""A garment has some thousand rows; more than this at one place is no counting."""


@dataclass(frozen=True, slots=True)
class Tally:
    """One counter with what was counted on it."""

    code: uuid.UUID
    label: str
    goal: int | None
    rows: int

    @property
    def left(self) -> int | None:
        return None if self.goal is None else max(self.goal - self.rows, 0)


@dataclass(frozen=True, slots=True)
class Counted:
    """What stands at a place: open counters in the order they were made, keys of the numbers ticked off."""

    tallies: tuple[Tally, ...]
    ticked: frozenset[str]
    as_of: dt.datetime

    @property
    def begun(self) -> bool:
        return bool(self.ticked) or any(tally.rows for tally in self.tallies)

    @property
    def several(self) -> bool:
        return len(self.tallies) > 1

    def document(self) -> dict[str, Any]:
        """As the page's script reads it."""
        return {
            "as_of": int(self.as_of.timestamp() * 1000),
            "counters": [
                {"code": str(tally.code), "label": tally.label, "goal": tally.goal, "rows": tally.rows}
                for tally in self.tallies
            ],
            "ticked": sorted(self.ticked),
        }


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a post: the keys that are in, also those that were before, and those that cannot be."""

    taken: tuple[str, ...]
    refused: tuple[str, ...]


def counted_at(place: Place) -> Counted:
    """Two queries."""
    return Counted(
        tallies=tuple(
            Tally(counter.code, counter.label, counter.goal, max(counter.total or 0, 0))
            for counter in _open_counters(place)
        ),
        ticked=frozenset(StepTick.objects.filter(place=place, done=True).values_list("number", flat=True)),
        as_of=timezone.now(),
    )


def _open_counters(place: Place) -> QuerySet[Any]:
    found = Counter.objects.filter(place=place, closed_at=None)
    return found.annotate(total=Sum("presses__rows")).order_by("pk")


@transaction.atomic
def events_take(*, place: Place, pattern: Pattern, events: Sequence[Any]) -> Taken:
    """Take in what a phone has gathered. A key that is in already changes nothing.

    Raises
    ------
    Refused
        What is private of the round is deleted already.
    """
    check_kept(place)
    # Two phones of one person take turns.
    Place.objects.select_for_update().only("pk").get(pk=place.pk)
    intake = _Intake(place, pattern)
    for event in events[:MOST_AT_ONCE]:
        intake.take(event)
    intake.store()
    return Taken(tuple(intake.taken), tuple(intake.refused))


class _Intake:
    """One post, read against what is there; rows are written at the end, in one go."""

    def __init__(self, place: Place, pattern: Pattern) -> None:
        self.place = place
        self.now = timezone.now()
        self.numbers = {number.key for number in pattern.numbers}
        self.counters = {counter.code: counter for counter in Counter.objects.filter(place=place)}
        totals = RowsCounted.objects.filter(place=place).values("counter_id").annotate(total=Sum("rows"))
        self.totals = {row["counter_id"]: row["total"] or 0 for row in totals.order_by()}
        self.ticks = {tick.number: tick for tick in StepTick.objects.filter(place=place)}
        self.presses: dict[uuid.UUID, RowsCounted] = {}
        self.changed_ticks: set[str] = set()
        self.taken: list[str] = []
        self.refused: list[str] = []

    def take(self, event: Any) -> None:
        if not isinstance(event, Mapping):
            return
        key = _uuid(event.get("id"))
        if key is None:
            self.refused.append(str(event.get("id"))[:80])
            return
        take = {"counter": self._counter, "rows": self._rows, "close": self._close, "tick": self._tick}
        known = take.get(str(event.get("kind")))
        done = known is not None and known(key, event)
        (self.taken if done else self.refused).append(str(event.get("id")))

    def _counter(self, key: uuid.UUID, event: Mapping[str, Any]) -> bool:
        code, label, goal = (
            _uuid(event.get("counter")),
            str(event.get("label") or "").strip(),
            event.get("goal"),
        )
        if code is None or not label:
            return False
        if code in self.counters:
            return True
        standing = sum(counter.closed_at is None for counter in self.counters.values())
        if standing >= MOST_COUNTERS:
            return False
        known_goal = goal if isinstance(goal, int) and 0 < goal <= MOST_ROWS_A_PRESS else None
        self.counters[code] = Counter.objects.create(
            place=self.place, code=code, label=label[:LONGEST_LABEL], goal=known_goal
        )
        return True

    def _rows(self, key: uuid.UUID, event: Mapping[str, Any]) -> bool:
        counter = self.counters.get(_uuid(event.get("counter")) or uuid.UUID(int=0))
        rows = event.get("rows")
        if counter is None or not isinstance(rows, int) or not 0 < abs(rows) <= MOST_ROWS_A_PRESS:
            return False
        self.presses.setdefault(
            key,
            RowsCounted(place=self.place, counter=counter, key=key, rows=rows, at=self._at(event)),
        )
        return True

    def _close(self, key: uuid.UUID, event: Mapping[str, Any]) -> bool:
        counter = self.counters.get(_uuid(event.get("counter")) or uuid.UUID(int=0))
        if counter is None:
            return False
        if counter.closed_at is None:
            counter.closed_at = self.now
            counter.save(update_fields=["closed_at"])
        return True

    def _tick(self, key: uuid.UUID, event: Mapping[str, Any]) -> bool:
        number, done = event.get("number"), event.get("done")
        if number not in self.numbers or not isinstance(done, bool):
            return False
        at = self._at(event)
        tick = self.ticks.get(str(number))
        if tick is None:
            tick = self.ticks[str(number)] = StepTick(place=self.place, number=str(number), done=done, at=at)
            self.changed_ticks.add(tick.number)
        elif at > tick.at:
            tick.done, tick.at = done, at
            self.changed_ticks.add(tick.number)
        return True

    def _at(self, event: Mapping[str, Any]) -> dt.datetime:
        """When it was pressed; a phone whose clock is ahead, or says nothing that can be read, pressed now."""
        try:
            at = parse_datetime(str(event.get("at")))
        except ValueError:
            at = None
        if at is None or timezone.is_naive(at) or at > self.now:
            return self.now
        return at

    def store(self) -> None:
        there = set(
            RowsCounted.objects.filter(place=self.place, key__in=list(self.presses)).values_list(
                "key", flat=True
            )
        )
        fresh = [press for key, press in self.presses.items() if key not in there]
        if RowsCounted.objects.filter(place=self.place).count() + len(fresh) > MOST_PRESSES:
            self._refuse(fresh)
            fresh = []
        RowsCounted.objects.bulk_create([*fresh, *self._made_up(fresh)])
        for number in self.changed_ticks:
            self.ticks[number].save()

    def _refuse(self, presses: Iterable[RowsCounted]) -> None:
        keys = {str(press.key) for press in presses}
        self.taken = [key for key in self.taken if key not in keys]
        self.refused += sorted(keys)

    def _made_up(self, fresh: Iterable[RowsCounted]) -> list[RowsCounted]:
        """Two phones that both took a row back may leave less than nothing: made up to nothing, so that the next
        row counts again."""
        totals = dict(self.totals)
        for press in fresh:
            totals[press.counter_id] = totals.get(press.counter_id, 0) + press.rows
        return [
            RowsCounted(place=self.place, counter_id=pk, rows=-total, at=self.now)
            for pk, total in totals.items()
            if total < 0
        ]


def _uuid(value: Any) -> uuid.UUID | None:
    try:
        return uuid.UUID(str(value))
    except ValueError:
        return None
