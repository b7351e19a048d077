"""Everything with Tab, Enter and typing alone."""

from __future__ import annotations

import pytest

from testround.people.models import User
from testround.reports.models import Count
from testround.rounds.models import Place
from tests.browser.conftest import Window, Windows

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.parametrize("width", [360, 1280]),
]

MOST_STEPS = 60
FOCUSED = """() => {
  const at = document.activeElement;
  return at.labels?.[0]?.innerText || at.getAttribute("aria-label") || at.innerText || at.value || "";
}"""
# Whoever moves by keyboard has to see where they are: an outline, or another look than without the focus.
VISIBLE = """() => {
  const box = document.activeElement.getBoundingClientRect();
  const look = getComputedStyle(document.activeElement);
  return box.width > 1 && box.height > 1 && (look.outlineStyle !== "none" || look.boxShadow !== "none");
}"""


def focused(window: Window) -> str:
    return str(window.page.evaluate(FOCUSED)).split("\n")[0].strip()


def tab_to(window: Window, name: str) -> None:
    for _ in range(MOST_STEPS):
        window.page.keyboard.press("Tab")
        assert window.page.evaluate(VISIBLE), f"the focus on “{focused(window)}” is not to be seen"
        if focused(window).startswith(name):
            return
    pytest.fail(f"{MOST_STEPS} presses of Tab do not reach “{name}”")


def test_the_first_stop_of_a_page_skips_its_head(windows: Windows, width: int) -> None:
    window = windows(width)
    window.open("/")

    window.page.keyboard.press("Tab")
    assert focused(window) == "Skip to the page itself"
    assert window.page.evaluate(VISIBLE)
    window.page.keyboard.press("Enter")

    assert window.page.evaluate("document.activeElement.id") == "main"
    window.page.keyboard.press("Tab")
    assert window.page.evaluate("document.querySelector('#main').contains(document.activeElement)")


def test_a_tester_signs_in_and_sends_a_count(
    windows: Windows, place: Place, tester: User, width: int
) -> None:
    window = windows(width)
    keyboard = window.page.keyboard
    window.open("/")

    tab_to(window, "Sign in")
    keyboard.press("Enter")
    window.page.wait_for_url("**/account/login/**")
    tab_to(window, "Email")
    keyboard.type(tester.email)
    tab_to(window, "Password")
    keyboard.type("a-long-password")
    keyboard.press("Enter")
    window.page.wait_for_url(window.url + "/")
    tab_to(window, "Little top")
    keyboard.press("Enter")
    window.page.wait_for_url(f"**/places/{place.pk}/")
    # Nothing was made yet, so that what belongs to the making is folded.
    tab_to(window, "While you work")
    keyboard.press("Enter")
    tab_to(window, "Counts")
    keyboard.press("Enter")
    window.page.wait_for_url(f"**/places/{place.pk}/counts/")
    tab_to(window, "Back, cast on")
    keyboard.type("102")
    keyboard.press("Enter")
    window.page.wait_for_selector("text=Your counts have arrived.")

    assert list(Count.objects.values_list("number", "worked")) == [("back_sts", 102)]
