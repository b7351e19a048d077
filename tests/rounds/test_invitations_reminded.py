"""An invitation that is about to run out is recalled once, by day where its reader lives."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.db import connections

from testround.outbox.models import Mail, Stopped
from testround.people.models import User
from testround.rounds.models import Invitation, Place, Round
from testround.rounds.services import (
    invitation_accept,
    invitation_create,
    invitation_decline,
    invitation_withdraw,
    invitations_remind,
    round_move,
)
from tests.rounds.conftest import secret_of

LAST = dt.date(2027, 1, 25)
SUBJECT = "Until 25 January 2027: a place for you, testing Little top"


def on(day: int, hour: int = 12, minute: int = 0) -> dt.datetime:
    return dt.datetime(2027, 1, day, hour, minute, tzinfo=dt.UTC)


def invite(place: Place, by: User, email: str = "willow@example.org", **changed: Any) -> str:
    """Invite by mail on 18 January, until the end of the 25th at the designer's; the secret of the link."""
    invitation, url = invitation_create(place=place, email=email, by=by)
    times = {"created": on(18), "expires": dt.datetime(2027, 1, 25, 23, 59, 59, tzinfo=dt.UTC)} | changed
    Invitation.objects.filter(pk=invitation.pk).update(**times)
    return secret_of(url)


def reminded() -> list[tuple[str, str]]:
    return list(Mail.objects.filter(subject__startswith="Until").order_by("pk").values_list("to", "kind"))


def test_it_is_said_from_two_days_before_the_last_day_on_and_once(offered: Place, designer: User) -> None:
    invite(offered, designer)

    told = [day for day in range(19, 28) for hour in (8, 9, 15, 20) if invitations_remind(now=on(day, hour))]

    assert told == [23]
    assert reminded() == [("willow@example.org", "essential")]


def test_what_was_not_said_in_time_is_said_later_and_not_after_the_end(
    offered: Place, designer: User
) -> None:
    invite(offered, designer)

    assert invitations_remind(now=on(26, 9)) == 0
    assert invitations_remind(now=on(25, 19, 59)) == 1


@pytest.mark.parametrize(("hour", "minute", "comes"), [(8, 59, 0), (9, 0, 1), (19, 59, 1), (20, 0, 0)])
def test_to_an_address_without_an_account_it_comes_at_a_civil_hour_of_the_server(
    offered: Place, designer: User, settings: Any, hour: int, minute: int, comes: int
) -> None:
    # Kathmandu is 5:45 ahead of UTC (IANA time zone database).
    settings.TIME_ZONE = "Asia/Kathmandu"
    invite(offered, designer)

    now = on(24, hour, minute) - dt.timedelta(hours=5, minutes=45)

    assert invitations_remind(now=now) == comes


# Kiritimati is 14 hours ahead of UTC, Pago Pago 11 behind (IANA time zone database).
@pytest.mark.parametrize(
    ("zone", "now", "comes"),
    [
        ("Pacific/Kiritimati", on(22, 18, 59), 0),  # 8:59 on the 23rd there
        ("Pacific/Kiritimati", on(22, 19), 1),  # 9:00
        ("Pacific/Pago_Pago", on(23, 19, 59), 0),  # 8:59 on the 23rd
        ("Pacific/Pago_Pago", on(23, 20), 1),  # 9:00
    ],
)
def test_to_somebody_with_an_account_it_comes_by_day_where_they_live(
    offered: Place, designer: User, stranger: User, zone: str, now: dt.datetime, comes: int
) -> None:
    User.objects.filter(pk=stranger.pk).update(time_zone=zone)
    invite(offered, designer, stranger.email.upper())

    assert invitations_remind(now=now) == comes


def test_the_mail_says_where_the_link_is_and_how_to_get_another(
    offered: Place,
    designer: User,
    diary_of: Callable[[Round], list[str]],
    django_capture_on_commit_callbacks: Any,
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        invite(offered, designer)
        invitations_remind(now=on(23))

    invited, sent = mail.outbox
    assert (sent.subject, sent.to) == (SUBJECT, ["willow@example.org"])
    assert invited.subject == "A place for you: testing Little top"
    said = " ".join(sent.body.split())
    assert (
        "Designer asks you to test Little top, size S, and has not heard from you yet. You can say yes or no until "
        "25 January 2027; the link ends then."
    ) in said
    assert "is in the mail of 18 January 2027, “A place for you: testing Little top”." in said
    assert "ask Designer for a new link." in said
    assert "List-Unsubscribe" not in sent.extra_headers
    assert diary_of(offered.round)[-1] == (
        "Willow was reminded by mail: the invitation runs out after 25 January 2027."
    )


def test_somebody_with_an_account_can_stop_such_mail(
    offered: Place, designer: User, stranger: User, diary_of: Callable[[Round], list[str]]
) -> None:
    invite(offered, designer, stranger.email)
    Stopped.objects.create(person=stranger, kind=Mail.Kind.REMINDERS)
    before = diary_of(offered.round)

    assert invitations_remind(now=on(23)) == 0
    assert diary_of(offered.round) == before


def test_to_somebody_with_an_account_it_is_a_reminder(offered: Place, designer: User, stranger: User) -> None:
    invite(offered, designer, stranger.email)

    invitations_remind(now=on(23))

    assert reminded() == [(stranger.email, "reminders")]


def test_who_was_invited_a_moment_ago_is_not_reminded_yet(offered: Place, designer: User) -> None:
    invite(offered, designer, created=on(24, 15))

    assert invitations_remind(now=on(25, 14, 59)) == 0
    assert invitations_remind(now=on(25, 15)) == 1


def test_a_new_link_is_an_invitation_of_its_own(offered: Place, designer: User) -> None:
    invite(offered, designer)
    invitations_remind(now=on(23))
    invite(offered, designer, created=on(23, 14))

    assert invitations_remind(now=on(24, 15)) == 1


def test_who_has_answered_is_left_in_peace(
    offered: Place, opened: Round, designer: User, stranger: User
) -> None:
    secret = invite(offered, designer, stranger.email, expires=dt.datetime(2099, 1, 25, tzinfo=dt.UTC))
    invitation_accept(secret=secret, user=stranger)
    no = Place.objects.create(round=opened, key="t02", name="Ash", size="S")
    invitation_decline(secret=invite(no, designer, expires=dt.datetime(2099, 1, 25, tzinfo=dt.UTC)))
    withdrawn = Place.objects.create(round=opened, key="t03", name="Elm", size="S")
    invite(withdrawn, designer)
    invitation_withdraw(place=withdrawn, by=designer)
    unmailed = Place.objects.create(round=opened, key="t04", name="Oak", size="S")
    invite(unmailed, designer, "")
    Invitation.objects.update(expires=dt.datetime(2027, 1, 25, 23, 59, 59, tzinfo=dt.UTC))

    assert invitations_remind(now=on(24)) == 0


def test_nobody_is_reminded_of_a_closed_round(offered: Place, opened: Round, designer: User) -> None:
    invite(offered, designer)
    round_move(round=opened, state="closed", by=designer)

    assert invitations_remind(now=on(24)) == 0


@pytest.mark.django_db(transaction=True)
def test_two_processes_at_once_remind_once(shared_by_threads: None, offered: Place, designer: User) -> None:
    invite(offered, designer)
    start = threading.Barrier(2)
    told: list[int] = []

    def remind() -> None:
        start.wait()
        told.append(invitations_remind(now=on(24)))
        connections.close_all()

    threads = [threading.Thread(target=remind) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(told) == [0, 1]
    assert len(reminded()) == 1
