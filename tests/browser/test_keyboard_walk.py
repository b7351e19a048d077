"""Whole pages by Tab alone: everything that can be pressed is reached, in the order it is read, and seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from allauth.account.models import EmailAddress

from testround.home import demo
from testround.people.models import User
from testround.rounds.models import Place, Round
from tests.browser.conftest import Window, Windows
from tests.test_access import Scene, scene  # noqa: F401

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
# More stops than any page has; who is still going by then is caught somewhere.
MOST_STOPS = 400

# Numbers, in the order of the page, what the keyboard is to reach; of buttons to choose one from, one is a stop.
EXPECTED = """() => {
  const stops = [...document.querySelectorAll(
    "a[href], button, input, select, textarea, summary, [tabindex='0']"
  )].filter((one) => {
    if (one.disabled || one.type === "hidden" || one.tabIndex < 0 || !one.checkVisibility()) return false;
    if (one.type !== "radio") return true;
    const group = [...document.getElementsByName(one.name)];
    return one === (group.find((other) => other.checked) ?? group[0]);
  });
  stops.forEach((one, n) => { one.dataset.stop = n; });
  return stops.length;
}"""
WHERE = """() => {
  const at = document.activeElement;
  if (!at || at === document.body || at.dataset.stop === undefined) return null;
  const box = at.getBoundingClientRect();
  const look = getComputedStyle(at);
  const marked = look.outlineStyle !== "none" || look.boxShadow !== "none";
  const within = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
  return [Number(at.dataset.stop), marked && within && box.width > 1, at.outerHTML.slice(0, 100)];
}"""


@dataclass
class Walked:
    expected: int
    stops: list[int]
    unseen: list[str]


def walk(window: Window) -> Walked:
    """Tab from the top of the page until it lets go at its end."""
    expected = int(window.page.evaluate(EXPECTED))
    stops: list[int] = []
    unseen: list[str] = []
    for _ in range(MOST_STOPS):
        window.page.keyboard.press("Tab")
        where: Any = window.page.evaluate(WHERE)
        if where is None:
            break
        number, is_seen, markup = where
        # After the last stop the browser begins anew, at once or by way of itself.
        if number == 0 and len(stops) > 1:
            break
        # A date and a list to choose from keep the focus while one goes through their parts.
        if stops[-1:] != [number]:
            stops.append(number)
        if not is_seen:
            unseen.append(markup)
    return Walked(expected, stops, unseen)


def test_every_main_page_can_be_walked_from_its_top_to_its_end(
    scene: Scene,  # noqa: F811 -- before the windows, which send mail elsewhere
    windows: Windows,
) -> None:
    """The call and the offer as anybody opens them; then what a designer decides on, and what a tester sends."""
    for table in (User, EmailAddress):
        table.objects.filter(email=demo.DESIGNER).update(email="of-the-scene@example.org")
    demo.load(lambda step: None)
    fenlight = Round.objects.get(edition__pattern__title="Fenlight Cardigan")
    place = Place.objects.get(round=fenlight, key="t05")
    visitor, studio, phone = windows(PHONE), windows(PHONE), windows(PHONE)
    studio.sign_in(User.objects.get(email=demo.DESIGNER))
    phone.sign_in(User.objects.get(email=demo.TESTERS["t05"]))
    wrong = {}

    for window, path in [
        (visitor, scene.addresses()["rounds:call"]),
        (visitor, scene.addresses()["rounds:offer"]),
        (studio, "/"),
        (studio, f"/rounds/{fenlight.code}/"),
        (studio, f"/rounds/{fenlight.code}/candidates/"),
        (studio, f"/rounds/{fenlight.code}/proposal/"),
        (studio, f"/rounds/{fenlight.code}/questions/"),
        (studio, f"/rounds/{fenlight.code}/desk/"),
        (phone, f"/places/{place.pk}/"),
        (phone, f"/places/{place.pk}/counts/"),
    ]:
        assert window.open(path) == 200, path
        walked = walk(window)
        if walked.stops != list(range(walked.expected)) or walked.unseen:
            missed = sorted(set(range(walked.expected)) - set(walked.stops))
            wrong[path] = (walked.expected, walked.stops, missed, walked.unseen)

    assert wrong == {}, wrong


def test_the_menu_of_a_phone_opens_lets_in_and_closes_by_keys(
    windows: Windows, place: Place, tester: User
) -> None:
    window = windows(PHONE)
    window.sign_in(tester)
    window.open(f"/places/{place.pk}/")
    keyboard = window.page.keyboard
    menu = window.page.locator("#nav")

    def at() -> str:
        return str(window.page.evaluate("document.activeElement.textContent.trim()"))

    while at() != "Menu":
        keyboard.press("Tab")
    assert not menu.is_visible()
    keyboard.press("Enter")
    assert menu.is_visible()
    entries = []
    for _ in range(6):
        keyboard.press("Tab")
        entries.append(at())
    keyboard.press("Escape")

    assert entries == ["Today", "Patterns", "Rounds", "My places", "Preferences", "Sign out"]
    assert not menu.is_visible()
    assert at() == "Menu"
    keyboard.press("Enter")
    keyboard.press("Tab")
    keyboard.press("Enter")
    window.page.wait_for_url(window.url + "/")
    assert window.page.inner_text("h1") == "What needs you today?"
