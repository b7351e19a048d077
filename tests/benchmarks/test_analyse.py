"""How long an analysis takes, as a multiple of reading the same file in the same run.

``uv run pytest tests/benchmarks --benchmark-enable`` measures; the default suite runs each step once and checks
what comes out of it.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable

import pytest

from testround.kernel.analysis import analyse
from testround.kernel.formulas import Formula
from testround.kernel.round import Round
from testround.kernel.roundfile import read_round
from tests.kernel.simulated import DIMENSIONS, Truth, simulated_round

MANY = (20, 200, 2000)
TRUTH = Truth(offsets={"sleeve_length": {"*": 3.4}, "neck_width": {"3X": 3.0, "4X": 3.0}})

MOST_TIMES_READING = 2.0
"""Bound on analysing over reading, at the largest round, where fixed costs no longer count."""
STEEPEST = 1.35
"""Allowance on linear growth: ten times the testers may take 13.5 times as long."""


@pytest.fixture(scope="module")
def files() -> dict[int, bytes]:
    return {n: json.dumps(simulated_round(1, n, TRUTH)).encode() for n in MANY}


@pytest.mark.parametrize("testers", MANY)
def test_reading_and_validating(benchmark, files, testers):
    round = benchmark.pedantic(
        read_round, (files[testers],), rounds=3 if testers == 2000 else 10, warmup_rounds=1
    )

    assert len(round.testers) == testers


@pytest.mark.parametrize("testers", MANY)
def test_analysing(benchmark, files, testers):
    round = read_round(files[testers])

    analysis = benchmark.pedantic(analyse, (round,), rounds=3 if testers == 2000 else 10, warmup_rounds=1)

    assert len(analysis.findings.cells) == testers * len(DIMENSIONS)
    assert analysis.findings.finding("finished-size:sleeve_length").verdict == "amend"


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """Processor time of the fastest of several runs: other work on the machine only ever adds to it."""
    fastest = float("inf")
    for _ in range(times):
        start = time.process_time()
        work()
        fastest = min(fastest, time.process_time() - start)
    return fastest


def times_worked(round: Round, monkeypatch: pytest.MonkeyPatch) -> int:
    """How often a formula is evaluated while a round is analysed."""
    calls = 0
    evaluate = Formula.evaluate_bounded

    def counted(*args, **kwargs):
        nonlocal calls
        calls += 1
        return evaluate(*args, **kwargs)

    with monkeypatch.context() as patched:
        patched.setattr(Formula, "evaluate_bounded", counted)
        analyse(round)
    return calls


def test_the_sheet_is_worked_for_all_testers_at_once(files, monkeypatch):
    few, many = (times_worked(read_round(files[n]), monkeypatch) for n in (20, 200))

    assert 0 < many <= 1.5 * few


def test_analysing_costs_about_as_much_as_reading_and_grows_no_faster(benchmark, files):
    # Without --benchmark-enable one run of each must do, and only what leaves no doubt is held against it.
    times, allowed = (5, 1.0) if benchmark.enabled else (1, 4.0)
    rounds = {n: read_round(files[n]) for n in MANY}
    reading = {n: seconds(lambda n=n: read_round(files[n]), times) for n in MANY}
    analysing = {n: seconds(lambda n=n: analyse(rounds[n]), times) for n in MANY}
    benchmark.pedantic(analyse, (rounds[20],), rounds=1)

    assert analysing[2000] / reading[2000] < MOST_TIMES_READING * allowed
    assert analysing[200] / analysing[20] < 10 * STEEPEST * allowed
    assert analysing[2000] / analysing[200] < 10 * STEEPEST * allowed
