"""Two people press in the same second: one is taken, the other gets a sentence, and nothing is said twice."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Sequence

import pytest
from django.db import connection

from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Place
from testround.talk.models import Answer, Question
from testround.talk.services import (
    AnsweredMeanwhile,
    AskedBefore,
    question_answer,
    question_ask,
    question_to_desk,
)
from tests.outbox.databases import shared_by_threads
from tests.talk.conftest import answer

__all__ = ["shared_by_threads"]


def at_once(*jobs: Callable[[], object]) -> list[str]:
    """How each ended, by the name of what it raised, or "taken"; they start together."""
    start = threading.Barrier(len(jobs))
    ended: list[str] = []

    def run(job: Callable[[], object]) -> None:
        try:
            connection.ensure_connection()
            start.wait(10)
            job()
            ended.append("taken")
        except Exception as error:
            ended.append(type(error).__name__)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[job]) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    return sorted(ended)


@pytest.fixture
def seats(shared_by_threads: None, place: Place, second_place: Place) -> Sequence[Place]:
    return place, second_place


def test_of_two_who_ask_at_one_step_at_once_the_second_reads_the_first_question(
    seats: Sequence[Place],
) -> None:
    def ask_at(seat: Place) -> Callable[[], object]:
        asker = seat.tester
        assert asker is not None
        return lambda: question_ask(
            place=seat, key=uuid.uuid4(), by=asker, where="Back, step 3", text=f"{seat.name} asks."
        )

    assert at_once(*map(ask_at, seats)) == sorted([AskedBefore.__name__, "taken"])
    assert Question.objects.count() == 1


def test_of_two_who_answer_at_once_one_is_taken(
    shared_by_threads: None, question: Question, designer: User
) -> None:
    def say(text: str) -> Callable[[], object]:
        return lambda: question_answer(question=question, key=uuid.uuid4(), by=designer, text=text)

    assert at_once(say("The right side."), say("The wrong side.")) == sorted(
        [AnsweredMeanwhile.__name__, "taken"]
    )
    assert Answer.objects.count() == 1


def test_two_presses_of_one_form_at_once_say_it_once(
    shared_by_threads: None, question: Question, designer: User
) -> None:
    key = uuid.uuid4()

    def press() -> object:
        return question_answer(question=question, key=key, by=designer, text="Yes.")

    assert at_once(press, press, press) == ["taken"] * 3
    assert Answer.objects.count() == 1


def test_two_presses_take_a_step_to_the_desk_once(
    shared_by_threads: None, question: Question, designer: User
) -> None:
    answer(question, by=designer)

    def press() -> object:
        return question_to_desk(question=question, by=designer)

    assert at_once(press, press) == ["taken", "taken"]
    assert Remark.objects.count() == 1
