"""What changes what is said in a round. Nothing said is edited later; what is added is dated."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from functools import partial
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from testround.kernel.round import RemarkKind
from testround.outbox.services import work_add
from testround.patterns.access import Right, people_with, require
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.services import diary_write
from testround.rounds.services.privacy import check_kept
from testround.talk import letters
from testround.talk.models import Answer, CalendarAddress, Look, Note, Question, Said, Word, new_token
from testround.talk.places import canonical_place

LONGEST_REMARK: int = Remark._meta.get_field("text").max_length


class AlreadySaid(Refused):
    """The form's key was used before, for something else than what came now."""

    def __init__(self) -> None:
        super().__init__(
            Refused.because(
                _(
                    "This form had already been sent and has arrived. What you changed since is not sent yet: look "
                    "it over and send it once more."
                )
            ).problems
        )


class AskedBefore(Refused):
    """Others asked at that place, and whoever asks has not been shown what."""


class AnsweredMeanwhile(Refused):
    """Somebody answered while this answer was written."""


def _said_before(rows: QuerySet[Any], key: uuid.UUID, content: Mapping[str, object]) -> Any:
    """What was said by the form of that key, if anything was. The parent's row is locked by the caller.

    Raises
    ------
    AlreadySaid
        It said something else: someone went back in the browser and changed it.
    """
    row: Said | None = rows.filter(key=key).first()
    if row is not None and any(getattr(row, field) != value for field, value in content.items()):
        raise AlreadySaid
    return row


def _locked(round_id: int) -> Round:
    """The round, so that what is said in it is said in turn.

    Only its key may still be read, for a tester's report writes the diary while it holds the place that a question
    is about.
    """
    rounds = Round.objects.select_for_update(of=("self",), no_key=True)
    return rounds.select_related("edition__pattern__owner").get(pk=round_id)


@transaction.atomic
def note_write(*, round: Round, key: uuid.UUID, by: User, text: str) -> Note:
    """A note to all testers of a round, who are told by mail."""
    locked = _locked(round.pk)
    require(by, Right.EDIT, locked.edition.pattern)
    before: Note | None = _said_before(locked.notes.all(), key, {"text": text})
    if before is not None:
        return before
    note = Note.objects.create(round=locked, key=key, by=by, text=text)
    diary_write(round=locked, by=by, text=_("A note to all testers was written."))
    letters.tell_testers(locked, lambda place: letters.note(note=note, place=place), besides=by)
    return note


@transaction.atomic
def question_ask(
    *,
    place: Place,
    key: uuid.UUID,
    by: User,
    where: str,
    text: str,
    by_name: bool = False,
    shown: int = 0,
) -> Question:
    """A tester's question at a place in the text. The designer and her editors are told by mail.

    ``shown`` is the highest number of the questions at that place that the asker was shown, 0 for none.

    Raises
    ------
    AskedBefore
        There are later ones: the asker is to read them first.
    AlreadySaid
        The form's key asked something else before.
    """
    locked = _locked(place.round_id)
    where = canonical_place(where, locked.edition.document)
    content = {"place_id": place.pk, "where": where, "text": text, "by_name": by_name}
    before: Question | None = _said_before(locked.questions.all(), key, content)
    if before is not None:
        return before
    if locked.questions.filter(where=where, pk__gt=shown).exists():
        raise AskedBefore.because(
            _(
                "Others have asked at {where}: see whether yours is among their questions below. If it is not, "
                "send it once more."
            ).format(where=where)
        )
    check_kept(place)
    question = Question.objects.create(
        round=locked, place=place, key=key, by=by, where=where, text=text, by_name=by_name
    )
    said = _("{name} asked a question at {where}.").format(name=place.name, where=where)
    diary_write(round=locked, place=place, by=by, text=said)
    for reader in people_with(Right.EDIT, locked.edition.pattern):
        if reader.pk != by.pk:
            letters.tell(reader, partial(letters.question, question=question, reader=reader), round=locked)
    return question


@transaction.atomic
def question_answer(*, question: Question, key: uuid.UUID, by: User, text: str, after: int = 0) -> Answer:
    """The answer to a question, or an addition to it; all testers of the round are told by mail.

    ``after`` is how many answers and additions whoever writes has read.

    Raises
    ------
    AnsweredMeanwhile
        There are more by now.
    AlreadySaid
        The form's key answered something else before.
    """
    locked = _locked(question.round_id)
    require(by, Right.EDIT, locked.edition.pattern)
    question = Question.objects.select_for_update(of=("self",), no_key=True).get(pk=question.pk)
    before: Answer | None = _said_before(question.answers.all(), key, {"text": text})
    if before is not None:
        return before
    standing = question.answers.count()
    if standing != after:
        raise AnsweredMeanwhile.because(
            _(
                "Somebody answered while you wrote; what they said is above. What you wrote is not sent yet: send "
                "what is left of it as an addition."
            )
        )
    answer = Answer.objects.create(question=question, key=key, by=by, text=text, is_addition=standing > 0)
    said = (
        _("The answer to a question was added to: {where}.")
        if standing
        else _("A question was answered: {where}.")
    )
    diary_write(round=locked, place=question.place, by=by, text=said.format(where=question.where))
    letters.tell_testers(
        locked,
        lambda place: letters.answer(question=question, answer=answer, place=place, round=locked),
        besides=by,
    )
    return answer


@transaction.atomic
def question_to_desk(*, question: Question, by: User) -> Question:
    """Take a clarified step to the errata desk, as a remark of the place that asked. It goes there once."""
    locked = _locked(question.round_id)
    require(by, Right.EDIT, locked.edition.pattern)
    question = Question.objects.select_for_update(of=("self",), no_key=True).get(pk=question.pk)
    if question.to_desk_at is not None:
        return question
    answers = list(question.answers.all())
    if not answers:
        raise Refused.because(_("Answer the question first: what goes to the desk is the step made clear."))
    if question.place_id is None:
        raise Refused.because(
            _(
                "The place that asked is gone, and a remark belongs to a place: start the erratum from the desk."
            )
        )
    question.remark = Remark.objects.create(
        place_id=question.place_id,
        where=question.where,
        kind=RemarkKind.UNCLEAR.value,
        text=_as_remark(question, answers),
    )
    question.to_desk_at = timezone.now()
    question.save(update_fields=["remark", "to_desk_at"])
    diary_write(
        round=locked,
        place=question.place,
        by=by,
        text=_("A clarified step was taken to the errata desk: {where}.").format(where=question.where),
    )
    # The round file has a remark more, so what the analysis read is another round.
    work_add(kind="analyse", subject={"round": locked.pk}, once_key=f"round-{locked.pk}")
    return question


def _as_remark(question: Question, answers: list[Answer]) -> str:
    said = [_("Asked: {text}").format(text=question.text)]
    for answer in answers:
        words = _("Added: {text}") if answer.is_addition else _("Answered: {text}")
        said.append(words.format(text=answer.text))
    text = "\n".join(said)
    return text if len(text) <= LONGEST_REMARK else f"{text[: LONGEST_REMARK - 1]}…"


@transaction.atomic
def word_write(*, place: Place, key: uuid.UUID, by: User, text: str) -> Word:
    """A private word between the designer and the tester of a place; the other of the two is told by mail.

    It leaves no entry in the diary, which others of the round may read.
    """
    locked = Place.objects.select_for_update(of=("self",), no_key=True).get(pk=place.pk)
    before: Word | None = _said_before(locked.words.all(), key, {"text": text, "by_id": by.pk})
    if before is not None:
        return before
    if locked.state == Place.State.GIVEN_BACK or locked.tester_id is None:
        raise Refused.because(
            _("The place has been given back meanwhile, so nobody would read it. What you wrote is not sent.")
        )
    check_kept(locked)
    owner = place.round.edition.pattern.owner
    to = place.tester if by.pk == owner.pk else owner
    word = Word.objects.create(place=locked, key=key, by=by, to=to, text=text)
    if to is not None:
        letters.tell(to, partial(letters.word, word=word, place=place, by=by), round=place.round)
    return word


def look_note(*, person: User, what: str, round: Round, place: Place | None = None) -> None:
    """Remember that somebody looked, so that what came since is new to them."""
    of = {"place": place} if place is not None else {"round": round, "what": what, "place": None}
    Look.objects.update_or_create(
        person=person, **of, defaults={"at": timezone.now(), "round": round, "what": what}
    )


@transaction.atomic
def calendar_renew(*, person: User) -> CalendarAddress:
    """Give a person's calendar an address, or another one: the old one opens nothing from then on."""
    return CalendarAddress.objects.update_or_create(
        person=person, defaults={"token": new_token(), "made": timezone.now()}
    )[0]


def calendar_stop(*, person: User) -> bool:
    """Take a person's calendar address away. Whether there was one."""
    return bool(CalendarAddress.objects.filter(person=person).delete()[0])
