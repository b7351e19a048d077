"""What the published checks do not reach: edges, refusals, and properties that always hold."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.stats.api as sms
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from testround.kernel.estimate import (
    EstimateError,
    algorithm_a,
    algorithm_s,
    analysis_of_variance,
    benjamini_hochberg,
    birge_mean,
    equivalence,
    precision,
    propagate,
    random_effects,
    sample,
    t_below,
    t_quantile,
    two_sided_p,
)

QUARTERS = st.integers(-4000, 4000).map(lambda quarter: quarter / 4)
READINGS = st.lists(QUARTERS, min_size=2, max_size=30)


def test_a_single_value_has_a_mean_and_no_deviation():
    one = algorithm_a([4.5])

    assert (one.mean, one.n, one.converged) == (4.5, 1, True)
    assert np.isnan(one.sd)
    assert np.isnan(sample([4.5]).sd)


def test_equal_values_have_no_spread():
    assert (algorithm_a([3.0, 3.0, 3.0]).mean, algorithm_a([3.0, 3.0, 3.0]).sd) == (3.0, 0.0)


@given(READINGS, st.floats(-100, 100), st.floats(0.1, 10))
def test_algorithm_a_moves_and_stretches_with_its_values(values, shift, factor):
    plain = algorithm_a(values)
    moved = algorithm_a([shift + factor * value for value in values])

    assert moved.mean == pytest.approx(shift + factor * plain.mean, abs=1e-4)
    assert moved.sd == pytest.approx(factor * plain.sd, abs=1e-4)


@given(READINGS)
def test_algorithm_a_does_not_mind_the_order(values):
    assert algorithm_a(values) == algorithm_a(values[::-1])


def test_a_robust_standard_error_is_a_quarter_wider_than_a_plain_one():
    # ISO 13528:2015, 7.7.3: u = 1.25 s*/√p.
    found = algorithm_a([1.0, 2.0, 3.0, 4.0])

    assert found.standard_error == pytest.approx(1.25 * found.sd / 2)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ([], "values has 0 values; at least 1 are needed."),
        ([1.0, float("nan")], "values[1] is nan; every value must be a finite number."),
        ([[1.0], [2.0]], "values must be one list of values, not a table of 2 dimensions."),
    ],
)
def test_values_that_give_no_estimate_are_refused_with_a_reason(values, sentence):
    with pytest.raises(EstimateError) as refused:
        algorithm_a(values)

    assert str(refused.value) == sentence


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: birge_mean([1, 2], [0.1]), "u has 1 values for 2 estimates; give one for each."),
        (lambda: random_effects([1, 2], [0.1, 0]), "variances[1] is 0.0; every one must be above zero."),
        (lambda: equivalence(0, 0, 5, (-1, 1)), "standard_error is 0; it must be above zero."),
        (lambda: equivalence(0, 1, 5, (1, 1)), "margins are 1 and 1; the first must be below the second."),
        (lambda: benjamini_hochberg([0.2, 1.2]), "p holds a value outside 0 to 1."),
        (lambda: precision([[1.0, 2.0]]), "cells must be a table of at least two persons by two repeats."),
        (lambda: propagate(np.sum, [1, 2], [0.1]), "u has 1 values for 2 inputs; give one for each."),
        (lambda: analysis_of_variance([1, 2], [0]), "groups has 1 entries for 2 values; give one for each."),
    ],
)
def test_every_refusal_names_the_argument(call, sentence):
    with pytest.raises(EstimateError) as refused:
        call()

    assert str(refused.value) == sentence


@pytest.mark.parametrize("df", [1, 3, 8.5, 30, np.inf])
@pytest.mark.parametrize("p", [0.01, 0.5, 0.975])
def test_students_t_is_that_of_scipy(df, p):
    x = t_quantile(p, df)

    assert x == pytest.approx(float(stats.t.ppf(p, df)), abs=1e-9)
    assert t_below(x, df) == pytest.approx(p)
    assert two_sided_p(x, df) == pytest.approx(float(2 * stats.t.sf(abs(x), df)))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("method", "name", "exactly"),
    [("dersimonian-laird", "dl", 1e-9), ("paule-mandel", "pm", 2e-4)],  # the reference iterates to 1e-5
)
def test_random_effects_agree_with_statsmodels(method, name, exactly, seed):
    # Sources far enough apart that the reference, which does not stop at zero, finds a variance too.
    rng = np.random.default_rng(seed)
    v = rng.uniform(0.05, 0.2, 9)
    y = rng.normal(2, 1.2, 9)
    reference = combine_effects(y, v, method_re=name, use_t=True)

    found = random_effects(y, v, method=method, interval="hartung-knapp")

    assert found.tau2 == pytest.approx(reference.tau2, abs=exactly)
    assert found.mean == pytest.approx(reference.mean_effect_re, abs=exactly)
    assert found.standard_error == pytest.approx(reference.sd_eff_w_re_hksj, abs=exactly)


def test_sources_that_agree_have_no_variance_between_them():
    found = random_effects([1.0, 1.01, 0.99], [0.2, 0.2, 0.2])

    assert (found.tau2, found.converged) == (0.0, True)
    plain = random_effects([1.0, 1.01, 0.99], [0.2, 0.2, 0.2], interval="normal")
    safe = random_effects([1.0, 1.01, 0.99], [0.2, 0.2, 0.2], never_narrower=True)
    assert found.standard_error < plain.standard_error == pytest.approx(safe.standard_error)


def test_one_source_is_its_own_mean():
    found = random_effects([2.0], [0.25])

    assert (found.mean, found.standard_error, found.tau2, found.df) == (2.0, 0.5, 0.0, np.inf)


def test_equivalence_agrees_with_statsmodels_on_one_sample():
    values = np.array([0.2, -0.1, 0.4, 0.1, 0.0, 0.3])
    reference = sms.DescrStatsW(values).ttost_mean(-0.5, 0.5)
    error = values.std(ddof=1) / np.sqrt(len(values))

    found = equivalence(float(values.mean()), error, len(values) - 1, (-0.5, 0.5))

    assert found.p == pytest.approx(reference[0])


@given(st.lists(st.floats(0, 1), min_size=1, max_size=20))
def test_adjusted_values_are_never_below_the_plain_ones_and_keep_their_order(p):
    adjusted = benjamini_hochberg(p)

    assert np.all(adjusted >= np.array(p) - 1e-12)
    assert np.all(np.diff(adjusted[np.argsort(p, kind="stable")]) >= -1e-12)


def test_what_was_not_tested_counts_for_nothing():
    assert benjamini_hochberg([0.01, np.nan, 0.04]) == pytest.approx([0.02, np.nan, 0.04], nan_ok=True)


def test_an_exact_input_adds_no_uncertainty():
    found = propagate(lambda x: x[0] * x[1], [2.0, 3.0], [0.1, 0.0])

    assert found.u == pytest.approx(0.3)
    assert found.sensitivities == pytest.approx([3.0, 2.0])


def test_deviations_pooled_robustly_are_near_the_plain_ones_where_nothing_is_wrong():
    rng = np.random.default_rng(7)
    pairs = rng.normal(0, 0.8, (4000, 3))

    assert algorithm_s(pairs.std(axis=1, ddof=1), np.full(4000, 2)) == pytest.approx(0.8, rel=0.03)


def test_one_wild_pair_hardly_moves_the_pooled_deviation():
    pairs = np.array([0.5, 0.7, 0.4, 0.6, 0.9, 0.3, 0.5, 0.8, 0.6, 0.5])
    wild = np.append(pairs, 64.0)

    assert algorithm_s(wild, np.ones(11)) == pytest.approx(algorithm_s(pairs, np.ones(10)), rel=0.35)


def test_readings_that_agree_are_no_better_than_they_can_resolve():
    assert algorithm_s([0.0, 0.0, 0.0, 0.35], [1, 1, 1, 1], least=0.29) == pytest.approx(0.29)
