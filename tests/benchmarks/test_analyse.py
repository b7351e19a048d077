"""How long an analysis takes, as a multiple of reading the same file in the same run.

``uv run pytest tests/benchmarks --benchmark-enable`` measures; the default suite runs each step once and checks
what comes out of it.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.meta_analysis import combine_effects

from testround.kernel import analysis as analysing
from testround.kernel.analysis import analyse
from testround.kernel.discrepancy import discrepancies
from testround.kernel.formulas import Formula
from testround.kernel.pool import Remainders, pool
from testround.kernel.round import Round
from testround.kernel.roundfile import read_round
from testround.kernel.sheet import Sheet
from tests.kernel.simulated import DIMENSIONS, Truth, simulated_round

MANY = (20, 200, 2000)
TRUTH = Truth(offsets={"sleeve_length": {"*": 3.4}, "neck_width": {"3X": 3.0, "4X": 3.0}})

MOST_TIMES_READING = 2.0
"""Bound on analysing over reading, at the largest round, where fixed costs no longer count."""
STEEPEST = 1.35
"""Allowance on linear growth: ten times the testers may take 13.5 times as long."""
FASTER_THAN_A_MIXED_MODEL = 15.0
"""Bound on fitting a general mixed model to the same cells, over pooling them."""
MOST_TIMES_MEANS = 40.0
"""Bound on pooling over working a random-effects mean of every size and dimension by itself."""


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


def pooled_from(round: Round, monkeypatch: pytest.MonkeyPatch) -> Remainders:
    """What the analysis of this round gives to pool()."""
    given: list[Remainders] = []

    def kept(cells: Remainders):
        given.append(cells)
        return pool(cells)

    with monkeypatch.context() as patched:
        patched.setattr(analysing, "pool", kept)
        analyse(round)
    return given[0]


def mixed_model(cells: Remainders) -> None:
    """One mean for each dimension, one slope along every gauge for each tester, by REML: what pool() fits as well.

    Without its heavy tails, its own spread for each dimension, its nine sizes and its search for faults.
    """
    n, d = cells.values.shape
    known = np.isfinite(cells.values).ravel()
    fit = MixedLM(
        cells.values.ravel()[known],
        np.tile(np.eye(d), (n, 1))[known],
        groups=np.repeat(np.arange(n), d)[known],
        exog_re=cells.sensitivity.reshape(n * d, -1)[known] / cells.expected.max(),
    ).fit(reml=True)
    assert fit.converged


def test_pooling_takes_a_small_part_of_what_a_general_mixed_model_of_the_same_cells_takes(
    benchmark, files, monkeypatch
):
    testers, allowed = (2000, 1.0) if benchmark.enabled else (200, 0.25)
    cells = pooled_from(read_round(files[testers]), monkeypatch)

    ratio = seconds(lambda: mixed_model(cells), 1) / seconds(lambda: pool(cells), 3)
    benchmark.extra_info["mixed model, times pooling"] = round_to(ratio)
    benchmark.pedantic(pool, (cells,), rounds=1)

    assert ratio > FASTER_THAN_A_MIXED_MODEL * allowed


def test_pooling_takes_no_more_than_its_multiple_of_a_mean_for_each_size_and_dimension(
    benchmark, files, monkeypatch
):
    """Nine sizes by fifteen dimensions, each by itself: a few vector operations, and nothing could be cheaper.

    Such a mean knows nothing of what the cells of one tester have in common, so it cannot tell loose hands from a
    fault; what is bounded here is what knowing it costs.
    """
    times, allowed = (5, 1.0) if benchmark.enabled else (2, 4.0)
    round = read_round(files[2000])
    cells = pooled_from(round, monkeypatch)
    found = discrepancies(Sheet(round.pattern), round.testers)
    variances = found.uncertainty**2
    sizes, dimensions = cells.n_sizes, range(len(DIMENSIONS))
    groups = [
        (found.remainder[rows, d], variances[rows, d])
        for d in dimensions
        for rows in ((found.sizes == s) & found.known[:, d] for s in range(sizes))
    ]
    assert len(groups) == 9 * 15

    def means(method: str) -> None:
        for values, variance in groups:
            combine_effects(values, variance, method_re=method)

    pooling, whole = seconds(lambda: pool(cells), times), seconds(lambda: analyse(round), times)
    iterated, by_moments = (seconds(lambda m=m: means(m), times) for m in ("iterated", "chi2"))
    benchmark.extra_info |= {
        "pooling, times iterated means": round_to(pooling / iterated),
        "pooling, times means by moments": round_to(pooling / by_moments),
        "analysing, times iterated means": round_to(whole / iterated),
    }
    benchmark.pedantic(means, ("iterated",), rounds=1)

    assert pooling / iterated < MOST_TIMES_MEANS * allowed


def round_to(ratio: float) -> float:
    return float(f"{ratio:.2g}")
