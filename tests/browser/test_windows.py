"""The watch that the journeys rely on sees what it is to see."""

from __future__ import annotations

import pytest

from tests.browser.conftest import Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

INLINE_SCRIPT = """() => {
  const script = document.createElement("script");
  script.textContent = "document.title = 'run'";
  document.head.append(script);
}"""
WIDEN = """
addEventListener("DOMContentLoaded", () => { document.body.style.minWidth = "3000px"; });
"""


def test_a_window_notices_a_script_that_the_policy_forbids(windows: Windows) -> None:
    window = windows()
    window.open("/")

    window.page.evaluate(INLINE_SCRIPT)

    assert window.page.title() != "run"
    assert len(window.faults) == 1
    assert "Content Security Policy" in window.faults.pop()


def test_a_window_notices_a_page_that_is_too_wide_for_it(windows: Windows) -> None:
    window = windows(360)
    window.context.add_init_script(WIDEN)

    window.open("/")

    assert not window.fits()
    assert window.faults == [f"{window.url}/: scrolls sideways: / is 3000 wide in 360"]
    window.faults.clear()
