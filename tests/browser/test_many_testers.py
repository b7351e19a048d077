"""What every page promises that grows with a round, in a round of two hundred testers."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import TimeoutError as PlaywrightTimeout

from tests.browser.chromium import chromium
from tests.browser.every_page import IS_TOO_WIDE, NARROWEST, Walk
from tests.browser.test_every_page import MOST_BYTES
from tests.many_testers import scenes  # noqa: F401
from tests.test_access import Scene, scene  # noqa: F401
from tests.visits import visits

MOMENT_MS = 5_000

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_no_page_of_a_large_round_is_heavy_or_scrolls_sideways(
    scenes: list[Scene],  # noqa: F811
    live_server: Any,
    settings: Any,
) -> None:
    settings.SITE_URL = live_server.url
    weights, too_wide = {}, {}

    with chromium() as browser:
        going = Walk(browser, live_server.url)
        for visit in visits(scenes[:1], must_be_there=False):
            weights[str(visit)] = going.weight(going.open(visit))
            page = going.window(visit).page
            page.set_viewport_size({"width": NARROWEST, "height": 800})
            try:
                # What is laid out by a script may take a moment.
                page.wait_for_function(f"() => ({IS_TOO_WIDE})() <= 0", timeout=MOMENT_MS)
            except PlaywrightTimeout:
                too_wide[str(visit)] = page.evaluate(IS_TOO_WIDE)

    assert len(weights) > 50
    assert {page: weight for page, weight in weights.items() if weight > MOST_BYTES} == {}
    assert too_wide == {}
