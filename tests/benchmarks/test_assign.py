"""How long an assignment takes, as a multiple of SciPy's linear_sum_assignment on the same costs in the same run.

``uv run pytest tests/benchmarks --benchmark-enable`` measures; the default suite runs each step once and checks
what comes out of it. The yardstick meets one objective and no yarns: candidates in rows, the places of every size in
columns, misfit as the cost. The assignment meets six objectives, yarns, and has to say why.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from testround.kernel.assignment import assign
from tests.benchmarks.test_analyse import seconds
from tests.kernel.crowds import round_of
from tests.published.survey_crowd import MOST, crowd, misfit_matrix

MOST_TIMES_LINEAR = 1000
"""Bound on assigning over the yardstick, which takes well under a millisecond."""


@pytest.fixture(scope="module")
def file():
    return crowd()


def test_linear_assignment_as_the_yardstick(benchmark, file):
    cost = np.repeat(misfit_matrix(file, reach=5.0), MOST, axis=1)

    rows, _ = benchmark.pedantic(linear_sum_assignment, (cost,), rounds=20, warmup_rounds=1)

    assert len(rows) == 10 * MOST


def test_assigning_five_hundred_candidates(benchmark, file):
    round_ = round_of(file)

    found = benchmark.pedantic(assign, (round_,), rounds=10, warmup_rounds=1)

    assert found.document.optimal


def test_assigning_takes_no_more_than_its_multiple_of_a_linear_assignment(benchmark, file):
    # Without --benchmark-enable one run of each must do, and only what leaves no doubt is held against it.
    times, allowed = (7, 1.0) if benchmark.enabled else (1, 4.0)
    round_ = round_of(file)
    cost = np.repeat(misfit_matrix(file, reach=5.0), MOST, axis=1)

    def linear() -> None:
        # Often enough for a clock that counts in ticks.
        for _ in range(20):
            linear_sum_assignment(cost)

    ratio = seconds(lambda: assign(round_), times) / (seconds(linear, times) / 20)
    benchmark.extra_info["times linear_sum_assignment"] = round(ratio)
    benchmark.pedantic(linear_sum_assignment, (cost,), rounds=1)

    assert ratio < MOST_TIMES_LINEAR * allowed
