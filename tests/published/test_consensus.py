"""The mean of a few who differ: against integration by brute force, statsmodels, a textbook's data, and by simulation.

A source further than two standard deviations out is believed less, which the other answers do not do; so none of the
values here lies that far, unless a test says so.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats
from statsmodels.stats.meta_analysis import combine_effects

from testround.kernel.consensus import consensus

# Eight schools: effect of coaching on a test's score and its standard error. Gelman, A. et al. (2013), Bayesian Data
# Analysis, 3rd edition, 5.5, table 5.2. From memory, as are the answers named beside the tests.
SCHOOLS = np.array([28.0, 8, -3, 7, -1, 1, 18, 12])
SCHOOLS_SE = np.array([15.0, 10, 16, 11, 9, 11, 10, 18])

FEW = {
    "three makers": ([0.021, 0.034, 0.016], [1.4e-4, 2.2e-4, 1.4e-4], 0.02, 4.0),
    "two": ([-0.01, 0.03], [1e-4, 4e-4], 0.04, 4.0),
    "six who hardly differ": ([0.4, 0.5, 0.55, 0.45, 0.52, 0.48], [0.01, 0.02, 0.01, 0.03, 0.02, 0.01], 0.1, 2.0),
    "eight schools": (SCHOOLS, SCHOOLS_SE**2, 10.0, 4.0),
}  # fmt: skip


def by_brute_force(y, v, usual, worth):
    """Mean and standard deviation of the mean, mean spread, and the distribution function of the mean.

    The joint density of mean and spread on a grid far finer and wider than the kernel's, by Simpson's rule: a flat
    prior on the mean, a scaled inverse χ² on the square of the spread, as SciPy has it (an inverse gamma).
    """
    y, v = np.asarray(y, dtype=float), np.asarray(v, dtype=float)
    log_tau = np.linspace(np.log(1e-3 * usual), np.log(300 * usual), 801)
    tau = np.exp(log_tau)
    reach = 12 * np.sqrt(v.max() + 100 * usual**2)
    # Evenly in sinh⁻¹: close together about the values, and far out.
    mean = y.mean() + np.sinh(np.linspace(-6, 6, 1201)) / np.sinh(6) * reach
    # By the logarithm: d τ² = 2 τ² d ln τ.
    prior = stats.invgamma.logpdf(tau**2, worth / 2, scale=worth * usual**2 / 2) + 2 * log_tau
    log = np.broadcast_to(prior[:, None], (len(tau), len(mean))).copy()
    for one, variance in zip(y, v, strict=True):
        log += stats.norm.logpdf(one, mean[None, :], np.sqrt(variance + tau**2)[:, None])
    density = np.exp(log - log.max())
    of_mean = integrate.simpson(density, x=log_tau, axis=0)
    total = integrate.simpson(of_mean, x=mean)
    of_tau = integrate.simpson(density, x=mean, axis=1) / total
    middle = integrate.simpson(of_mean * mean, x=mean) / total
    sd = np.sqrt(integrate.simpson(of_mean * (mean - middle) ** 2, x=mean) / total)
    spread = integrate.simpson(of_tau * tau, x=log_tau)
    below = integrate.cumulative_simpson(of_mean, x=mean, initial=0.0) / total
    return middle, sd, spread, lambda x: np.interp(x, mean, below)


@pytest.mark.parametrize("name", FEW)
def test_it_is_the_integral_over_mean_and_spread(name):
    y, v, usual, worth = FEW[name]
    middle, sd, spread, below = by_brute_force(y, v, usual, worth)

    found = consensus(y, v, usual=usual, worth=worth)

    # The kernel's grid of sixty spreads ends at ten times the usual one: of a heavy tail that is what it leaves out.
    assert found.mean == pytest.approx(middle, abs=1e-5 * sd)
    assert found.sd == pytest.approx(sd, rel=2e-3)
    assert found.spread == pytest.approx(spread, rel=5e-4)
    assert below(found.low) == pytest.approx(0.025, abs=2e-5)
    assert below(found.high) == pytest.approx(0.975, abs=2e-5)
    assert found.p == pytest.approx(2 * min(below(0.0), 1 - below(0.0)), abs=5e-5)


@pytest.mark.parametrize("usual", [0.01, 0.03])
def test_of_many_sources_it_is_the_random_effects_mean(usual):
    # Hundreds say how far they differ themselves: what is usual, and what that is worth, no longer count.
    rng = np.random.default_rng(4)
    n, spread = 600, 0.02
    v = rng.uniform(0.5e-4, 3e-4, n)
    # As even as can be, so that none is far out.
    place = stats.uniform.ppf((rng.permutation(n) + 0.5) / n, -np.sqrt(3), 2 * np.sqrt(3))
    y = 0.013 + place * np.sqrt(v + spread**2)

    published = combine_effects(y, v, method_re="iterated")
    found = consensus(y, v, usual=usual, worth=4.0)

    error = float(published.sd_eff_w_re)
    assert found.mean == pytest.approx(float(published.mean_effect_re), abs=0.02 * error)
    assert found.sd == pytest.approx(error, rel=0.01)
    assert found.spread == pytest.approx(np.sqrt(published.tau2), rel=0.02)
    assert (found.low, found.high) == pytest.approx(
        (found.mean - 1.96 * error, found.mean + 1.96 * error), abs=0.03 * error
    )


def test_eight_schools_that_do_not_differ_give_the_pooled_mean():
    # 5.5: "the pooled estimate is 7.7, and the posterior variance is (Σ 1/σ²)⁻¹ = 16.6".
    found = consensus(SCHOOLS, SCHOOLS_SE**2, usual=1e-3, worth=1e6)

    assert found.mean == pytest.approx(7.7, abs=0.05)
    assert found.sd**2 == pytest.approx(16.6, abs=0.05)


def test_eight_schools_that_differ_beyond_measure_give_the_plain_mean():
    found = consensus(SCHOOLS, SCHOOLS_SE**2, usual=1e4, worth=1e6)

    assert found.mean == pytest.approx(SCHOOLS.mean(), abs=0.01)
    # So sure a spread lies on one of the sixty that are tried, a tenth apart.
    assert found.sd == pytest.approx(1e4 / np.sqrt(8), rel=0.053)


def test_eight_schools_with_their_own_spread_lie_where_the_textbook_has_them():
    # 5.5, figures 5.5 to 5.7 and table 5.3, with a flat prior on the spread: a mean of about 8, uncertain by about
    # five, and a spread with a median of five or so and a long tail. A prior worth one school comes near that.
    found = consensus(SCHOOLS, SCHOOLS_SE**2, usual=5.0, worth=1.0)

    assert found.mean == pytest.approx(8.0, abs=0.3)
    assert found.sd == pytest.approx(5.0, abs=0.6)
    assert 3 < found.spread < 8


ROUNDS = 500
# Three standard errors of a binomial share of 95 %.
ERROR = 3 * float(np.sqrt(0.95 * 0.05 / ROUNDS))


def covered(n: int, spreads: np.ndarray, rng: np.random.Generator) -> float:
    inside = 0
    for spread in spreads:
        v = rng.uniform(0.8e-4, 3e-4, n)
        found = consensus(0.01 + rng.normal(0, np.sqrt(v + spread**2)), v, usual=0.03, worth=4.0)
        inside += found.low <= 0.01 <= found.high
    return inside / len(spreads)


@pytest.mark.parametrize("n", [2, 4, 9])
def test_the_interval_covers_as_often_as_it_says_where_people_differ_as_was_thought(n):
    # Spreads drawn from the very prior: then it is exact but for the grid and the weights.
    rng = np.random.default_rng(n)
    spreads = np.sqrt(stats.invgamma.rvs(2.0, scale=2 * 0.03**2, size=ROUNDS, random_state=rng))

    assert covered(n, spreads, rng) == pytest.approx(0.95, abs=ERROR)


def test_where_people_differ_less_than_is_usual_it_covers_more_often_and_where_more_hardly_less():
    rng = np.random.default_rng(11)

    assert covered(4, np.full(ROUNDS, 0.015), rng) > 0.95 - ERROR
    assert covered(4, np.full(ROUNDS, 0.045), rng) > 0.9 - ERROR


def test_one_source_far_from_the_others_moves_less_than_it_would_by_the_plain_integral():
    # Fifteen usual spreads out. The spread is not fitted robustly, so that it still moves, by seven tenths of that.
    y, v = [0.0, 0.01, -0.01, 0.005, 0.3], [1e-4] * 5
    middle = by_brute_force(y, v, 0.02, 4.0)[0]

    assert consensus(y, v, usual=0.02, worth=4.0).mean == pytest.approx(0.72 * middle, rel=0.02)
