"""A round with two testers beside its designer, and what they say."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.models import Answer, Question
from testround.talk.services import question_answer, question_ask

SignIn = Callable[[User], Client]
STEP = "Back, step 3"


@pytest.fixture
def second_tester(db: None) -> User:
    return User.objects.create_user("second@example.org", "a-long-password", name="Tester two")


@pytest.fixture
def second_place(a_round: Round, second_tester: User) -> Place:
    """The other tester's place: size M."""
    return Place.objects.create(
        round=a_round, key="t02", name="Tester two", tester=second_tester, size="M", state=Place.State.TAKEN
    )


def ask(place: Place, text: str = "Which row first?", *, where: str = STEP, **more: Any) -> Question:
    """A question of the place's tester, who was shown all that was asked there."""
    asker = place.tester
    assert asker is not None
    options = {"key": uuid.uuid4(), "by": asker, "shown": 10**9, **more}
    return question_ask(place=place, where=where, text=text, **options)


def answer(question: Question, text: str = "The right side.", *, by: User, **more: Any) -> Answer:
    options = {"key": uuid.uuid4(), "after": question.answers.count(), **more}
    return question_answer(question=question, by=by, text=text, **options)


@pytest.fixture
def question(place: Place, second_place: Place) -> Question:
    """The first tester's, not answered yet; the second tester is in the round too."""
    return ask(place)
