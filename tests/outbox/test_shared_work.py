"""Work that is wanted several times is done once, and never on what was there before it was wanted."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction

from testround.outbox import services
from testround.outbox.models import Work
from testround.outbox.services import work_add


@pytest.mark.django_db(transaction=True)
def test_work_wanted_while_it_is_being_done_is_done_once_more(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[dict[str, Any]] = []

    def read(subject: dict[str, Any]) -> None:
        seen.append(subject)
        if len(seen) == 1:  # somebody sends another report while this one is being read
            work_add(kind="bench", subject={"round": 1}, once_key="round-1")

    monkeypatch.setitem(services._handlers, "bench", read)

    work_add(kind="bench", subject={"round": 1}, once_key="round-1")

    assert seen == [{"round": 1}, {"round": 1}]
    assert list(Work.objects.values_list("state", flat=True)) == [Work.State.DONE, Work.State.DONE]


@pytest.mark.django_db
def test_work_that_somebody_is_at_is_not_begun_by_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[int] = []
    monkeypatch.setitem(services._handlers, "bench", lambda subject: begun.append(1))
    work = work_add(kind="bench", subject={})
    services.Work.objects.filter(pk=work.pk).update(
        attempts=1, not_before=services.timezone.now() + services.LOST_AFTER
    )

    assert services.work_run(work_id=work.pk) is False
    assert begun == []


@pytest.mark.django_db
def test_work_that_is_wanted_again_before_anybody_began_is_one_row(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "send_off", lambda *_: None)

    first = work_add(kind="bench", subject={"round": 1}, once_key="round-1")
    second = work_add(kind="bench", subject={"round": 1}, once_key="round-1")
    other = work_add(kind="bench", subject={"round": 2}, once_key="round-2")

    assert second == first != other
    assert (first.subject, first.state, first.attempts) == ({"round": 1}, "waiting", 0)
    assert Work.objects.get(pk=first.pk).not_before == first.not_before


def committed(work: Work) -> None:
    pass


def begun(work: Work) -> None:
    Work.objects.filter(pk=work.pk).update(attempts=1)


def undone(work: Work) -> None:
    transaction.set_rollback(True)


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("becomes", "shared", "rows"), [(committed, True, 1), (begun, False, 2), (undone, False, 1)]
)
def test_of_two_that_want_it_in_the_same_moment_the_second_waits_for_what_becomes_of_the_row(
    becomes: Callable[[Work], None], shared: bool, rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "send_off", lambda *_: None)
    found: list[Work] = []

    def second() -> None:
        try:
            found.append(work_add(kind="bench", subject={"round": 1}, once_key="round-1"))
        finally:
            connection.close()

    thread = threading.Thread(target=second)
    with transaction.atomic():
        first = work_add(kind="bench", subject={"round": 1}, once_key="round-1")
        thread.start()
        wait_until_somebody_waits_for_us()
        becomes(first)
    thread.join(timeout=10)

    assert [work == first for work in found] == [shared]
    assert Work.objects.count() == rows


def wait_until_somebody_waits_for_us() -> None:
    for _time in range(200):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_locks"
                " WHERE NOT granted AND pg_backend_pid() = ANY(pg_blocking_pids(pid))"
            )
            if cursor.fetchone()[0]:
                return
        time.sleep(0.05)
    raise AssertionError("nobody waits")
