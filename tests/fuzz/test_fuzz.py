"""The short form of the fuzz run: other cases each time it is asked for more, the same ones in every run of the suite."""

from __future__ import annotations

import pytest

from tests.fuzz import TARGETS
from tests.fuzz.running import run

CASES = {"formulas": 3000, "rounds": 100, "images": 500, "tables": 400, "archives": 1000}


@pytest.mark.parametrize("name", TARGETS)
def test_whatever_comes_is_taken_or_refused_and_never_an_error(name: str) -> None:
    tally = run(TARGETS[name], range(CASES[name]), stop_after=3)

    assert not tally.faults, tally.said(TARGETS[name])
    # A run in which all are refused, or all are taken, tries nothing.
    assert len(tally.outcomes) > 1
    assert min(tally.outcomes.values()) > 0
