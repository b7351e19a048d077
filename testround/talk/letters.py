"""The words of the mails about what is said in a round, and whom they go to."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from testround.outbox.letters import Action, Letter, Words, letter
from testround.outbox.mail import Kind, mail_send
from testround.people.language import speaking_to
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.models import Answer, Note, Question, Word
from testround.talk.selectors import places_told

MOST_IN_A_MAIL = 2000


def note(*, note: Note, place: Place) -> Letter:
    round = place.round
    pattern = round.edition.pattern.title
    return letter(
        _("A note on testing {pattern}").format(pattern=pattern),
        _hello(place.name),
        _("{name} wrote to all who test {pattern}:").format(name=_owner(round), pattern=pattern),
        _words(note.text),
        Action(_("Read it on its page"), _address("talk:notes", round.code)),
        why=_why(round),
    )


def question(*, question: Question, reader: User) -> Letter:
    round, place = question.round, question.place
    if place is None:
        asks = _("A tester, asks at {where} of {pattern}:")
    elif place.size:
        asks = _("{name}, size {size}, asks at {where} of {pattern}:")
    else:
        asks = _("{name}, asks at {where} of {pattern}:")
    return letter(
        _("A question at {where}").format(where=question.where),
        _hello(str(reader)),
        asks.format(
            name=place.name if place else "",
            size=place.size if place else "",
            where=question.where,
            pattern=round.edition.pattern.title,
        ),
        _words(question.text),
        _("Your answer goes to all testers of the round and stands beside that step from then on."),
        Action(_("Answer it"), _address("talk:answer", round.code, question.pk)),
        why=_why_designer(round),
    )


def answer(*, question: Question, answer: Answer, place: Place, round: Round) -> Letter:
    subject = _("More on the answer at {where}") if answer.is_addition else _("An answer at {where}")
    asked = (
        # Translators: it follows the line "Hello {name},".
        _("somebody who tests {pattern} had asked at {where}:")
        if question.place_id != place.pk
        # Translators: it follows the line "Hello {name},".
        else _("you had asked at {where}:")
    )
    return letter(
        subject.format(where=question.where),
        _hello(place.name),
        asked.format(pattern=round.edition.pattern.title, where=question.where),
        _words(question.text),
        _("Added to the answer since:") if answer.is_addition else _("The answer:"),
        _words(answer.text),
        Action(_("See it beside the question"), _address("talk:question", round.code, question.pk)),
        why=_why(round),
    )


def word(*, word: Word, place: Place, by: User) -> Letter:
    """That there is a private word, not what it says: a mail passes through other hands."""
    round = place.round
    owner = round.edition.pattern.owner
    from_owner = by.pk == owner.pk
    return letter(
        _("A private word about {pattern}").format(pattern=round.edition.pattern.title),
        _hello(place.name if from_owner else str(owner)),
        _("{name} wrote to you alone. Nobody else in the round sees it.").format(
            name=owner if from_owner else place.name
        ),
        Action(_("Read it"), _address("talk:words", place.pk)),
        why=_why(round) if from_owner else _why_designer(round),
    )


def tell(person: User, write: Callable[[], Letter], *, round: Round, name: str = "") -> None:
    """Mail it to one person, in their language, after the current transaction commits, unless they have stopped
    such mail."""
    with speaking_to(person):
        said = write()
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
        tell(place.tester, partial(write, place), round=round, name=place.name)


def _words(text: str) -> Words:
    if len(text) <= MOST_IN_A_MAIL:
        return Words(text)
    return Words(_("{beginning}… (there is more on its page)").format(beginning=text[:MOST_IN_A_MAIL]))


def _hello(name: str) -> str:
    return _("Hello {name},").format(name=name)


def _owner(round: Round) -> str:
    return str(round.edition.pattern.owner)


def _address(name: str, *args: object) -> str:
    return f"{settings.SITE_URL}{reverse(name, args=args)}"


def _why(round: Round) -> str:
    return _("You get this mail because you test {pattern}.").format(pattern=round.edition.pattern.title)


def _why_designer(round: Round) -> str:
    return _("You get this mail because you run the round {title}.").format(title=round.title)
