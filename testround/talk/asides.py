"""What a tester's pages show of what was said: questions beside their step, and what is new in the round."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _

from testround.reports.asides import SAID, Aside, Asides, News, Reply, speaks, takes_up, tells
from testround.rounds.models import Place
from testround.rows import rows_of
from testround.talk.models import Answer, Look, Note, Question
from testround.talk.selectors import first_at_each_place, new_answers, new_words, notes_with_new

ASIDES_AT_A_STEP = 3
NOTES_SHOWN = 3
ANSWERS_SHOWN = 5

_IN_THE_ROUND = f"{{table}}.round_id = (SELECT round_id FROM {Place._meta.db_table} WHERE id = %s)"  # noqa: S608
SAID.update(
    {
        **dict.fromkeys((Note, Question, Look), _IN_THE_ROUND),
        Answer: f"{{table}}.question_id IN {rows_of(Question, _IN_THE_ROUND)}",
    }
)


@speaks
def questions_beside(place: Place) -> dict[str, Asides]:
    """The questions of the round beside the places in the text they were asked at."""
    round = place.round
    found: dict[str, list[Question]] = {}
    for question in first_at_each_place(round, most=ASIDES_AT_A_STEP):
        found.setdefault(question.where, []).append(question)
    all_of_them = reverse("talk:questions", args=[round.code])
    return {
        where: Asides(
            shown=tuple(_aside(question, round.code) for question in questions),
            count=questions[0].count,
            url=f"{all_of_them}?{urlencode({'where': where})}",
        )
        for where, questions in found.items()
    }


def _aside(question: Question, code: str) -> Aside:
    return Aside(
        question=question.text,
        replies=tuple(Reply(answer.text, answer.at, answer.is_addition) for answer in question.answers.all()),
        url=reverse("talk:question", args=[code, question.pk]),
    )


@takes_up
def questions_taken_up(place: Place) -> dict[int, str]:
    """The remarks that were made of the place's questions at the errata desk."""
    asked = Question.objects.filter(remark__place=place).select_related("round")
    return {question.remark_id: question.get_absolute_url() for question in asked if question.remark_id}


@tells
def what_is_new(place: Place) -> Iterator[News]:
    """The last notes, answers the tester has not looked at yet, and that there are private words."""
    tester, round = place.tester, place.round
    if tester is None:
        return
    notes = reverse("talk:notes", args=[round.code])
    for note in notes_with_new(round, tester)[:NOTES_SHOWN]:
        yield News(_("Note"), note.text, note.at, note.is_new, notes)
    for answer in new_answers(round, tester)[:ANSWERS_SHOWN]:
        what = _("More on the answer at {where}") if answer.is_addition else _("Answer at {where}")
        yield News(
            what.format(where=answer.question.where),
            answer.text,
            answer.at,
            True,
            answer.question.get_absolute_url(),
        )
    words = new_words(tester).filter(place=place).order_by("-at", "-pk")[:1]
    for word in words:
        yield News(_("Private word"), "", word.at, True, reverse("talk:words", args=[place.pk]))
