"""A clock that jumps to and fro over a round's dates: nobody is mailed twice, no place is lost, links still open."""

from __future__ import annotations

import datetime as dt
import time

import pytest
from django.core import mail, signing

from testround.people.models import User
from testround.rounds.models import DiaryEntry, Place, Round
from testround.rounds.services import reminders_send
from testround.rounds.services.dates import place_of_token, until_address
from testround.rounds.services.rounds import rounds_follow_dates
from tests.conftest import WallClock

pytestmark = pytest.mark.django_db(transaction=True)

NOON = dt.datetime(2027, 1, 24, 12, tzinfo=dt.UTC)


def test_a_date_that_is_passed_over_to_and_fro_is_reminded_of_once(a_round: Round, place: Place) -> None:
    Round.objects.update(swatches_due=NOON.date() + dt.timedelta(days=1))

    for days in (0, -3, 0, 400, 0):
        reminders_send(now=NOON + dt.timedelta(days=days))

    assert len([sent for sent in mail.outbox if "is due on" in sent.subject]) == 1


def test_a_date_that_is_passed_over_to_and_fro_moves_the_round_once(
    a_round: Round, place: Place, wall_clock: WallClock
) -> None:
    Round.objects.update(swatches_due=wall_clock.now.date(), moved_at=wall_clock.now - dt.timedelta(days=3))

    moved = []
    for days in (2, -2, 2):
        wall_clock.jumps(days=days)
        moved.append(rounds_follow_dates())

    a_round.refresh_from_db()
    assert (moved, a_round.state) == ([1, 0, 0], Round.State.MAKING)
    assert DiaryEntry.objects.count() == 1


def test_a_link_signed_while_the_clock_was_ahead_opens_once_it_is_put_back(
    place: Place, tester: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = time.time
    monkeypatch.setattr(signing.time, "time", lambda: real() + 90 * 86_400)
    address = until_address(place)
    monkeypatch.undo()

    assert place_of_token(address.rstrip("/").rsplit("/", 1)[1]) == place
