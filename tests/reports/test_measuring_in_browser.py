"""Measuring on a phone: the question that comes while one types, and the line of the drawing one is at."""

from __future__ import annotations

from typing import Any

import pytest

from testround.reports.models import Finished
from tests.reports.test_pages_in_browser import Phone, phone

__all__ = ["phone"]

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_an_odd_value_is_asked_about_without_sending_and_can_be_said_to_be_right(phone: Phone) -> None:
    page: Any = phone("finished")

    page.fill("#id_read_chest_1", "47")
    page.wait_for_selector("#question_chest p")
    assert "across one side only" in page.inner_text("#question_chest p")
    page.check("#id_keep_chest")
    page.click("text=Send the measurements")
    page.wait_for_selector(".messages")

    assert Finished.objects.get().values == [47.0]


def test_a_question_goes_away_when_the_value_is_mended(phone: Phone) -> None:
    page: Any = phone("finished")

    page.fill("#id_read_chest_1", "47")
    page.wait_for_selector("#question_chest p")
    page.fill("#id_read_chest_1", "94")
    page.wait_for_selector("#question_chest p", state="detached")

    assert page.inner_text("#question_chest") == ""


def test_the_line_of_the_drawing_one_is_at_stands_out(phone: Phone) -> None:
    page: Any = phone("finished")

    page.focus("#id_read_body_length_1")

    assert page.locator(".dim-now title").all_text_contents() == ["B: Hem to underarm"]


def test_a_draft_that_came_back_does_not_stay_folded_away(phone: Phone) -> None:
    page: Any = phone("finished")
    page.fill("#id_read_chest_1", "94")
    page.evaluate("document.querySelector('details.measure-piece').open = false")

    page.reload()

    assert page.input_value("#id_read_chest_1") == "94"
    assert page.evaluate("document.querySelector('details.measure-piece').open")
