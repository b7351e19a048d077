"""Counting rows on a phone: without a request for each, without a network, on two phones and without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Error, Page, Request

from testround.people.models import User
from testround.reports.counting import counted_at
from testround.rounds.models import Place
from tests.browser.cable import Line, cable_to
from tests.browser.conftest import Window, Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
# The page says so once the worker has taken it in; the worker then fetches what it keeps.
KEPT = """async () => {
  for (const name of await caches.keys()) {
    const kept = await (await caches.open(name)).keys();
    const paths = kept.map((request) => request.url);
    if (paths.some((url) => url.endsWith("/counting/")) && paths.some((url) => url.includes("counting_queue"))) {
      return true;
    }
  }
  return false;
}"""

LANGUAGE_KEPT = """async () => {
  for (const name of await caches.keys()) {
    const store = await caches.open(name);
    const kept = (await store.keys()).find((request) => request.url.endsWith("/counting/"));
    if (kept) {
      const words = await (await store.match(kept, { ignoreVary: true })).text();
      return words.match(/<html lang="([^"]*)"/)[1];
    }
  }
  return "";
}"""


@pytest.fixture
def line(windows: Windows, live_server: Any, tester: User) -> Iterator[Line]:
    """The tester's phone on a cable that can be pulled."""
    with cable_to(live_server.url) as cable:
        window = windows(PHONE, url=cable.url)
        window.sign_in(tester)
        yield Line(window, cable)
        window.context.close()


@pytest.fixture
def phone(windows: Windows, place: Place, tester: User) -> Window:
    window = windows(PHONE)
    window.sign_in(tester)
    return window


def counting(window: Window, place: Place) -> Page:
    assert window.open(f"/places/{place.pk}/counting/") == 200
    return window.page


def begin(page: Page, words: str) -> None:
    page.fill("#id_words", words)
    page.click("text=Count this")
    page.wait_for_selector(f"[data-count-label]:has-text('{words}')")


def on(page: Page, times: int = 1) -> None:
    for _ in range(times):
        page.click(".count-on")


def until(page: Page, asks: str) -> None:
    """Wait until a function that asks the browser's stores says yes: a promise by itself would count as a yes."""
    said_yes = page.evaluate(
        f"""async () => {{
          for (let left = 300; left > 0; left -= 1) {{
            if (await ({asks})()) {{
              return true;
            }}
            await new Promise((on) => setTimeout(on, 50));
          }}
          return false;
        }}"""
    )
    assert said_yes


def rows(page: Page) -> str:
    return page.inner_text("[data-count-rows]")


def totals(place: Place) -> dict[str, int]:
    return {tally.label: tally.rows for tally in counted_at(place).tallies}


def leave(window: Window) -> None:
    """Go elsewhere, which sends what is gathered, and wait until the server has it."""
    with window.page.expect_response("**/counting/events/"):
        window.page.evaluate("window.dispatchEvent(new Event('online'))")


def test_counting_a_row_costs_no_request_and_all_go_in_one(phone: Window, place: Place) -> None:
    page = counting(phone, place)
    begin(page, "Left front")
    until(page, KEPT)
    asked: list[str] = []

    def hear(request: Request) -> None:
        asked.append(f"{request.method} {request.url.removeprefix(phone.url)}")

    page.on("request", hear)

    on(page, 12)
    page.click(".count-back")
    page.click("button.step >> nth=0")
    shown, before = rows(page), list(asked)
    leave(phone)

    assert (shown, before) == ("11", [])
    assert asked == [f"POST /places/{place.pk}/counting/events/"]
    page.wait_for_selector("[data-count-waiting]:text-is('')", state="attached")
    assert totals(place) == {"Left front": 11}
    assert counted_at(place).ticked == {"back_sts"}


def test_what_comes_next_follows_the_ticks_and_the_first_counter(phone: Window, place: Place) -> None:
    page = counting(phone, place)
    nothing, following = page.locator("[data-count-none]"), page.locator("[data-count-next]")
    first = (nothing.is_visible(), following.inner_text())

    page.click("button.step[aria-pressed=false]")
    begin(page, "Back")
    then = (nothing.is_visible(), following.inner_text())
    page.click("button.step[aria-pressed=false]")

    assert first == (True, "Next in the pattern: Back, step 1: Back, cast on 104 stitches")
    assert then == (False, "Next in the pattern: Back, step 3: Rows to underarm 96 rows")
    assert following.is_hidden()


def test_the_buttons_are_within_reach_of_a_thumb_on_the_first_screen(phone: Window, place: Place) -> None:
    page = counting(phone, place)
    begin(page, "Left front")
    page.evaluate("scrollTo(0, 0)")

    for button in (".count-on", ".count-back"):
        box = page.locator(button).bounding_box()
        assert box is not None
        assert box["y"] > 400
        assert box["y"] + box["height"] <= 800
        assert min(box["height"], box["width"]) >= 64
    assert phone.fits()


def test_without_a_network_the_page_opens_again_counts_on_and_sends_it_later(
    line: Line, place: Place
) -> None:
    page = counting(line.window, place)
    begin(page, "Left front")
    on(page, 2)
    until(page, KEPT)
    leave(line.window)

    line.pull()
    on(page, 3)
    page.reload()
    on(page)
    begin(page, "Sleeve")
    on(page, 4)
    page.reload()

    assert rows(page) == "4"
    assert "sent on when there is a network" in page.inner_text("[data-count-waiting]")
    assert totals(place) == {"Left front": 2}
    line.plug_in()
    page.wait_for_selector("[data-count-waiting]:text-is('')", state="attached")
    assert totals(place) == {"Left front": 6, "Sleeve": 4}
    page.reload()
    assert page.inner_text("[data-count-list]").split() == ["Left", "front", "6", "Sleeve", "4"]
    line.forgive()


def test_an_answer_that_is_lost_on_the_way_counts_nothing_twice(line: Line, place: Place) -> None:
    page = counting(line.window, place)
    begin(page, "Left front")
    until(page, KEPT)
    on(page, 3)

    line.cable.pull_on_the_answer(f"/places/{place.pk}/counting/events/")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.wait_for_timeout(1000)
    taken, waiting = totals(place), page.inner_text("[data-count-waiting]")
    line.cable.plug_in()
    # By way of nowhere: what a page sends while it is left is at its end before the next one is read.
    page.goto("about:blank")
    page.wait_for_timeout(500)
    counting(line.window, place)
    page.wait_for_selector("[data-count-waiting]:text-is('')", state="attached")

    assert (taken, waiting[:24]) == ({"Left front": 3}, "Kept on this phone: 4, s")
    assert rows(page) == "3"
    assert totals(place) == {"Left front": 3}
    line.forgive()


def test_two_phones_add_up_and_the_other_is_told(
    phone: Window, place: Place, windows: Windows, tester: User
) -> None:
    page = counting(phone, place)
    begin(page, "Left front")
    on(page, 2)
    leave(phone)
    other = windows(PHONE)
    other.sign_in(tester)
    elsewhere = counting(other, place)
    assert rows(elsewhere) == "2"

    on(elsewhere, 5)
    leave(other)
    on(page)
    leave(phone)

    page.wait_for_selector("text=Counted elsewhere too: Left front now stands at 8.")
    assert rows(page) == "8"
    assert totals(place) == {"Left front": 8}


def test_posts_outlive_a_token_that_no_longer_counts(phone: Window, place: Place) -> None:
    page = counting(phone, place)
    begin(page, "Left front")
    on(page, 2)
    phone.context.add_cookies([{"name": "csrftoken", "value": "0" * 32, "url": phone.url}])
    phone.context.clear_cookies(name="csrftoken")

    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.wait_for_selector("[data-count-waiting]:text-is('')", state="attached")

    assert totals(place) == {"Left front": 2}
    phone.faults = [fault for fault in phone.faults if "status of 403" not in fault]


def test_signing_out_sends_what_waits_and_leaves_nothing_on_the_phone(phone: Window, place: Place) -> None:
    page = counting(phone, place)
    begin(page, "Left front")
    on(page, 3)
    until(page, KEPT)

    page.click("header >> text=Menu")
    page.click("text=Sign out")
    page.wait_for_url(f"{phone.url}/")

    assert totals(place) == {"Left front": 3}
    left = "async () => [Object.keys(localStorage).filter((key) => key !== 'testround last person'), await caches.keys()]"
    assert page.evaluate(left) == [[], []]


def test_a_page_kept_for_one_is_gone_when_another_reads(line: Line, place: Place, stranger: User) -> None:
    phone = line.window
    page = counting(phone, place)
    begin(page, "Left front")
    until(page, KEPT)

    phone.context.clear_cookies()
    phone.sign_in(stranger)
    phone.open("/places/")
    until(page, "async () => (await caches.keys()).length === 0")

    line.pull()
    with pytest.raises(Error, match="net::ERR_"):
        page.goto(f"/places/{place.pk}/counting/")
    # The old page's presses are not the other person's to send.
    phone.faults.clear()


def test_a_page_kept_in_one_language_is_kept_anew_once_its_reader_chose_another(
    phone: Window, place: Place, tester: User, settings: Any
) -> None:
    settings.LANGUAGES = [("en-gb", "English"), ("de", "Deutsch")]
    until(counting(phone, place), KEPT)
    assert phone.page.evaluate(LANGUAGE_KEPT) == "en-gb"
    tester.language = "de"
    tester.save()

    phone.open(f"/places/{place.pk}/")

    until(phone.page, f"async () => (await ({LANGUAGE_KEPT})()) === 'de'")


def test_without_scripts_every_button_posts(windows: Windows, place: Place, tester: User) -> None:
    window = windows(PHONE, java_script_enabled=False)
    window.sign_in(tester)
    page = counting(window, place)

    page.fill("#id_words", "Left front")
    page.click("text=Count this")
    page.click(".count-on")
    page.click(".count-on")
    page.click(".count-on")
    page.click(".count-back")
    page.click("button.step >> nth=1")
    page.click("summary:has-text('Put the counter right')")
    assert (rows(page), counted_at(place).ticked) == ("2", {"body_rows"})
    page.fill("#count_to", "40")
    page.click("text=Put it there")
    page.click("button.step[aria-pressed=true]")

    assert rows(page) == "40"
    assert (totals(place), counted_at(place).ticked) == ({"Left front": 40}, frozenset())
