"""Chromium as the tests start it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connections
from playwright.sync_api import Browser, sync_playwright

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser for one test. Playwright runs an event loop in this thread as long as it is open."""
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        # Where an event loop runs, Django refuses the database.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        yield browser
        browser.close()
        # And it keeps connections apart from those of the thread without the loop, which it closes by itself.
        connections.close_all()
