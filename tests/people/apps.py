"""An authenticator app, as tests have one: RFC 6238 by its text, apart from the library under test."""

from __future__ import annotations

import base64
import hashlib
import hmac
import time
from dataclasses import dataclass
from types import SimpleNamespace

import pytest

from testround.people import factors_forms

LIBRARY = "allauth.mfa.totp.internal.auth.time"


@dataclass
class App:
    """Shows codes by a clock that stands, the server's too, so that none runs out while a test is slow."""

    now: float

    def code(self, key: str, later: float = 0) -> str:
        """The six digits that are shown so many seconds later, for a key in base 32 (RFC 6238 on RFC 4226)."""
        counter = int((self.now + later) // 30)
        raw = base64.b32decode(key.replace(" ", ""))
        digest = hmac.new(raw, counter.to_bytes(8, "big"), hashlib.sha1).digest()
        start = digest[-1] & 15
        number = int.from_bytes(digest[start : start + 4], "big") & 0x7FFFFFFF
        return f"{number % 1_000_000:06}"

    def wrong(self, key: str) -> str:
        """Six digits that are not those."""
        return f"{(int(self.code(key)) + 1) % 1_000_000:06}"


@pytest.fixture
def app(monkeypatch: pytest.MonkeyPatch) -> App:
    app = App(time.time() // 30 * 30 + 15)
    clock = SimpleNamespace(time=lambda: app.now)
    monkeypatch.setattr(LIBRARY, clock)
    monkeypatch.setattr(factors_forms, "time", clock)
    return app
