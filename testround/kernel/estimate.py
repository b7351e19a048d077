"""The statistics proper: robust means, random effects, intervals, equivalence, many tests at once.

Everything takes arrays and gives frozen results with named fields. An iteration that can fail says in its
result whether it converged; nothing returns a plausible number in silence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

FloatArray = NDArray[np.float64]

MOST_ITERATIONS = 500


class EstimateError(ValueError):
    """An estimate asked of values that cannot give one; the sentence names the argument and the reason."""


def checked_values(name: str, values: ArrayLike, least: int = 1) -> FloatArray:
    """One list of finite values, or an EstimateError that names the argument."""
    array = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if array.ndim != 1:
        raise EstimateError(f"{name} must be one list of values, not a table of {array.ndim} dimensions.")
    if len(array) < least:
        raise EstimateError(f"{name} has {len(array)} values; at least {least} are needed.")
    wrong = np.flatnonzero(~np.isfinite(array))
    if len(wrong):
        raise EstimateError(f"{name}[{wrong[0]}] is {array[wrong[0]]}; every value must be a finite number.")
    return array


def checked_uncertainties(name: str, values: ArrayLike, n: int) -> FloatArray:
    """As many values above zero as there are estimates, or an EstimateError."""
    array = checked_values(name, values)
    if len(array) != n:
        raise EstimateError(f"{name} has {len(array)} values for {n} estimates; give one for each.")
    wrong = np.flatnonzero(array <= 0)
    if len(wrong):
        raise EstimateError(f"{name}[{wrong[0]}] is {array[wrong[0]]}; every one must be above zero.")
    return array


# Distributions --------------------------------------------------------------------------------------------
# From scipy.special: scipy.stats takes longer to load than a round takes to analyse.


def t_quantile(p: float, df: float) -> float:
    """Quantile of Student's t; the normal one at infinite degrees of freedom."""
    return float(special.ndtri(p) if np.isinf(df) else special.stdtrit(df, p))


def t_below(x: float, df: float) -> float:
    """Probability that Student's t lies below ``x``."""
    return float(special.ndtr(x) if np.isinf(df) else special.stdtr(df, x))


def two_sided_p(x: float, df: float) -> float:
    """Probability that Student's t lies as far from zero as ``x``."""
    return min(2 * t_below(-abs(x), df), 1.0)


# Means and deviations -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sample:
    """Mean and standard deviation of ``n`` values; ``sd`` is NaN for a single one."""

    mean: float
    sd: float
    n: int


def sample(values: ArrayLike) -> Sample:
    """Mean and standard deviation with divisor n − 1, in two passes with a correction for rounding.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        At least one, all finite.

    Returns
    -------
    Sample

    Raises
    ------
    EstimateError
        No values, or one that is not finite.

    References
    ----------
    Chan, T. F., Golub, G. H. and LeVeque, R. J. (1983). Algorithms for computing the sample variance.
    The American Statistician 37, 242–247 (the corrected two-pass algorithm).
    """
    x = checked_values("values", values)
    n = len(x)
    mean = float(x.mean())
    # The mean of the deviations is what rounding left of the mean.
    mean += float((x - mean).mean())
    if n == 1:
        return Sample(mean, float("nan"), 1)
    deviation = x - mean
    squares = float(deviation @ deviation) - float(deviation.sum()) ** 2 / n
    return Sample(mean, float(np.sqrt(max(squares, 0.0) / (n - 1))), n)


@dataclass(frozen=True, slots=True)
class RobustMean:
    """Robust mean and standard deviation of ``n`` values, and how the iteration ended."""

    mean: float
    sd: float
    n: int
    iterations: int
    converged: bool

    @property
    def standard_error(self) -> float:
        """1.25·sd/√n, the standard uncertainty of the robust mean (ISO 13528:2015, 7.7.3)."""
        return 1.25 * self.sd / float(np.sqrt(self.n))


HUBER = 1.5
# What winsorising a normal sample at ±1.5 takes off its standard deviation: the standard prints the inverse
# as 1.134; the exact value is used so that a normal sample keeps its deviation.
_WINSORISED = float(
    (2 * special.ndtr(HUBER) - 1)
    - 2 * HUBER * np.exp(-(HUBER**2) / 2) / np.sqrt(2 * np.pi)
    + 2 * HUBER**2 * special.ndtr(-HUBER)
)
SD_FACTOR = 1 / float(np.sqrt(_WINSORISED))
MAD_FACTOR = 1 / float(special.ndtri(0.75))
"""Median absolute deviation to standard deviation of a normal sample, 1.4826."""


def algorithm_a(values: ArrayLike, *, tolerance: float = 1e-9) -> RobustMean:
    """Robust mean and standard deviation by Algorithm A.

    Values further than 1.5 robust deviations from the robust mean are pulled in to that distance, and mean
    and deviation taken again until neither moves.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        At least one, all finite.
    tolerance : float
        Largest change of mean and deviation, relative to the deviation, that counts as none.

    Returns
    -------
    RobustMean
        ``sd`` is 0 where nearly all values are equal, NaN for a single value.

    Raises
    ------
    EstimateError
        No values, or one that is not finite.

    References
    ----------
    ISO 13528:2015, Annex C.3; the same as ISO 5725-5:1998, Algorithm A.
    """
    x = np.sort(checked_values("values", values))
    n = len(x)
    mean = float(np.median(x))
    if n == 1:
        return RobustMean(mean, float("nan"), 1, 0, True)
    spread = float(np.max(np.abs(x - mean)))
    sd = MAD_FACTOR * float(np.median(np.abs(x - mean)))
    if sd <= 1e-9 * spread:
        # Half of the values alike leave nothing to start from; the plain deviation does (C.3.1, note).
        sd = sample(x).sd
    for iteration in range(1, MOST_ITERATIONS + 1):
        reach = HUBER * sd
        pulled = np.clip(x, mean - reach, mean + reach)
        now = sample(pulled)
        new_mean, new_sd = now.mean, SD_FACTOR * now.sd
        moved = max(abs(new_mean - mean), abs(new_sd - sd))
        mean, sd = new_mean, new_sd
        if sd <= 1e-9 * spread:
            # It shrinks without end towards the value that most have.
            return RobustMean(float(np.median(x)), 0.0, n, iteration, True)
        if moved <= tolerance * sd:
            return RobustMean(mean, sd, n, iteration, True)
    return RobustMean(mean, sd, n, MOST_ITERATIONS, False)


def algorithm_s(sds: ArrayLike, freedom: ArrayLike, *, least: float = 0.0) -> float:
    """Robust pooled standard deviation by Algorithm S.

    Deviations that only one in ten would exceed are pulled in to that limit, and pooled again until the result
    no longer moves: one pair of readings of which one was mistyped says nothing of how well others read.

    Parameters
    ----------
    sds : array_like of float, shape (n,)
        Standard deviations of small samples, at least one.
    freedom : array_like of float, shape (n,)
        Their degrees of freedom, each at least 1.
    least : float
        What the readings can resolve; the result does not go below it, though most of them agree.

    Returns
    -------
    float

    References
    ----------
    ISO 13528:2015, Annex C.4; the same as ISO 5725-5:1998, Algorithm S. The factors are computed as there
    defined, for each sample's own degrees of freedom.
    """
    w, nu = checked_values("sds", sds), checked_values("freedom", freedom)
    limit = np.sqrt(special.chdtri(nu, 0.1) / nu)
    factor2 = 1 / (special.chdtr(nu + 2, nu * limit**2) + 0.1 * limit**2)
    pooled = max(float(np.median(w)), least)
    if len(w) == 1:
        return pooled  # there is no other to hold it against
    for _ in range(MOST_ITERATIONS):
        pulled = np.minimum(w, limit * pooled)
        again = max(float(np.sqrt((nu * factor2 * pulled**2).sum() / nu.sum())), least)
        if abs(again - pooled) <= 1e-9 * again:
            return again
        pooled = again
    return pooled


# Uncertainty ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Propagated:
    """A computed quantity, its standard uncertainty and the sensitivity to every input."""

    value: float
    u: float
    sensitivities: FloatArray


def propagate(
    function: Callable[[FloatArray], float],
    inputs: ArrayLike,
    u: ArrayLike,
    correlations: ArrayLike | None = None,
) -> Propagated:
    """The law of propagation of uncertainty, with the partial derivatives taken numerically.

    Parameters
    ----------
    function : callable
        Takes the array of inputs, shape (m,), gives the measured quantity.
    inputs, u : array_like of float, shape (m,)
        Input estimates and their standard uncertainties, zero where an input is exact.
    correlations : array_like of float, shape (m, m), optional
        Correlation coefficients; inputs are independent when left out.

    Returns
    -------
    Propagated

    Raises
    ------
    EstimateError
        Shapes differ, an uncertainty is negative, or a value is not finite.

    References
    ----------
    JCGM 100:2008, 5.1.2 (independent), 5.2.2 (correlated); 5.1.3 note 2 for the step: each input is moved
    by plus and minus its own uncertainty.
    """
    x, du = checked_values("inputs", inputs), checked_values("u", u)
    if len(du) != len(x):
        raise EstimateError(f"u has {len(du)} values for {len(x)} inputs; give one for each.")
    if (du < 0).any():
        raise EstimateError(f"u[{int(np.argmax(du < 0))}] is negative; an uncertainty is zero or above.")
    value = float(function(x))
    sensitivities = np.zeros_like(x)
    for j in range(len(x)):
        # A small step tracks the derivative where the function bends; the uncertainty sets its scale.
        step = 1e-3 * du[j] if du[j] > 0 else 1e-6 * max(abs(x[j]), 1.0)
        moved = np.zeros_like(x)
        moved[j] = step
        sensitivities[j] = (float(function(x + moved)) - float(function(x - moved))) / (2 * step)
    parts = sensitivities * du
    r = np.eye(len(x)) if correlations is None else np.asarray(correlations, dtype=np.float64)
    if r.shape != (len(x), len(x)):
        raise EstimateError(f"correlations must be a {len(x)} by {len(x)} table.")
    return Propagated(value, float(np.sqrt(max(float(parts @ r @ parts), 0.0))), sensitivities)


@dataclass(frozen=True, slots=True)
class Combined:
    """An inverse-variance mean. ``birge`` is the ratio found; ``u`` is scaled up by it when above 1."""

    mean: float
    u: float
    birge: float
    n: int


def birge_mean(values: ArrayLike, u: ArrayLike) -> Combined:
    """Weighted mean of readings of one quantity, its uncertainty widened where the readings disagree.

    Parameters
    ----------
    values, u : array_like of float, shape (n,)
        Readings and their standard uncertainties.

    Returns
    -------
    Combined
        ``birge`` is 1 for a single reading.

    Raises
    ------
    EstimateError
        No values, one that is not finite, or an uncertainty that is not above zero.

    References
    ----------
    Birge, R. T. (1932). The calculation of errors by the method of least squares. Physical Review 40,
    207–227.
    """
    x = checked_values("values", values)
    du = checked_uncertainties("u", u, len(x))
    w = du**-2.0
    mean = float((w @ x) / w.sum())
    own = float(w.sum() ** -0.5)
    if len(x) == 1:
        return Combined(mean, own, 1.0, 1)
    ratio = float(np.sqrt((w @ (x - mean) ** 2) / (len(x) - 1)))
    return Combined(mean, own * max(ratio, 1.0), ratio, len(x))


# Random effects -------------------------------------------------------------------------------------------

TauMethod = Literal["equal", "dersimonian-laird", "paule-mandel", "reml"]
IntervalMethod = Literal["normal", "hartung-knapp"]


@dataclass(frozen=True, slots=True)
class RandomEffects:
    """A mean over sources that differ among themselves.

    Attributes
    ----------
    mean, standard_error, low, high : float
        Pooled mean, its standard error, and the interval asked for.
    tau2 : float
        Variance between the sources.
    df : float
        Degrees of freedom of the interval; infinite for the normal one.
    q : float
        Cochran's Q, the weighted squares about the equal-effects mean.
    i2 : float
        Share of the variance that lies between the sources, 0 to 1.
    n : int
    converged : bool
    """

    mean: float
    standard_error: float
    low: float
    high: float
    tau2: float
    df: float
    q: float
    i2: float
    n: int
    converged: bool


def random_effects(
    values: ArrayLike,
    variances: ArrayLike,
    *,
    method: TauMethod = "paule-mandel",
    interval: IntervalMethod = "hartung-knapp",
    level: float = 0.95,
    never_narrower: bool = False,
) -> RandomEffects:
    """Mean of estimates from several sources, each with its own variance and a common one between them.

    Parameters
    ----------
    values, variances : array_like of float, shape (n,)
        An estimate from each source and its variance.
    method : {"paule-mandel", "dersimonian-laird", "reml", "equal"}
        How the variance between sources is found; "equal" takes it as zero.
    interval : {"hartung-knapp", "normal"}
        Hartung–Knapp scales the variance by the weighted residual mean square and uses Student's t with
        n − 1 degrees of freedom. With one source there is nothing to scale by, and the normal one is used.
    level : float
        Coverage of the interval.
    never_narrower : bool
        Keep the Hartung–Knapp standard error from falling below the ordinary one, as it can by chance with
        few sources (Jackson et al. 2017).

    Returns
    -------
    RandomEffects

    Raises
    ------
    EstimateError
        No values, one that is not finite, or a variance that is not above zero.

    References
    ----------
    Paule, R. C. and Mandel, J. (1982). Consensus values and weighting factors. Journal of Research of the
    National Bureau of Standards 87, 377–385.
    DerSimonian, R. and Laird, N. (1986). Meta-analysis in clinical trials. Controlled Clinical Trials 7,
    177–188.
    Viechtbauer, W. (2005). Bias and efficiency of meta-analytic variance estimators in the random-effects
    model. Journal of Educational and Behavioral Statistics 30, 261–293 (REML).
    Hartung, J. and Knapp, G. (2001). On tests of the overall treatment effect in meta-analysis with normally
    distributed responses. Statistics in Medicine 20, 1771–1782.
    Jackson, D. et al. (2017). The Hartung–Knapp modification for random-effects meta-analysis: a useful
    refinement but are there any residual concerns? Statistics in Medicine 36, 3923–3934.
    """
    y = checked_values("values", values)
    n = len(y)
    v = checked_uncertainties("variances", variances, n)
    w = 1 / v
    equal = float(w @ y / w.sum())
    q = float(w @ (y - equal) ** 2)
    tau2, converged = 0.0, True
    if n > 1 and method != "equal":
        if method == "dersimonian-laird":
            tau2 = max(0.0, (q - (n - 1)) / float(w.sum() - (w @ w) / w.sum()))
        elif method == "paule-mandel":
            tau2, converged = _paule_mandel(y, v)
        else:
            tau2, converged = _reml(y, v)
    w = 1 / (v + tau2)
    mean = float(w @ y / w.sum())
    error = float(w.sum() ** -0.5)
    df = float("inf")
    if interval == "hartung-knapp" and n > 1:
        df = float(n - 1)
        scaled = error * float(np.sqrt(w @ (y - mean) ** 2 / (n - 1)))
        error = max(scaled, error) if never_narrower else scaled
    half = t_quantile(0.5 + level / 2, df) * error
    # I² with the "typical" within variance of Higgins and Thompson (2002).
    w0 = 1 / v
    typical = (n - 1) * float(w0.sum()) / float(w0.sum() ** 2 - w0 @ w0) if n > 1 else float(v[0])
    return RandomEffects(
        mean, error, mean - half, mean + half, tau2, df, q, tau2 / (tau2 + typical), n, converged
    )


def _paule_mandel(y: FloatArray, v: FloatArray) -> tuple[float, bool]:
    """The τ² at which the generalised Q equals n − 1; Q falls and is convex, so Newton never overshoots."""
    n = len(y)
    tau2 = 0.0
    for _ in range(MOST_ITERATIONS):
        w = 1 / (v + tau2)
        deviation = y - w @ y / w.sum()
        excess = float(w @ deviation**2) - (n - 1)
        if excess <= 1e-12 * (n - 1):
            return tau2, True
        step = excess / float(w**2 @ deviation**2)
        tau2 += step
        if step <= 1e-15 * tau2:
            return tau2, True
    return tau2, False


def _reml(y: FloatArray, v: FloatArray) -> tuple[float, bool]:
    """Restricted maximum likelihood by Fisher scoring, halving a step that would leave zero behind."""
    tau2 = max(0.0, float(np.var(y, ddof=1)) - float(v.mean()))
    for _ in range(MOST_ITERATIONS):
        w = 1 / (v + tau2)
        total = w.sum()
        deviation = y - w @ y / total
        score = float(w**2 @ deviation**2 - total + (w @ w) / total)
        information = float(w @ w - 2 * (w**3).sum() / total + ((w @ w) / total) ** 2)
        new = max(0.0, tau2 + score / information)
        if abs(new - tau2) <= 1e-12 * max(new, float(v.min())):
            return new, True
        tau2 = new
    return tau2, False


# Between and within ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Analysed:
    """One-way analysis of variance of groups of readings."""

    between_df: int
    between_ss: float
    within_df: int
    within_ss: float

    @property
    def between_ms(self) -> float:
        return self.between_ss / self.between_df if self.between_df else float("nan")

    @property
    def within_ms(self) -> float:
        return self.within_ss / self.within_df if self.within_df else float("nan")

    @property
    def f(self) -> float:
        return self.between_ms / self.within_ms if self.within_ms else float("nan")


def analysis_of_variance(values: ArrayLike, groups: ArrayLike) -> Analysed:
    """Sums of squares between and within groups, about centred values so that leading digits do not matter.

    Parameters
    ----------
    values : array_like of float, shape (n,)
    groups : array_like of int, shape (n,)
        Which group every value belongs to, counted from 0.

    References
    ----------
    Searle, S. R., Casella, G. and McCulloch, C. E. (1992). Variance Components, chapter 3.
    """
    x = checked_values("values", values)
    group = np.asarray(groups, dtype=np.intp)
    if group.shape != x.shape:
        raise EstimateError(f"groups has {group.size} entries for {len(x)} values; give one for each.")
    x = x - x.mean()
    x = x - x.mean()
    n = np.bincount(group)
    used = n > 0
    means = np.bincount(group, x) / np.maximum(n, 1)
    within = x - means[group]
    return Analysed(
        between_df=int(used.sum()) - 1,
        between_ss=float((n * means**2).sum()),
        within_df=len(x) - int(used.sum()),
        within_ss=float(within @ within),
    )


@dataclass(frozen=True, slots=True)
class Precision:
    """Repeatability and reproducibility of readings by several people of one thing.

    ``s_r`` within a person, ``s_l`` between persons (zero when the means differ by less than the readings
    explain), ``s_R`` both; ``h`` and ``k`` are Mandel's statistics by person.
    """

    mean: float
    sd_of_means: float
    s_r: float
    s_l: float
    s_R: float
    h: FloatArray
    k: FloatArray


def precision(cells: ArrayLike) -> Precision:
    """Repeatability and reproducibility from a balanced table of repeat readings.

    Parameters
    ----------
    cells : array_like of float, shape (persons, repeats)
        At least two persons and two repeats.

    Raises
    ------
    EstimateError
        Fewer than two persons or repeats, or a reading that is not finite.

    References
    ----------
    ISO 5725-2:1994, 7.4; ASTM E691-99, sections 15 to 17 (``s_R`` is never taken below ``s_r``).
    """
    x = np.asarray(cells, dtype=np.float64)
    if x.ndim != 2 or min(x.shape) < 2:
        raise EstimateError("cells must be a table of at least two persons by two repeats.")
    if not np.isfinite(x).all():
        raise EstimateError("cells holds a reading that is not a finite number.")
    repeats = x.shape[1]
    means, sds = x.mean(axis=1), x.std(axis=1, ddof=1)
    of_means = sample(means)
    s_r = float(np.sqrt((sds**2).mean()))
    s_l2 = max(0.0, of_means.sd**2 - s_r**2 / repeats)
    s_big = max(s_r, float(np.sqrt(of_means.sd**2 + s_r**2 * (repeats - 1) / repeats)))
    with np.errstate(divide="ignore", invalid="ignore"):
        h, k = (means - of_means.mean) / of_means.sd, sds / s_r
    return Precision(of_means.mean, of_means.sd, s_r, float(np.sqrt(s_l2)), s_big, h, k)


def mandel_h_limit(persons: int, alpha: float) -> float:
    """Largest |h| by chance among ``persons``, two-sided at ``alpha`` (ASTM E691; ISO 5725-2, 7.3.1)."""
    t = t_quantile(1 - alpha / 2, persons - 2)
    return (persons - 1) * t / float(np.sqrt(persons * (t**2 + persons - 2)))


def mandel_k_limit(persons: int, repeats: int, alpha: float) -> float:
    """Largest k by chance among ``persons`` with ``repeats`` readings each (ASTM E691; ISO 5725-2, 7.3.1)."""
    f = float(special.fdtri(repeats - 1, (persons - 1) * (repeats - 1), 1 - alpha))
    return float(np.sqrt(persons * f / (f + persons - 1)))


def cochran_limit(persons: int, repeats: int, alpha: float) -> float:
    """Largest share of one variance in the sum of ``persons`` by chance (ISO 5725-2, 7.3.3)."""
    f = float(special.fdtri(repeats - 1, (persons - 1) * (repeats - 1), 1 - alpha / persons))
    return f / (f + persons - 1)


def grubbs_limit(n: int, alpha: float) -> float:
    """Largest |value − mean|/sd by chance among ``n``, two-sided (Grubbs 1969; ISO 5725-2, 7.3.4)."""
    t = t_quantile(1 - alpha / (2 * n), n - 2)
    return (n - 1) / float(np.sqrt(n)) * float(np.sqrt(t**2 / (n - 2 + t**2)))


# Predictions ----------------------------------------------------------------------------------------------


def prediction_limit(mean: float, sd: float, u_mean: float, df: float, share: float) -> float:
    """What this share of new observations do not exceed.

    Parameters
    ----------
    mean, u_mean : float
        The estimated mean and its standard uncertainty.
    sd : float
        Standard deviation of single observations about the mean.
    df : float
        Degrees of freedom of ``sd``; infinite where it is known.
    share : float
        Above 0 and below 1; with 1 − p/2 and p/2 the two limits hold 1 − p of new observations.

    Returns
    -------
    float
        mean + t(share; df) · √(sd² + u_mean²), which for a plain sample, u_mean = sd/√n, is the familiar
        x̄ + t·s·√(1 + 1/n).

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 4.5.1.2 (prediction of a single future response).
    """
    return mean + t_quantile(share, df) * float(np.hypot(sd, u_mean))


# Verdicts' arithmetic -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Two one-sided tests: ``p`` of the harder one, and the interval whose place inside the margins says the
    same."""

    p_lower: float
    p_upper: float
    low: float
    high: float

    @property
    def p(self) -> float:
        return max(self.p_lower, self.p_upper)


def equivalence(
    estimate: float,
    standard_error: float,
    df: float,
    margins: tuple[float, float],
    *,
    alpha: float = 0.05,
) -> Equivalence:
    """Is a difference inside its margins? Two one-sided t tests.

    Parameters
    ----------
    estimate, standard_error : float
    df : float
        Degrees of freedom, infinite for the normal distribution.
    margins : (float, float)
        Lower and upper limit of what counts as no difference.
    alpha : float
        Level; the interval given has coverage 1 − 2·alpha.

    Raises
    ------
    EstimateError
        The standard error is not above zero, or the lower margin is not below the upper one.

    References
    ----------
    Schuirmann, D. J. (1987). A comparison of the two one-sided tests procedure and the power approach for
    assessing the equivalence of average bioavailability. Journal of Pharmacokinetics and Biopharmaceutics
    15, 657–680.
    """
    if not standard_error > 0:
        raise EstimateError(f"standard_error is {standard_error}; it must be above zero.")
    lower, upper = margins
    if not lower < upper:
        raise EstimateError(f"margins are {lower} and {upper}; the first must be below the second.")
    half = t_quantile(1 - alpha, df) * standard_error
    return Equivalence(
        p_lower=t_below(-(estimate - lower) / standard_error, df),
        p_upper=t_below((estimate - upper) / standard_error, df),
        low=estimate - half,
        high=estimate + half,
    )


def benjamini_hochberg(p: ArrayLike) -> FloatArray:
    """Adjusted p-values that hold the false discovery rate: reject those at or below the level wanted.

    Parameters
    ----------
    p : array_like of float, shape (n,)
        Between 0 and 1; NaN where there was no test, which stays NaN and counts as none.

    References
    ----------
    Benjamini, Y. and Hochberg, Y. (1995). Controlling the false discovery rate. Journal of the Royal
    Statistical Society B 57, 289–300.
    """
    values = np.asarray(p, dtype=np.float64)
    known = np.flatnonzero(~np.isnan(values))
    if ((values[known] < 0) | (values[known] > 1)).any():
        raise EstimateError("p holds a value outside 0 to 1.")
    order = known[np.argsort(values[known], kind="stable")]
    m = len(order)
    stepped = values[order] * m / np.arange(1, m + 1)
    adjusted = np.full_like(values, np.nan)
    adjusted[order] = np.minimum(np.minimum.accumulate(stepped[::-1])[::-1], 1.0)
    return adjusted
