from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone

from testround.outbox.models import Mail, Stopped, Work
from testround.patterns.models import Membership
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.talk.models import Answer, Question, Word
from testround.talk.services import (
    AlreadySaid,
    AnsweredMeanwhile,
    AskedBefore,
    note_write,
    question_answer,
    question_to_desk,
    word_write,
)
from tests.talk.conftest import answer, ask

Diary = Callable[[Round], list[str]]
Commit = Callable[..., Any]


def note(round: Round, by: User, text: str = "The blue yarn is late.", **more: Any) -> Any:
    return note_write(round=round, by=by, text=text, **{"key": uuid.uuid4(), **more})


def word(place: Place, by: User, text: str = "A word with you.", **more: Any) -> Word:
    return word_write(place=place, by=by, text=text, **{"key": uuid.uuid4(), **more})


def letters() -> list[tuple[str, str]]:
    """To whom mails were written and what about, in order."""
    return list(Mail.objects.order_by("pk").values_list("to", "subject"))


# -- notes -------------------------------------------------------------------------------------------------


def test_a_note_goes_to_every_tester_who_holds_a_place(
    a_round: Round, designer: User, place: Place, second_place: Place, diary_of: Diary
) -> None:
    gone = User.objects.create_user("gone@example.org", "a-long-password")
    Place.objects.create(round=a_round, key="t03", name="Gone", tester=gone, state="given back")
    Place.objects.create(round=a_round, key="t04", name="Nobody yet", state="offered")

    note(a_round, designer)

    assert letters() == [
        ("tester@example.org", "A note on testing Little top"),
        ("second@example.org", "A note on testing Little top"),
    ]
    assert diary_of(a_round) == ["A note to all testers was written."]


def test_a_tester_of_two_places_gets_a_note_once(
    a_round: Round, designer: User, tester: User, place: Place
) -> None:
    Place.objects.create(round=a_round, key="t02", name="Again", tester=tester, size="M", state="taken")

    note(a_round, designer)

    assert letters() == [("tester@example.org", "A note on testing Little top")]


def test_who_stopped_such_mail_gets_none(
    a_round: Round, designer: User, tester: User, place: Place, second_place: Place
) -> None:
    Stopped.objects.create(person=tester, kind=Mail.Kind.NOTES)

    note(a_round, designer)

    assert letters() == [("second@example.org", "A note on testing Little top")]


def test_a_note_as_its_mail_says_it(
    a_round: Round, designer: User, place: Place, django_capture_on_commit_callbacks: Commit
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        note(a_round, designer, "The blue yarn is late.\nKnit the sleeves first.")

    (sent,) = mail.outbox
    assert sent.to == ["tester@example.org"]
    assert (
        "Designer wrote to all who test Little top:\n\nThe blue yarn is late.\nKnit the sleeves first.\n"
        in (sent.body)
    )
    assert f"/rounds/{a_round.code}/notes/" in sent.body
    assert "List-Unsubscribe" in sent.extra_headers


def test_a_double_click_writes_a_note_once(a_round: Round, designer: User, place: Place) -> None:
    key = uuid.uuid4()

    first, second = note(a_round, designer, key=key), note(a_round, designer, key=key)

    assert first == second
    assert len(letters()) == 1


def test_a_form_that_comes_back_changed_is_not_lost_and_not_taken_for_the_first(
    a_round: Round, designer: User
) -> None:
    key = uuid.uuid4()
    note(a_round, designer, "One.", key=key)

    with pytest.raises(AlreadySaid) as refused:
        note(a_round, designer, "Another.", key=key)

    assert refused.value.sentence == (
        "This form had already been sent and has arrived. What you changed since is not sent yet: look it over "
        "and send it once more."
    )
    assert a_round.notes.count() == 1


@pytest.mark.parametrize("who", ["tester", "other_designer"])
def test_nobody_else_writes_notes_or_answers(request: Any, question: Question, who: str) -> None:
    person = request.getfixturevalue(who)

    for attempt in (
        lambda: note(question.round, person),
        lambda: answer(question, by=person),
        lambda: question_to_desk(question=question, by=person),
    ):
        with pytest.raises(PermissionDenied):
            attempt()

    assert (question.round.notes.count(), question.answers.count()) == (0, 0)


# -- questions ---------------------------------------------------------------------------------------------


def test_the_designer_is_told_of_a_question(
    place: Place, django_capture_on_commit_callbacks: Commit, diary_of: Diary
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        question = ask(place, "Which row first?")

    (sent,) = mail.outbox
    assert (sent.to, sent.subject) == (["designer@example.org"], "A question at Back, step 3")
    assert "Tester one, size S, asks at Back, step 3 of Little top:\n\nWhich row first?\n" in sent.body
    assert f"/rounds/{place.round.code}/questions/{question.pk}/answer/" in sent.body
    assert diary_of(place.round) == ["Tester one asked a question at Back, step 3."]


def member(round: Round, name: str, role: str, **more: Any) -> User:
    person = User.objects.create_user(f"{name.lower()}@example.org", "a-long-password", name=name)
    pattern = round.edition.pattern
    now = timezone.now()
    Membership.objects.create(
        pattern=pattern,
        role=role,
        email=person.email,
        user=person,
        secret_hash=name,
        expires=now,
        joined_at=now,
        **more,
    )
    return person


def test_editors_are_told_of_a_question_beside_the_owner_and_nobody_else_is(
    place: Place, django_capture_on_commit_callbacks: Commit
) -> None:
    member(place.round, "Ed", "editor")
    member(place.round, "Eve", "editor", ended_at=timezone.now())
    member(place.round, "Lou", "onlooker")
    Stopped.objects.create(person=member(place.round, "Ida", "editor"), kind=Mail.Kind.NOTES)

    with django_capture_on_commit_callbacks(execute=True):
        ask(place)

    assert letters() == [
        ("designer@example.org", "A question at Back, step 3"),
        ("ed@example.org", "A question at Back, step 3"),
    ]
    _, sent = mail.outbox
    assert sent.body.startswith("Hello Ed,\n")
    assert "List-Unsubscribe" in sent.extra_headers


def test_an_editor_who_tests_is_not_told_of_their_own_question(place: Place) -> None:
    editor = member(place.round, "Ed", "editor")
    Place.objects.filter(pk=place.pk).update(tester=editor)
    place.refresh_from_db()

    ask(place)

    assert letters() == [("designer@example.org", "A question at Back, step 3")]


@pytest.mark.parametrize("written", ["Back, step 3", "  back  STEP 3 ", "Back step 3.", "back,step 3"])
def test_a_place_that_the_sheet_names_is_kept_in_the_sheets_own_spelling(place: Place, written: str) -> None:
    assert ask(place, where=written).where == "Back, step 3"


def test_a_place_that_the_sheet_does_not_name_is_kept_as_it_was_written(place: Place) -> None:
    assert ask(place, where=" Page 4,\n the  chart ").where == "Page 4, the chart"


def test_who_has_not_seen_what_was_asked_there_is_shown_it_first(
    question: Question, second_place: Place
) -> None:
    with pytest.raises(AskedBefore) as refused:
        ask(second_place, "Which row comes first?", shown=0)

    assert refused.value.sentence == (
        "Others have asked at Back, step 3: see whether yours is among their questions below. If it is not, send "
        "it once more."
    )
    assert Question.objects.count() == 1
    assert ask(second_place, "How many rows?", shown=question.pk).text == "How many rows?"


def test_what_was_asked_elsewhere_stops_nobody(question: Question, second_place: Place) -> None:
    assert ask(second_place, where="Back, step 1", shown=0).where == "Back, step 1"


def test_a_double_click_asks_once(place: Place) -> None:
    key = uuid.uuid4()

    first, second = ask(place, key=key, shown=0), ask(place, key=key, shown=0)

    assert first == second
    assert len(letters()) == 1


def test_an_answer_goes_to_all_testers_and_says_whose_question_it_was_to_the_asker_alone(
    question: Question, designer: User, django_capture_on_commit_callbacks: Commit, diary_of: Diary
) -> None:
    Mail.objects.all().delete()

    with django_capture_on_commit_callbacks(execute=True):
        answer(question, "The right side.", by=designer)

    to_asker, to_other = mail.outbox
    assert (to_asker.to, to_other.to) == (["tester@example.org"], ["second@example.org"])
    assert to_asker.subject == to_other.subject == "An answer at Back, step 3"
    assert "you had asked at Back, step 3:" in to_asker.body
    assert "somebody who tests Little top had asked at Back, step 3:" in to_other.body
    assert "Tester one" not in to_other.body
    for sent in mail.outbox:
        assert "Which row first?" in sent.body
        assert "The answer:\n\nThe right side.\n" in sent.body
    assert diary_of(question.round)[-1] == "A question was answered: Back, step 3."


def test_a_later_answer_is_a_dated_addition_and_the_first_stays(question: Question, designer: User) -> None:
    first = answer(question, "The right side.", by=designer)

    second = answer(question, "In sizes S and M the wrong side.", by=designer)

    assert [(row.text, row.is_addition) for row in question.answers.all()] == [
        ("The right side.", False),
        ("In sizes S and M the wrong side.", True),
    ]
    assert second.at > first.at
    assert letters()[-1] == ("second@example.org", "More on the answer at Back, step 3")


def test_of_two_who_answer_at_once_the_second_reads_the_first_answer_first(
    question: Question, designer: User
) -> None:
    answer(question, "The right side.", by=designer, after=0)

    with pytest.raises(AnsweredMeanwhile) as refused:
        answer(question, "The wrong side.", by=designer, after=0)

    assert refused.value.sentence.startswith("Somebody answered while you wrote; what they said is above.")
    assert question.answers.count() == 1


def test_the_database_itself_holds_one_answer_to_a_question(question: Question, designer: User) -> None:
    answer(question, by=designer)

    with pytest.raises(IntegrityError), transaction.atomic():
        Answer.objects.create(question=question, text="Another.")


def test_a_double_click_answers_once(question: Question, designer: User) -> None:
    key = uuid.uuid4()

    first = question_answer(question=question, key=key, by=designer, text="Yes.", after=0)
    second = question_answer(question=question, key=key, by=designer, text="Yes.", after=0)

    assert first == second
    assert question.answers.count() == 1


# -- to the errata desk ------------------------------------------------------------------------------------


def test_a_clarified_step_goes_to_the_desk_once_as_a_remark_of_the_place_that_asked(
    question: Question, designer: User, place: Place, diary_of: Diary
) -> None:
    answer(question, "The right side.", by=designer)
    answer(question, "In size S the wrong side.", by=designer)
    Work.objects.all().delete()

    question_to_desk(question=question, by=designer)
    question_to_desk(question=question, by=designer)

    (remark,) = Remark.objects.all()
    assert (remark.place, remark.where, remark.kind) == (place, "Back, step 3", "unclear")
    assert remark.text == (
        "Asked: Which row first?\nAnswered: The right side.\nAdded: In size S the wrong side."
    )
    question.refresh_from_db()
    assert question.remark == remark
    assert diary_of(question.round)[-1] == "A clarified step was taken to the errata desk: Back, step 3."
    assert list(Work.objects.values_list("kind", "subject")) == [("analyse", {"round": question.round_id})]


def test_a_long_talk_is_cut_to_what_a_remark_holds(question: Question, designer: User) -> None:
    answer(question, "x" * 5000, by=designer)

    question_to_desk(question=question, by=designer)

    text = Remark.objects.get().text
    assert len(text) == 5000
    assert text.endswith("x…")


def test_what_is_not_answered_is_not_clear_yet(question: Question, designer: User) -> None:
    with pytest.raises(Refused, match="Answer the question first"):
        question_to_desk(question=question, by=designer)

    assert Remark.objects.count() == 0


# -- private words -----------------------------------------------------------------------------------------


def test_a_private_word_is_told_to_the_other_of_the_two_without_what_it_says(
    place: Place, designer: User, tester: User, django_capture_on_commit_callbacks: Commit, diary_of: Diary
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        word(place, designer, "How is your wrist?")
        word(place, tester, "Better, thank you.")

    to_tester, to_designer = mail.outbox
    assert (to_tester.to, to_designer.to) == (["tester@example.org"], ["designer@example.org"])
    for sent in mail.outbox:
        assert sent.subject == "A private word about Little top"
        assert f"/places/{place.pk}/words/" in sent.body
        assert "wrist" not in sent.body
        assert "Better" not in sent.body
    assert diary_of(place.round) == []


def test_words_to_who_gave_the_place_back_are_refused(place: Place, designer: User) -> None:
    Place.objects.filter(pk=place.pk).update(state="given back")

    with pytest.raises(Refused, match="given back meanwhile"):
        word(place, designer)

    assert Word.objects.count() == 0


def test_a_double_click_says_a_word_once(place: Place, tester: User) -> None:
    key = uuid.uuid4()

    assert word(place, tester, key=key) == word(place, tester, key=key)
    assert Word.objects.count() == 1


def test_questions_of_a_place_that_is_gone_stay(question: Question, place: Place) -> None:
    place.delete()

    question.refresh_from_db()
    assert (question.text, question.place) == ("Which row first?", None)
