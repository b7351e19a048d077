"""What is private of what was said: taken away by whom it is about, gone with the rest of a place."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.utils import timezone

from testround.people.held import held_of, person_erase
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.services.privacy import purge
from testround.talk.models import CalendarAddress, Look, Question, Word
from testround.talk.services import calendar_renew, look_note, note_write, word_write
from tests.talk.conftest import answer, ask


@pytest.fixture
def said(question: Question, place: Place, second_place: Place, designer: User, tester: User) -> Question:
    """A question with its answer, a note, and private words with both testers."""
    answer(question, "The right side.", by=designer)
    note_write(round=question.round, key=uuid.uuid4(), by=designer, text="The blue yarn is late.")
    for where, by, text in (
        (place, tester, "My wrist hurts."),
        (place, designer, "Rest it."),
        (second_place, designer, "How is it going?"),
    ):
        word_write(place=where, key=uuid.uuid4(), by=by, text=text)
    calendar_renew(person=tester)
    look_note(person=tester, what=Look.At.WORDS, round=question.round, place=place)
    return question


def shelves(person: User) -> dict[str, list[Any]]:
    """The texts, or whatever there is, by shelf."""
    kept = ("questions", "words", "told", "calendar", "looks")
    return {
        shelf.key: [row.get("text", row.get("what")) for row in shelf.rows]
        for shelf in held_of(person)
        if shelf.key in kept
    }


def test_everybody_takes_away_what_they_said_and_what_was_said_to_them_alone(
    said: Question, designer: User, tester: User, second_tester: User, stranger: User
) -> None:
    assert shelves(tester) == {
        "questions": ["Which row first?"],
        "words": ["My wrist hurts.", "Rest it."],
        "told": [],
        "calendar": [None],
        "looks": ["words"],
    }
    assert shelves(second_tester) == {
        "questions": [],
        "words": ["How is it going?"],
        "told": [],
        "calendar": [],
        "looks": [],
    }
    assert shelves(designer) == {
        "questions": [],
        "words": ["Rest it.", "How is it going?"],
        "told": ["The blue yarn is late.", "The right side."],
        "calendar": [],
        "looks": [],
    }
    assert set(map(tuple, shelves(stranger).values())) == {()}


def test_the_secret_of_a_calendar_is_not_in_what_is_taken_away(said: Question, tester: User) -> None:
    token = CalendarAddress.objects.get(person=tester).token

    assert token not in str(held_of(tester))


def test_who_erases_themselves_leaves_the_answer_and_no_words(
    said: Question, tester: User, second_place: Place
) -> None:
    person_erase(user=tester)

    said.refresh_from_db()
    assert (said.text, said.where, said.by, said.by_name) == (
        "(The words are deleted.)",
        "Back, step 3",
        None,
        False,
    )
    assert [row.text for row in said.answers.all()] == ["The right side."]
    assert [word.text for word in Word.objects.all()] == ["How is it going?"]
    assert (CalendarAddress.objects.count(), Look.objects.count()) == (0, 0)


def test_on_the_rounds_day_private_words_and_the_words_of_questions_go(
    said: Question, a_round: Round, place: Place, tester: User
) -> None:
    Round.objects.update(purge_on=timezone.localdate() - dt.timedelta(days=2))

    purge()

    said.refresh_from_db()
    assert said.text == "(The words are deleted.)"
    assert [row.text for row in said.answers.all()] == ["The right side."]
    assert a_round.notes.get().text == "The blue yarn is late."
    assert Word.objects.count() == 0
    for attempt in (
        lambda: word_write(place=place, key=uuid.uuid4(), by=tester, text="Still there?"),
        lambda: ask(place, "And now?"),
    ):
        with pytest.raises(Refused, match="nothing private is taken any more"):
            attempt()
