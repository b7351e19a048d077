"""A sitting with a timer: begun, and ended as a report of its hours."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.models import RunningSitting, Submission
from testround.reports.services import sitting_submit
from testround.rounds.models import Place

FORGOTTEN_AFTER = dt.timedelta(hours=12)
"""Nobody sits so long: a timer that ran longer was forgotten, and the person is asked how long it really was."""
SHORTEST = dt.timedelta(minutes=1)
PAUSE_AFTER = dt.timedelta(minutes=45)
"""When a word on pausing is said, and each half hour after it (common practice: a break within the hour)."""
PAUSE_AGAIN = dt.timedelta(minutes=30)


class Forgotten(Exception):
    """How long it ran is not known: longer than anyone sits, or the clock was put back since it began.

    It still stands, until the real length is said or it is dropped.
    """


@dataclass(frozen=True, slots=True)
class Running:
    """A sitting under way, as a page shows it."""

    started_at: dt.datetime
    now: dt.datetime
    part: str
    key: uuid.UUID

    @property
    def elapsed(self) -> dt.timedelta:
        return max(self.now - self.started_at, dt.timedelta())

    @property
    def minutes(self) -> int:
        return int(self.elapsed.total_seconds() // 60)

    @property
    def clock(self) -> str:
        """Hours and minutes, as in 1:05."""
        return clock(self.elapsed)

    @property
    def forgotten(self) -> bool:
        return _is_unknown(self.started_at, self.now)

    @property
    def wants_pause(self) -> bool:
        return PAUSE_AFTER <= self.elapsed <= FORGOTTEN_AFTER


def _is_unknown(started_at: dt.datetime, ended: dt.datetime) -> bool:
    """Whether nobody sat from the one to the other, as the clock has it."""
    return not -SHORTEST <= ended - started_at <= FORGOTTEN_AFTER


def clock(length: dt.timedelta) -> str:
    hours, minutes = divmod(int(length.total_seconds() // 60), 60)
    return f"{hours}:{minutes:02d}"


def running_at(place: Place) -> Running | None:
    """One query."""
    row = _RUNNING.first(place=place)
    return None if row is None else Running(row.started_at, timezone.now(), row.part, row.key)


_RUNNING: Prepared[RunningSitting] = Prepared(lambda place: RunningSitting.objects.filter(place=place))


@transaction.atomic
def timer_start(*, place: Place, part: str = "") -> Running:
    """Begin a sitting. One that runs already runs on."""
    Place.objects.select_for_update().only("pk").get(pk=place.pk)
    row, _ = RunningSitting.objects.get_or_create(place=place, defaults={"part": part})
    return Running(row.started_at, timezone.now(), row.part, row.key)


@transaction.atomic
def timer_stop(
    *,
    place: Place,
    key: uuid.UUID,
    by: User | None,
    part: str = "",
    done: float | None = None,
    typed_done: str = "",
    stopped_at: dt.datetime | None = None,
) -> Submission | None:
    """End the sitting of that key and log its hours, to the minute. None where it lasted less than a minute,
    or no such sitting runs any more.

    ``stopped_at`` is when the button was pressed, where the phone had no network at the time.

    Raises
    ------
    Forgotten
        How long it ran is not known; nothing is logged and it still runs.
    """
    # Locked before the row is read: of two presses the second finds it gone.
    Place.objects.select_for_update().only("pk").get(pk=place.pk)
    row = RunningSitting.objects.filter(place=place, key=key).first()
    if row is None:
        return Submission.objects.filter(place=place, key=key).first()
    now = timezone.now()
    ended = min(stopped_at, now) if stopped_at is not None and stopped_at > row.started_at else now
    if _is_unknown(row.started_at, ended):
        raise Forgotten
    length = ended - row.started_at
    row.delete()
    if length < SHORTEST:
        return None
    minutes = int(length.total_seconds() // 60)
    typed = {"hours": clock(length)} | ({"done": typed_done} if done is not None and typed_done else {})
    return sitting_submit(
        place=place, key=key, by=by, hours=minutes / 60, part=part or None, done=done, typed=typed
    )


@transaction.atomic
def timer_drop(*, place: Place) -> None:
    """Forget a sitting under way, with nothing logged."""
    RunningSitting.objects.filter(place=place).delete()


def sitting_log(*, place: Place, **report: Any) -> Submission:
    """Log a sitting by hand. A timer that was forgotten has its answer with it, and is gone.

    In a transaction after the report's: should that one not come about, the timer is asked about once more.
    """
    submission = sitting_submit(place=place, **report)
    running = running_at(place)
    if running is not None and running.forgotten:
        RunningSitting.objects.filter(place=place, key=running.key).delete()
    return submission
