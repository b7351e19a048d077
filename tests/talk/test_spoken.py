"""No page of this room says anything past the catalogue, beside what people wrote."""

from __future__ import annotations

import uuid

import pytest
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.rounds.models import Place
from testround.talk.models import Question
from testround.talk.services import calendar_renew, note_write, question_to_desk, word_write
from tests.spoken import bracketed, own_words, unspoken
from tests.talk.conftest import answer, ask


@pytest.fixture
def pages(question: Question, place: Place, second_place: Place, designer: User, tester: User) -> list[str]:
    """Every page of talk in a round where everything there is was said once."""
    round = place.round
    answer(question, by=designer)
    answer(question, "And the first stitch is slipped.", by=designer)
    question_to_desk(question=question, by=designer)
    ask(second_place, "Is the edge slipped?", by_name=True)
    note_write(round=round, key=uuid.uuid4(), by=designer, text="The blue yarn is late.")
    word_write(place=place, key=uuid.uuid4(), by=tester, text="A word with you.")
    word_write(place=place, key=uuid.uuid4(), by=designer, text="Gladly.")
    calendar_renew(person=tester)
    of_round = [reverse(f"talk:{name}", args=[round.code]) for name in ("notes", "note_new", "questions")]
    return [
        *of_round,
        f"{of_round[-1]}?waiting=1",
        f"{of_round[-1]}?where=Sleeve",
        reverse("talk:question", args=[round.code, question.pk]),
        reverse("talk:answer", args=[round.code, question.pk]),
        f"{reverse('talk:ask', args=[place.pk])}?where=Back, step 3",
        reverse("talk:words", args=[place.pk]),
        reverse("talk:calendar"),
    ]


def main(html: str) -> str:
    """The page itself, without the frame around it, which leads to other rooms."""
    return html.partition('<main id="main" tabindex="-1">')[2].partition("</main>")[0]


@pytest.mark.parametrize("who", ["designer", "tester"])
def test_every_page_of_talk_speaks_through_the_catalogue(
    request: pytest.FixtureRequest, client: Client, pages: list[str], who: str
) -> None:
    client.force_login(request.getfixturevalue(who))

    with bracketed():
        answers = {path: client.get(path) for path in pages}
    own = own_words()
    said = {path: unspoken(main(page.text), own) for path, page in answers.items() if page.status_code == 200}

    assert len(said) >= 7
    assert {path: pieces for path, pieces in said.items() if pieces} == {}
