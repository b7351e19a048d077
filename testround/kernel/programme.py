"""Whole-number programmes with several objectives in strict order, each solved to proven optimality.

While the constraints are those of a flow through a network and the costs are whole numbers, every corner of the
linear relaxation is whole, and so are its prices (Hoffman and Kruskal 1956). The prices that the solver hands
back are rounded to whole numbers and the bound that they prove is worked out in whole numbers, so a proof does
not hang on the solver's tolerances. All optimal answers are then those that the prices leave open (complementary
slackness): what a price closes is fixed, nothing else is, and the next objective again meets a network.

Where the constraints are none of a network, or an objective could not be proven in the time allowed, branch and
bound takes over, with the earlier objectives as constraints of their own.

References
----------
Hoffman, A. J. and Kruskal, J. B. (1956). Integral boundary points of convex polyhedra. Annals of Mathematics
Studies 38, 223–246. Schrijver, A. (1986). Theory of Linear and Integer Programming, chapters 7 and 19.
Huangfu, Q. and Hall, J. A. J. (2018). Parallelizing the dual revised simplex method. Mathematical Programming
Computation 10, 119–142 (HiGHS, through SciPy).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy  # whose parts load when they are first used: the solvers take longer to than all of the kernel
from numpy.typing import NDArray

from testround.kernel.words import gettext as _

Whole = NDArray[np.int64]

# How far a solver's value may lie from the whole number that it stands for (HiGHS promises 1e-6).
NEARLY = 1e-5


class NoAnswer(ValueError):
    """The constraints contradict each other."""


@dataclass(frozen=True, slots=True)
class Step:
    """What came of one objective: its value at the answer, and the bound that no answer goes below."""

    value: int
    bound: int

    @property
    def proven(self) -> bool:
        return self.bound >= self.value

    @property
    def gap(self) -> float:
        """How far the answer may be from the best, as a share of its value; 0 when it is proven best."""
        return 0.0 if self.proven else (self.value - self.bound) / max(1, abs(self.value))


class Rows:
    """Constraints under construction: the sum of coefficient × variable, at most or exactly so much."""

    def __init__(self) -> None:
        self.row: list[int] = []
        self.column: list[int] = []
        self.coefficient: list[int] = []
        self.limit: list[int] = []
        self.exact: list[bool] = []

    def add(
        self, columns: Sequence[int], limit: int, *, exact: bool = False, coefficients: Sequence[int] = ()
    ) -> None:
        """One constraint; coefficients are 1 unless given."""
        self.row += [len(self.limit)] * len(columns)
        self.column += columns
        self.coefficient += coefficients or [1] * len(columns)
        self.limit.append(limit)
        self.exact.append(exact)

    def matrix(self, columns: int) -> scipy.sparse.csr_array:
        entries = (np.array(self.coefficient, dtype=np.int64), (self.row, self.column))
        return scipy.sparse.csr_array(entries, shape=(len(self.limit), columns))


@dataclass(slots=True)
class Programme:
    """Variables between bounds, constraints, and the best answer so far.

    Parameters
    ----------
    rows : Rows
    high : array of int, shape (n,)
        Upper bounds; lower bounds are ``low``, 0 unless given.
    network : bool
        Whether the constraints are those of a flow through a network.
    seconds : float, optional
        What branch and bound, or one run of the simplex method, may take.
    """

    rows: Rows
    high: Whole
    low: Whole | None = None
    network: bool = False
    seconds: float | None = None
    answer: Whole | None = None
    steps: list[Step] = field(default_factory=list)

    def minimise(self, cost: Whole) -> Step:
        """Make the cost least without giving up any earlier objective; the answer is kept in ``answer``.

        Raises
        ------
        NoAnswer
            There is none, at the first objective.
        """
        if self.low is None:
            self.low = np.zeros_like(self.high)
        if self.answer is not None and (standing := self._as_it_stands(cost)).proven:
            # No variable could do better than it does.
            step, at_best = standing, cost != 0
            self.low = np.where(at_best, self.answer, self.low)
            self.high = np.where(at_best, self.answer, self.high)
        elif self.network:
            step = self._by_prices(cost)
            if not step.proven:
                # From here on the optimal answers are no longer known by their prices.
                self.network = False
                step = self._by_branching(cost)
        else:
            step = self._by_branching(cost)
        self.steps.append(step)
        return step

    def _by_prices(self, cost: Whole) -> Step:
        assert self.low is not None  # noqa: S101 — set by the caller; this tells the type checker
        n = len(self.high)
        matrix = self.rows.matrix(n)
        limit, exact = np.array(self.rows.limit, dtype=np.int64), np.array(self.rows.exact, dtype=bool)
        solved = scipy.optimize.linprog(
            cost.astype(float),
            A_ub=matrix[~exact].astype(float) if not exact.all() else None,
            b_ub=limit[~exact] if not exact.all() else None,
            A_eq=matrix[exact].astype(float) if exact.any() else None,
            b_eq=limit[exact] if exact.any() else None,
            bounds=np.column_stack([self.low, self.high]),
            method="highs-ds",
            options={} if self.seconds is None else {"time_limit": self.seconds},
        )
        if solved.status == 2 and self.answer is None:
            raise NoAnswer
        if solved.status != 0:
            return self._as_it_stands(cost)
        answer = np.rint(solved.x).astype(np.int64)
        if not self._keeps(answer):
            return self._as_it_stands(cost)
        price = np.zeros(len(limit), dtype=np.int64)
        if exact.any():
            price[exact] = np.rint(solved.eqlin.marginals)
        if not exact.all():
            price[~exact] = np.minimum(np.rint(solved.ineqlin.marginals), 0)
        reduced = cost - price @ matrix
        bound = int(limit @ price) + int(np.minimum(reduced * self.low, reduced * self.high).sum())
        step = Step(int(cost @ answer), bound)
        self.answer = answer
        if step.proven:
            self.high = np.where(reduced > 0, self.low, self.high)
            self.low = np.where(reduced < 0, self.high, self.low)
            for row in np.flatnonzero(price):
                self.rows.exact[row] = True
        return step

    def _by_branching(self, cost: Whole) -> Step:
        assert self.low is not None  # noqa: S101
        n = len(self.high)
        limit, exact = np.array(self.rows.limit, dtype=float), np.array(self.rows.exact, dtype=bool)
        constraints = []
        if len(limit):
            constraints.append(
                scipy.optimize.LinearConstraint(
                    self.rows.matrix(n).astype(float), np.where(exact, limit, -np.inf), limit
                )
            )
        options: dict[str, float] = {"mip_rel_gap": 0.0}
        if self.seconds is not None:
            options["time_limit"] = self.seconds
        solved = scipy.optimize.milp(
            cost.astype(float),
            integrality=np.ones(n),
            bounds=scipy.optimize.Bounds(self.low.astype(float), self.high.astype(float)),
            constraints=constraints,
            options=options,
        )
        if solved.status == 2 and self.answer is None:
            raise NoAnswer
        if solved.x is not None:
            answer = np.rint(solved.x).astype(np.int64)
            better = self.answer is None or cost @ answer <= cost @ self.answer
            if better and self._keeps(answer):
                self.answer = answer
        step = self._as_it_stands(cost)
        proven = solved.mip_dual_bound
        if proven is not None and math.isfinite(proven):
            step = Step(step.value, max(step.bound, math.ceil(proven - NEARLY)))
        # What has been reached is never given up again.
        columns = np.flatnonzero(cost)
        self.rows.add(columns.tolist(), step.value, coefficients=cost[columns].tolist())
        return step

    def _keeps(self, answer: Whole) -> bool:
        """Whether an answer keeps every bound and constraint, in whole numbers."""
        assert self.low is not None  # noqa: S101
        sums = self.rows.matrix(len(answer)) @ answer
        limit, exact = np.array(self.rows.limit, dtype=np.int64), np.array(self.rows.exact, dtype=bool)
        within = bool(np.all(answer >= self.low) and np.all(answer <= self.high))
        return within and bool(np.all(np.where(exact, sums == limit, sums <= limit)))

    def _as_it_stands(self, cost: Whole) -> Step:
        """The answer so far, with the bound that the variables' own bounds give."""
        assert self.low is not None  # noqa: S101
        if self.answer is None:
            raise TimeoutError(_("the solver found no answer at all in the time allowed; allow more"))
        bound = int(np.minimum(cost * self.low, cost * self.high).sum())
        return Step(int(cost @ self.answer), bound)
