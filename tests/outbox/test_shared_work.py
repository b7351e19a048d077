"""Work that is wanted several times is done once, and never on what was there before it was wanted."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError
from django.db.models import QuerySet

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


@pytest.mark.parametrize("races", [1, 5])
def test_a_row_that_is_written_and_begun_in_the_same_moment_leaves_room_for_another(
    db: None, monkeypatch: pytest.MonkeyPatch, races: int
) -> None:
    real, left = QuerySet.create, [None] * races

    def raced(self: QuerySet[Work], **named: Any) -> Work:
        if left:
            left.pop()
            # What the unique constraint says, with nothing left to share when it is looked for again.
            raise IntegrityError("work_waiting_once")
        return real(self, **named)

    monkeypatch.setattr(QuerySet, "create", raced)

    work = work_add(kind="bench", subject={"round": 1}, once_key="round-1")

    assert (work.subject, work.state, Work.objects.count()) == ({"round": 1}, "waiting", 1)
