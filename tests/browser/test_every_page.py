"""What every page promises, whoever made it: to be read by everybody, on anything, at little cost.

The pages are those of the access table, which names every address of the program, so that a new page is
looked at from its first day. A page is opened once; each test asks something of what was found there.
"""

from __future__ import annotations

from typing import Any

import pytest
from allauth.account.models import EmailAddress

from testround.home import demo
from testround.people.models import User
from tests.browser.chromium import chromium
from tests.browser.every_page import Found, Walk, in_the_demo
from tests.test_access import scene  # noqa: F401
from tests.visits import Visit, visits

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MOST_BYTES = 150_000
# Styles and scripts come in small files, which the browser keeps for a year.
MOST_REQUESTS = 22
# A row of the big buttons that testers have, with the air around it.
ONE_ROW = 76

Pages = list[Found]
_walked: Pages = []


@pytest.fixture
def pages(request: pytest.FixtureRequest) -> Pages:
    """What was found on each page. The first test that asks makes the walk; all of them read it."""
    if not _walked:
        _walked.extend(walk(request))
    return _walked


def walk(request: pytest.FixtureRequest) -> Pages:
    url, settings = request.getfixturevalue("live_server").url, request.getfixturevalue("settings")
    settings.SITE_URL = url
    with_little = request.getfixturevalue("scene")
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"
    # Both bring a designer of that address.
    for table in (User, EmailAddress):
        table.objects.filter(email=demo.DESIGNER).update(email="of-the-scene@example.org")
    demo.load(lambda step: None)
    found = []
    with chromium() as browser:
        going = Walk(browser, url)
        for visit in visits([in_the_demo(with_little), with_little]):
            found.append(going.look_at(visit))
        settings.DEBUG = True
        found.append(
            going.look_at(Visit("parts", "signed out", with_little.clients["signed out"], "/parts/"))
        )
        settings.DEBUG = False
    return found


def said(pages: Pages, what: str) -> dict[str, Any]:
    """What was found of that kind, by page; pages that have nothing of it are left out."""
    return {str(page.visit): found for page in pages if (found := getattr(page, what))}


def test_no_page_has_what_axe_calls_a_violation_in_the_light_or_the_dark(pages: Pages) -> None:
    assert said(pages, "violations") == {}


def test_no_page_scrolls_sideways_when_it_is_narrow_enlarged_or_on_paper(pages: Pages) -> None:
    assert said(pages, "too_wide") == {}


def test_text_of_twice_the_size_loses_nothing(pages: Pages) -> None:
    assert said(pages, "cut_off") == {}


def test_nothing_moves_for_who_wants_it_still(pages: Pages) -> None:
    assert said(pages, "moving") == {}


def test_the_bar_of_next_steps_takes_one_row_of_a_phone(pages: Pages) -> None:
    assert {str(page.visit): page.bar for page in pages if page.bar > ONE_ROW} == {}


def test_the_bar_of_next_steps_never_lies_over_what_has_the_focus(pages: Pages) -> None:
    assert said(pages, "hidden_by_the_bar") == {}


def test_what_is_pressed_is_as_high_as_a_thumb(pages: Pages) -> None:
    assert said(pages, "small") == {}


def test_paper_has_no_navigation_and_links_that_can_be_read(pages: Pages) -> None:
    assert said(pages, "left_on_paper") == {}
    assert said(pages, "pale_links") == {}


def test_no_page_weighs_more_than_a_slow_line_carries_in_a_moment(pages: Pages) -> None:
    """Without photos."""
    assert {str(page.visit): page.weight for page in pages if page.weight > MOST_BYTES} == {}


def test_no_page_asks_for_many_things_beside_its_photos(pages: Pages) -> None:
    assert {str(page.visit): len(page.requests) for page in pages if len(page.requests) > MOST_REQUESTS} == {}


def test_no_page_asks_anything_of_another_site(pages: Pages) -> None:
    assert said(pages, "elsewhere") == {}


def test_no_page_complains_on_the_console(pages: Pages) -> None:
    assert said(pages, "faults") == {}
