"""Every page of the program in every language: nothing is said past the catalogue, and German pages are German.

The pages are those of the access table, on the demo's round where that has them.
"""

from __future__ import annotations

import re

import pytest
from allauth.account.models import EmailAddress

from testround.following.models import Follower
from testround.home import demo
from testround.people.models import User
from tests.browser.every_page import in_the_demo
from tests.spoken import Said, bracketed, own_words, unspoken
from tests.test_access import scene  # noqa: F401
from tests.visits import Visit, visits

pytestmark = pytest.mark.django_db(transaction=True)

GERMAN = {"Accept-Language": "de-DE,de;q=0.9"}
# What lies in the folder of mails was written when each was sent; the documentation of the API is in English alone.
AS_SENT = ("mailbox", "api:documentation", "api:subject")
# Words that no German sentence has and hardly an English one is without.
ENGLISH = re.compile(r"\b(?:the|and|of|your|with|are|this|that|from|for|by|it|its|you)\b", re.IGNORECASE)


@pytest.fixture
def pages(request: pytest.FixtureRequest) -> list[Visit]:
    with_little = request.getfixturevalue("scene")
    # Both bring a designer of that address.
    for table in (User, EmailAddress):
        table.objects.filter(email=demo.DESIGNER).update(email="of-the-scene@example.org")
    demo.load(lambda step: None)
    found = visits([in_the_demo(with_little), with_little])
    return [visit for visit in found if visit.name not in AS_SENT]


def english_in(html: str, own: list[str]) -> list[str]:
    """What a German page says in English, beside what people wrote."""
    page = Said()
    page.feed(html)
    left = []
    for text in page.texts:
        bare = text
        for words in own:
            if words in bare:
                bare = bare.replace(words, " ")
        # Both: taking out what people wrote may leave pieces of a word that look like another.
        if ENGLISH.search(bare) and ENGLISH.search(text):
            left.append(" ".join(text.split()))
    return left


def test_every_page_speaks_through_the_catalogue_and_speaks_german(pages: list[Visit]) -> None:
    with bracketed():
        in_brackets = {visit: visit.client.get(visit.path) for visit in pages}
    # Pages that a mail leads to speak the language of that mail.
    Follower.objects.update(language="de")
    in_german = {visit: visit.client.get(visit.path, headers=GERMAN) for visit in pages}
    own = own_words()

    assert len(pages) > 80
    assert {str(v) for v, page in {**in_brackets, **in_german}.items() if page.status_code != 200} == set()
    assert {str(v) for v, page in in_german.items() if '<html lang="de">' not in page.text} == set()
    past_the_catalogue = [f"{v}: {said}" for v, p in in_brackets.items() for said in unspoken(p.text, own)]
    english = [f"{v}: {said}" for v, p in in_german.items() for said in english_in(p.text, own)]
    assert past_the_catalogue == []
    assert english == []
