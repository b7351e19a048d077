"""Two submissions at the same moment, as a phone with a poor connection makes them."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from testround.people.models import User
from testround.reports.models import Count, Submission
from testround.reports.services import counts_submit
from testround.rounds.models import Place

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]

AT_ONCE = 4


def all_at_once(send: Callable[[int], Any]) -> list[Any]:
    """The results of several calls that begin together, each on its own connection."""
    ready = threading.Barrier(AT_ONCE)
    results: list[Any] = [None] * AT_ONCE

    def run(number: int) -> None:
        try:
            ready.wait(timeout=10)
            results[number] = send(number)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[number]) for number in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    return results


def test_one_form_sent_several_times_at_once_is_one_report(place: Place, tester: User) -> None:
    key = uuid.uuid4()

    answers = all_at_once(
        lambda _: (
            counts_submit(
                place=Place.objects.get(pk=place.pk), key=key, by=tester, counts={"back_sts": 104.0}
            ).pk
        )
    )

    assert len(set(answers)) == 1
    assert Submission.objects.count() == 1
    assert Count.objects.get().worked == 104


def test_several_corrections_at_once_leave_one_that_counts(place: Place, tester: User) -> None:
    all_at_once(
        lambda number: counts_submit(
            place=Place.objects.get(pk=place.pk),
            key=uuid.uuid4(),
            by=tester,
            counts={"back_sts": 100.0 + number},
        )
    )

    assert Submission.objects.count() == AT_ONCE
    assert Count.objects.count() == AT_ONCE
    assert Count.objects.filter(superseded_at=None).count() == 1
