"""What is said in a round, as its pages read it. Every selector starts from who may see it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import (
    BooleanField,
    Count,
    DateTimeField,
    Exists,
    ExpressionWrapper,
    F,
    Max,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Value,
    Window,
)
from django.db.models.functions import Coalesce, RowNumber
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from testround.patterns.access import Right, patterns_open_to
from testround.people.models import User
from testround.prepared import Prepared
from testround.rounds.models import Place, Round
from testround.rounds.selectors import places_of
from testround.talk.likeness import likeness
from testround.talk.models import Answer, Look, Note, Question, Word

LIKE_SHOWN = 5
LIKE_READ = 200
WAITING_SHOWN = 50
NEVER = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


# -- who hears and who speaks ------------------------------------------------------------------------------


def rounds_spoken_for(user: User) -> QuerySet[Round]:
    """The rounds in which a person writes notes and answers, and hears who asked: owner and editor."""
    patterns = patterns_open_to(user, Right.EDIT)
    return Round.objects.filter(edition__pattern__in=patterns).select_related("edition__pattern__owner")


def rounds_heard_by(user: User) -> QuerySet[Round]:
    """The rounds whose notes and questions a person reads: those spoken for, and those a place is held in."""
    held = places_of(user).values("round")
    return Round.objects.filter(
        Q(pk__in=rounds_spoken_for(user).values("pk")) | Q(pk__in=held)
    ).select_related("edition__pattern__owner")


def round_heard(user: User, code: str) -> Round | None:
    """The round whose notes and questions a person reads, by its code."""
    return _HEARD.first(user=user, code=code)


_HEARD: Prepared[Round] = Prepared(lambda user, code: rounds_heard_by(user).filter(code=code))


def threads_of(user: User) -> QuerySet[Place]:
    """The places whose private words a person reads: the own one, and those of the rounds that are her own.

    Nobody else does, whatever else they may see of the round.
    """
    own = Q(tester=user) & ~Q(state=Place.State.GIVEN_BACK)
    run = Q(round__edition__pattern__owner=user, tester__isnull=False)
    return Place.objects.filter(own | run).select_related("round__edition__pattern__owner", "tester")


def words_between(place: Place, person: User) -> QuerySet[Word]:
    """The private words of a place that a person wrote or that are to them, the newest first."""
    return place.words.filter(Q(by=person) | Q(to=person)).select_related("by")


def places_told(round: Round, *, besides: User | None = None) -> list[Place]:
    """The places of a round whose testers are told what is said to all: each tester once, by the first place."""
    places = (
        Place.objects.filter(round=round, tester__isnull=False, tester__is_active=True)
        .exclude(state=Place.State.GIVEN_BACK)
        .select_related("tester", "round__edition__pattern__owner")
        .order_by("pk")
    )
    if besides is not None:
        places = places.exclude(tester=besides)
    first: dict[int | None, Place] = {}
    for place in places:
        first.setdefault(place.tester_id, place)
    return list(first.values())


# -- notes and questions -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Listener:
    """Who reads a round's notes and questions: as who speaks for it, or as the tester of places in it."""

    round: Round
    speaks: bool
    places: frozenset[int]
    place: Place | None
    """The first place held, for the ways to a tester's pages."""

    def asked_by(self, question: Question) -> str:
        """How the reader sees who asked."""
        if question.place_id in self.places:
            return pgettext("after “asked by”", "you")
        place = question.place
        if self.speaks and place is not None:
            known = {"name": place.name, "size": place.size}
            if place.size and question.by_name:
                return _("{name}, size {size}").format(**known)
            if place.size:
                return _("{name}, size {size}; to the others: a tester").format(**known)
            return (
                place.name
                if question.by_name
                else _("{name}; to the others: a tester").format(name=place.name)
            )
        if question.by_name and place is not None:
            return place.name
        return pgettext("after “asked by”", "a tester")


def listener_of(user: User, round: Round) -> Listener:
    """One query for the places held, one for whether the person speaks for the round."""
    places = _HELD_IN.rows(user=user, round=round)
    return Listener(
        round=round,
        speaks=_SPOKEN_FOR.first(user=user, round=round) is not None,
        places=frozenset(place.pk for place in places),
        place=places[0] if places else None,
    )


_HELD_IN: Prepared[Place] = Prepared(lambda user, round: places_of(user).filter(round=round).order_by("pk"))
_SPOKEN_FOR: Prepared[tuple[int]] = Prepared(
    lambda user, round: rounds_spoken_for(user).filter(pk=round.pk).values_list("pk")
)


@dataclass(frozen=True, slots=True)
class Shown:
    """A question as one reader sees it."""

    question: Question
    asked_by: str
    answers: tuple[Answer, ...]


def notes_in(round: Round) -> QuerySet[Note]:
    return round.notes.select_related("by")


def _answers() -> QuerySet[Answer]:
    return Answer.objects.select_related("by").order_by("at", "pk")


def questions_in(round: Round, *, where: str = "", waiting: bool = False) -> QuerySet[Question]:
    """The questions of a round with their answers, the newest first."""
    questions = round.questions.select_related("place", "round").prefetch_related(
        Prefetch("answers", _answers())
    )
    if where:
        questions = questions.filter(where=where)
    if waiting:
        questions = questions.filter(~Exists(Answer.objects.filter(question=OuterRef("pk"))))
    return questions


def shown_to(listener: Listener, questions: Sequence[Question]) -> list[Shown]:
    return [
        Shown(question, listener.asked_by(question), tuple(question.answers.all())) for question in questions
    ]


def counts_of(round: Round) -> tuple[int, int]:
    """How many questions a round has, and how many of them wait for an answer."""
    answered = Exists(Answer.objects.filter(question=OuterRef("pk")))
    found = round.questions.aggregate(count=Count("pk"), waiting=Count("pk", filter=~answered))
    return found["count"], found["waiting"]


def like(round: Round, where: str, text: str = "") -> list[Question]:
    """The questions asked at a place before, those most like the text first; without a text the newest first."""
    asked = list(questions_in(round, where=where)[:LIKE_READ])
    if text:
        asked.sort(key=lambda question: -likeness(text, question.text))
    return asked[:LIKE_SHOWN]


def last_asked(round: Round, where: str) -> int:
    """The number of the last question at a place, 0 where there is none."""
    return round.questions.filter(where=where).aggregate(last=Max("pk"))["last"] or 0


# -- what stands beside a step -----------------------------------------------------------------------------


def first_at_each_place(round: Round, *, most: int) -> list[Question]:
    """The first few questions at each place in the text, with ``count`` of all there, answered ones first.

    Two queries, whatever was asked.
    """
    answered = Exists(Answer.objects.filter(question=OuterRef("pk")))
    questions = round.questions.annotate(answered=answered).annotate(
        rank=Window(
            RowNumber(),
            partition_by=F("where"),
            order_by=[F("answered").desc(), F("at").desc(), F("pk").desc()],
        ),
        count=Window(Count("pk"), partition_by=F("where")),
    )
    return list(
        questions.filter(rank__lte=most)
        .prefetch_related(Prefetch("answers", _answers()))
        .order_by("where", "rank")
    )


# -- what is new -------------------------------------------------------------------------------------------


def _looked(person: User, what: str, **of: Any) -> Coalesce:
    """When a person last looked, for rows of the round or place that ``of`` names; never, before the first look."""
    looks = Look.objects.filter(person=person, what=what, **of).values("at")[:1]
    return Coalesce(Subquery(looks), Value(NEVER), output_field=DateTimeField())


def notes_with_new(round: Round, person: User) -> QuerySet[Note]:
    """The notes of a round, each with ``is_new``: whether it came after the person last looked at its notes."""
    is_new = ExpressionWrapper(Q(at__gt=F("looked")) & ~Q(by=person), output_field=BooleanField())
    looked = _looked(person, Look.At.NOTES, round=OuterRef("round"))
    return round.notes.annotate(looked=looked).annotate(is_new=is_new)


def new_answers(round: Round, person: User) -> QuerySet[Answer]:
    """Answers and additions since the person last looked at the questions, the newest first."""
    return (
        Answer.objects.filter(question__round=round)
        .exclude(by=person)
        .annotate(looked=_looked(person, Look.At.QUESTIONS, round=OuterRef("question__round")))
        .filter(at__gt=F("looked"))
        .select_related("question__round")
        .order_by("-at", "-pk")
    )


def new_words(person: User) -> QuerySet[Word]:
    """Private words to a person since they last looked at them."""
    return (
        Word.objects.filter(to=person, place__in=threads_of(person).order_by().values("pk"))
        .annotate(looked=_looked(person, Look.At.WORDS, place=OuterRef("place")))
        .filter(at__gt=F("looked"))
    )


@dataclass(frozen=True, slots=True)
class Waiting:
    """Something said that waits for a person, by the round or the place it was said in."""

    what: str
    """"question", "word", "answer" or "note"."""
    count: int
    round: Round
    place: Place | None = None


def waiting_for(user: User, places: Sequence[Place] | None = None, *, runs: bool = True) -> list[Waiting]:
    """What waits for a person in all their rounds: five queries at most, whatever was said.

    ``places`` are those they hold, the first to close first, where they are known already; without a part in any
    pattern (``runs`` false) nobody is asked a question.
    """
    if places is None:
        places = places_of(user).order_by("round__closes", "pk")[:WAITING_SHOWN]
    found = _waiting_questions(user) if runs else []
    words = dict(_NEW_WORDS.rows(user=user))
    if words:
        threads = threads_of(user).filter(pk__in=words).order_by("pk")
        found += [Waiting("word", words[place.pk], place.round, place) for place in threads]
    first: dict[int, Place] = {}
    for place in places[:WAITING_SHOWN]:
        first.setdefault(place.round_id, place)
    if first:
        found += _news_of_places(user, first)
    return found


_NEW_WORDS: Prepared[tuple[int, int]] = Prepared(
    lambda user: new_words(user).order_by().values_list("place").annotate(count=Count("pk"))[:WAITING_SHOWN]
)


def _unanswered_of(user: User) -> QuerySet[Round]:
    """The rounds in which a person has questions to answer, each with how many are ``waiting``."""
    unanswered = ~Exists(Answer.objects.filter(question=OuterRef("questions__pk")))
    return (
        rounds_spoken_for(user)
        .defer("edition__sheet", "terms")
        .annotate(waiting=Count("questions", filter=Q(questions__isnull=False) & unanswered))
        .filter(waiting__gt=0)
        .order_by("-created", "-pk")
    )


_UNANSWERED: Prepared[Round] = Prepared(lambda user: _unanswered_of(user)[:WAITING_SHOWN])


def _waiting_questions(user: User) -> list[Waiting]:
    return [Waiting("question", round.waiting, round) for round in _UNANSWERED.rows(user=user)]


def _answers_heard(user: User) -> QuerySet[Any]:
    """By round in which a person holds a place, how many answers came since they last looked."""
    return (
        Answer.objects.filter(question__round__in=places_of(user).values("round"))
        .exclude(by=user)
        .annotate(looked=_looked(user, Look.At.QUESTIONS, round=OuterRef("question__round")))
        .filter(at__gt=F("looked"))
        .order_by()
        .values_list("question__round")
        .annotate(count=Count("pk"))
    )


def _notes_heard(user: User) -> QuerySet[Any]:
    """The same of notes."""
    return (
        Note.objects.filter(round__in=places_of(user).values("round"))
        .exclude(by=user)
        .annotate(looked=_looked(user, Look.At.NOTES, round=OuterRef("round")))
        .filter(at__gt=F("looked"))
        .order_by()
        .values_list("round")
        .annotate(count=Count("pk"))
    )


_ANSWERS_HEARD: Prepared[tuple[int, int]] = Prepared(_answers_heard)
_NOTES_HEARD: Prepared[tuple[int, int]] = Prepared(_notes_heard)


def _news_of_places(user: User, places: dict[int, Place]) -> list[Waiting]:
    found = []
    for what, heard in (("answer", _ANSWERS_HEARD), ("note", _NOTES_HEARD)):
        counts = dict(heard.rows(user=user))
        found += [
            Waiting(what, counts[pk], place.round, place) for pk, place in places.items() if counts.get(pk)
        ]
    return found
