"""The pooled estimate against the same model worked out densely, and against a mixed model of statsmodels.

What `pool` has of its own is left out, so that what remains is the linear mixed model of the textbooks: no shapes pay
(nothing is wrong with the pattern), tails are practically normal, and where it is said, variances are borrowed from
nobody. Every tester measures everything, with the same swatch and the same tape.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize
from statsmodels.regression.mixed_linear_model import MixedLM

from testround.kernel import pool as pooling
from testround.kernel.pool import Remainders, pool

ALONG, ACROSS = -50.0, -40.0
U_READING, U_SWATCH = 0.29, 0.012


def balanced(seed: int, n: int = 30, d: int = 6, sizes: int = 1) -> Remainders:
    rng = np.random.default_rng(seed)
    sensitivity = np.zeros((n, d, 2))
    sensitivity[:, ::2, 0], sensitivity[:, 1::2, 1] = ALONG, ACROSS
    garment = rng.normal(0, np.hypot(0.02, U_SWATCH), (n, 2))
    return Remainders(
        values=np.einsum("nda,na->nd", sensitivity, garment)
        + rng.normal(0, np.hypot(0.5, U_READING), (n, d)),
        u_measured=np.full((n, d), U_READING),
        sensitivity=sensitivity,
        u_gauge=np.full((n, 2), U_SWATCH),
        sizes=np.arange(n) % sizes,
        n_sizes=sizes,
        expected=np.full(d, 50.0),
        tolerance=np.full(d, 2.0),
    )


@pytest.fixture(autouse=True)
def _normal_tails(monkeypatch):
    monkeypatch.setattr(pooling, "TAILS", 1e9)


def covariances(cells: Remainders, kappa2: np.ndarray, tau2: np.ndarray) -> np.ndarray:
    """Of every tester's measurements, (n, d, d)."""
    of_gauge = np.einsum("nda,na,nea->nde", cells.sensitivity, cells.u_gauge**2 + tau2, cells.sensitivity)
    return of_gauge + np.eye(len(kappa2)) * (cells.u_measured**2 + kappa2)[:, None, :]


@pytest.mark.parametrize("sizes", [1, 4])
def test_given_its_variances_it_is_generalised_least_squares(sizes):
    # With the prior of deviations as more observations (Theil and Goldberger 1961), inverted whole. The pool inverts
    # nothing larger than a tester's gauges, so that the same to nine digits says that its algebra is right.
    cells = balanced(1, sizes=sizes)
    d = cells.values.shape[1]
    found = pool(cells)
    assert found.shapes == ()

    information, score = np.zeros((sizes * d, sizes * d)), np.zeros(sizes * d)
    for i, covariance in enumerate(covariances(cells, found.kappa**2, found.tau**2)):
        design = np.zeros((d, sizes * d))
        design[np.arange(d), cells.sizes[i] * d + np.arange(d)] = 1.0
        inverse = np.linalg.inv(covariance)
        information += design.T @ inverse @ design
        score += design.T @ inverse @ cells.values[i]
    same_size = np.eye(sizes).repeat(d, 0).repeat(d, 1)
    same_dimension = np.tile(np.eye(d), (sizes, sizes))
    prior = 2.0**2 * same_dimension * (pooling.VAGUE**2 + pooling.HARMLESS_SIZE**2 * same_size)
    slopes = np.tile(cells.sensitivity[0], (sizes, 1))
    prior += pooling.WOBBLE**2 * slopes @ slopes.T
    dense = np.linalg.inv(np.linalg.inv(prior) + information)

    assert found.estimate.ravel() == pytest.approx(dense @ score, abs=1e-8)
    assert found.u.ravel() == pytest.approx(np.sqrt(np.diag(dense)), abs=1e-8)


def restricted_likelihood(cells: Remainders) -> tuple[np.ndarray, np.ndarray]:
    """κ and τ that maximise it, one mean for each dimension (Harville 1977), by SciPy."""
    d = cells.values.shape[1]

    def loss(logs: np.ndarray) -> float:
        each = covariances(cells, np.exp(logs[:d]), np.exp(logs[d:]))
        inverse = np.linalg.inv(each)
        information = inverse.sum(axis=0)
        seen = np.einsum("nde,ne->nd", inverse, cells.values)
        score = seen.sum(axis=0)
        squares = float((seen * cells.values).sum() - score @ np.linalg.solve(information, score))
        return 0.5 * float(np.linalg.slogdet(each)[1].sum() + np.linalg.slogdet(information)[1] + squares)

    found = optimize.minimize(
        loss, np.log(np.r_[np.full(d, 0.25), np.full(2, 4e-4)]), method="L-BFGS-B", options={"ftol": 1e-13}
    )
    return np.exp(found.x[:d] / 2), np.exp(found.x[d:] / 2)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_variances_are_those_of_the_restricted_likelihood(seed, monkeypatch):
    # Borrowed from nobody, where κ is never less than a seventh of what is usual. Scoring stops while it still
    # moves by a little: 4 % of a κ is a small part of what thirty testers leave open, which is 13 %. What the means
    # take of τ (a thirtieth of the variance along the gauge) is not given back, so that it lies a little below.
    monkeypatch.setattr(pooling, "BORROWED", 0.0)
    cells = balanced(seed)
    kappa, tau = restricted_likelihood(cells)

    found = pool(cells)

    assert found.shapes == ()
    least = np.sqrt(0.02) * np.hypot(pooling.STEADIEST, 0.006 * cells.expected)
    assert found.kappa == pytest.approx(np.maximum(kappa, least), rel=0.04)
    along = np.hypot(found.tau, U_SWATCH) / np.hypot(tau, U_SWATCH)
    assert along == pytest.approx(np.full(2, np.sqrt(1 - 1 / 30)), abs=0.005)


@pytest.mark.parametrize("seed", [1, 4])
def test_of_one_axis_it_is_a_mixed_model_of_statsmodels(seed, monkeypatch):
    # One variance for all dimensions (the pool's is then wholly borrowed), exact swatches and tapes, and the
    # harmless deviations' prior so wide that it says nothing. The spread of testers is given to the pool as
    # statsmodels finds it by REML; spread of readings, means and their errors are then its own.
    cells = balanced(seed, d=5)
    n, d = cells.values.shape
    cells.sensitivity[:, :, 0] = np.linspace(-30.0, -60.0, d)
    cells.sensitivity[:, :, 1] = 0.0
    rng = np.random.default_rng(seed)
    cells.values[:] = cells.sensitivity[:, :, 0] * rng.normal(0, 0.02, (n, 1)) + rng.normal(0, 0.5, (n, d))
    cells.u_measured[:], cells.u_gauge[:] = 1e-6, 1e-9
    model = MixedLM(
        cells.values.ravel(),
        np.tile(np.eye(d), (n, 1)),
        groups=np.repeat(np.arange(n), d),
        exog_re=cells.sensitivity[:, :, :1].reshape(n * d, 1) / 50,
    ).fit(reml=True)
    tau = float(np.sqrt(model.cov_re[0, 0])) / 50
    for name, value in {"USUAL_TAU": tau, "BORROWED": 1e9, "VAGUE": 1e3, "WOBBLE": 1e-9}.items():
        monkeypatch.setattr(pooling, name, value)

    found = pool(cells)

    assert found.shapes == ()
    assert found.kappa == pytest.approx(np.full(d, np.sqrt(model.scale)), rel=0.005)
    assert found.shift == pytest.approx(model.fe_params, abs=1e-3)
    assert found.u_shift == pytest.approx(model.bse_fe, rel=0.01)
