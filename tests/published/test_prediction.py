"""Prediction of a new observation: against published figures, SciPy, and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtr

from testround.kernel.estimate import prediction_limit
from testround.kernel.pace import rate_of

# NIST/SEMATECH e-Handbook, 4.5.1.2, pressure predicted from temperature with a straight line, 38 degrees of
# freedom: fitted value, residual standard deviation, uncertainty of the fitted value, 95 % bounds as printed to
# one decimal. Rows from memory; that sd and u give the printed combined value is checked below.
PRESSURE = [
    (106.0025, 4.299099, 1.1976162, 97.0, 115.0),
    (184.9053, 4.299099, 0.6803245, 176.1, 193.7),
    (263.8081, 4.299099, 1.2441620, 254.7, 272.9),
]


@pytest.mark.parametrize(("fitted", "sd", "u", "low", "high"), PRESSURE)
def test_the_handbooks_bounds_on_a_new_response(fitted, sd, u, low, high):
    assert prediction_limit(fitted, sd, u, 38, 0.025) == pytest.approx(low, abs=0.06)
    assert prediction_limit(fitted, sd, u, 38, 0.975) == pytest.approx(high, abs=0.06)


@pytest.mark.parametrize("n", [2, 3, 7, 22])
def test_a_plain_sample_gives_the_textbook_interval(n):
    # x̄ + t·s·√(1 + 1/n), with SciPy's t.
    sample = np.random.default_rng(n).normal(3, 2, n)
    mean, sd = sample.mean(), sample.std(ddof=1)

    limit = prediction_limit(mean, sd, sd / np.sqrt(n), n - 1, 0.9)

    assert limit == pytest.approx(stats.t.ppf(0.9, n - 1, loc=mean, scale=sd * np.sqrt(1 + 1 / n)), rel=1e-12)


def test_of_a_known_distribution_it_is_the_normal_quantile():
    assert prediction_limit(3, 2, 0, np.inf, 0.9) == pytest.approx(stats.norm.ppf(0.9, 3, 2), rel=1e-12)


ROUNDS = 300
# What is simulated is a share known exactly for each round, so twice a binomial's error is a wide bound.
ERROR = 2 * float(np.sqrt(0.9 * 0.1 / ROUNDS))


def covered_by(sd: float, makers: int) -> float:
    """The share of new makers below a limit meant for nine in ten, over simulated rounds."""
    rng = np.random.default_rng(makers)
    limits = [rate_of(rng.normal(0, sd, makers), np.zeros(makers), 0.1).limit(0.9) for _ in range(ROUNDS)]
    return float(np.mean(ndtr(np.array(limits) / sd)))


@pytest.mark.parametrize(
    ("makers", "sd", "expected"), [(3, 0.1, 0.93), (3, 0.2, 0.89), (12, 0.1, 0.9), (12, 0.2, 0.9)]
)
def test_nine_new_makers_in_ten_lie_below_the_limit(makers, sd, expected):
    # Makers who vary as much as usual, and twice that; after three the usual spread still has a say.
    assert covered_by(sd, makers) == pytest.approx(expected, abs=ERROR)


def test_makers_who_vary_little_are_given_room_until_there_are_more_of_them():
    # The usual spread counts like one maker: three who agree do not yet make a law.
    assert covered_by(0.05, 3) > 0.95
    assert covered_by(0.05, 12) == pytest.approx(0.92, abs=ERROR)


def test_one_maker_in_twenty_who_reports_something_else_hardly_moves_the_limit():
    # Twice or half of what it took, as when two yarns are added up or one is left out.
    rng = np.random.default_rng(5)
    covered = []
    for _ in range(ROUNDS):
        logs = rng.normal(0, 0.1, 12)
        logs = np.where(rng.random(12) < 0.05, logs + np.log(2) * rng.choice([-1, 1], 12), logs)
        covered.append(ndtr(rate_of(logs, np.zeros(12), 0.1).limit(0.9) / 0.1))

    assert np.mean(covered) == pytest.approx(0.92, abs=ERROR)


@pytest.mark.parametrize("makers", [3, 12])
def test_the_share_below_is_the_limit_turned_round(makers):
    rate = rate_of(np.random.default_rng(1).normal(0, 0.1, makers), np.zeros(makers), 0.1)

    assert rate.share_below(rate.limit(0.9)) == pytest.approx(0.9)
