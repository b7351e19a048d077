"""In which language the program speaks: the reader's choice, else the browser's; and mails in their reader's."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext

from testround.people.held import document_of, held_of
from testround.people.language import speaking_to
from testround.people.models import User

URL = "/me/preferences/"
HEADING = "Preferences"
CHOSEN = {"units": "cm", "tools": "metric", "terms": "us"}
GERMAN = {"accept-language": "de-AT,de;q=0.9,en;q=0.5"}
ENGLISH = {"accept-language": "en-GB,en"}
WORDS = {
    HEADING: "Einstellungen",
    "centimetres": "Zentimeter",
    "metric tools": "metrische Nadeln",
    "US terms": "US-Begriffe",
    "Shown from now on: {choices}.": "Von nun an: {choices}.",
    "There is no such page": "Diese Seite gibt es nicht",
    "Your code: %(code)s": "Dein Code: %(code)s",
    "Your code to sign in is": "Dein Code zum Anmelden",
    "No account with this address": "Kein Konto mit dieser Adresse",
}

SignIn = Callable[[User], Client]
Speak = Callable[[dict[str, str]], None]


@pytest.fixture(autouse=True)
def two_languages(german: Speak) -> None:
    german(WORDS)


@pytest.fixture
def german_tester(tester: User) -> User:
    tester.language = "de"
    tester.save()
    return tester


def heading(page: Any) -> tuple[str, str, str]:
    """The page's heading, the language it says it is in, and the one that its head says."""
    (said,) = re.findall(r"<h1>(.*?)</h1>", page.text)
    (language,) = re.findall(r'<html lang="(.*?)">', page.text)
    return said, language, page.headers["Content-Language"]


# -- pages -------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_stranger_reads_in_the_language_that_the_browser_asks_for(client: Client) -> None:
    page = client.get(URL, headers=GERMAN)

    assert heading(page) == ("Einstellungen", "de", "de")


@pytest.mark.django_db
@pytest.mark.parametrize("asked", ["tlh", "", "en-US", "*", "\N{SNOWMAN}"])
def test_what_is_not_spoken_here_is_answered_in_english(client: Client, asked: str) -> None:
    page = client.get(URL, headers={"accept-language": asked})

    assert heading(page) == (HEADING, "en-gb", "en-gb")


@pytest.mark.django_db
@pytest.mark.parametrize("path", [URL, "/account/login/", "/no/such/page/"])
def test_whoever_keeps_a_page_is_told_that_it_depends_on_the_language_asked_for(
    client: Client, path: str
) -> None:
    page = client.get(path, headers=GERMAN)

    assert "Accept-Language" in page.headers["Vary"]
    assert page.headers["Content-Language"] == "de"


@pytest.mark.django_db
def test_a_page_that_is_not_there_says_so_in_the_readers_language(client: Client) -> None:
    page = client.get("/no/such/page/", headers=GERMAN)

    assert page.status_code == 404
    assert heading(page) == ("Diese Seite gibt es nicht", "de", "de")


@pytest.mark.parametrize(
    ("language", "written"),
    [
        ("en-gb", ["5 August 2026", "5 August", "5 August 2026, 17:04"]),
        ("de", ["5. August 2026", "5. August", "5. August 2026, 17:04"]),
    ],
)
def test_a_day_is_written_as_the_language_writes_it(language: str, written: list[str]) -> None:
    moment = dt.datetime(2026, 8, 5, 17, 4)

    with translation.override(language):
        said = [date_format(moment, name) for name in ("DATE_FORMAT", "MONTH_DAY_FORMAT", "DATETIME_FORMAT")]

    assert said == written


# -- the choice --------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_strangers_choice_is_kept_in_the_session_and_wins_over_the_browser(client: Client) -> None:
    client.post(URL, {**CHOSEN, "language": "de"}, headers=ENGLISH)

    assert heading(client.get(URL, headers=ENGLISH)) == ("Einstellungen", "de", "de")


def test_a_persons_choice_is_kept_with_the_account_and_holds_in_every_browser(
    tester: User, signed_in: SignIn
) -> None:
    signed_in(tester).post(
        URL, {**CHOSEN, "language": "de", "name": "Ann", "time_zone": "UTC"}, headers=ENGLISH
    )

    tester.refresh_from_db()
    elsewhere = Client()
    elsewhere.force_login(tester)
    assert tester.language == "de"
    assert heading(elsewhere.get(URL, headers=ENGLISH)) == ("Einstellungen", "de", "de")


def test_one_who_chose_english_reads_english_whatever_the_browser_asks_for(
    tester: User, signed_in: SignIn
) -> None:
    tester.language = "en-gb"
    tester.save()

    assert heading(signed_in(tester).get(URL, headers=GERMAN)) == (HEADING, "en-gb", "en-gb")


def test_a_choice_can_be_left_to_the_browser_again(german_tester: User, signed_in: SignIn) -> None:
    client = signed_in(german_tester)

    client.post(URL, {**CHOSEN, "language": "", "name": "Ann", "time_zone": "UTC"}, headers=ENGLISH)

    german_tester.refresh_from_db()
    assert german_tester.language == ""
    assert heading(client.get(URL, headers=ENGLISH)) == (HEADING, "en-gb", "en-gb")


@pytest.mark.django_db
def test_a_newcomer_keeps_the_language_that_was_chosen_before(client: Client) -> None:
    client.post(URL, {**CHOSEN, "language": "de"})

    client.post(
        "/account/signup/", {"name": "Ann", "email": "ann@example.org", "password1": "seven-grey-sheep"}
    )

    assert User.objects.get(email="ann@example.org").language == "de"


@pytest.mark.django_db
@pytest.mark.parametrize("unknown", ["tlh", "fr", "de-x", "../de"])
def test_a_language_that_is_not_spoken_here_is_refused_with_the_mend(client: Client, unknown: str) -> None:
    answer = client.post(URL, {**CHOSEN, "units": "in", "language": unknown}, headers=ENGLISH)

    assert answer.status_code == 422
    assert "That language is not spoken here; choose one of the list." in answer.text
    assert re.search(r'value="in"[^>]* checked', answer.text)
    assert heading(client.get(URL, headers=ENGLISH)) == (HEADING, "en-gb", "en-gb")


@pytest.mark.django_db
def test_the_page_says_each_language_by_its_own_name_and_which_one_the_browser_asks_for(
    client: Client,
) -> None:
    client.post(URL, {**CHOSEN, "language": "en-gb"})

    page = client.get(URL, headers=GERMAN)

    options = re.findall(r"<option value=\"(.*?)\"( selected)?>(.*?)</option>", page.text)
    assert options == [
        ("", "", "As my browser asks for: Deutsch"),
        ("en-gb", " selected", "English"),
        ("de", "", "Deutsch"),
    ]


@pytest.mark.django_db
def test_what_was_chosen_is_said_in_the_language_that_was_chosen(client: Client) -> None:
    page = client.post(URL, {**CHOSEN, "language": "de"}, headers=ENGLISH, follow=True)

    assert "Von nun an: Zentimeter, metrische Nadeln, US-Begriffe." in page.text


@pytest.mark.django_db
def test_where_one_language_is_spoken_nobody_is_asked(client: Client, settings: Any) -> None:
    settings.LANGUAGES = [("en-gb", "English")]

    page = client.get(URL, headers=GERMAN)

    assert "id_language" not in page.text
    assert client.post(URL, CHOSEN).status_code == 302


def test_a_language_that_is_spoken_here_no_more_gives_way_to_the_browsers(
    tester: User, signed_in: SignIn
) -> None:
    tester.language = "fr"
    tester.save()

    assert heading(signed_in(tester).get(URL, headers=GERMAN)) == ("Einstellungen", "de", "de")


def test_the_language_chosen_is_among_what_is_held_about_a_person(german_tester: User) -> None:
    (account,) = document_of(held_of(german_tester))["account"]

    assert account["language"] == "de"


# -- mails -------------------------------------------------------------------------------------------------


def test_what_is_said_to_a_person_is_said_in_the_language_they_chose(german_tester: User) -> None:
    with translation.override("en-gb"), speaking_to(german_tester):
        said = gettext(HEADING)

    assert said == "Einstellungen"


@pytest.mark.parametrize("chosen", ["", "fr"])
def test_what_is_said_to_one_who_chose_nothing_spoken_here_is_said_in_the_present_language(
    tester: User, chosen: str
) -> None:
    tester.language = chosen

    with translation.override("de"), speaking_to(tester):
        said = gettext(HEADING)

    assert said == "Einstellungen"


def test_what_is_said_to_nobody_in_particular_is_said_in_the_present_language() -> None:
    with translation.override("de"), speaking_to(None):
        said = gettext(HEADING)

    assert said == "Einstellungen"


def test_a_code_comes_in_the_language_of_the_account_whoever_asks_for_it(
    client: Client, german_tester: User, django_capture_on_commit_callbacks: Any
) -> None:
    cache.clear()

    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/login/code/", {"email": german_tester.email}, headers=ENGLISH)

    (sent,) = mail.outbox
    assert sent.subject.startswith("Dein Code: ")
    assert sent.body.startswith("Dein Code zum Anmelden\n\n    ")
    assert sent.extra_headers["Content-Language"] == "de"
    assert '<html lang="de">' in sent.alternatives[0].content


@pytest.mark.django_db
def test_a_mail_to_an_address_without_an_account_is_in_the_language_of_who_asked(
    client: Client, django_capture_on_commit_callbacks: Any
) -> None:
    cache.clear()

    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/login/code/", {"email": "nobody@example.org"}, headers=GERMAN)

    (sent,) = mail.outbox
    assert (sent.subject, sent.extra_headers["Content-Language"]) == ("Kein Konto mit dieser Adresse", "de")
