"""What is private of what was said: taken away by whom it is about, and deleted with the rest of a place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.people.held import Shelf, keeps
from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.privacy import WORDLESS
from testround.rounds.models import Place
from testround.rounds.services.privacy import forgets
from testround.talk.models import Answer, CalendarAddress, Look, Note, Question, Word

ALL_OF_THE_ROUND = gettext_lazy("the testers of the round, its designer and the pattern's editors")


@forgets
def talk_forgets(places: Sequence[Place]) -> None:
    """Private words go, and the words of questions; that a step was asked about and what was answered stays."""
    Word.objects.filter(place__in=places).delete()
    Look.objects.filter(place__in=places).delete()
    Question.objects.filter(place__in=places).update(text=WORDLESS, by_name=False, by=None)


_NOTES: Prepared[Note] = Prepared(
    lambda user: Note.objects.filter(by=user).select_related("round").order_by("pk")
)
_ANSWERS: Prepared[Answer] = Prepared(
    lambda user: Answer.objects.filter(by=user).select_related("question__round").order_by("pk")
)
_LOOKS: Prepared[Look] = Prepared(
    lambda user: Look.objects.filter(person=user).select_related("round").order_by("pk")
)


def _questions_of(user: User) -> QuerySet[Question]:
    asked = Question.objects.filter(by=user).order_by().values("pk")
    at_own_places = Question.objects.filter(place__tester=user).order_by().values("pk")
    return Question.objects.filter(pk__in=asked.union(at_own_places)).order_by("pk")


_QUESTIONS: Prepared[Question] = Prepared(_questions_of)
_WORDS: Prepared[Word] = Prepared(
    lambda user: Word.objects.filter(Q(by=user) | Q(to=user, place__tester=user)).order_by("pk")
)
_CALENDARS: Prepared[CalendarAddress] = Prepared(lambda user: CalendarAddress.objects.filter(person=user))


@keeps
def questions_held(user: User) -> Shelf:
    rows = [
        {
            "place": question.place_id,
            "where": question.where,
            "at": question.at,
            "text": question.text,
            "shown_with_your_name": question.by_name,
            "on_the_errata_desk": question.to_desk_at,
        }
        for question in _QUESTIONS.rows(user=user)
    ]
    return Shelf("questions", _("Questions you asked"), ALL_OF_THE_ROUND, rows)


@keeps
def words_held(user: User) -> Shelf:
    """What was said in private by the person and, at their own places, to them."""
    rows = [
        {"place": word.place_id, "at": word.at, "by_you": word.by_id == user.pk, "text": word.text}
        for word in _WORDS.rows(user=user)
    ]
    return Shelf("words", _("Private words"), _("the other of the two, nobody else"), rows)


@keeps
def told_held(user: User) -> Shelf:
    """Notes and answers that the person wrote as designer or editor."""
    rows: list[dict[str, Any]] = [
        {"what": "note", "round": note.round.title, "at": note.at, "text": note.text}
        for note in _NOTES.rows(user=user)
    ]
    rows += [
        {
            "what": "addition" if answer.is_addition else "answer",
            "round": answer.question.round.title,
            "where": answer.question.where,
            "at": answer.at,
            "text": answer.text,
        }
        for answer in _ANSWERS.rows(user=user)
    ]
    return Shelf("told", _("Notes and answers you wrote"), ALL_OF_THE_ROUND, rows)


@keeps
def calendar_held(user: User) -> Shelf:
    """That there is an address; the secret itself stands on the page of the calendar."""
    rows = [{"made": address.made} for address in _CALENDARS.rows(user=user)]
    return Shelf("calendar", _("The address of your calendar"), _("whoever you gave it to"), rows)


@keeps
def looks_held(user: User) -> Shelf:
    rows = [
        {"what": look.what, "round": look.round.title, "place": look.place_id, "at": look.at}
        for look in _LOOKS.rows(user=user)
    ]
    return Shelf("looks", _("When you last looked at notes, questions and private words"), _("nobody"), rows)
