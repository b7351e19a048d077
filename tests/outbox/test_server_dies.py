"""A mail server that ends in the middle: a mail is neither lost nor sent without end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest
from django.utils import timezone

from testround.outbox.letters import letter
from testround.outbox.mail import mail_send, mail_send_again, mails_in_trouble, mails_sweep
from testround.outbox.models import Mail
from tests.served.mail_server import MailServer

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def server(settings: Any) -> Iterator[MailServer]:
    server = MailServer()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
    settings.EMAIL_USE_TLS, settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = False, "", ""
    yield server
    server.shutdown()
    server.server_close()


def send() -> Mail:
    mail = mail_send(to="rowan@example.org", letter=letter("Your place", "It is yours."), about="a-round")
    assert mail is not None
    mail.refresh_from_db()
    return mail


def days_of_sweeps() -> None:
    now = timezone.now()
    for hours in range(0, 96, 8):
        mails_sweep(now=now + dt.timedelta(hours=hours))


def test_one_that_dies_with_the_mail_in_hand_is_not_given_it_again_by_itself(server: MailServer) -> None:
    server.dies = "with the mail in hand"
    row = send()
    server.dies = ""
    state = row.state

    days_of_sweeps()

    assert state == Mail.State.UNCERTAIN
    assert server.recipients() == ["rowan@example.org"]
    assert list(mails_in_trouble("a-round")) == [row]


def test_and_is_given_it_again_by_a_persons_press(server: MailServer) -> None:
    server.dies = "with the mail in hand"
    row = send()
    server.dies = ""

    assert mail_send_again(mail=row)

    row.refresh_from_db()
    assert row.state == Mail.State.SENT
    first, second = server.taken
    # Whose program sees both can tell that they are one.
    assert first[1]["Message-ID"] == second[1]["Message-ID"]


def test_one_that_dies_at_the_door_is_asked_again_until_it_has_the_mail_once(server: MailServer) -> None:
    server.dies = "at the door"
    row = send()
    state = row.state
    days = timezone.now() + dt.timedelta(minutes=10)
    server.dies = ""

    left = [mails_sweep(now=days), mails_sweep(now=days)]

    assert (state, left) == (Mail.State.WAITING, [1, 0])
    assert server.recipients() == ["rowan@example.org"]
