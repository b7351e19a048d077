"""The words of the mails about what is said in a round, and whom they go to."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.urls import reverse

from testround.outbox.letters import Action, Letter, Words, letter
from testround.outbox.mail import Kind, mail_send
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.models import Answer, Note, Question, Word
from testround.talk.selectors import places_told

MOST_IN_A_MAIL = 2000


def note(*, note: Note, place: Place) -> Letter:
    round = place.round
    return letter(
        f"A note on testing {round.edition.pattern.title}",
        f"Hello {place.name},",
        f"{_owner(round)} wrote to all who test {round.edition.pattern.title}:",
        _words(note.text),
        Action("Read it on its page", _address("talk:notes", round.code)),
        why=_why(round),
    )


def question(*, question: Question, reader: User) -> Letter:
    round, place = question.round, question.place
    asker = f"{place.name}{f', size {place.size}' if place.size else ''}" if place else "A tester"
    return letter(
        f"A question at {question.where}",
        f"Hello {reader},",
        f"{asker}, asks at {question.where} of {round.edition.pattern.title}:",
        _words(question.text),
        "Your answer goes to all testers of the round and stands beside that step from then on.",
        Action("Answer it", _address("talk:answer", round.code, question.pk)),
        why=_why_designer(round),
    )


def answer(*, question: Question, answer: Answer, place: Place, round: Round) -> Letter:
    said = "More on the answer" if answer.is_addition else "An answer"
    return letter(
        f"{said} at {question.where}",
        f"Hello {place.name},",
        f"somebody who tests {round.edition.pattern.title} had asked at {question.where}:"
        if question.place_id != place.pk
        else f"you had asked at {question.where}:",
        _words(question.text),
        "Added to the answer since:" if answer.is_addition else "The answer:",
        _words(answer.text),
        Action("See it beside the question", _address("talk:question", round.code, question.pk)),
        why=_why(round),
    )


def word(*, word: Word, place: Place, by: User) -> Letter:
    """That there is a private word, not what it says: a mail passes through other hands."""
    round = place.round
    owner = round.edition.pattern.owner
    from_owner = by.pk == owner.pk
    return letter(
        f"A private word about {round.edition.pattern.title}",
        f"Hello {place.name if from_owner else owner},",
        f"{owner if from_owner else place.name} wrote to you alone. Nobody else in the round sees it.",
        Action("Read it", _address("talk:words", place.pk)),
        why=_why(round) if from_owner else _why_designer(round),
    )


def tell(person: User, said: Letter, *, round: Round, name: str = "") -> None:
    """Mail it to one person after the current transaction commits, unless they have stopped such mail."""
    mail_send(
        to=person.email,
        letter=said,
        kind=Kind.NOTES,
        person=person,
        name=name or str(person),
        about=round.code,
    )


def tell_testers(round: Round, write: Callable[[Place], Letter], *, besides: User) -> None:
    """Mail it to every tester of a round once, however many places they hold, and not to who said it."""
    for place in places_told(round, besides=besides):
        assert place.tester is not None  # noqa: S101 -- the selector asks for those that are held
        tell(place.tester, write(place), round=round, name=place.name)


def _words(text: str) -> Words:
    return Words(
        text if len(text) <= MOST_IN_A_MAIL else f"{text[:MOST_IN_A_MAIL]}… (there is more on its page)"
    )


def _owner(round: Round) -> str:
    return str(round.edition.pattern.owner)


def _address(name: str, *args: object) -> str:
    return f"{settings.SITE_URL}{reverse(name, args=args)}"


def _why(round: Round) -> str:
    return f"You get this mail because you test {round.edition.pattern.title}."


def _why_designer(round: Round) -> str:
    return f"You get this mail because you run the round {round.title}."
