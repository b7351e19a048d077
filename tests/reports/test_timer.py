"""A sitting with a timer: what is logged when it ends, and what is not."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from testround.people.models import User
from testround.reports.models import RunningSitting, Sitting
from testround.reports.timer import Forgotten, Running, running_at, timer_drop, timer_start, timer_stop
from testround.rounds.models import Place


def began(place: Place, **ago: float) -> uuid.UUID:
    """A sitting that began so long ago; its key."""
    key = timer_start(place=place, part="back").key
    RunningSitting.objects.update(started_at=timezone.now() - dt.timedelta(**ago))
    return key


def test_a_sitting_is_logged_to_the_minute_when_it_ends(place: Place, tester: User) -> None:
    key = began(place, hours=1, minutes=15, seconds=40)

    timer_stop(place=place, key=key, by=tester, part="back", done=0.4, typed_done="40")

    row = Sitting.objects.get()
    assert (row.hours, row.part, row.done, row.typed) == (1.25, "back", 0.4, {"hours": "1:15", "done": "40"})
    assert running_at(place) is None


def test_started_twice_it_runs_on_from_the_first_time(place: Place) -> None:
    began(place, minutes=20)

    assert timer_start(place=place).minutes == 20
    assert RunningSitting.objects.count() == 1


def test_stopped_twice_it_is_logged_once(place: Place, tester: User) -> None:
    key = began(place, minutes=20)

    first = timer_stop(place=place, key=key, by=tester)
    second = timer_stop(place=place, key=key, by=tester)

    assert first is not None
    assert second is not None
    assert first.pk == second.pk
    assert Sitting.objects.count() == 1


def test_a_late_press_of_stop_does_not_end_the_next_sitting(place: Place, tester: User) -> None:
    timer_stop(place=place, key=began(place, minutes=20), by=tester)
    began(place, minutes=5)

    assert timer_stop(place=place, key=uuid.uuid4(), by=tester) is None
    assert running_at(place) is not None


def test_it_ended_when_the_button_was_pressed_though_the_network_came_later(
    place: Place, tester: User
) -> None:
    key = began(place, hours=3)

    timer_stop(place=place, key=key, by=tester, stopped_at=timezone.now() - dt.timedelta(hours=2))

    assert Sitting.objects.get().hours == pytest.approx(1, abs=1 / 60 + 1e-9)


@pytest.mark.parametrize("hours", [-24, 24])
def test_a_phones_clock_that_is_off_by_a_day_is_not_believed(
    place: Place, tester: User, hours: float
) -> None:
    key = began(place, hours=2)

    timer_stop(place=place, key=key, by=tester, stopped_at=timezone.now() + dt.timedelta(hours=hours))

    assert Sitting.objects.get().hours == 2


def test_a_timer_that_was_forgotten_is_not_logged_and_still_stands(place: Place, tester: User) -> None:
    key = began(place, hours=12, minutes=1)

    with pytest.raises(Forgotten):
        timer_stop(place=place, key=key, by=tester)

    assert not Sitting.objects.exists()
    assert running_at(place) is not None


def test_less_than_a_minute_is_not_logged(place: Place, tester: User) -> None:
    key = began(place, seconds=30)

    assert timer_stop(place=place, key=key, by=tester) is None
    assert (Sitting.objects.count(), RunningSitting.objects.count()) == (0, 0)


def test_a_timer_can_be_dropped(place: Place) -> None:
    began(place, hours=2)

    timer_drop(place=place)

    assert running_at(place) is None


@pytest.mark.parametrize(
    ("minutes", "clock", "wants_pause", "forgotten"),
    [
        (0, "0:00", False, False),
        (44, "0:44", False, False),
        (45, "0:45", True, False),
        (721, "12:01", False, True),
    ],
)
def test_a_pause_is_due_within_the_hour(minutes: int, clock: str, wants_pause: bool, forgotten: bool) -> None:
    now = timezone.now()
    running = Running(now - dt.timedelta(minutes=minutes), now, "", uuid.uuid4())

    assert (running.clock, running.wants_pause, running.forgotten) == (clock, wants_pause, forgotten)
