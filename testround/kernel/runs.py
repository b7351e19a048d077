"""How a number runs over the sizes, and which step between two neighbours breaks the run.

Sizes are seldom spaced evenly: a pattern may go up by 4 cm, then by 5, then by 10. A number that follows one body
measurement is therefore held against that measurement's own steps, and only where there is none such against
its own usual step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FEWEST_STEPS = 4
"""Of three steps or fewer nobody can say which is the odd one."""

FAR = 3.5
"""How many times the usual spread a step may lie off: the cut that Iglewicz and Hoaglin recommend for a score
made of medians."""

_TO_SIGMA = 0.6745
"""The median distance from the middle of a normal distribution, in standard deviations."""

_NOISE = 1e-9


@dataclass(frozen=True, slots=True)
class Break:
    """A step that breaks the run: between the sizes at ``at`` and ``to``, by ``rise`` where ``expected`` was due.

    The two are neighbours, but for sizes of which nothing is known.
    """

    at: int
    to: int
    rise: float
    expected: float


@dataclass(frozen=True, slots=True)
class Run:
    """The steps of one number, in size order; its own units.

    Attributes
    ----------
    breaks
        The steps that break the run, at most a third of them.
    low, high
        The least and the most of the other steps; both None where there are no others.
    along
        Whether the steps were held against those of another run.
    """

    breaks: tuple[Break, ...]
    low: float | None
    high: float | None
    along: bool


def run_of(values: ArrayLike, *, floor: float, along: ArrayLike | None = None) -> Run:
    """Find the steps between neighbouring sizes that break a run.

    A step is expected to be ``k`` times the step of ``along``, or ``k`` itself without one, where ``k`` is the
    least-absolute-deviations fit through the origin: the median of the ratios of the steps, weighted with the
    step below the line. One odd size moves it little, however far it lies off. A step breaks the run when it
    lies off by more than ``floor`` and by more than 3.5 times the spread of all, which is the median of the
    distances over 0.6745, and when it lies apart from what its neighbours are off by as well, by more than
    ``floor``: small steps among the small sizes and large ones after are a change of pace and break nothing.

    Parameters
    ----------
    values : array_like of float, shape (n_sizes,)
        In size order; NaN where unknown, which joins the steps on both sides into one.
    floor : float
        The largest difference that rounding alone can make to a step; nothing smaller is ever named.
    along : array_like of float, shape (n_sizes,), optional
        What the number follows, such as a body measurement. Where it is unknown in a size the number is known in,
        or never changes, the run is held against its own steps.

    Returns
    -------
    Run
        Without breaks when there are fewer than four steps, or when more than a third of the steps would be named:
        then there is no run to break.

    References
    ----------
    Iglewicz, B. and Hoaglin, D. C. (1993). How to Detect and Handle Outliers. ASQC Quality Press. Cited from memory.
    """
    run = np.asarray(values, dtype=np.float64)
    known = np.flatnonzero(~np.isnan(run))
    steps = np.diff(run[known])
    beside = None if along is None else np.diff(np.asarray(along, dtype=np.float64)[known])
    follows = beside is not None and not np.isnan(beside).any() and bool(np.any(np.abs(beside) > _NOISE))
    weights = beside if beside is not None and follows else np.ones_like(steps)
    if len(steps) < FEWEST_STEPS:
        return _run(known, steps, np.zeros_like(steps), [], along=follows)
    expected = steepness(steps, weights) * weights
    off = steps - expected
    far = max(floor, FAR * float(np.median(np.abs(off))) / _TO_SIGMA)
    found = np.flatnonzero((np.abs(off) > far + _NOISE) & (_alone(off) > floor + _NOISE))
    if len(found) > len(steps) // 3:
        found = found[:0]
    return _run(known, steps, expected, found.tolist(), along=follows)


def _alone(off: FloatArray) -> FloatArray:
    """How far each step lies outside what the steps on its two sides are off by; at an end there is one side."""
    before = np.concatenate([off[1:2], off[:-1]])
    after = np.concatenate([off[1:], off[-2:-1]])
    apart: FloatArray = np.maximum(off - np.maximum(before, after), np.minimum(before, after) - off)
    return apart


def steepness(steps: FloatArray, beside: FloatArray) -> float:
    """The k that makes the sum of |steps - k beside| least; where a range of k does, the middle of the range.

    It is the weighted median of steps / beside with the weights |beside|: at any other k more weight lies on one
    side than on the other, and moving to that side makes the sum less. Not every step of ``beside`` may be nought.
    """
    some = np.abs(beside) > _NOISE
    ratios, weights = steps[some] / beside[some], np.abs(beside[some])
    order = np.argsort(ratios, kind="stable")
    ratios, heavy = ratios[order], np.cumsum(weights[order])
    half = heavy[-1] / 2
    lower = int(np.searchsorted(heavy, half - _NOISE))
    upper = int(np.searchsorted(heavy, half + _NOISE))
    return float(ratios[lower] + ratios[min(upper, len(ratios) - 1)]) / 2


def _run(
    known: NDArray[np.intp], steps: FloatArray, expected: FloatArray, found: list[int], *, along: bool
) -> Run:
    others = np.delete(steps, found)
    return Run(
        breaks=tuple(
            Break(int(known[j]), int(known[j + 1]), float(steps[j]), float(expected[j])) for j in found
        ),
        low=float(np.min(others)) if len(others) else None,
        high=float(np.max(others)) if len(others) else None,
        along=along,
    )
