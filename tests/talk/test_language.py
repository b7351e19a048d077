"""What is said in a round reaches everybody in their own language; what somebody does is noted in theirs."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone, translation

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.models import Question
from testround.talk.services import calendar_renew, note_write, word_write
from tests.talk.conftest import answer, ask

WORDS = {
    "Hello {name},": "Hallo {name},",
    "A note on testing {pattern}": "Nachricht zum Test von {pattern}",
    "A note to all testers was written.": "Eine Nachricht an alle ging hinaus.",
    "A question at {where}": "Frage bei {where}",
    "{name}, size {size}, asks at {where} of {pattern}:": "Zu {pattern} fragt {name} (Größe {size}) bei {where}:",
    "An answer at {where}": "Antwort bei {where}",
    "A private word about {pattern}": "Ein Wort unter uns zu {pattern}",
    "You get this mail because you test {pattern}.": "Diese Mail kommt, weil du {pattern} testest.",
    "No more mails of this kind": "Keine solchen Mails mehr",
    "Swatch due: {piece}": "Maschenprobe fällig: {piece}",
    "{title}, size {size}": "{title}, Größe {size}",
    "Test rounds": "Testrunden",
    "{name}, size {size}; to the others: a tester": "{name}, Größe {size}; für die anderen: jemand",
    'Asked by %(who)s, <time datetime="%(iso)s">%(when)s</time>': (
        'Von %(who)s, am <time datetime="%(iso)s">%(when)s</time>'
    ),
}

Speak = Callable[[dict[str, str]], None]
Commit = Callable[..., Any]
Diary = Callable[[Round], list[str]]


@pytest.fixture(autouse=True)
def two_languages(german: Speak) -> None:
    german(WORDS)


def speaks(person: User | None, language: str) -> None:
    assert person is not None
    person.language = language
    person.save()


def subjects() -> dict[str, str]:
    """The subjects of the mails that left, by address."""
    return {message.to[0]: message.subject for message in mail.outbox}


def test_a_note_reaches_each_tester_in_the_language_they_chose(
    a_round: Round,
    designer: User,
    place: Place,
    second_place: Place,
    django_capture_on_commit_callbacks: Commit,
) -> None:
    speaks(place.tester, "de")
    speaks(second_place.tester, "en-gb")

    with django_capture_on_commit_callbacks(execute=True), translation.override("de"):
        note_write(round=a_round, key=uuid.uuid4(), by=designer, text="The blue yarn is late.")

    assert subjects() == {
        "tester@example.org": "Nachricht zum Test von Little top",
        "second@example.org": "A note on testing Little top",
    }


def test_a_tester_who_chose_no_language_gets_the_one_of_who_writes(
    a_round: Round, designer: User, place: Place, django_capture_on_commit_callbacks: Commit
) -> None:
    with django_capture_on_commit_callbacks(execute=True), translation.override("de"):
        note_write(round=a_round, key=uuid.uuid4(), by=designer, text="The blue yarn is late.")

    assert subjects() == {"tester@example.org": "Nachricht zum Test von Little top"}


def test_a_mail_is_in_one_language_from_its_greeting_to_its_foot(
    a_round: Round, designer: User, place: Place, django_capture_on_commit_callbacks: Commit
) -> None:
    speaks(place.tester, "de")

    with django_capture_on_commit_callbacks(execute=True):
        note_write(round=a_round, key=uuid.uuid4(), by=designer, text="The blue yarn is late.")

    (sent,) = mail.outbox
    html = sent.alternatives[0].content
    assert sent.body.startswith("Hallo Tester one,\n")
    assert "Diese Mail kommt, weil du Little top testest." in sent.body
    assert '<html lang="de">' in html
    assert ">Keine solchen Mails mehr</a>" in html
    assert sent.extra_headers["Content-Language"] == "de"


def test_a_question_an_answer_and_a_private_word_are_told_in_the_language_of_who_gets_them(
    designer: User, place: Place, django_capture_on_commit_callbacks: Commit
) -> None:
    speaks(designer, "de")
    speaks(place.tester, "en-gb")

    with django_capture_on_commit_callbacks(execute=True):
        asked = ask(place)
    with django_capture_on_commit_callbacks(execute=True), translation.override("de"):
        answer(asked, by=designer)
    with django_capture_on_commit_callbacks(execute=True):
        word_write(place=place, key=uuid.uuid4(), by=place.tester, text="A word with you.")

    assert [(message.to[0], message.subject) for message in mail.outbox] == [
        ("designer@example.org", "Frage bei Back, step 3"),
        ("tester@example.org", "An answer at Back, step 3"),
        ("designer@example.org", "Ein Wort unter uns zu Little top"),
    ]
    assert "Zu Little top fragt Tester one (Größe S) bei Back, step 3:" in mail.outbox[0].body


def test_the_diary_is_kept_in_the_language_of_who_acts(
    a_round: Round, designer: User, place: Place, diary_of: Diary
) -> None:
    speaks(place.tester, "en-gb")

    with translation.override("de"):
        note_write(round=a_round, key=uuid.uuid4(), by=designer, text="The blue yarn is late.")

    assert diary_of(a_round) == ["Eine Nachricht an alle ging hinaus."]


def test_who_asked_is_named_in_the_language_of_the_page(
    client: Client, designer: User, question: Question
) -> None:
    client.force_login(designer)
    path = reverse("talk:question", args=[question.round.code, question.pk])

    page = client.get(path, headers={"accept-language": "de"})

    assert page.headers["Content-Language"] == "de"
    assert "Von Tester one, Größe S; für die anderen: jemand, am <time" in page.text


@pytest.mark.parametrize(("asked", "chosen"), [("en-gb", "de"), ("de", "")])
def test_a_calendar_is_in_the_language_that_its_person_chose_and_else_in_that_of_the_program_that_asks(
    client: Client, a_round: Round, place: Place, asked: str, chosen: str
) -> None:
    assert place.tester is not None
    speaks(place.tester, chosen)
    a_round.swatches_due = timezone.localdate()
    a_round.save()
    path = reverse("talk:feed", args=[calendar_renew(person=place.tester).token])

    feed = client.get(path, headers={"accept-language": asked})

    text = feed.content.decode()
    assert "SUMMARY:Maschenprobe fällig: Little top\\, Größe S\r\n" in text
    assert "NAME:Testrunden\r\n" in text
    assert feed.headers["Content-Language"] == "de"
    assert "Accept-Language" in feed.headers["Vary"]
