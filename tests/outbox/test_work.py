from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connections, transaction
from django.utils import timezone

from testround.outbox import services
from testround.outbox.models import Work
from testround.outbox.services import MOST_ATTEMPTS, chores_run, work_add, work_forget, work_run, work_sweep

from .conftest import Bench


def make_due(work: Work) -> None:
    """Let the time pass after which the work is tried again."""
    past = timezone.now() - dt.timedelta(hours=3)
    Work.objects.filter(pk=work.pk).update(not_before=past, created=past)


def wait_for_the_thread() -> None:
    """One thread does all work in order: when it has come to close its connection, it has done the rest."""
    services._thread_pool().submit(connections.close_all).result(timeout=30)


@pytest.mark.django_db(transaction=True)
def test_work_is_done_after_the_transaction_and_not_before(bench: Bench) -> None:
    with transaction.atomic():
        work = work_add(kind="bench", subject={"round": 1})
        during = list(bench.done)

    work.refresh_from_db()
    assert (during, bench.done) == ([], [{"round": 1}])
    assert (work.state, work.attempts, work.problem) == ("done", 1, "")
    assert work.finished is not None


@pytest.mark.django_db(transaction=True)
def test_work_of_a_transaction_that_fails_never_was(bench: Bench) -> None:
    with transaction.atomic():
        work_add(kind="bench", subject={"round": 1})
        transaction.set_rollback(True)

    assert bench.done == []
    assert not Work.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_work_wanted_twice_before_it_is_done_is_done_once(bench: Bench) -> None:
    with transaction.atomic():
        first = work_add(kind="bench", subject={"round": 1}, once_key="round-1")
        second = work_add(kind="bench", subject={"round": 1}, once_key="round-1")
        other = work_add(kind="bench", subject={"round": 2}, once_key="round-2")

    assert first == second != other
    assert bench.done == [{"round": 1}, {"round": 2}]


@pytest.mark.django_db(transaction=True)
def test_work_wanted_again_after_it_was_done_is_done_again(bench: Bench) -> None:
    first = work_add(kind="bench", subject={"round": 1}, once_key="round-1")
    second = work_add(kind="bench", subject={"round": 1}, once_key="round-1")

    assert first != second
    assert bench.done == [{"round": 1}, {"round": 1}]


@pytest.mark.django_db(transaction=True)
def test_work_without_a_key_is_done_as_often_as_it_is_wanted(bench: Bench) -> None:
    with transaction.atomic():
        work_add(kind="bench", subject={"mail": 1})
        work_add(kind="bench", subject={"mail": 1})

    assert bench.done == [{"mail": 1}, {"mail": 1}]


@pytest.mark.django_db(transaction=True)
def test_work_that_breaks_leaves_the_submission_standing_and_says_why(bench: Bench) -> None:
    bench.breaks = 1

    work = work_add(kind="bench", subject={"round": 1})

    work.refresh_from_db()
    assert (work.state, work.attempts) == ("waiting", 1)
    assert work.problem == "ConnectionError: the server did not answer"
    assert work.not_before > timezone.now()


@pytest.mark.django_db(transaction=True)
def test_work_that_broke_is_tried_again_when_its_time_has_come(bench: Bench) -> None:
    bench.breaks = 1
    work = work_add(kind="bench", subject={"round": 1})

    too_soon = work_sweep()
    make_due(work)
    in_time = work_sweep()

    work.refresh_from_db()
    assert (too_soon, in_time) == (0, 1)
    assert (work.state, work.attempts, work.problem) == ("done", 2, "")
    assert bench.done == [{"round": 1}]


@pytest.mark.django_db(transaction=True)
def test_each_failure_waits_longer_and_the_last_gives_up(bench: Bench) -> None:
    bench.breaks = 100
    work = work_add(kind="bench", subject={"round": 1})
    waits = []
    for _ in range(MOST_ATTEMPTS - 1):
        work.refresh_from_db()
        waits.append(work.not_before - timezone.now())
        make_due(work)
        work_sweep()

    make_due(work)
    afterwards = work_sweep()

    work.refresh_from_db()
    assert waits == sorted(waits)
    assert (work.state, work.attempts, afterwards) == ("failed", MOST_ATTEMPTS, 0)
    assert work.problem == "ConnectionError: the server did not answer"


def test_work_that_took_its_process_down_every_time_is_given_up(db: None, bench: Bench) -> None:
    work = Work.objects.create(kind="bench", attempts=MOST_ATTEMPTS)
    make_due(work)

    done = work_sweep()

    work.refresh_from_db()
    assert (done, work.state, bench.done) == (0, "failed", [])
    assert work.problem == f"Begun {MOST_ATTEMPTS} times and never ended."


def test_the_sweep_picks_up_a_row_whose_task_was_lost(db: None, bench: Bench) -> None:
    lost = Work.objects.create(kind="bench", subject={"round": 1})
    make_due(lost)
    Work.objects.create(kind="bench", subject={"round": 2})  # a moment old: its task is on the way

    assert work_sweep() == 1
    assert bench.done == [{"round": 1}]


def test_the_sweep_takes_the_oldest_first_and_no_more_than_it_is_asked(db: None, bench: Bench) -> None:
    for number in (1, 2, 3):
        make_due(Work.objects.create(kind="bench", subject={"round": number}))
    newest = Work.objects.latest("pk")
    Work.objects.filter(pk=newest.pk).update(created=timezone.now() - dt.timedelta(days=1))

    assert work_sweep(most=2) == 2
    assert bench.done == [{"round": 3}, {"round": 1}]


def test_done_work_is_not_done_again_when_its_task_comes_late(db: None, bench: Bench) -> None:
    work = Work.objects.create(kind="bench", subject={"round": 1})

    assert [work_run(work_id=work.pk), work_run(work_id=work.pk)] == [True, False]
    assert bench.done == [{"round": 1}]


@pytest.mark.django_db(transaction=True)
def test_work_of_a_kind_that_nobody_does_says_so_on_its_row(bench: Bench) -> None:
    work = work_add(kind="unheard-of", subject={})

    work.refresh_from_db()
    assert (work.state, work.problem) == ("waiting", "KeyError: 'unheard-of'")


def test_a_chore_that_breaks_does_not_keep_the_others_from_being_done(db: None, bench: Bench) -> None:
    done = []

    @services.regularly
    def first() -> None:
        raise RuntimeError("broke")

    @services.regularly
    def second() -> None:
        done.append("second")

    chores_run()

    assert done == ["second"]


def test_what_was_done_a_month_ago_is_forgotten_and_what_failed_stays(db: None) -> None:
    now = timezone.now()
    long_ago, lately = now - dt.timedelta(days=31), now - dt.timedelta(days=29)
    for subject, state, when in (
        ("long done", "done", long_ago),
        ("lately done", "done", lately),
        ("failed", "failed", long_ago),
        ("waiting", "waiting", long_ago),
    ):
        Work.objects.create(
            kind="bench", subject={"it": subject}, state=state, not_before=when, finished=when
        )

    assert [work_forget(now=now), work_forget(now=now)] == [1, 0]
    left = Work.objects.order_by("pk").values_list("subject__it", flat=True)
    assert list(left) == ["lately done", "failed", "waiting"]


@pytest.mark.usefixtures("shared_by_threads")
def test_in_one_process_work_is_done_by_a_thread_after_the_answer(bench: Bench, settings: Any) -> None:
    settings.OUTBOX_RUNNER = "thread"

    with transaction.atomic():
        work = work_add(kind="bench", subject={"round": 1}, once_key="round-1")
    wait_for_the_thread()

    work.refresh_from_db()
    assert bench.done == [{"round": 1}]
    assert (work.state, work.attempts) == ("done", 1)


@pytest.mark.usefixtures("shared_by_threads")
def test_a_thread_survives_work_that_breaks(bench: Bench, settings: Any) -> None:
    settings.OUTBOX_RUNNER = "thread"
    bench.breaks = 1

    broken = work_add(kind="bench", subject={"round": 1})
    sound = work_add(kind="bench", subject={"round": 2})
    wait_for_the_thread()

    for work in (broken, sound):
        work.refresh_from_db()
    assert (broken.state, sound.state) == ("waiting", "done")
