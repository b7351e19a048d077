from __future__ import annotations

import html
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.kernel.roundfile import read_round
from testround.outbox.letters import Action, letter
from testround.outbox.mail import mail_send
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services import invitation_create, place_add

SignIn = Callable[[User], Client]


@pytest.fixture
def folder(settings: Any) -> None:
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("folder")
def test_an_invitation_can_be_followed_from_the_mail_page(
    client: Client, designer: User, a_round: Round, settings: Any
) -> None:
    place = place_add(round=a_round, name="Willow", size="S", by=designer)
    _, url = invitation_create(place=place, email="willow@example.org", by=designer)

    body = client.get(reverse("mailbox")).content.decode()

    links = [html.unescape(link) for link in re.findall(r'href="(http[^"]+)"', body)]
    assert links == [url]
    assert client.get(url.removeprefix(settings.SITE_URL)).status_code == 200


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("folder")
def test_a_mail_is_shown_as_text_whatever_it_holds(client: Client) -> None:
    mail_send(
        to="a@example.org", subject="<b>Hello</b>", text='<img src=x onerror="alert(1)"> javascript:alert(1)'
    )

    body = client.get(reverse("mailbox")).content.decode()

    assert "<b>Hello" not in body
    assert "<img src=x" not in body
    assert 'href="javascript' not in body


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("folder")
def test_a_mail_is_shown_in_both_forms_and_its_html_can_do_nothing(client: Client, tester: User) -> None:
    said = letter("Your place", "It is <yours>.", Action("Open it", "https://rounds.example.org/places/1/"))
    mail_send(to=tester.email, letter=said, kind="notes", person=tester)

    body = client.get(reverse("mailbox")).content.decode()
    (path,) = re.findall(r'href="(/mail/[^"]+/html/)"', body)
    shown = client.get(path)

    assert "It is &lt;yours&gt;." in body
    assert re.search(r'href="http[^"]+/mail/stop/[^"]+"', body)
    assert "<p>It is &lt;yours&gt;.</p>" in shown.content.decode()
    assert shown["Content-Security-Policy"].startswith("default-src 'none'; style-src 'unsafe-inline'; ")
    assert "sandbox" in shown["Content-Security-Policy"]


@pytest.mark.parametrize(
    "name", ["20270101T000000000000-1-0.eml", "..%2F..%2Ftestround.sqlite3", "notes.txt"]
)
def test_there_is_no_html_form_of_a_mail_that_is_not_there(client: Client, db: None, name: str) -> None:
    assert client.get(f"/mail/{name}/html/").status_code == 404


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("folder")
def test_the_folder_begins_with_how_many_and_shows_a_line_of_each(client: Client, monkeypatch: Any) -> None:
    monkeypatch.setattr("testround.home.views.MAILS_SHOWN", 2)
    for name in ("ann", "ben", "cay"):
        mail_send(to=f"{name}@example.org", subject=f"For {name}", text="Some words.")

    body = client.get(reverse("mailbox")).content.decode()

    lines = re.findall(r"<summary>.*?>([^<]+)</span><br>\s*<span[^>]*>To (\S+), ", body)
    assert lines == [("For cay", "cay@example.org"), ("For ben", "ben@example.org")]
    assert "3 mails, put here and not sent" in body
    assert "The newest 2:" in body


def test_an_empty_folder_says_what_will_come(client: Client, db: None) -> None:
    response = client.get(reverse("mailbox"))

    assert response.status_code == 200
    assert "No mail yet" in response.content.decode()
    assert "no-store" in response["Cache-Control"]


@pytest.mark.parametrize(
    ("embedded", "host"), [(False, ""), (True, "smtp.example.org"), (False, "smtp.example.org")]
)
def test_where_mail_is_really_sent_there_is_no_such_page(
    client: Client, db: None, settings: Any, embedded: bool, host: str
) -> None:
    settings.EMBEDDED, settings.EMAIL_HOST = embedded, host

    assert client.get(reverse("mailbox")).status_code == 404


def test_a_designer_exports_her_round_as_a_file(signed_in: SignIn, designer: User, place: Place) -> None:
    response = signed_in(designer).get(reverse("round_export", args=[place.round.code]))

    read = read_round(response.content)
    assert response["Content-Type"] == "application/json"
    assert response["Content-Disposition"] == 'attachment; filename="little-top-first-test.json"'
    assert (read.pattern.title, [tester.name for tester in read.testers]) == ("Little top", ["Tester one"])


def test_with_photos_the_export_is_a_zip(signed_in: SignIn, designer: User, place: Place) -> None:
    response = signed_in(designer).get(reverse("round_export", args=[place.round.code]), {"photos": "1"})

    assert response["Content-Type"] == "application/zip"
    assert response.content.startswith(b"PK")


def test_nobody_else_exports_it(
    signed_in: SignIn, client: Client, other_designer: User, tester: User, place: Place
) -> None:
    page = reverse("round_export", args=[place.round.code])

    assert Client().get(page)["Location"] == f"/account/login/?next={page}"
    assert [signed_in(person).get(page).status_code for person in (other_designer, tester)] == [404, 404]
