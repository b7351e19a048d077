"""What is said in a round: notes to all testers, questions at a place in the text with their answers, private words."""

from __future__ import annotations

import uuid
from typing import Any

import django_filters as df
from django.db.models import Exists, OuterRef, QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.paging import MOST_ID
from testround.api.problems import CONFLICT, means
from testround.api.scopes import Scope
from testround.api.v1.examples import talk as examples
from testround.rounds.selectors import places_of
from testround.talk import services
from testround.talk.forms import LONGEST_PLACE
from testround.talk.models import LONGEST_QUESTION, LONGEST_SAID, Answer, Note, Question, Word
from testround.talk.selectors import (
    Listener,
    listener_of,
    notes_in,
    questions_in,
    rounds_heard_by,
    rounds_spoken_for,
    shown_to,
    threads_of,
    words_between,
)

TAG = "Talk"
means(CONFLICT, services.AskedBefore, services.AnsweredMeanwhile)


class SaidIn(Input):
    text = serializers.CharField(max_length=LONGEST_SAID, help_text="Plain text. It is not changed later.")


class QuestionIn(Input):
    """A question at a place in the text. The designer and all testers of the round read it."""

    where = serializers.CharField(max_length=LONGEST_PLACE, help_text="Section and step, as in Back, step 3.")
    text = serializers.CharField(max_length=LONGEST_QUESTION)
    by_name = serializers.BooleanField(
        required=False, help_text="The other testers see your name. The designer always does."
    )
    shown = serializers.IntegerField(
        required=False,
        min_value=0,
        max_value=MOST_ID,
        help_text="The highest `id` of the questions at that place that you have read. Where there are later ones it "
        "is refused, so that nothing is asked twice.",
    )


class AnswerIn(SaidIn):
    after = serializers.IntegerField(
        min_value=0, max_value=2**31 - 1, help_text="How many answers and additions you have read."
    )


class NoteOut(serializers.Serializer):
    id = serializers.IntegerField()
    by = serializers.CharField(allow_null=True, help_text="Name of who wrote it.")
    text = serializers.CharField()
    at = serializers.DateTimeField()


class AnswerOut(serializers.Serializer):
    text = serializers.CharField()
    at = serializers.DateTimeField()
    is_addition = serializers.BooleanField()


class QuestionOut(serializers.Serializer):
    """A question as you see it: who asked is told to the designer, and to others where they want that."""

    id = serializers.IntegerField(source="question.id")
    where = serializers.CharField(source="question.where", help_text="Place in the text.")
    text = serializers.CharField(source="question.text")
    at = serializers.DateTimeField(source="question.at")
    asked_by = serializers.CharField()
    to_desk_at = serializers.DateTimeField(
        source="question.to_desk_at", allow_null=True, help_text="When the errata desk got a remark of it."
    )
    answers = AnswerOut(many=True)


class WordOut(serializers.Serializer):
    id = serializers.IntegerField()
    own = serializers.BooleanField(help_text="You wrote it.")
    text = serializers.CharField()
    at = serializers.DateTimeField()


class QuestionFilter(df.FilterSet):
    where = df.CharFilter(label="Questions at this place in the text.")
    answered = df.BooleanFilter(method="filter_answered", label="False: those that wait for an answer.")

    def filter_answered(self, rows: QuerySet[Question], name: str, value: bool) -> QuerySet[Question]:
        has_one = Exists(Answer.objects.filter(question=OuterRef("pk")))
        return rows.filter(has_one if value else ~has_one)


class Heard(Endpoint):
    """An address of what is said in a round."""

    def heard(self, code: str) -> Listener:
        """Who reads it, where they may: a tester who holds a place, the owner, an editor."""
        return listener_of(self.user, get_object_or_404(rounds_heard_by(self.user), code=code))

    def spoken_for(self, code: str) -> Listener:
        """Who speaks for the round; to testers this address is none."""
        return listener_of(self.user, get_object_or_404(rounds_spoken_for(self.user), code=code))


def _note(note: Note) -> dict[str, Any]:
    return NoteOut({"id": note.pk, "by": note.by and str(note.by), "text": note.text, "at": note.at}).data


class Notes(Heard):
    @operation(
        "notes_list",
        "Notes to the testers",
        tag=TAG,
        scope=Scope.TALK_READ,
        answers=NoteOut(many=True),
        example=examples.NOTE,
    )
    def get(self, request: Request, code: str) -> Response:
        """What the designer wrote to all testers of a round that you run or test in, newest first."""
        return self.paged(notes_in(self.heard(code).round), _note)

    @operation(
        "notes_write",
        "Write to all testers",
        tag=TAG,
        scope=Scope.TALK_WRITE,
        takes=SaidIn,
        sends=examples.SAID,
        answers=NoteOut,
        example=examples.NOTE,
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Write to all testers of a round; each gets it by mail. The owner and editors of the pattern may."""
        round, sent = self.spoken_for(code).round, self.body(SaidIn)
        note = services.note_write(round=round, key=uuid.uuid4(), by=self.user, text=sent["text"])
        return self.made(_note(note), reverse("api:notes", args=[code]))


class OfQuestions(Heard):
    def question_shown(self, listener: Listener, question: Question) -> dict[str, Any]:
        (shown,) = shown_to(listener, [question])
        return QuestionOut(shown).data


class Questions(OfQuestions):
    @operation(
        "questions_list",
        "Questions of a round",
        tag=TAG,
        scope=Scope.TALK_READ,
        answers=QuestionOut(many=True),
        example=examples.QUESTION,
        filters=QuestionFilter,
    )
    def get(self, request: Request, code: str) -> Response:
        """What testers asked in a round that you run or test in, with the answers, newest first."""
        listener = self.heard(code)
        rows = questions_in(listener.round)
        return self.paged(rows, lambda question: self.question_shown(listener, question), QuestionFilter)


class OneQuestion(OfQuestions):
    @operation(
        "questions_retrieve",
        "One question",
        tag=TAG,
        scope=Scope.TALK_READ,
        answers=QuestionOut,
        example=examples.QUESTION,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """A question with its answers."""
        listener = self.heard(code)
        return self.shown(self.question_shown(listener, self.here(questions_in(listener.round), pk=id)))


class AnswerQuestion(OfQuestions):
    @operation(
        "questions_answer",
        "Answer a question",
        tag=TAG,
        scope=Scope.TALK_WRITE,
        takes=AnswerIn,
        sends={"text": examples.ANSWER["text"], "after": 0},
        answers=QuestionOut,
        example=examples.QUESTION,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Answer a question, or add to the answer: all testers are told. The owner and editors of the pattern may."""
        listener = self.spoken_for(code)
        question = get_object_or_404(questions_in(listener.round), pk=id)
        sent = self.body(AnswerIn)
        services.question_answer(
            question=question, key=uuid.uuid4(), by=self.user, text=sent["text"], after=sent["after"]
        )
        return self.shown(self.question_shown(listener, questions_in(listener.round).get(pk=id)))


class QuestionToDesk(OfQuestions):
    @operation(
        "questions_remark",
        "Take a question to the errata desk",
        tag=TAG,
        scope=Scope.TALK_WRITE,
        answers=QuestionOut,
        example={**examples.QUESTION, "to_desk_at": "2026-03-21T09:00:00Z"},
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Take a step that was made clear to the errata desk, as a remark. It goes there once."""
        listener = self.spoken_for(code)
        question = get_object_or_404(questions_in(listener.round), pk=id)
        services.question_to_desk(question=question, by=self.user)
        return self.shown(self.question_shown(listener, questions_in(listener.round).get(pk=id)))


class Ask(OfQuestions):
    @operation(
        "questions_ask",
        "Ask a question",
        tag=TAG,
        scope=Scope.TALK_WRITE,
        takes=QuestionIn,
        sends=examples.QUESTION_IN,
        answers=QuestionOut,
        example={**examples.QUESTION, "answers": []},
        status=201,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, id: int) -> Response:
        """Ask at a place in the text, as the tester of a place. Read first what was asked there before."""
        place = get_object_or_404(places_of(self.user), pk=id)
        sent = self.body(QuestionIn)
        question = services.question_ask(
            place=place,
            key=uuid.uuid4(),
            by=self.user,
            where=sent["where"],
            text=sent["text"],
            by_name=sent.get("by_name", False),
            shown=sent.get("shown", 0),
        )
        listener = listener_of(self.user, place.round)
        told = self.question_shown(listener, questions_in(place.round).get(pk=question.pk))
        return self.made(told, reverse("api:question", args=[place.round.code, question.pk]))


class Words(Endpoint):
    def shown_word(self, word: Word) -> dict[str, Any]:
        own = word.by_id == self.user.pk
        return WordOut({"id": word.pk, "own": own, "text": word.text, "at": word.at}).data

    @operation(
        "words_list",
        "Private words",
        tag=TAG,
        scope=Scope.TALK_READ,
        answers=WordOut(many=True),
        example=examples.WORD,
    )
    def get(self, request: Request, id: int) -> Response:
        """Private words between the owner of a pattern and the tester of a place, newest first: for these two alone."""
        place = get_object_or_404(threads_of(self.user), pk=id)
        return self.paged(words_between(place, self.user), self.shown_word)

    @operation(
        "words_write",
        "Write a private word",
        tag=TAG,
        scope=Scope.TALK_WRITE,
        takes=SaidIn,
        sends=examples.SAID,
        answers=WordOut,
        example=examples.WORD,
        status=201,
    )
    def post(self, request: Request, id: int) -> Response:
        """Write a private word to the other of the two; they are told by mail."""
        place = get_object_or_404(threads_of(self.user), pk=id)
        word = services.word_write(
            place=place, key=uuid.uuid4(), by=self.user, text=self.body(SaidIn)["text"]
        )
        return self.made(self.shown_word(word), reverse("api:words", args=[id]))
