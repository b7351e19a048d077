"""A sitting under way on a phone: its clock, a word on pausing, and the screen that stays on if it is asked to."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from testround.people.models import User
from testround.reports.models import RunningSitting, Sitting
from testround.rounds.models import Place
from tests.browser.cable import Line, cable_to
from tests.browser.conftest import Window, Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
WORD = "You have been at it for a while. Put it down for a moment"
# A screen that tells what was asked of it.
SCREEN = """
window.asked = [];
Object.defineProperty(navigator, "wakeLock", { value: {
  request: async (kind) => {
    window.asked.push(`hold ${kind}`);
    return { release: async () => window.asked.push("let go") };
  },
} });
"""
# How often the word was put there, and so read out.
HEARD = """() => {
  window.heard = 0;
  const word = document.querySelector("[data-timer-word]");
  new MutationObserver(() => { window.heard += word.textContent ? 1 : 0; }).observe(word, { childList: true });
}"""


@pytest.fixture
def phone(windows: Windows, place: Place, tester: User) -> Window:
    window = windows(PHONE)
    window.sign_in(tester)
    return window


def test_the_clock_runs_and_a_pause_is_named_within_the_hour_and_each_half_hour_after(
    phone: Window, place: Place
) -> None:
    RunningSitting.objects.create(place=place, started_at=timezone.now() - dt.timedelta(minutes=44))
    page = phone.page
    page.clock.install()
    phone.open(f"/places/{place.pk}/sitting/")
    page.evaluate(HEARD)
    first = (page.inner_text("[data-timer-clock]"), page.inner_text("[data-timer-word]"))

    heard = []
    for minutes in (2, 20, 10, 30):
        page.clock.fast_forward(minutes * 60_000)
        page.clock.run_for(6_000)
        heard.append(page.evaluate("window.heard"))

    assert first == ("0:44", "")
    # At 0:46, 1:06, 1:16 and 1:46.
    assert heard == [1, 1, 2, 3]
    assert page.inner_text("[data-timer-clock]") == "1:46"
    assert page.inner_text("[data-timer-word]").startswith(WORD)
    assert page.get_attribute("[data-timer-word]", "aria-live") == "polite"


def test_a_sitting_is_begun_on_the_counting_page_and_outlives_it(phone: Window, place: Place) -> None:
    phone.open(f"/places/{place.pk}/counting/")
    phone.page.click("text=Start the timer")
    phone.page.wait_for_selector("text=Stop and log it")
    RunningSitting.objects.update(started_at=timezone.now() - dt.timedelta(minutes=90))

    phone.open(f"/places/{place.pk}/")
    phone.page.click("text=What it was, and how far it came")
    phone.page.select_option("#stop_part", "back")
    phone.page.fill("#stop_done", "40")
    phone.page.click("text=Stop and log it")
    phone.page.wait_for_selector("text=Logged: a sitting of 1:30 hours.")

    sitting = Sitting.objects.get()
    assert (sitting.hours, sitting.part, sitting.done) == (1.5, "back", 0.4)


def test_a_sitting_stopped_without_a_network_ended_when_the_button_was_pressed(
    windows: Windows, live_server: Any, place: Place, tester: User
) -> None:
    RunningSitting.objects.create(place=place, started_at=timezone.now() - dt.timedelta(minutes=90))
    with cable_to(live_server.url) as cable:
        line = Line(windows(PHONE, url=cable.url), cable)
        line.window.sign_in(tester)
        page = line.window.page
        line.window.open(f"/places/{place.pk}/sitting/")
        line.pull()

        page.click("text=Stop and log it")
        page.wait_for_selector("text=/Not sent yet: no connection/")
        # An hour goes by before there is a network again.
        RunningSitting.objects.update(started_at=timezone.now() - dt.timedelta(minutes=150, seconds=30))
        page.evaluate(
            """() => {
              const field = document.querySelector("[name=stopped_at]");
              field.value = new Date(Date.parse(field.value) - 3600000).toISOString();
              for (const [key, text] of Object.entries(localStorage)) {
                if (key.includes(" waiting ")) {
                  localStorage.setItem(key, text.replace(/"stopped_at","[^"]*"/, `"stopped_at","${field.value}"`));
                }
              }
            }"""
        )
        line.plug_in()
        page.wait_for_selector("text=Logged: a sitting of 1:30 hours.")
        page.goto("about:blank")
        line.forgive()

    assert Sitting.objects.get().hours == 1.5


def test_the_screen_stays_on_only_when_asked_and_not_while_the_page_is_hidden(
    windows: Windows, place: Place, tester: User
) -> None:
    window = windows(PHONE)
    window.sign_in(tester)
    window.context.add_init_script(SCREEN)
    window.open(f"/places/{place.pk}/counting/")
    page = window.page
    before = (page.is_checked("#wake"), page.evaluate("window.asked"))

    page.check("#wake")
    page.evaluate(
        """() => {
          Object.defineProperty(document, "visibilityState", { value: "hidden", configurable: true });
          document.dispatchEvent(new Event("visibilitychange"));
        }"""
    )
    page.wait_for_function("window.asked.length === 2")

    assert before == (False, [])
    assert page.evaluate("window.asked") == ["hold screen", "let go"]
    assert page.inner_text("label[for=wake]") == "Keep the screen on while this page is open"
