"""Browser windows for people of whole journeys, watching every page they open."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Browser, ConsoleMessage, Page

from testround.people.models import User
from tests.browser.chromium import chromium

PATIENCE_MS = 15_000
# Each page says on its console when it is wider than its window, so that no page of a journey is left out.
SIDEWAYS = """
addEventListener("load", () => {
  const page = document.documentElement;
  if (page.scrollWidth > innerWidth) {
    console.error(`scrolls sideways: ${location.pathname} is ${page.scrollWidth} wide in ${innerWidth}`);
  }
});
"""
# Chromium writes on the console that a page came with such a status. Journeys that mean to be refused check
# the status themselves.
REFUSALS = ("the server responded with a status of 410", "the server responded with a status of 422")


class Window:
    """One person's browser, with cookies of its own."""

    def __init__(self, browser: Browser, url: str, options: dict[str, Any]) -> None:
        self.url = url
        self.faults: list[str] = []
        self.context = browser.new_context(base_url=url, **options)
        self.context.set_default_timeout(PATIENCE_MS)
        self.context.add_init_script(SIDEWAYS)
        self.page: Page = self.context.new_page()
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.faults.append(f"{self.page.url}: {error}"))

    def _hear(self, line: ConsoleMessage) -> None:
        if line.type == "error" and not any(refusal in line.text for refusal in REFUSALS):
            self.faults.append(f"{self.page.url}: {line.text}")

    def open(self, path: str) -> int:
        """Go to an address; the status of what answers."""
        response = self.page.goto(path)
        assert response is not None, f"{path} was answered by nothing"
        return response.status

    def sign_in(self, person: User) -> None:
        """Be that person from here on, without the form."""
        client = Client()
        client.force_login(person)
        session = client.cookies["sessionid"].value
        self.context.add_cookies([{"name": "sessionid", "value": session, "url": self.url}])

    def says(self, selector: str = "main") -> str:
        """The words of a part of the page on one line."""
        return " ".join(self.page.inner_text(selector).split())

    def download(self, address: str) -> bytes:
        """What a link leads to, fetched with this person's cookies."""
        response = self.context.request.get(address)
        assert response.status == 200, f"{address}: {response.status}"
        return response.body()

    def fits(self) -> bool:
        """Whether the page as it is now, after scripts have changed it, is no wider than the window."""
        return bool(self.page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


Windows = Callable[..., Window]


@pytest.fixture
def windows(live_server: Any, settings: Any) -> Iterator[Windows]:
    """Open browser windows, each of another person; at the end none of their pages may have been at fault."""
    settings.SITE_URL = live_server.url
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"
    opened: list[Window] = []
    with chromium() as browser:

        def open_window(width: int = 1280, url: str = "", **options: Any) -> Window:
            viewport = {"width": width, "height": 800}
            window = Window(browser, url or live_server.url, {"viewport": viewport, **options})
            opened.append(window)
            return window

        yield open_window
    assert [fault for window in opened for fault in window.faults] == []
