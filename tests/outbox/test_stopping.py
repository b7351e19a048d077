"""Mails that are not essential can be stopped: by the mail program with one post, or on a page (RFC 8058, RFC 2369)."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core import mail
from django.test import Client

from testround.outbox.letters import letter
from testround.outbox.mail import mail_send
from testround.outbox.models import Mail, Stopped
from testround.people.models import User

pytestmark = pytest.mark.django_db(transaction=True)


def remind(person: User) -> Mail | None:
    return mail_send(to=person.email, letter=letter("A date", "Soon."), kind="reminders", person=person)


def stop_path(person: User, settings: Any) -> str:
    """The address that a mail program finds in the header of the person's mail."""
    remind(person)
    header = mail.outbox[-1].extra_headers["List-Unsubscribe"]
    found = re.fullmatch(rf"<{re.escape(settings.SITE_URL)}(/mail/stop/[^>]+/)>", header)
    assert found, header
    return found[1]


def test_a_reminder_names_the_address_that_ends_reminders(tester: User, settings: Any) -> None:
    path = stop_path(tester, settings)

    sent = mail.outbox[-1]
    # RFC 8058, section 3.1: both headers, and nothing else in the second.
    assert sent.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert f"{settings.SITE_URL}{path}" in sent.body
    assert f'href="{settings.SITE_URL}{path}"' in sent.alternatives[0][0]


def test_an_essential_mail_has_no_such_address(tester: User) -> None:
    mail_send(to=tester.email, person=tester, letter=letter("Your code", "123456"))

    (sent,) = mail.outbox
    assert not [name for name in sent.extra_headers if name.startswith("List-")]
    assert "No more mails" not in sent.body


def test_one_post_of_the_mail_program_stops_them_without_signing_in(tester: User, settings: Any) -> None:
    path = stop_path(tester, settings)
    # RFC 8058, section 3.2: a post without cookies, with this very body; it is not to be redirected.
    program = Client(enforce_csrf_checks=True)

    answer = program.post(
        path, "List-Unsubscribe=One-Click", content_type="application/x-www-form-urlencoded"
    )

    assert answer.status_code == 200
    assert answer.cookies == {}
    assert remind(tester) is None
    assert list(Stopped.objects.values_list("person", "kind")) == [(tester.pk, "reminders")]


def test_looking_at_the_page_stops_nothing(client: Client, tester: User, settings: Any) -> None:
    page = client.get(stop_path(tester, settings))

    assert page.status_code == 200
    assert "No more mails of this kind?" in page.content.decode()
    assert not Stopped.objects.exists()
    assert page["Referrer-Policy"] == "no-referrer"
    assert "no-store" in page["Cache-Control"]


def test_twice_is_as_good_as_once_and_the_page_takes_it_back(
    client: Client, tester: User, settings: Any
) -> None:
    path = stop_path(tester, settings)
    client.post(path)

    second = client.post(path)
    back = client.post(path, {"again": "1"})

    assert "You get no more of these" in second.content.decode()
    assert "They come again" in back.content.decode()
    assert remind(tester) is not None


def test_one_kind_stops_and_the_others_come(client: Client, tester: User, settings: Any) -> None:
    client.post(stop_path(tester, settings))

    note = mail_send(to=tester.email, letter=letter("A note", "…"), kind="notes", person=tester)
    essential = mail_send(to=tester.email, letter=letter("A code", "…"), person=tester)

    assert (note is None, essential is None, remind(tester)) == (False, False, None)


def test_a_mail_that_waits_when_its_kind_is_stopped_does_not_leave(
    client: Client, tester: User, settings: Any
) -> None:
    path = stop_path(tester, settings)
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # the discard port, where no mail server is
    waiting = remind(tester)
    assert waiting is not None

    client.post(path)

    assert not Mail.objects.filter(pk=waiting.pk).exists()


@pytest.mark.parametrize("token", ["made-up", "WzEsInJlbWluZGVycyJd:1tGq2A:forged"])
def test_an_address_that_is_not_ours_stops_nothing(client: Client, tester: User, token: str) -> None:
    assert client.post(f"/mail/stop/{token}/").status_code == 404
    assert not Stopped.objects.exists()


def test_somebody_who_has_no_account_any_more_is_told_the_same(
    client: Client, tester: User, settings: Any
) -> None:
    path = stop_path(tester, settings)
    tester.delete()

    assert client.post(path).status_code == 200


def test_the_preferences_show_what_is_stopped_and_turn_it_on_again(client: Client, tester: User) -> None:
    Stopped.objects.create(person=tester, kind="reminders")
    client.force_login(tester)
    page = client.get("/me/preferences/").content.decode()
    checked = re.findall(r'name="mails" value="(\w+)"[^>]* checked', page)
    form = {"units": "cm", "tools": "us", "terms": "us", "time_zone": "UTC", "mails_asked": "1"}

    client.post("/me/preferences/", {**form, "mails": ["reminders"]})

    assert checked == ["notes"]
    assert list(Stopped.objects.values_list("kind", flat=True)) == ["notes"]


def test_preferences_that_did_not_ask_about_mails_leave_them_as_they_are(
    client: Client, tester: User
) -> None:
    Stopped.objects.create(person=tester, kind="reminders")
    client.force_login(tester)

    client.post("/me/preferences/", {"units": "cm", "tools": "us", "terms": "us", "time_zone": "UTC"})

    assert list(Stopped.objects.values_list("kind", flat=True)) == ["reminders"]


def test_a_mail_that_can_be_stopped_is_somebodys(tester: User) -> None:
    with pytest.raises(ValueError, match="to a person"):
        mail_send(to="a@example.org", letter=letter("A date", "Soon."), kind="reminders")
