"""A question asked on a phone, answered at a desk, and read by the others beside its step."""

from __future__ import annotations

import pytest

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.talk.models import Question
from tests.browser.conftest import Window, Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360


@pytest.fixture
def others_place(a_round: Round, db: None) -> Place:
    other = User.objects.create_user("second@example.org", "a-long-password", name="Tester two")
    return Place.objects.create(
        round=a_round, key="t02", name="Tester two", tester=other, size="M", state=Place.State.TAKEN
    )


@pytest.fixture
def phone(windows: Windows, place: Place, tester: User) -> Window:
    """The first tester's phone."""
    window = windows(PHONE)
    window.sign_in(tester)
    return window


def test_a_question_at_a_step_is_answered_once_and_stands_there_for_all(
    windows: Windows, phone: Window, place: Place, others_place: Place, designer: User
) -> None:
    phone.open(f"/places/{place.pk}/worksheet/")
    phone.page.click("a:has-text('Ask about this step: Back, step 3')")
    assert phone.page.input_value("#id_where") == "Back, step 3"
    phone.page.fill("#id_text", "Is the first row a right-side row?")
    phone.page.click("button:text('Ask')")
    phone.page.wait_for_url("**/questions/*/")
    assert "Your question has arrived." in phone.says(".messages")
    assert "Not answered yet." in phone.says()

    studio = windows(1280)
    studio.sign_in(designer)
    studio.open("/")
    assert "1 question waits for an answer." in studio.says()
    studio.page.click("a.button:text('Answer')")
    studio.page.click(".question a.button:has-text('Answer')")
    studio.page.fill("#id_text", "Yes. There is a picture at https://knit.example/row.")
    # Beside it stands “Cancel”, which the second press must not meet.
    studio.page.dblclick("button:text('Send the answer to all testers')")
    studio.page.click("button:has-text('Take to the errata desk')")
    studio.page.click("a:text('errata desk')")
    assert "Asked: Is the first row a right-side row?" in studio.says("#remarks + form")

    other = windows(PHONE)
    assert others_place.tester is not None
    other.sign_in(others_place.tester)
    other.open("/")
    assert "1 new answer to what testers asked." in other.says()
    other.open(others_place.get_absolute_url())
    assert "New Answer at Back, step 3" in other.says(".news")
    for page in ("worksheet", "counts"):
        other.open(f"/places/{others_place.pk}/{page}/")
        beside = other.says(".beside")
        assert beside == (
            "Asked: Is the first row a right-side row? Answer: Yes. There is a picture at https://knit.example/row."
        )
    link = other.page.locator(".beside a:text('knit.example')")
    assert (link.get_attribute("href"), link.get_attribute("rel")) == (
        "https://knit.example/row",
        "nofollow noopener",
    )


def test_what_was_written_and_not_sent_is_back_when_the_page_is(phone: Window, place: Place) -> None:
    phone.open(f"/places/{place.pk}/ask/?where=Back, step 3")
    phone.page.fill("#id_text", "Which row comes")
    phone.open(place.get_absolute_url())

    phone.open(f"/places/{place.pk}/ask/?where=Back, step 3")

    assert phone.page.input_value("#id_text") == "Which row comes"
    # At another step one asks something else.
    phone.open(f"/places/{place.pk}/ask/?where=Back, step 1")
    assert phone.page.input_value("#id_text") == ""


def test_a_refused_question_shows_those_asked_before_and_keeps_what_was_written(
    phone: Window, place: Place, others_place: Place
) -> None:
    Question.objects.create(
        round=place.round, place=others_place, where="Back, step 3", text="How many rows?"
    )
    phone.open(f"/places/{place.pk}/ask/")

    phone.page.fill("#id_where", "back step 3")
    phone.page.fill("#id_text", "How many rows are there?")
    phone.page.click("button:text('Ask')")
    phone.page.wait_for_selector("#before")

    assert "How many rows?" in phone.says("section")
    assert phone.page.input_value("#id_text") == "How many rows are there?"
    phone.page.click("button:text('Ask')")
    phone.page.wait_for_url("**/questions/*/")
    assert Question.objects.count() == 2


@pytest.mark.parametrize("width", [PHONE, 1280])
def test_the_calendars_address_is_made_and_copied_on_a_page(
    windows: Windows, place: Place, tester: User, width: int
) -> None:
    window = windows(width)
    window.sign_in(tester)
    window.open("/me/preferences/")
    window.page.click("text=Your dates in your calendar")
    window.page.click("button:text('Make my calendar address')")

    address = window.page.input_value("#address")

    assert window.download(address).startswith(b"BEGIN:VCALENDAR\r\n")
    assert window.page.is_visible("button:text('Copy the address')")
    window.page.click("button:text('Give me another address')")
    assert window.page.input_value("#address") != address
