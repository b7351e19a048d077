"""What is left of the discrepancies, pooled over testers: the pattern's own deviations.

One interface, :func:`pool`, from :class:`Remainders` to :class:`Pooled`; everything behind it may be replaced.

The model, for tester i of size s and dimension d:

    r_id = β_sd + Σ_k θ_ik · ∂E_id/∂ln g_k + ε_id

A tester's remainder is mostly that tester: the swatch is a noisy reading of the garment's gauge, and θ_ik, how
far the garment's gauge lies from the swatch's, moves all widths or all lengths of that piece together. θ_ik is
normal with the swatch's variance plus τ_k²; ε_id has the reading's variance plus κ_d², and heavy tails. β is the
pattern's own deviation: a few shapes chosen by evidence (a shift of all sizes, a growth along them, some sizes
alone) on top of harmless deviations, which are small random effects.

Testers are independent given β, so that everything is sums over testers of matrices as small as a tester, and
the cost is linear in their number. The sample size is testers throughout.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import special

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

TAILS = 4.0
"""Degrees of freedom of ε's Student distribution (Lange, Little and Taylor 1989)."""
HARMLESS_SHIFT = 0.25
HARMLESS_SIZE = 0.15
"""Standard deviation of deviations that do no harm, in tolerances: of a whole dimension, and of one size."""
WOBBLE = 0.01
"""Relative standard deviation of a difference between everybody's garments and everybody's swatches."""
VAGUE = 4.0
"""Prior standard deviation of a dimension's shift in the final estimate, in tolerances: says hardly anything."""
FAULT = 2.0
"""Prior standard deviation of a fault, in tolerances: one worth finding is off by a few."""
ALL_BUT_FREE = 100.0
"""Prior standard deviation of a shape that was taken in, in tolerances."""
STEADIEST = 0.25
"""One person's hands are rarely steadier between two makings than this, cm, or 6 in 1000; common practice."""
USUAL_TAU, MOST_TAU = 0.01, 0.15
"""How far garments differ from their swatches between testers, relative: to begin with, and at the most."""
BORROWED = 6.0
"""How many testers the prior of a variance is worth, which is what dimensions lend one another."""
ABSURD = 0.25
"""A deviation this large a share of the measurement is not excused by a second tester who has it too."""
MOST_SHAPES = 40
MOST_TOGETHER = 3
"""Shapes of one dimension at most."""
SPREADS = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
"""Variances tried for a dimension, as multiples of what is common among the dimensions."""
WITHIN_REACH = -8.0
"""A shape that stays this far below its price is not looked at again when another has been taken in."""
MANY = 60
"""Testers of a dimension from which on shapes are sifted before they are compared closely."""
LOOKED_AT_CLOSELY = 10
"""Where the search stops: shapes in all, sizes of a run inside the range, candidates of one dimension."""
CHUNK = 600
"""Unknowns beyond which dimensions are estimated one by one."""


@dataclass(frozen=True, slots=True)
class Remainders:
    """What :func:`pool` works on; n testers, d dimensions, a gauge axes.

    Attributes
    ----------
    values : array of float, (n, d)
        M − E in cm, NaN where there is none or where it is set aside.
    u_measured : array of float, (n, d)
        Standard uncertainty of M, cm.
    sensitivity : array of float, (n, d, a)
        ∂E/∂ln(gauge), cm.
    u_gauge : array of float, (n, a)
        Relative standard uncertainty of the swatch's gauge.
    sizes : array of int, (n,)
        0 to ``n_sizes`` − 1.
    n_sizes : int
        1 for a made-to-measure pattern.
    expected : array of float, (d,)
        How long the dimension is, about, in cm.
    tolerance : array of float, (d,)
    """

    values: FloatArray
    u_measured: FloatArray
    sensitivity: FloatArray
    u_gauge: FloatArray
    sizes: IntArray
    n_sizes: int
    expected: FloatArray
    tolerance: FloatArray


@dataclass(frozen=True, slots=True)
class Shape:
    """A way in which one dimension of the pattern deviates.

    ``kind`` is "shift", "growth" or "some"; ``sizes`` are the indices it concerns. ``worst`` of a growth: the size
    it grows to from nothing, 0 or the last, where one number says it as well as two; else −1.
    """

    dimension: int
    kind: str
    sizes: tuple[int, ...]
    worst: int = -1


@dataclass(frozen=True, slots=True)
class Pooled:
    """The pattern's own deviations, cm.

    Attributes
    ----------
    estimate, u : array of float, (s, d)
        Deviation of every size and dimension with its standard uncertainty, given the shapes found; NaN where a
        dimension was never measured.
    shift, u_shift : array of float, (d,)
        The same as one shift of all sizes, whatever the shapes; NaN where never measured.
    df : array of float, (d,)
        Degrees of freedom of the intervals.
    testers : array of int, (s, d)
        How many testers each rests on.
    information : array of float, (s, d)
        What one more tester of that size would add, 1/cm².
    shapes : tuple of Shape
    evidence : array of float, (d,)
        Twice the log of the odds for the best shape over none; negative where none pays.
    price : array of float, (d,)
        Twice the log of the odds against that shape beforehand.
    uneven : array of float, (d,)
        As the evidence, for the best shape that is no shift of all sizes: what a shift may hide.
    wobble, u_wobble : array of float, (a,)
        How far everybody's garments lie from everybody's swatches, relative.
    tau : array of float, (a,)
        Spread of that difference between testers, relative.
    kappa : array of float, (d,)
        Spread of measurements beyond what readings explain, cm.
    weights : array of float, (n, d)
        0 to about 1: how far each measurement was believed; NaN where there is none.
    fitted : array of float, (n, d)
        What is left after the pattern and the tester's own gauge, cm.
    foretold, u_foretold : array of float, (n, d)
        What the pattern's deviation and the tester's other measurements and swatch lead to expect of every cell,
        also of those set aside: cm beyond E, with its standard deviation (κ and that of the deviation included, the
        reading not).
    converged : bool
    """

    estimate: FloatArray
    u: FloatArray
    shift: FloatArray
    u_shift: FloatArray
    df: FloatArray
    testers: IntArray
    information: FloatArray
    shapes: tuple[Shape, ...]
    evidence: FloatArray
    price: FloatArray
    uneven: FloatArray
    wobble: FloatArray
    u_wobble: FloatArray
    tau: FloatArray
    kappa: FloatArray
    weights: FloatArray
    fitted: FloatArray
    foretold: FloatArray
    u_foretold: FloatArray
    converged: bool

    def half_width(self, level: float = 0.95) -> FloatArray:
        """Half the interval of every estimate, (s, d)."""
        return np.asarray(special.stdtrit(self.df, 0.5 + level / 2) * self.u)


def pool(cells: Remainders) -> Pooled:
    """Estimate the pattern's own deviations from what testers' counts and gauges leave unexplained.

    Parameters
    ----------
    cells : Remainders

    Returns
    -------
    Pooled
        ``converged`` is False when the weights and variances had not settled; never raises for a round that is
        empty, small or full of gaps.

    References
    ----------
    Lange, K. L., Little, R. J. A. and Taylor, J. M. G. (1989). Robust statistical modeling using the t
    distribution. JASA 84, 881–896 (the weights).
    Harville, D. A. (1977). Maximum likelihood approaches to variance component estimation. JASA 72, 320–338
    (scoring; REML for κ, maximum likelihood for τ).
    Kass, R. E. and Raftery, A. E. (1995). Bayes factors. JASA 90, 773–795 (a shape's evidence, by Laplace's
    method).
    Scott, J. G. and Berger, J. O. (2010). Bayes and empirical-Bayes multiplicity adjustment in the
    variable-selection problem. Annals of Statistics 38, 2587–2619 (the price of a shape: the odds against it grow
    with how many there are to look at).
    """
    work = _Work(cells)
    if not work.n or not work.d:
        return work.nothing()
    work.settle(rounds=4, start=True)
    work.search()
    return work.result()


@dataclass(slots=True)
class _Sums:
    """Sums over testers by size: information (s, d, d) and score (s, d)."""

    information: FloatArray
    score: FloatArray


@dataclass
class _Work:
    cells: Remainders
    shapes: list[Shape] = field(default_factory=list)
    settled: bool = False
    common: float = 1.0
    """κ² of the whole round, in squares of what is usual for a dimension; the dimensions lend it one another."""
    _runs: dict[int, int] = field(default_factory=dict)
    _looked_at: dict[int, tuple[list[Shape], FloatArray, FloatArray]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        c = self.cells
        self.n, self.d = c.values.shape
        self.a = c.u_gauge.shape[1]
        self.s = c.n_sizes
        self.known = np.isfinite(c.values) & np.isfinite(c.u_measured)
        self.y = np.where(self.known, c.values, 0.0)
        self.um2 = np.where(self.known, c.u_measured, 1.0) ** 2
        self.sens = np.where(self.known[:, :, None], c.sensitivity, 0.0)
        self.scale = np.hypot(STEADIEST, 0.006 * np.nan_to_num(c.expected))
        self.kappa2 = self.scale**2
        self.tau2 = np.full(self.a, USUAL_TAU**2)
        self.ug2 = c.u_gauge**2
        self.weights = np.ones((self.n, self.d))
        self.member = np.zeros((self.s, self.n))
        self.member[c.sizes, np.arange(self.n)] = 1.0
        self.testers = (self.member @ self.known).astype(np.intp)
        self.in_dimension = self.known.sum(axis=0)
        self.by_size = [np.flatnonzero(c.sizes == s) for s in range(self.s)]
        self.mean_sens = self._mean_sensitivity()
        self.beta = np.zeros((self.s, self.d))
        self.cov = np.zeros((self.s, self.d))

    def _mean_sensitivity(self) -> FloatArray:
        """(s, d, a); a size that nobody made borrows the mean of all."""
        total = np.einsum("sn,nda->sda", self.member, self.sens)
        count = self.testers[:, :, None]
        overall = self.sens.sum(axis=0) / np.maximum(self.in_dimension, 1)[:, None]
        return np.asarray(np.where(count > 0, total / np.maximum(count, 1), overall))

    # Testers' blocks: V_i = S G S' + N, by its inverse P − P S Q S' P with P = N⁻¹, Q = (G⁻¹ + S'PS)⁻¹

    def blocks(self) -> None:
        self.noise = self.um2 + self.kappa2
        self.p = np.where(self.known, self.weights / self.noise, 0.0)
        g = self.ug2 + self.tau2
        ps = self.p[:, :, None] * self.sens
        inner = np.matmul(self.sens.transpose(0, 2, 1), ps)
        inner[:, np.arange(self.a), np.arange(self.a)] += 1 / g
        self.q = np.linalg.inv(inner)
        self.g = g
        self.ps = ps
        self.psq = np.matmul(ps, self.q)
        # The diagonal of V⁻¹: what the others of this tester leave each measurement to say.
        self.diagonal = self.p - np.einsum("nda,nda->nd", self.psq, ps)

    def residual(self) -> FloatArray:
        return np.where(self.known, self.y - self.beta[self.cells.sizes], 0.0)

    def solve(self, values: FloatArray) -> FloatArray:
        """V⁻¹ times one vector per tester, (n, d)."""
        inner = np.einsum("nda,nd->na", self.ps, values)
        return np.asarray(self.p * values - np.einsum("nda,na->nd", self.psq, inner))

    def sums(self) -> _Sums:
        information = np.zeros((self.s, self.d, self.d))
        diagonal = self.member @ self.p
        for s, rows in enumerate(self.by_size):
            if len(rows):
                left = self.psq[rows].transpose(1, 0, 2).reshape(self.d, len(rows) * self.a)
                right = self.ps[rows].transpose(1, 0, 2).reshape(self.d, len(rows) * self.a)
                information[s] = np.diag(diagonal[s]) - left @ right.T
        return _Sums(information, self.member @ self.solve(self.y))

    # Weights and variances

    def settle(self, rounds: int, *, start: bool = False) -> None:
        """Weights, variances and β in turn."""
        if start:
            with np.errstate(all="ignore"):
                masked = np.where(self.known, self.y, np.nan)
                middle = [
                    np.median(col[~np.isnan(col)]) if np.isfinite(col).any() else 0.0 for col in masked.T
                ]
            self.beta = np.broadcast_to(np.array(middle), (self.s, self.d)).copy()
        for step in range(rounds):
            before = np.concatenate([self.kappa2, self.tau2])
            self.blocks()
            self.reweigh()
            self.blocks()
            self.score_variances()
            self.blocks()
            if not (start and step == 0):
                self.estimate_beta()
            after = np.concatenate([self.kappa2, self.tau2])
            self.settled = bool(np.max(np.abs(after - before) / np.maximum(before, 1e-6)) < 0.25)
            if self.settled and step >= 1:
                break

    def leave_one_out(self) -> tuple[FloatArray, FloatArray]:
        """What each measurement differs by from what the tester's others foretell, and that forecast's
        variance."""
        solved = self.solve(self.residual())
        diagonal = np.where(self.known, self.diagonal, 1.0)
        error = solved / diagonal
        others = np.maximum(1 / diagonal - self.noise / np.maximum(self.weights, 1e-6), 0.0)
        return np.asarray(np.where(self.known, error, 0.0)), np.asarray(others)

    def reweigh(self) -> None:
        error, others = self.leave_one_out()
        excused = self.excuse(error)
        least = np.minimum(np.abs(error), excused)
        z2 = least**2 / (others + self.noise)
        self.weights = np.where(self.known, (TAILS + 1) / (TAILS + z2), 1.0)

    def excuse(self, error: FloatArray) -> FloatArray:
        """How far each error lies from the other testers' of the same size, or of the next: agreement excuses.

        Two may vouch for each other, but not when the deviation is absurd.
        """
        found = np.full_like(error, np.inf)
        middles = np.full((self.s + 2, self.d), np.inf)
        for size, rows in enumerate(self.by_size):
            if not len(rows):
                continue
            e = np.where(self.known[rows], error[rows], np.nan)
            order = np.argsort(e, axis=0, kind="stable")  # NaN last
            ordered = np.take_along_axis(e, order, axis=0)
            m = (~np.isnan(e)).sum(axis=0)
            column = np.arange(self.d)
            middle = (
                ordered[np.maximum(m - 1, 0) // 2, column]
                + ordered[np.minimum(m // 2, len(rows) - 1), column]
            ) / 2
            middles[size + 1] = np.where(m > 0, middle, np.inf)
            # The median of the others, for each: in the sorted column the middle moves up by one for those
            # at or below it.
            rank = np.empty_like(order)
            np.put_along_axis(rank, order, np.arange(len(rows))[:, None], axis=0)
            low, high = np.maximum((m - 2) // 2, 0), np.maximum((m - 1) // 2, 0)
            last = len(rows) - 1
            below = ordered[np.minimum(low + (rank <= low), last), column]
            above = ordered[np.minimum(high + (rank <= high), last), column]
            away = np.abs(e - (below + above) / 2)
            found[rows] = np.where((m >= 2) & ~np.isnan(away), away, np.inf)
        at = self.cells.sizes + 1
        for beside in (at - 1, at + 1):
            found = np.minimum(found, np.abs(error - middles[beside]))
        absurd = np.abs(error) > ABSURD * np.abs(np.nan_to_num(self.cells.expected))
        return np.where(absurd, np.inf, found)

    def score_variances(self) -> None:
        """One step of scoring: REML for κ, the dimensions lending one another, and maximum likelihood for τ."""
        residual = self.residual()
        solved = self.solve(residual)
        known = self.known
        # κ²: squares of V⁻¹r on the diagonal against their expectation; the fitted β takes a tester's share.
        w = self.weights
        share = 1 - np.minimum(self.free_parameters() / np.maximum(self.in_dimension, 1), 0.75)
        score = np.where(known, solved**2 / w - share * self.diagonal / w, 0.0).sum(axis=0)
        information = np.where(known, (self.diagonal / w) ** 2, 0.0).sum(axis=0) * share
        relative = self.scale**2
        all_score = float((score * relative).sum())
        all_information = float((information * relative**2).sum())
        common = self.common
        if all_information > 0:
            common = float(np.clip(common + all_score / all_information, 0.05, 30.0))
        own = self.kappa2 + np.where(information > 0, score / np.maximum(information, 1e-12), 0.0)
        own = np.maximum(own, 0.02 * relative)
        k = self.in_dimension * share
        self.kappa2 = (k * own + BORROWED * common * relative) / (k + BORROWED)
        self.common = common
        # τ²
        along = np.einsum("nda,nd->na", self.sens, solved)
        inner = np.matmul(self.sens.transpose(0, 2, 1), self.ps)
        quadratic = np.einsum("naa->na", inner - inner @ self.q @ inner)
        active = quadratic > 0
        top = np.where(active, along**2 - quadratic, 0.0).sum(axis=0)
        bottom = np.where(active, quadratic**2, 0.0).sum(axis=0)
        step = np.where(bottom > 0, top / np.maximum(bottom, 1e-12), 0.0)
        # A prior worth a few testers keeps τ from being nothing, or everything, in a small round.
        m = active.sum(axis=0)
        own_tau = np.clip(self.tau2 + step, 0.0, MOST_TAU**2)
        self.tau2 = (m * own_tau + BORROWED * USUAL_TAU**2) / (m + BORROWED)

    def free_parameters(self) -> FloatArray:
        count = np.full(self.d, 1.0)
        for shape in self.shapes:
            count[shape.dimension] += 2.0 if shape.kind == "growth" else 1.0
        return count

    # β

    def prior(self, *, vague: bool) -> FloatArray:
        """Covariance of harmless deviations over (size, dimension), (s·d, s·d)."""
        s, d = self.s, self.d
        tolerance2 = self.cells.tolerance**2
        shift = (VAGUE if vague else HARMLESS_SHIFT) ** 2 * tolerance2
        cov = np.zeros((s, d, s, d))
        index = np.arange(d)
        cov[:, index, :, index] += shift[:, None, None]
        for size in range(s):
            cov[size, index, size, index] += HARMLESS_SIZE**2 * tolerance2
        flat = self.mean_sens.reshape(s * d, self.a)
        return np.asarray(cov.reshape(s * d, s * d) + WOBBLE**2 * flat @ flat.T)

    def column(self, shape: Shape) -> FloatArray:
        """The design of a shape over (size, dimension): (s·d, 1), or (s·d, 2) for a growth."""
        s, d = self.s, self.d
        if shape.kind == "growth":
            along = np.linspace(-1, 1, s) if s > 1 else np.zeros(1)
            found = np.zeros((s, d, 2))
            found[:, shape.dimension, 0] = 1.0
            found[:, shape.dimension, 1] = along
            return found.reshape(s * d, 2)
        found = np.zeros((s, d, 1))
        found[list(shape.sizes), shape.dimension, 0] = 1.0
        return found.reshape(s * d, 1)

    def design(self) -> FloatArray:
        if not self.shapes:
            return np.zeros((self.s * self.d, 0))
        return np.hstack([self.column(shape) for shape in self.shapes])

    def full(self, sums: _Sums) -> tuple[FloatArray, FloatArray]:
        """Information as one (s·d, s·d) matrix, and the score."""
        s, d = self.s, self.d
        information = np.zeros((s, d, s, d))
        for size in range(s):
            information[size, :, size, :] = sums.information[size]
        return information.reshape(s * d, s * d), sums.score.reshape(s * d)

    def marginal(self, sums: _Sums) -> tuple[FloatArray, FloatArray]:
        """Information and score for shapes, harmless deviations integrated out: A − A(K⁻¹+A)⁻¹A."""
        information, score = self.full(sums)
        k = self.prior(vague=False)
        # (K⁻¹ + A)⁻¹ A = K (I + A K)⁻¹ A, which needs no inverse of K.
        inner = np.eye(len(k)) + information @ k
        solved = np.linalg.solve(inner, np.column_stack([information, score]))
        return np.asarray(solved[:, :-1]), np.asarray(solved[:, -1])

    def estimate_beta(self) -> None:
        """β with every dimension's shift left free, so that no fault swells the variances."""
        if self.s * self.d > CHUNK:
            self.beta = self._beta_by_dimension(vague=True)[0]
        else:
            k, information, score = self._joint(self.sums(), vague=True)
            mean = np.linalg.solve(np.eye(len(k)) + k @ information, k @ score)
            self.beta = np.asarray(mean.reshape(self.s, self.d), dtype=np.float64)

    def _joint(self, sums: _Sums, *, vague: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Prior covariance of β with the shapes there are, information, and score."""
        information, score = self.full(sums)
        k: FloatArray = self.prior(vague=vague)
        x = self.design()
        if x.shape[1]:
            width = np.tile(self.cells.tolerance, self.s)
            x = np.asarray(x * width[:, None], dtype=np.float64)
            k = np.asarray(k + ALL_BUT_FREE**2 * x @ x.T, dtype=np.float64)
        return k, information, score

    def _posterior(self, sums: _Sums, *, vague: bool) -> tuple[FloatArray, FloatArray]:
        """Mean of β (s, d) and its covariance (s·d, s·d)."""
        k, information, score = self._joint(sums, vague=vague)
        cov = np.linalg.solve(np.eye(len(k)) + k @ information, k)
        cov = (cov + cov.T) / 2
        return (cov @ score).reshape(self.s, self.d), cov

    def _beta_by_dimension(self, *, vague: bool) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """As the posterior, dimension by dimension, for sheets too large to take whole.

        Returns mean and standard deviation (s, d), and mean shift and its deviation (d,).
        """
        diagonal = self.member @ np.where(self.known, self.diagonal, 0.0)
        score = self.member @ self.solve(self.residual()) + diagonal * self.beta
        mean, sd = np.zeros((self.s, self.d)), np.zeros((self.s, self.d))
        shift, u_shift = np.zeros(self.d), np.zeros(self.d)
        for d in range(self.d):
            t2 = self.cells.tolerance[d] ** 2
            k = np.full((self.s, self.s), (VAGUE if vague else HARMLESS_SHIFT) ** 2 * t2)
            k = k + np.eye(self.s) * HARMLESS_SIZE**2 * t2
            k = k + WOBBLE**2 * self.mean_sens[:, d] @ self.mean_sens[:, d].T
            for shape in self.shapes:
                if shape.dimension == d:
                    x = self.column(shape).reshape(self.s, self.d, -1)[:, d]
                    k = k + ALL_BUT_FREE**2 * t2 * x @ x.T
            cov = np.linalg.solve(np.eye(self.s) + k * diagonal[:, d][None, :], k)
            mean[:, d] = cov @ score[:, d]
            sd[:, d] = np.sqrt(np.maximum(np.diag(cov), 0))
            shift[d] = mean[:, d].mean()
            u_shift[d] = float(np.sqrt(max(cov.mean(), 0.0)))
        return mean, sd, shift, u_shift

    # Shapes

    def candidates(self, d: int) -> Iterator[Shape]:
        """Shapes worth a look in one dimension."""
        have = np.flatnonzero(self.testers[:, d] > 0)
        if self.in_dimension[d] < 2:
            return
        every = tuple(range(self.s))
        yield Shape(d, "shift", every)
        if self.s >= 3 and len(have) >= 3:
            for worst in (-1, 0, self.s - 1):
                yield Shape(d, "growth", every, worst)
        if self.s < 2 or len(have) < 2:
            return
        upto = np.concatenate([[0], np.cumsum(self.testers[:, d])])
        most = int(self.in_dimension[d])
        # A run begins and ends at a size that somebody made: of the others the readings say nothing.
        for at, first in enumerate(have):
            for last in have[at:]:
                if last - first < (self.s + 1) // 2 and 2 <= upto[last + 1] - upto[first] < most:
                    yield Shape(d, "some", tuple(range(int(first), int(last) + 1)))

    def looked_at(self, d: int) -> tuple[list[Shape], FloatArray, FloatArray]:
        """The candidates of a dimension with one column, those columns (s, m), and prices; made once."""
        if d not in self._looked_at:
            shapes = [shape for shape in self.candidates(d) if shape.kind != "growth"]
            columns = np.zeros((self.s, len(shapes)))
            for j, shape in enumerate(shapes):
                columns[list(shape.sizes), j] = 1.0
            self._looked_at[d] = (shapes, columns, np.array([self.price(shape) for shape in shapes]))
        return self._looked_at[d]

    def price(self, shape: Shape) -> float:
        """Twice the log of the odds against a shape beforehand.

        About one fault a round is expected, in any dimension; the extents are as likely as one another, and so
        are the shapes of one extent.
        """
        looked_at = max(int((self.in_dimension > 0).sum()), 1)
        if shape.kind == "shift":
            alike = 1
        elif shape.kind == "growth":
            alike = 3
        else:
            alike = self.runs(shape.dimension)
        return 2 * float(np.log(looked_at * alike))

    def runs(self, d: int) -> int:
        """How many runs of sizes there are to choose from in a dimension."""
        if d not in self._runs:
            self._runs[d] = max(sum(shape.kind == "some" for shape in self.candidates(d)), 1)
        return self._runs[d]

    def freedom(self, d: int) -> float:
        return max(2.0, float(self.in_dimension[d] - self.free_parameters()[d]) + BORROWED)

    def gains(
        self, dimensions: list[int], information: FloatArray, score: FloatArray
    ) -> list[tuple[float, Shape, FloatArray]]:
        """Gain beyond its price of every candidate, beside the shapes there are; with its coefficients."""
        x = self.design()
        if x.shape[1]:
            xm = x.T @ information
            inverse = np.linalg.pinv(xm @ x)
            information = information - xm.T @ inverse @ xm
            score = score - xm.T @ (inverse @ (x.T @ score))
        found: list[tuple[float, Shape, FloatArray]] = []
        s, d_all = self.s, self.d
        for d in dimensions:
            at = np.arange(s) * d_all + d
            info, b = information[np.ix_(at, at)], score[at]
            nu = self.freedom(d)
            shapes, columns, prices = self.looked_at(d)
            m = np.einsum("sj,sj->j", columns, info @ columns)
            right = columns.T @ b
            usable = m > 1e-9
            gain = np.where(usable, right**2 / np.where(usable, m, 1.0), 0.0)
            # With the variance estimated too, the likelihood ratio grows with the log.
            paid = np.where(usable, nu * np.log1p(gain / nu) - prices, -np.inf)
            for j in np.argsort(-paid, kind="stable")[:LOOKED_AT_CLOSELY].tolist():
                if usable[j] and shapes[j] not in self.shapes:
                    found.append((float(paid[j]), shapes[j], np.array([right[j] / m[j]])))
            growth = Shape(d, "growth", tuple(range(s)))
            if s >= 3 and (self.testers[:, d] > 0).sum() >= 3 and growth not in self.shapes:
                z = self.profile(growth)
                m2, r2 = z.T @ info @ z, z.T @ b
                if np.linalg.det(m2) > 1e-9:
                    coefficients = np.linalg.solve(m2, r2)
                    gained = nu * float(np.log1p(max(float(coefficients @ r2), 0.0) / nu))
                    found.append((gained - self.price(growth), growth, coefficients))
        return found

    def profile(self, shape: Shape) -> FloatArray:
        """What a shape is looked for as, over the sizes alone, (s, 1) or (s, 2)."""
        if shape.worst >= 0:
            ramp = np.linspace(0, 1, self.s)
            return (ramp if shape.worst else ramp[::-1])[:, None]
        return self.column(shape).reshape(self.s, self.d, -1)[:, shape.dimension]

    def borne_out(self, shape: Shape, coefficients: FloatArray) -> bool:
        """Whether at least two testers, and most of those concerned, show the deviation themselves.

        One tester alone never convicts a size.
        """
        d = shape.dimension
        profile = self.profile(shape) @ coefficients
        size = self.cells.sizes
        meant = profile[size]
        concerned = self.known[:, d] & (np.abs(meant) > 0.5 * np.max(np.abs(profile)))
        error = self.leave_one_out()[0][:, d] + self.beta[size, d]
        agree = concerned & (error * np.sign(meant) > 0.4 * np.abs(meant))
        return bool(agree.sum() >= 2 and agree.sum() >= 0.6 * concerned.sum())

    def _dimensions(self) -> list[int]:
        return [d for d in range(self.d) if self.in_dimension[d] >= 2]

    def _evidence_parts(self) -> tuple[FloatArray, FloatArray]:
        if self.s * self.d <= CHUNK:
            return self.marginal(self.sums())
        # Too large to take whole: dimensions apart, each given what the others are now.
        s, d_all = self.s, self.d
        diagonal = self.member @ np.where(self.known, self.diagonal, 0.0)
        score = self.member @ self.solve(self.residual()) + diagonal * self.beta
        information = np.zeros((s * d_all, s * d_all))
        out = np.zeros(s * d_all)
        for d in range(d_all):
            at = np.arange(s) * d_all + d
            t2 = self.cells.tolerance[d] ** 2
            k = np.full((s, s), HARMLESS_SHIFT**2 * t2) + np.eye(s) * HARMLESS_SIZE**2 * t2
            info = np.diag(diagonal[:, d])
            solved = np.linalg.solve(np.eye(s) + info @ k, np.column_stack([info, score[:, d]]))
            information[np.ix_(at, at)] = solved[:, :-1]
            out[at] = solved[:, -1]
        return information, out

    def search(self) -> None:
        """Take in, dimension by dimension, the shapes that pay for themselves most, as long as any do.

        A dimension's shapes may be added to or replaced by another: whichever costs least in all.
        """
        self.estimate_beta()
        self.paid, self.nearest = np.full(self.d, -np.inf), np.zeros(self.d)
        self.gained = np.zeros(self.d)
        self.uneven = np.full(self.d, -np.inf)
        again = self._dimensions()
        choice: dict[int, list[Shape]] = {}
        for _ in range(MOST_SHAPES):
            for d in again:
                self.paid[d], choice[d] = self.best_of(d)
            best = max(self._dimensions(), key=lambda d: (self.paid[d], -d), default=None)
            if best is None or self.paid[best] <= 0:
                break
            self.gained[best] += self.paid[best]
            self.shapes = [shape for shape in self.shapes if shape.dimension != best] + choice[best]
            self.settle(rounds=3)
            again = [d for d in self._dimensions() if d == best or self.paid[d] > WITHIN_REACH]
        self.settle(rounds=8)

    def best_of(self, d: int) -> tuple[float, list[Shape]]:
        """What the best shapes for a dimension gain beyond their price over those it has; and which."""
        mine = [shape for shape in self.shapes if shape.dimension == d]
        singles = list(self.candidates(d))
        if self.in_dimension[d] > MANY:
            singles = self._likely(d, mine)
        choices = [mine, *([shape] for shape in singles if [shape] != mine)]
        if mine and len(mine) < MOST_TOGETHER:
            choices += [[*mine, shape] for shape in singles if shape.kind == "some" and shape not in mine]
        costs, coefficients = self.robust_costs(d, choices)
        prices = np.array([sum(self.price(shape) for shape in choice) for choice in choices])
        costs = costs + prices
        self.nearest[d] = prices[0 if mine else int(np.argmin(costs[1:])) + 1] if len(choices) > 1 else 0.0
        others = [at for at, choice in enumerate(choices) if at and any(x.kind != "shift" for x in choice)]
        self.uneven[d] = float(costs[0] - costs[others].min()) if others else -np.inf
        most = -np.inf
        for at in np.argsort(costs, kind="stable").tolist():
            if at == 0:
                break
            if self._each_borne_out(choices[at], coefficients[at]):
                return float(costs[0] - costs[at]), choices[at]
        if len(choices) > 1:
            # None pays, or none is borne out: how near the nearest came.
            most = min(float(costs[0] - costs[1:].min()), 0.0)
        return most, mine

    def _likely(self, d: int, mine: list[Shape]) -> list[Shape]:
        """The candidates worth holding against each other where there are many testers."""
        kept = self.shapes
        self.shapes = [shape for shape in kept if shape.dimension != d]
        information, score = self._evidence_parts()
        best = sorted(self.gains([d], information, score), key=lambda g: (-g[0], g[1].sizes))
        self.shapes = kept
        return [shape for gain, shape, _ in best[:LOOKED_AT_CLOSELY] if gain > WITHIN_REACH or shape in mine]

    def _each_borne_out(self, choice: list[Shape], coefficients: FloatArray) -> bool:
        at = 0
        for shape in choice:
            width = self.profile(shape).shape[1]
            if len(choice) == 1 and not self.borne_out(shape, coefficients[at : at + width]):
                return False
            at += width
        return True

    def robust_costs(self, d: int, choices: list[list[Shape]]) -> tuple[FloatArray, FloatArray]:
        """Minus twice the log of a dimension's evidence under each choice of shapes, and coefficients.

        Each tester's measurement is held against what the tester's others foretell. The spread κ is fitted
        afresh under each choice, so that a fault does not hide in a spread it has swollen itself; a harmless
        shift is allowed under all of them.
        """
        error, others = self.leave_one_out()
        rows = self.known[:, d]
        size = self.cells.sizes[rows]
        target = (error + self.beta[self.cells.sizes])[rows, d]
        tolerance = float(self.cells.tolerance[d])
        base = others[rows, d] + self.um2[rows, d] + (HARMLESS_SIZE * tolerance) ** 2
        columns = [np.hstack([self.profile(x) for x in choice]) if choice else None for choice in choices]
        width = max((c.shape[1] for c in columns if c is not None), default=0)
        m = len(choices)
        z = np.zeros((m, self.s, 1 + width))
        z[:, :, 0] = 1.0
        # Precisions of the priors; a column that a choice does not use cancels out.
        prior = np.full((m, 1 + width), (FAULT * tolerance) ** -2)
        prior[:, 0] = (HARMLESS_SHIFT * tolerance) ** -2
        for j, column in enumerate(columns):
            used = 0 if column is None else column.shape[1]
            if column is not None:
                z[j, :, 1 : 1 + used] = column
            prior[j, 1 + used :] = 1.0
        factors = np.array(SPREADS)
        variance = base + self.common * self.scale[d] ** 2 * factors[:, None]
        member = self.member[:, rows].T
        w = np.broadcast_to(1 / variance, (m, *variance.shape))
        diagonal = np.arange(1 + width)
        for _ in range(12):
            by_size = w @ member
            normal = np.einsum("msk,mfs,msl->mfkl", z, by_size, z, optimize=True)
            normal[:, :, diagonal, diagonal] += prior[:, None, :]
            right = np.einsum("msk,mfs->mfk", z, (w * target) @ member, optimize=True)
            found = np.linalg.solve(normal, right[..., None])[..., 0]
            left = target - np.einsum("msk,mfk->mfs", z, found, optimize=True)[:, :, size]
            w = (TAILS + 1) / (TAILS + left**2 / variance) / variance
        cost = ((TAILS + 1) * np.log1p(left**2 / (TAILS * variance)) + np.log(variance)).sum(axis=2)
        # Laplace's method: a shape that might have been anything gains less by fitting.
        cost = cost + (found**2 * prior[:, None, :]).sum(axis=2)
        cost = cost + np.linalg.slogdet(normal)[1] - np.log(prior).sum(axis=1)[:, None]
        cost = cost + BORROWED * (np.log(factors) + 1 / factors)
        best = np.argmin(cost, axis=1)
        at = np.arange(m)
        return cost[at, best], found[at, best, 1:]

    # What comes out

    def nothing(self) -> Pooled:
        """A round that nobody measured."""
        s, d, a = self.s, self.d, self.a
        unknown, of_testers = np.full((s, d), np.nan), np.full((self.n, d), np.nan)
        return Pooled(
            estimate=unknown,
            u=unknown,
            shift=np.full(d, np.nan),
            u_shift=np.full(d, np.nan),
            df=np.ones(d),
            testers=np.zeros((s, d), dtype=np.intp),
            information=np.zeros((s, d)),
            shapes=(),
            evidence=np.full(d, -np.inf),
            price=np.zeros(d),
            uneven=np.full(d, -np.inf),
            wobble=np.zeros(a),
            u_wobble=np.full(a, WOBBLE),
            tau=np.sqrt(self.tau2),
            kappa=np.sqrt(self.kappa2),
            weights=of_testers,
            fitted=of_testers,
            foretold=np.zeros((self.n, d)),
            u_foretold=np.full((self.n, d), np.inf),
            converged=True,
        )

    def result(self) -> Pooled:
        s, d, a = self.s, self.d, self.a
        never = self.in_dimension == 0
        evidence = self._evidence()
        if s * d > CHUNK:
            mean, sd, shift, u_shift = self._beta_by_dimension(vague=True)
            wobble, u_wobble = np.zeros(a), np.full(a, WOBBLE)
        else:
            sums = self.sums()
            mean, cov = self._posterior(sums, vague=True)
            sd = np.sqrt(np.maximum(np.diag(cov), 0)).reshape(s, d)
            by = cov.reshape(s, d, s, d)
            shift = mean.mean(axis=0)
            u_shift = np.sqrt(np.array([max(by[:, j, :, j].mean(), 0.0) for j in range(d)]))
            wobble, u_wobble = self._wobble(sums)
        self.beta = mean
        error, others = self.leave_one_out()
        foretold, u_foretold = self.forecast(error, others, sd)
        add = np.where(self.known, self.diagonal / np.maximum(self.weights, 1e-6), np.nan)
        typical = np.array(
            [np.median(col[~np.isnan(col)]) if np.isfinite(col).any() else 0.0 for col in add.T]
        )
        blank = np.where(never, np.nan, 1.0)
        return Pooled(
            estimate=mean * blank,
            u=sd * blank,
            shift=shift * blank,
            u_shift=u_shift * blank,
            df=np.array([self.freedom(j) for j in range(d)]),
            testers=self.testers,
            information=np.broadcast_to(typical, (s, d)).copy(),
            shapes=tuple(sorted(self.shapes, key=lambda x: (x.dimension, x.kind, x.sizes))),
            evidence=evidence,
            price=self.nearest,
            uneven=self.uneven,
            wobble=wobble,
            u_wobble=u_wobble,
            tau=np.sqrt(self.tau2),
            kappa=np.sqrt(self.kappa2),
            weights=np.where(self.known, self.weights, np.nan),
            fitted=np.where(self.known, error, np.nan),
            foretold=foretold,
            u_foretold=u_foretold,
            converged=self.settled,
        )

    def forecast(
        self, error: FloatArray, others: FloatArray, sd: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """β + S·E[θ | the tester's other measurements] for every cell, and its standard deviation; (n, d) each."""
        at = self.cells.sizes
        every = self.cells.sensitivity
        theta = np.einsum("nab,nb->na", self.q, np.einsum("nda,nd->na", self.ps, self.residual()))
        mean = self.beta[at] + np.einsum("nda,na->nd", every, theta)
        variance = np.einsum("nda,nab,ndb->nd", every, self.q, every)
        mean = np.where(self.known, self.y - error, mean)
        variance = np.where(self.known, others, variance) + self.kappa2 + sd[at] ** 2
        return np.asarray(mean), np.sqrt(variance)

    def _evidence(self) -> FloatArray:
        """What the shapes taken in gained beyond their price, and for dimensions with none, the nearest one."""
        found = self.paid.copy()
        for shape in self.shapes:
            found[shape.dimension] = self.gained[shape.dimension]
        return found

    def _wobble(self, sums: _Sums) -> tuple[FloatArray, FloatArray]:
        """The part of β that is everybody's gauge: posterior of its coefficients."""
        k, information, score = self._joint(sums, vague=False)
        flat = self.mean_sens.reshape(self.s * self.d, self.a)
        # θ̄ has covariance ω²I and covariance ω²F' with β; condition on what is seen.
        solved = np.linalg.solve(np.eye(len(k)) + information @ k, np.column_stack([information, score]))
        precision, seen = solved[:, :-1], solved[:, -1]
        mean = WOBBLE**2 * flat.T @ seen
        cov = WOBBLE**2 * np.eye(self.a) - WOBBLE**4 * flat.T @ precision @ flat
        return mean, np.sqrt(np.maximum(np.diag(cov), 0.0))
