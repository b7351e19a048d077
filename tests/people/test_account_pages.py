"""Making an account, signing in and out, and what the mails say."""

from __future__ import annotations

import re
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from django.core import mail
from django.core.cache import cache
from django.template.loader import render_to_string
from django.test import Client, RequestFactory

from testround.people.models import User
from testround.people.readers import Reader, reader_of

PASSWORD = "seven-grey-sheep"


@pytest.fixture(autouse=True)
def nobody_has_tried_too_often() -> None:
    """Attempts are counted in the cache; every test begins with none."""
    cache.clear()


def link_in(text: str) -> str:
    found = re.search(r"https?://[^/\s]+(/\S+)", text)
    assert found, text
    return found[1]


def code_in(text: str) -> str:
    found = re.search(r"^    (\S+)$", text, re.MULTILINE)
    assert found, text
    return found[1]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("url", "heading"),
    [
        ("/account/login/", "Sign in"),
        ("/account/signup/", "Make an account"),
        ("/account/login/code/", "Sign in with a code"),
        ("/account/password/reset/", "Forgotten password"),
        ("/account/password/reset/done/", "Look at your mail"),
        ("/account/confirm-email/", "Look at your mail"),
        ("/account/inactive/", "This account is closed"),
        ("/account/password/reset/key/done/", "Your new password is set"),
        ("/account/password/reset/key/zz-wrong/", "This link no longer works"),
        ("/account/confirm-email/wrong/", "This link no longer works"),
    ],
)
def test_a_page_for_strangers_has_one_heading_and_it_says_what_the_page_is_for(
    client: Client, url: str, heading: str
) -> None:
    page = client.get(url)

    assert re.findall(r"<h1>(.*?)</h1>", page.text) == [heading]


@pytest.mark.parametrize(
    ("url", "heading"),
    [
        ("/account/email/", "Your mail address"),
        ("/account/password/change/", "Change your password"),
        ("/account/logout/", "Sign out?"),
        ("/account/reauthenticate/", "Is it you?"),
    ],
)
def test_a_page_for_those_signed_in_has_one_heading_too(
    client: Client, tester: User, url: str, heading: str
) -> None:
    client.post("/account/login/", {"login": tester.email, "password": "a-long-password"})

    page = client.get(url)

    assert re.findall(r"<h1>(.*?)</h1>", page.text) == [heading]


@pytest.mark.django_db
def test_a_newcomer_gives_a_name_and_keeps_what_they_had_chosen_to_see(client: Client) -> None:
    client.post("/me/preferences/", {"units": "in", "tools": "us", "terms": "us"})

    client.post("/account/signup/", {"name": "Ann", "email": "ann@example.org", "password1": PASSWORD})

    newcomer = User.objects.get(email="ann@example.org")
    assert (newcomer.name, reader_of(newcomer)) == ("Ann", Reader(units="in", tools="us", terms="us"))
    assert client.session["_auth_user_id"] == str(newcomer.pk)


@pytest.mark.django_db
def test_a_newcomer_without_a_name_is_told_so_and_keeps_the_address_typed(client: Client) -> None:
    page = client.post("/account/signup/", {"email": "ann@example.org", "password1": PASSWORD})

    assert "Write the name that designers and testers will see." in page.text
    assert 'value="ann@example.org"' in page.text
    assert not User.objects.exists()


def test_signing_up_twice_tells_the_owner_by_mail_and_the_page_nothing(
    client: Client, tester: User, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(
            "/account/signup/", {"name": "Ann", "email": tester.email, "password1": PASSWORD}
        )

    assert answer.headers["Location"] == "/account/confirm-email/"
    assert [message.subject for message in mail.outbox] == ["You have an account already"]


def test_a_person_signs_in_with_a_password(client: Client, tester: User) -> None:
    answer = client.post("/account/login/", {"login": tester.email, "password": "a-long-password"})

    assert answer.headers["Location"] == "/"
    assert client.session["_auth_user_id"] == str(tester.pk)


def test_a_wrong_password_is_refused_and_the_address_stays(client: Client, tester: User) -> None:
    page = client.post("/account/login/", {"login": tester.email, "password": "not-that-one"})

    assert 'role="alert"' in page.text
    assert f'value="{tester.email}"' in page.text
    assert "not-that-one" not in page.text


def test_a_person_signs_in_with_a_code_from_the_mail(
    client: Client, tester: User, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post("/account/login/code/", {"email": tester.email}, follow=True)
    assert re.findall(r"<h1>(.*?)</h1>", answer.text) == ["Type the code"]
    (message,) = mail.outbox
    code = code_in(message.body)

    client.post("/account/login/code/confirm/", {"code": code})

    assert message.subject == f"Your code: {code}"
    assert client.session["_auth_user_id"] == str(tester.pk)


def test_a_wrong_code_lets_nobody_in(
    client: Client, tester: User, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/login/code/", {"email": tester.email})

    page = client.post("/account/login/code/confirm/", {"code": "WRONG"})

    assert 'role="alert"' in page.text
    assert "_auth_user_id" not in client.session


def test_a_forgotten_password_is_changed_by_a_link_in_a_mail(
    client: Client, tester: User, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/password/reset/", {"email": tester.email})
    (message,) = mail.outbox
    form = client.get(link_in(message.body), follow=True)
    assert re.findall(r"<h1>(.*?)</h1>", form.text) == ["Choose a new password"]

    client.post(form.request["PATH_INFO"], {"password1": PASSWORD, "password2": PASSWORD})

    tester.refresh_from_db()
    assert tester.check_password(PASSWORD)


def test_signing_out_is_one_press_in_the_header(client: Client, tester: User) -> None:
    client.force_login(tester)
    page = client.get("/me/preferences/")
    assert '<form method="post" action="/account/logout/">' in page.text

    client.post("/account/logout/")

    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize(
    ("path", "marked"),
    [
        ("/me/preferences/", [("page", "Preferences")]),
        ("/patterns/", [("page", "Patterns")]),
        ("/patterns/fenlight/", [("true", "Patterns")]),
        ("/", [("page", "Today")]),
        ("/elsewhere/patterns/", []),
    ],
)
def test_the_navigation_marks_the_page_and_the_part_it_lies_in(
    rf: RequestFactory, tester: User, path: str, marked: list[tuple[str, str]]
) -> None:
    request = rf.get(path)
    request.user = tester

    nav = render_to_string("parts/nav.html", {"request": request, "user": tester})

    assert re.findall(r'aria-current="(\w+)">([^<]+)<', nav) == marked


def test_a_mail_says_why_it_came_and_is_plain_text() -> None:
    text = render_to_string(
        "account/email/password_reset_key_message.txt",
        {"password_reset_url": "https://testround.example.org/reset/?a=1&b=2"},
    )

    assert text == (
        "To choose a new password, open this link:\n\n"
        "https://testround.example.org/reset/?a=1&b=2\n\n"
        "-- \n"
        "Someone asked for a new password with your address. "
        "If it was not you, leave this mail alone; the old password still holds.\n"
        "Testround\n\n"
    )


@pytest.mark.django_db
def test_a_page_that_does_not_exist_says_so_in_our_own_words(client: Client) -> None:
    page = client.get("/no-such-page/")

    assert page.status_code == 404
    assert "There is no such page" in page.text


def test_a_form_from_a_stale_page_is_refused_with_the_mend(db: None) -> None:
    answer = Client(enforce_csrf_checks=True).post("/me/preferences/", {"units": "cm"})

    assert answer.status_code == 403
    assert "load the page anew and send it once more" in answer.text


@pytest.mark.parametrize(
    "name", ["400.html", "403.html", "404.html", "500.html", "503.html", "403_csrf.html"]
)
def test_a_page_for_trouble_needs_nothing_that_may_be_broken(name: str) -> None:
    text = render_to_string(name, {})

    assert len(re.findall(r"<h1>(.*?)</h1>", text)) == 1


def test_an_only_address_is_neither_removed_nor_made_the_main_one(client: Client, tester: User) -> None:
    client.force_login(tester)
    EmailAddress.objects.create(user=tester, email=tester.email, primary=True)
    alone = client.get("/account/email/").text
    EmailAddress.objects.create(user=tester, email="other@example.org")
    beside_another = client.get("/account/email/").text

    offers = [re.findall(r'name="action_(\w+)"', page) for page in (alone, beside_another)]
    assert offers == [["send", "add"], ["primary", "send", "remove", "add"]]


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/account/confirm-email/", "/account/password/reset/done/"])
def test_a_page_says_that_a_mail_was_sent_only_where_mails_are_sent(
    client: Client, settings: Any, path: str
) -> None:
    embedded = client.get(path).text
    settings.EMAIL_HOST = "mail.example.org"
    served = client.get(path).text

    assert [
        ("This installation sends no real mail." in page, "unwanted mail" in page)
        for page in (embedded, served)
    ] == [
        (True, False),
        (False, True),
    ]


@pytest.mark.django_db
def test_whose_account_is_closed_is_told_whom_to_ask(client: Client, settings: Any) -> None:
    without = client.get("/account/inactive/").text
    settings.OPERATOR_MAIL = "help@example.org"
    named = client.get("/account/inactive/").text

    assert "ask the designer whose pattern you test" in without
    assert 'Write to <a href="mailto:help@example.org">help@example.org</a>.' in named
