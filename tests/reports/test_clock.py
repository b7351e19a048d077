"""A clock that jumps while somebody reports: no hours below nothing, no report twice, no sitting or draft lost."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.drafts import draft_at, draft_keep
from testround.reports.models import Remark, RunningSitting, Sitting, Submission
from testround.reports.services import remark_submit
from testround.reports.timer import Forgotten, running_at, sitting_log, timer_start, timer_stop
from testround.rounds.models import Place, Round
from tests.conftest import WallClock

pytestmark = pytest.mark.django_db


def test_a_sitting_over_which_the_clock_was_put_back_asks_how_long_it_was(
    place: Place, tester: User, wall_clock: WallClock
) -> None:
    key = timer_start(place=place).key
    wall_clock.jumps(hours=-3)

    running = running_at(place)
    with pytest.raises(Forgotten):
        timer_stop(place=place, key=key, by=tester)

    assert running is not None
    assert (running.clock, running.forgotten, running.wants_pause) == ("0:00", True, False)
    assert (Sitting.objects.count(), RunningSitting.objects.count()) == (0, 1)


def test_the_length_that_is_then_said_is_logged_and_the_timer_gone(
    place: Place, tester: User, wall_clock: WallClock
) -> None:
    timer_start(place=place)
    wall_clock.jumps(hours=-3)

    sitting_log(place=place, key=uuid.uuid4(), by=tester, hours=1.5)

    assert [row.hours for row in Sitting.objects.all()] == [1.5]
    assert running_at(place) is None


def test_the_page_of_hours_says_what_is_the_matter(
    client: Client, place: Place, tester: User, wall_clock: WallClock
) -> None:
    client.force_login(tester)
    key = timer_start(place=place).key
    wall_clock.jumps(hours=-3)

    answer = client.post(reverse("reports:timer_stop", args=[place.pk]), {"key": key}, follow=True)

    assert (
        "How long the timer ran is not certain: more than twelve hours, or the clock was put back."
        in answer.text
    )
    assert "How long it really was" in answer.text


@pytest.mark.parametrize("days", [-400, 400])
def test_a_report_sent_again_after_a_jump_is_the_same_report_and_as_late_as_it_was(
    place: Place, tester: User, wall_clock: WallClock, days: int
) -> None:
    Round.objects.update(closes=wall_clock.now.date() + dt.timedelta(days=3))
    place.refresh_from_db()
    key = uuid.uuid4()
    first = remark_submit(place=place, key=key, by=tester, kind="unclear", text="Which side?")
    wall_clock.jumps(days=days)

    again = remark_submit(place=place, key=key, by=tester, kind="unclear", text="Which side?")

    assert (again.pk, again.late) == (first.pk, False)
    assert (Submission.objects.count(), Remark.objects.count()) == (1, 1)


def test_a_draft_kept_while_the_clock_was_ahead_gives_way_to_what_is_typed_once_it_is_put_back(
    place: Place, tester: User, wall_clock: WallClock
) -> None:
    wall_clock.jumps(days=400)
    draft_keep(place=place, person=tester, form="remark", values={"remark": "old"}, at=wall_clock.now)
    wall_clock.jumps(days=-400)

    typed = wall_clock.now - dt.timedelta(seconds=2)
    kept = draft_keep(place=place, person=tester, form="remark", values={"remark": "new"}, at=typed)

    draft = draft_at(place, tester, "remark")
    assert draft is not None
    assert (kept.is_newest, draft.values) == (True, {"remark": "new"})
