"""A clock that jumps ahead or is put back: nothing waits for ever, nothing leaves twice, and no date counts too soon."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core import mail as django_mail
from django.core.mail.backends.locmem import EmailBackend
from django.db.models import QuerySet
from django.utils import timezone

from testround.outbox import mail as outbox_mail
from testround.outbox import services
from testround.outbox.letters import letter
from testround.outbox.mail import mail_run, mail_send, mails_sweep
from testround.outbox.models import Mail, Work
from testround.outbox.services import chores_run, work_add, work_sweep
from tests.conftest import WallClock

from .conftest import Bench

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def tasks_are_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (services, outbox_mail):
        monkeypatch.setattr(module, "send_off", lambda *_: None)


def send(**more: Any) -> Mail:
    mail = mail_send(to="willow@example.org", letter=letter("Your place", "It is yours."), **more)
    assert mail is not None
    return mail


def written_now(rows: QuerySet[Any], clock: WallClock) -> None:
    """Columns whose default is the time have the real one, which the jumping clock does not reach."""
    rows.update(created=clock.now, not_before=clock.now)


# -- work and mail -------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("tasks_are_lost")
@pytest.mark.parametrize("ahead", [{"hours": 3}, {"days": 400}])
def test_work_that_was_lost_while_the_clock_was_ahead_is_done_once_it_is_put_back(
    bench: Bench, wall_clock: WallClock, ahead: dict[str, float]
) -> None:
    wall_clock.jumps(**ahead)
    work_add(kind="bench", subject={"round": 1})
    written_now(Work.objects.all(), wall_clock)
    wall_clock.jumps(**{unit: -n for unit, n in ahead.items()})

    assert (work_sweep(), bench.done) == (1, [{"round": 1}])


def test_work_that_failed_while_the_clock_was_ahead_is_tried_again_once_it_is_put_back(
    bench: Bench, wall_clock: WallClock
) -> None:
    bench.breaks = 1
    wall_clock.jumps(days=400)
    work = work_add(kind="bench", subject={"round": 1})
    wall_clock.jumps(days=-400)

    assert (work_sweep(), bench.done) == (1, [{"round": 1}])
    work.refresh_from_db()
    assert (work.state, work.attempts) == ("done", 2)


def test_work_that_somebody_is_at_is_not_begun_by_another_for_a_clock_put_back_a_little(
    bench: Bench, wall_clock: WallClock
) -> None:
    bench.breaks = 1
    work_add(kind="bench", subject={"round": 1})
    wall_clock.jumps(minutes=-20)

    assert (work_sweep(), bench.done) == (0, [])


@pytest.mark.usefixtures("tasks_are_lost")
def test_a_mail_written_while_the_clock_was_ahead_leaves_once_it_is_put_back(wall_clock: WallClock) -> None:
    wall_clock.jumps(days=400)
    send()
    written_now(Mail.objects.all(), wall_clock)
    wall_clock.jumps(days=-400)

    assert (mails_sweep(), mails_sweep()) == (1, 0)
    assert [sent.subject for sent in django_mail.outbox] == ["Your place"]


@pytest.mark.usefixtures("tasks_are_lost")
def test_a_mail_claimed_while_the_clock_was_ahead_is_free_once_it_is_put_back(wall_clock: WallClock) -> None:
    row = send()
    wall_clock.jumps(days=400)
    # Its process died with it.
    Mail.objects.update(state=Mail.State.CLAIMED, claimed_at=wall_clock.now, attempts=1)
    wall_clock.jumps(days=-400)

    assert mails_sweep() == 1
    row.refresh_from_db()
    assert row.state == Mail.State.SENT


@pytest.mark.usefixtures("tasks_are_lost")
def test_a_clock_that_jumps_ahead_while_a_mail_is_handed_over_sends_it_once(
    wall_clock: WallClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Slow(EmailBackend):
        def send_messages(self, messages: Any) -> int:
            wall_clock.jumps(days=1)
            mails_sweep()
            return int(super().send_messages(messages))

    monkeypatch.setattr(outbox_mail, "get_connection", Slow)
    row = send()

    assert mail_run(mail_id=row.pk)
    mails_sweep()

    row.refresh_from_db()
    assert (row.state, len(django_mail.outbox)) == (Mail.State.SENT, 1)


# -- what goes by dates --------------------------------------------------------------------------------------


@pytest.fixture
def told(bench: Bench) -> list[dt.datetime]:
    """When a chore that goes by dates has run."""
    told: list[dt.datetime] = []

    @services.regularly
    def by_dates() -> None:
        told.append(timezone.now())

    return told


def a_minute_later(clock: WallClock) -> None:
    clock.jumps(minutes=1)
    chores_run()


@pytest.mark.parametrize("jump", [{"days": 365}, {"hours": 2}, {"minutes": -5}, {"days": -365}])
def test_after_a_jump_no_date_counts_before_the_clock_has_gone_on_evenly(
    told: list[dt.datetime], wall_clock: WallClock, jump: dict[str, float]
) -> None:
    chores_run()
    a_minute_later(wall_clock)
    before = len(told)
    wall_clock.jumps(**jump)

    for _ in range(10):
        a_minute_later(wall_clock)
    meanwhile = len(told) - before
    a_minute_later(wall_clock)

    assert (before, meanwhile, len(told)) == (2, 0, 3)


def test_a_jump_that_is_taken_back_has_reached_nobody(told: list[dt.datetime], wall_clock: WallClock) -> None:
    chores_run()
    begun = wall_clock.now
    wall_clock.jumps(days=365)
    a_minute_later(wall_clock)
    wall_clock.jumps(days=-365)
    for _ in range(20):
        a_minute_later(wall_clock)

    assert max(told) < begun + dt.timedelta(hours=1)
    assert len(told) > 5


def test_while_the_clock_settles_what_was_lost_is_taken_up(bench: Bench, wall_clock: WallClock) -> None:
    chores_run()
    bench.breaks = 1
    work_add(kind="bench", subject={"round": 1})
    wall_clock.jumps(days=1)

    chores_run()

    assert bench.done == [{"round": 1}]


def test_who_says_what_time_it_is_is_believed(told: list[dt.datetime], wall_clock: WallClock) -> None:
    chores_run()

    chores_run(now=wall_clock.now + dt.timedelta(days=365))

    assert len(told) == 2
