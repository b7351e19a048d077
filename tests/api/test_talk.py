"""What is said in a round, by programs of those it is between."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Place, Round
from testround.talk.models import Note, Question, Word
from testround.talk.services import note_write, question_answer, question_ask, word_write
from tests.api.programs import Program, assert_costs_the_same, program_of
from tests.api.test_reports import at, own
from tests.api.test_requests import problem

__all__ = ["at", "own"]

ASKED = {"where": "back, step 3", "text": "Is the last row a right-side row?"}


@pytest.fixture
def of_round(a_round: Round) -> str:
    return f"/rounds/{a_round.code}"


def test_a_note_is_read_by_every_tester_of_the_round(
    own: Program, program: Program, of_round: str, place: Place
) -> None:
    written = program.post(f"{of_round}/notes", {"text": "The yarn is on its way."})

    assert (written.status_code, written.json()["by"]) == (201, "Designer")
    assert own.get(f"{of_round}/notes").json()["results"] == [written.json()]
    assert Note.objects.get().text == "The yarn is on its way."


def test_a_question_is_answered_added_to_and_taken_to_the_desk(
    own: Program, program: Program, at: str, of_round: str
) -> None:
    asked = own.post(f"{at}/questions", ASKED)
    one = f"{of_round}/questions/{asked.json()['id']}"
    unanswered = program.post(f"{one}/to-desk")
    waiting = program.get(f"{of_round}/questions?answered=false").json()["results"]
    program.post(f"{one}/answer", {"text": "Yes.", "after": 0})
    meanwhile = program.post(f"{one}/answer", {"text": "No.", "after": 0})
    added = program.post(f"{one}/answer", {"text": "In all sizes.", "after": 1})
    program.post(f"{one}/to-desk")

    assert asked.headers["Location"].endswith(one)
    # The place as the sheet spells it.
    assert (asked.json()["where"], asked.json()["asked_by"]) == ("Back, step 3", "you")
    assert problem(unanswered) == (422, "invalid")
    assert [question["id"] for question in waiting] == [asked.json()["id"]]
    assert problem(meanwhile) == (409, "conflict")
    assert [(answer["text"], answer["is_addition"]) for answer in added.json()["answers"]] == [
        ("Yes.", False),
        ("In all sizes.", True),
    ]
    assert Remark.objects.get().where == "Back, step 3"
    assert own.get(one).json()["to_desk_at"] is not None


def test_who_asked_is_told_to_the_designer_and_to_others_where_they_want_that(
    own: Program, program: Program, at: str, of_round: str, a_round: Round, stranger: User
) -> None:
    Place.objects.create(round=a_round, key="t02", name="Tester two", tester=stranger, state="taken")
    hidden = own.post(f"{at}/questions", ASKED).json()["id"]
    by_name = own.post(f"{at}/questions", {**ASKED, "by_name": True, "shown": hidden}).json()["id"]

    told = {
        who: {one["id"]: one["asked_by"] for one in reader.get(f"{of_round}/questions").json()["results"]}
        for who, reader in (("other", program_of(stranger)), ("designer", program))
    }

    assert told == {
        "other": {hidden: "a tester", by_name: "Tester one"},
        "designer": {
            hidden: "Tester one, size S; to the others: a tester",
            by_name: "Tester one, size S",
        },
    }


def test_what_was_asked_at_a_place_before_is_to_be_read_first(own: Program, at: str) -> None:
    first = own.post(f"{at}/questions", ASKED).json()["id"]

    unread = own.post(f"{at}/questions", {**ASKED, "text": "And the first?"})
    read = own.post(f"{at}/questions", {**ASKED, "text": "And the first?", "shown": first})

    assert (problem(unread), read.status_code) == ((409, "conflict"), 201)


def test_private_words_are_for_the_two_they_are_between(
    own: Program, program: Program, at: str, stranger: User
) -> None:
    own.post(f"{at}/words", {"text": "May I have a week more?"})
    program.post(f"{at}/words", {"text": "Of course."})

    assert [(word["own"], word["text"]) for word in own.get(f"{at}/words").json()["results"]] == [
        (False, "Of course."),
        (True, "May I have a week more?"),
    ]
    assert program_of(stranger).get(f"{at}/words").status_code == 404
    assert Word.objects.count() == 2


@pytest.mark.parametrize("what", ["notes", "questions", "words", "question"])
def test_reading_costs_the_same_whatever_was_said(
    own: Program,
    program: Program,
    of_round: str,
    at: str,
    a_round: Round,
    place: Place,
    designer: User,
    tester: User,
    what: str,
) -> None:
    given: dict[str, Any] = {"text": "Hear, hear."}

    def ask() -> Question:
        return question_ask(
            place=place, key=uuid.uuid4(), by=tester, where=f"Step {Question.objects.count()}", **given
        )

    first = ask()

    def grow() -> None:
        for _ in range(3):
            note_write(round=a_round, key=uuid.uuid4(), by=designer, **given)
            word_write(place=place, key=uuid.uuid4(), by=designer, **given)
            ask()
            question_answer(
                question=first, key=uuid.uuid4(), by=designer, after=first.answers.count(), **given
            )

    grow()
    path = {"words": f"{at}/words", "question": f"{of_round}/questions/{first.pk}"}
    assert_costs_the_same(lambda: own.get(path.get(what, f"{of_round}/{what}")), grow)
