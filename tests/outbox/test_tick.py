"""``manage.py tick``: what the clock process does every minute, once, for an installation that has none."""

from __future__ import annotations

import datetime as dt
import threading
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from testround.home.management.commands import demo
from testround.outbox import services
from testround.outbox.models import Work

from .conftest import Bench


def tick(*arguments: str) -> str:
    said = StringIO()
    call_command("tick", *arguments, stdout=said)
    return said.getvalue().strip()


def test_a_tick_does_the_work_that_waits(db: None, bench: Bench) -> None:
    past = timezone.now() - dt.timedelta(hours=1)
    lost = Work.objects.create(kind="bench", subject={"round": 1}, not_before=past)
    Work.objects.filter(pk=lost.pk).update(created=past)

    assert tick() == "work sweep: 1"
    assert bench.done == [{"round": 1}]


def test_a_tick_with_nothing_due_says_so(db: None, bench: Bench) -> None:
    assert tick() == "Nothing was due."


def test_chores_that_ask_for_the_time_are_told_it(db: None, bench: Bench) -> None:
    told: list[dt.datetime | None] = []

    @services.regularly
    def reminds(*, now: dt.datetime | None = None) -> int:
        told.append(now)
        return 3

    @services.regularly
    def asks_nothing() -> None:
        pass

    assert tick("--at", "2027-01-25T09:30+01:00") == "reminds: 3"
    assert told == [dt.datetime(2027, 1, 25, 8, 30, tzinfo=dt.UTC)]


def test_a_time_that_names_no_zone_is_the_servers(db: None, bench: Bench) -> None:
    told: list[dt.datetime | None] = []
    services.regularly(lambda *, now=None: told.append(now))

    tick("--at", "2027-01-25T09:30")

    assert told == [dt.datetime(2027, 1, 25, 9, 30, tzinfo=dt.UTC)]


@pytest.mark.parametrize("written", ["tomorrow", "2027-02-30T09:30"])
def test_a_time_that_is_none_is_refused_with_a_sentence(db: None, written: str) -> None:
    with pytest.raises(CommandError, match="write a date and a time of day, as in 2027-01-25T09:30"):
        tick("--at", written)


class StopsAfter(threading.Event):
    """Lets a clock tick so many times, without waiting."""

    def __init__(self, ticks: int) -> None:
        super().__init__()
        self.ticks, self.waits = ticks, []

    def wait(self, timeout: float | None = None) -> bool:
        self.waits.append(timeout)
        return len(self.waits) == self.ticks


def test_the_demos_clock_ticks_at_once_and_then_every_minute(
    db: None, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    ticks: list[str] = []
    monkeypatch.setattr(demo.connection, "close", lambda: None)  # the test's own, which outlives the clock
    services.regularly(lambda: ticks.append("tick"))
    stop = StopsAfter(3)

    demo.wind_clock(stop)

    assert (ticks, stop.waits) == (["tick"] * 3, [60.0] * 3)
