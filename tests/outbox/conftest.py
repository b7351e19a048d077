from __future__ import annotations

from typing import Any

import pytest

from testround.outbox import services

from .databases import shared_by_threads

__all__ = ["shared_by_threads"]


class Bench:
    """Work of the kind "bench": what was done, in order, and how many times it is still to break."""

    def __init__(self) -> None:
        self.done: list[dict[str, Any]] = []
        self.breaks = 0

    def do(self, subject: dict[str, Any]) -> None:
        if self.breaks:
            self.breaks -= 1
            raise ConnectionError("the server did not answer")
        self.done.append(subject)


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    bench = Bench()
    monkeypatch.setattr(services, "_handlers", dict(services._handlers))
    monkeypatch.setattr(services, "_chores", [])
    monkeypatch.setattr(services, "_at_any_time", [])
    services.handles("bench")(bench.do)
    return bench
