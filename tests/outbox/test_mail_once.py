"""At most once to the reader: what a mail does when the server, the process or the network breaks."""

from __future__ import annotations

import datetime as dt
import smtplib
import time
from collections.abc import Callable
from typing import Any

import pytest
from celery import Celery
from django.core.mail.backends.locmem import EmailBackend
from django.db import transaction
from django.utils import timezone

from testround.outbox import mail as outbox_mail
from testround.outbox import tasks
from testround.outbox.letters import letter
from testround.outbox.mail import (
    CLAIM_LASTS,
    MOST_ATTEMPTS,
    mail_let_be,
    mail_run,
    mail_send,
    mail_send_again,
    mails_forget,
    mails_in_trouble,
    mails_sweep,
)
from testround.outbox.mailbox import NotWritten
from testround.outbox.models import Mail

pytestmark = pytest.mark.django_db(transaction=True)

NOW = timezone.now


class Server(EmailBackend):
    """A mail server that breaks as it is told: when it is asked, or when it is handed a mail."""

    opens: list[Exception] = []
    takes: list[Exception] = []
    seen: list[str] = []
    while_sending: Callable[[], None] | None = None

    def open(self) -> None:
        if Server.opens:
            raise Server.opens.pop(0)

    def send_messages(self, messages: Any) -> int:
        if Server.while_sending:
            Server.while_sending()
        if Server.takes:
            raise Server.takes.pop(0)
        Server.seen += [message.subject for message in messages]
        return super().send_messages(messages)


@pytest.fixture(autouse=True)
def server(monkeypatch: pytest.MonkeyPatch) -> type[Server]:
    Server.opens, Server.takes, Server.seen, Server.while_sending = [], [], [], None
    monkeypatch.setattr(outbox_mail, "get_connection", Server)
    return Server


def send(**more: Any) -> Mail:
    mail = mail_send(to="willow@example.org", letter=letter("Your place", "It is yours."), **more)
    assert mail is not None
    mail.refresh_from_db()
    return mail


def later(mail: Mail) -> dt.datetime:
    """When it is tried again."""
    mail.refresh_from_db()
    return mail.not_before + dt.timedelta(seconds=1)


def state_of(mail: Mail) -> str:
    mail.refresh_from_db()
    return mail.state


# -- written with its cause ----------------------------------------------------------------------------------


def test_a_mail_of_a_transaction_that_fails_never_was(server: type[Server]) -> None:
    with transaction.atomic():
        mail_send(to="willow@example.org", letter=letter("Your place", "It is yours."))
        transaction.set_rollback(True)

    assert (Mail.objects.count(), server.seen) == (0, [])


def test_a_mail_that_has_left_is_forgotten_with_the_secrets_in_it(server: type[Server]) -> None:
    mail = send()

    assert (mail.state, mail.letter, server.seen) == ("sent", {}, ["Your place"])


def test_a_mail_of_one_key_is_written_once(server: type[Server]) -> None:
    first, second = send(once_key="a"), send(once_key="a")

    assert (first.pk, server.seen) == (second.pk, ["Your place"])


def test_a_mail_whose_task_was_lost_is_sent_by_the_sweep(server: type[Server], settings: Any) -> None:
    settings.OUTBOX_RUNNER = "celery"
    mail = send()

    too_soon = mails_sweep()
    in_time = mails_sweep(now=NOW() + dt.timedelta(seconds=61))

    assert (too_soon, in_time, state_of(mail), server.seen) == (0, 1, "sent", ["Your place"])


def test_without_a_broker_the_cause_stands_at_once_and_the_mail_goes_out_later(
    server: type[Server], settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    dead = Celery("dead", set_as_current=False)
    dead.config_from_object("django.conf:settings", namespace="CELERY")
    dead.conf.broker_url = "redis://127.0.0.1:1/0"  # the port of TCPMUX, where no Redis is
    monkeypatch.setattr(tasks, "mail", dead.task(name="testround.outbox.tasks.mail", shared=False)(mail_run))
    settings.OUTBOX_RUNNER = "celery"
    begun = time.monotonic()

    mail = send()
    waited, was = time.monotonic() - begun, mail.state
    settings.OUTBOX_RUNNER = "inline"
    later_on = mails_sweep(now=NOW() + dt.timedelta(seconds=61))

    assert (was, later_on, state_of(mail), server.seen) == ("waiting", 1, "sent", ["Your place"])
    assert waited < 5


def test_a_task_that_comes_twice_sends_once(server: type[Server]) -> None:
    mail = send()

    assert [mail_run(mail_id=mail.pk), mail_run(mail_id=mail.pk)] == [False, False]
    assert server.seen == ["Your place"]


def test_a_task_that_comes_while_another_hands_the_mail_over_leaves_it_alone(server: type[Server]) -> None:
    also: list[bool] = []
    server.while_sending = lambda: also.append(mail_run(mail_id=Mail.objects.get().pk))

    send()

    assert (also, server.seen) == ([False], ["Your place"])


# -- the server says no, or nothing ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "error",
    [
        ConnectionRefusedError("no one there"),
        TimeoutError("no answer"),
        smtplib.SMTPConnectError(421, b"busy"),
    ],
)
def test_a_server_that_is_not_there_is_asked_again_later(server: type[Server], error: Exception) -> None:
    server.opens = [error]
    mail = send()
    was = mail.state

    too_soon = mail_run(mail_id=mail.pk)
    in_time = mails_sweep(now=later(mail))

    assert (was, too_soon, in_time, server.seen) == ("waiting", False, 1, ["Your place"])


@pytest.mark.parametrize(
    "error",
    [
        smtplib.SMTPDataError(451, b"try again"),
        smtplib.SMTPRecipientsRefused({"willow@example.org": (450, b"greylisted")}),
        smtplib.SMTPSenderRefused(452, b"full", "testround@example.org"),
        NotWritten("the disk is full"),
    ],
)
def test_a_server_that_says_not_now_has_taken_nothing_and_is_asked_again(
    server: type[Server], error: Exception
) -> None:
    server.takes = [error]
    mail = send()
    was = mail.state

    mails_sweep(now=later(mail))

    assert (was, state_of(mail), server.seen) == ("waiting", "sent", ["Your place"])


@pytest.mark.parametrize(
    "error",
    [
        smtplib.SMTPRecipientsRefused({"willow@example.org": (550, b"no such person")}),
        smtplib.SMTPDataError(554, b"not wanted"),
    ],
)
def test_a_server_that_says_no_for_good_is_not_asked_again(server: type[Server], error: Exception) -> None:
    # A reply code that begins with 5 is permanent (RFC 5321, section 4.2.1).
    server.takes = [error]

    mail = send()

    assert (mail.state, mail.attempts, server.seen) == ("failed", 1, [])


@pytest.mark.parametrize(
    "error",
    [smtplib.SMTPServerDisconnected("gone"), ConnectionResetError("reset"), TimeoutError("no answer")],
)
def test_a_connection_that_breaks_while_the_mail_is_handed_over_leaves_it_uncertain(
    server: type[Server], error: Exception
) -> None:
    server.takes = [error]
    mail = send()

    again = mails_sweep(now=NOW() + dt.timedelta(days=2))

    assert (state_of(mail), again, server.seen) == ("uncertain", 0, [])
    assert mail.problem == f"{type(error).__name__}: {error}"


def test_each_wait_is_longer_up_to_six_hours_and_the_last_attempt_gives_up(server: type[Server]) -> None:
    server.opens = [ConnectionRefusedError("no one there")] * MOST_ATTEMPTS
    at = NOW()
    mail = send()
    waits = []
    while state_of(mail) == "waiting":
        waits.append(round((mail.not_before - at).total_seconds() / 60))
        at = later(mail)
        mails_sweep(now=at)

    assert waits == [2, 4, 8, 16, 32, 64, 128, 256, 360, 360, 360]
    assert (mail.state, mail.attempts, server.seen) == ("failed", MOST_ATTEMPTS, [])


def test_a_sweep_does_not_ask_a_server_that_is_away_for_every_mail(
    server: type[Server], settings: Any
) -> None:
    settings.OUTBOX_RUNNER = "celery"  # nobody listens
    for _ in range(10):
        send()
    server.opens = [ConnectionRefusedError("no one there")] * 3

    first = mails_sweep(now=NOW() + dt.timedelta(minutes=2))
    tried = list(Mail.objects.order_by("pk").values_list("attempts", flat=True))
    then = mails_sweep(now=NOW() + dt.timedelta(minutes=3))

    assert (first, tried, then) == (0, [1, 1, 1] + [0] * 7, 7)


def test_a_subject_cannot_smuggle_in_another_header(server: type[Server]) -> None:
    mail = mail_send(to="willow@example.org", subject="Hello\nBcc: stranger@example.org", text="…")
    assert mail is not None

    assert (state_of(mail), server.seen) == ("failed", [])
    assert mail.problem.startswith("BadHeaderError")


# -- the process ends ------------------------------------------------------------------------------------------


def test_a_process_that_ends_before_it_hands_anything_over_loses_nothing(server: type[Server]) -> None:
    mail = send()
    ended = NOW() - dt.timedelta(seconds=1)
    Mail.objects.filter(pk=mail.pk).update(
        state="claimed", claimed_at=ended, letter={"subject": "Your place", "parts": [], "why": ""}
    )
    server.seen.clear()

    too_soon = mails_sweep(now=ended + CLAIM_LASTS - dt.timedelta(seconds=2))
    in_time = mails_sweep(now=ended + CLAIM_LASTS)

    assert (too_soon, in_time, state_of(mail), server.seen) == (0, 1, "sent", ["Your place"])


def test_a_process_that_ends_while_it_hands_over_doubles_nothing_and_a_person_is_told(
    server: type[Server], monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    monkeypatch.setattr(outbox_mail, "_troubled", [lambda mail: told.append(mail.state)])
    mail = send(about="round-code")
    ended = NOW()
    Mail.objects.filter(pk=mail.pk).update(state="sending", claimed_at=ended, finished=None)
    server.seen.clear()

    done = [mails_sweep(now=ended + CLAIM_LASTS), mails_sweep(now=ended + dt.timedelta(days=1))]

    assert (done, state_of(mail), server.seen, told) == ([0, 0], "uncertain", [], ["uncertain"])
    assert list(mails_in_trouble("round-code")) == [mail]


def test_an_uncertain_mail_goes_out_again_by_a_persons_press_with_the_same_id(
    server: type[Server], mailoutbox: list[Any]
) -> None:
    server.takes = [smtplib.SMTPServerDisconnected("gone")]
    mail = send(about="round-code")

    pressed = [mail_send_again(mail=mail), mail_send_again(mail=mail)]

    assert (pressed, state_of(mail), server.seen) == ([True, False], "sent", ["Your place"])
    # A reader's program that has it already can tell by its Message-ID.
    assert mailoutbox[0].extra_headers["Message-ID"] == f"<{mail.message_id}@127.0.0.1>"


def test_an_uncertain_mail_that_is_left_at_that_is_shown_no_more(server: type[Server]) -> None:
    server.takes = [smtplib.SMTPServerDisconnected("gone")]
    mail = send(about="round-code")

    assert (mail_let_be(mail=mail), list(mails_in_trouble("round-code"))) == (True, [])
    mail.refresh_from_db()
    assert mail.letter == {}


def test_a_mail_that_takes_its_process_down_every_time_is_given_up(server: type[Server]) -> None:
    mail = send()
    Mail.objects.filter(pk=mail.pk).update(state="waiting", attempts=MOST_ATTEMPTS)
    server.seen.clear()

    assert (mail_run(mail_id=mail.pk), state_of(mail), server.seen) == (False, "failed", [])


def test_a_slow_process_whose_claim_has_passed_on_hands_nothing_over(
    server: type[Server], monkeypatch: pytest.MonkeyPatch
) -> None:
    def open_slowly(self: Server) -> None:
        # Meanwhile the claim runs out, and another has claimed it.
        Mail.objects.update(attempts=2)

    monkeypatch.setattr(Server, "open", open_slowly)

    mail = send()

    assert (mail.state, mail.attempts, server.seen) == ("claimed", 2, [])


def test_rows_of_mails_long_past_are_deleted_and_what_waits_is_kept(server: type[Server]) -> None:
    old = send()
    server.opens = [ConnectionRefusedError("no one there")]
    waiting = send()
    Mail.objects.update(created=NOW() - dt.timedelta(days=91))

    assert mails_forget() == 1
    assert [mail.pk for mail in Mail.objects.all()] == [waiting.pk]
    assert old.pk != waiting.pk
