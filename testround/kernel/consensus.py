"""The mean of a few people who differ among themselves, helped by what is known of how people differ.

With three or four sources the variance between them can hardly be told from their own values: an interval that
uses nothing else is several times too wide to decide anything. A weak prior on that variance, worth a few
sources, is what an experienced designer brings as well.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from testround.kernel.estimate import checked_uncertainties, checked_values

FloatArray = NDArray[np.float64]

GRID = np.exp(np.linspace(np.log(0.02), np.log(10.0), 60))
"""Spreads tried, as multiples of the usual one."""
BELIEVED = 2.0
"""Standard deviations up to which a source is believed wholly (Huber 1981, tuned to lose about 1 % where nothing
is wrong)."""
_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class Consensus:
    """A mean over sources that differ among themselves.

    Attributes
    ----------
    mean, sd : float
        Posterior mean and standard deviation.
    low, high : float
        The interval asked for, equal tails.
    spread : float
        Posterior mean of the standard deviation between the sources.
    p : float
        Twice the smaller of the probabilities that the mean lies above or below zero.
    n : int
    """

    mean: float
    sd: float
    low: float
    high: float
    spread: float
    p: float
    n: int


def consensus(
    values: ArrayLike, variances: ArrayLike, *, usual: float, worth: float, level: float = 0.95
) -> Consensus:
    """Mean of values from several sources, each with its own variance and a common one between them.

    Parameters
    ----------
    values, variances : array_like of float, shape (n,)
    usual : float
        How far sources usually differ, a standard deviation in the unit of the values.
    worth : float
        How many sources that knowledge is worth: the prior of the variance between them is a scaled inverse χ²
        with as many degrees of freedom.
    level : float

    Returns
    -------
    Consensus
        The variance between the sources integrated out by quadrature. A source far from the others is believed
        less; among a few it still moves the mean, for it is also taken as a sign of how far sources differ.

    Raises
    ------
    EstimateError
        No values, one that is not finite, or a variance that is not above zero.

    References
    ----------
    Gelman, A. et al. (2013). Bayesian Data Analysis, 3rd edition, 5.4 (the hierarchical normal model: given the
    spread the mean is normal, and the spread's own posterior is in closed form).
    Huber, P. J. (1981). Robust Statistics, 7.8 (the weights).
    """
    y = checked_values("values", values)
    v = checked_uncertainties("variances", variances, len(y))
    tau = usual * GRID
    weights = np.ones_like(y)
    # The weights settle quickly; a source's own share in the mean is left out of what it is held against.
    for _ in range(6):
        means, within, chance = _given_spread(y, v / weights, tau, weights, usual, worth)
        mean, spread = float(chance @ means), float(chance @ tau)
        if len(y) < 3:
            break
        precision = weights / (v + spread**2)
        share = precision / precision.sum()
        away = np.abs(y - mean) / np.maximum(1 - share, 1e-6)
        z = away / np.sqrt(v + spread**2 + 1 / np.maximum(precision.sum() - precision, 1e-12))
        weights = np.minimum(1.0, BELIEVED / np.maximum(z, 1e-12))
    sd = np.sqrt(within)

    def below(x: float) -> float:
        return float(chance @ special.ndtr((x - means) / sd))

    tail = (1 - level) / 2
    far = 40 * float(sd.max()) + float(np.ptp(means))
    negative = below(0.0)
    return Consensus(
        mean=mean,
        sd=float(np.sqrt(chance @ (within + (means - mean) ** 2))),
        low=_where(below, tail, mean - far, mean + far),
        high=_where(below, 1 - tail, mean - far, mean + far),
        spread=spread,
        p=float(np.clip(2 * min(negative, 1 - negative), 0.0, 1.0)),
        n=len(y),
    )


def _given_spread(
    y: FloatArray, v: FloatArray, tau: FloatArray, weights: FloatArray, usual: float, worth: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """For every spread: the mean, its variance, and how probable that spread is."""
    total = v[None, :] + tau[:, None] ** 2 / weights[None, :]
    precision = 1 / total
    within = 1 / precision.sum(axis=1)
    means = (precision @ y) * within
    log = 0.5 * (np.log(precision).sum(axis=1) + np.log(within))
    log = log - 0.5 * (precision * (y[None, :] - means[:, None]) ** 2).sum(axis=1)
    # Scaled inverse χ² of the variance; the grid is even in the log of the spread.
    log = log - worth * np.log(tau) - worth * usual**2 / (2 * tau**2)
    chance = np.exp(log - log.max())
    return means, within, chance / chance.sum()


def _where(below: Callable[[float], float], share: float, low: float, high: float) -> float:
    """The value that this share of the distribution lies below, by halving."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if below(middle) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2
