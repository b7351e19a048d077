"""From estimates to verdicts: finished sizes, stated gauges, worked counts, remarks and fit.

A verdict is arithmetic on what was reported: outside tolerance with enough evidence is ``amend``, without it
``look-closer``; inside with the stated confidence is ``holds``; too little to say is ``open``.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from testround.kernel.consensus import Consensus, consensus
from testround.kernel.discrepancy import Discrepancies, with_slopes
from testround.kernel.estimate import benjamini_hochberg, t_quantile, two_sided_p
from testround.kernel.findings import Extent, Verdict
from testround.kernel.gauge import OwnGauges
from testround.kernel.pool import FAULT, Pooled, Shape
from testround.kernel.round import FitSays, RemarkKind, Tester
from testround.kernel.sheet import Sheet

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

DISCOVERY_RATE = 0.05
USUAL_GAUGE_SPREAD = (0.02, 0.04)
"""Relative standard deviation of makers' stitch and row gauges with one pattern: testers change tools until they
are within about half a stitch in 10 cm, and take the rows they get, about one more or less (common practice)."""
WORTH_MAKERS = 4.0
"""How many testers' swatches that is worth, beside those of the round."""
LEAST_TESTERS_OF_A_GAUGE = 3
UNJUDGED_GAUGE = 0.04
"""Relative tolerance of a gauge that no finished measurement depends on (common practice)."""
POWER = 0.8
"""How often the testers asked for are to be enough."""
MOST_NEEDED = 99
LEAST_VOTES = 2
FOLLOWING, BY_CHANCE = 0.85, 0.02
"""Share of testers who work what the text leads to, and of those who arrive at that very count by a slip of their
own (common practice)."""
ALMOST_PAID = -4.0
"""A shape other than a shift that comes this near to its price keeps a dimension from being said to hold."""


@dataclass(frozen=True, slots=True)
class DeviationCell:
    """The pattern's own deviation in one size and dimension, cm; ``size`` is None for made-to-measure.

    ``estimate``, ``low`` and ``high`` are None where the dimension was never measured; a size with no testers
    borrows them from the others. ``needs`` is how many further testers of that size would settle it.
    """

    size: str | None
    dimension: str
    target: float
    printed: float | None
    tolerance: float
    testers: int
    estimate: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    needs: int | None


@dataclass(frozen=True, slots=True)
class PooledGauge:
    """Testers' blocked gauges pooled, per 10 cm; ``tolerance`` is what the worst-hit dimension allows."""

    gauge: str
    axis: str
    stated: float
    estimate: float | None
    low: float | None
    high: float | None
    testers: int
    verdict: Verdict
    tolerance: float
    worst: str | None
    """The dimension that the difference hits hardest, in tolerances."""


@dataclass(frozen=True, slots=True)
class Judged:
    """One dimension judged as a whole."""

    dimension: int
    extent: Extent
    sizes: tuple[int, ...]
    verdict: Verdict
    estimate: float
    low: float
    high: float
    testers: int
    needs: dict[int, int] | None


def judge(estimate: float, half: float, tolerance: float, *, supported: bool, testers: int) -> Verdict:
    """The verdict on one deviation.

    Parameters
    ----------
    estimate, half, tolerance : float
        Deviation, half of its 95 % interval, and what is allowed, in one unit.
    supported : bool
        Whether the evidence has paid for being looked for among many (a shape that was taken in, or a test
        that holds with the false discovery rate kept).
    testers : int
        How many it rests on; one alone settles nothing.

    Returns
    -------
    Verdict

    References
    ----------
    Schuirmann, D. J. (1987): the deviation holds when its interval lies within the tolerance on both sides.
    """
    if not np.isfinite(estimate) or testers == 0:
        return Verdict.OPEN
    beyond = abs(estimate) > tolerance
    if beyond:
        clear = supported and abs(estimate) > half and testers >= 2
        return Verdict.AMEND if clear else Verdict.LOOK_CLOSER
    if abs(estimate) + half <= tolerance and testers >= 2:
        return Verdict.HOLDS
    return Verdict.OPEN


def needed(
    estimate: float, u: float, df: float, tolerance: float, information: float, price: float = 0.0
) -> int | None:
    """How many more testers would settle a deviation, four times in five, were it to stay where it is.

    Beyond tolerance it is settled when its evidence would outweigh the odds against it, within when its interval
    would fit inside the tolerance. None when no number would: it lies within and too near the limit, or a tester
    adds nothing.

    Parameters
    ----------
    estimate, u, tolerance : float
    df : float
    information : float
        What one more tester adds, 1/unit².
    price : float
        Twice the log of the odds against the deviation beforehand, as in :class:`~testround.kernel.pool.Pooled`.

    Returns
    -------
    int or None
        At most ``MOST_NEEDED``, which stands for that many or more.

    References
    ----------
    Cohen, J. (1988). Statistical Power Analysis for the Behavioral Sciences, 2nd edition, 2.4 (a power of 0.8).
    """
    if information <= 0 or not np.isfinite(u):
        return None
    more = np.arange(1, MOST_NEEDED + 1)
    error = (u**-2 + more * information) ** -0.5
    freedom = df + more
    wanted = special.stdtrit(freedom, 0.975)
    room = abs(estimate)
    if room > tolerance:
        # The gain that pays for a shape, as pool() reckons it, turned back into standard errors.
        odds = price + np.log1p((FAULT * tolerance / error) ** 2)
        wanted = np.maximum(wanted, np.sqrt(freedom * np.expm1(odds / freedom)))
    else:
        room = tolerance - room
    reached = room / error >= wanted + special.ndtri(POWER)
    if abs(estimate) > tolerance:
        # The next estimate is to lie beyond the tolerance as well.
        reached &= (room - tolerance) / error >= special.ndtri(POWER)
    enough = np.flatnonzero(reached)
    if len(enough):
        return int(more[enough[0]])
    return MOST_NEEDED if abs(estimate) > tolerance else None


# Finished sizes -------------------------------------------------------------------------------------------


def judge_dimensions(pooled: Pooled, tolerance: FloatArray, n_sizes: int) -> tuple[Judged, ...]:
    """Every dimension that was measured, judged as a whole, in sheet order.

    A dimension with a shape is judged by the sizes concerned, one without by its shift. The false discovery
    rate over the round's dimensions is kept at 5 % (Benjamini and Hochberg 1995).
    """
    d_all = len(tolerance)
    p = np.full(d_all, np.nan)
    parts: list[_Part | None] = []
    for d in range(d_all):
        if not np.isfinite(pooled.shift[d]):
            parts.append(None)
            continue
        shapes = [shape for shape in pooled.shapes if shape.dimension == d]
        wrong = _part(pooled, d, shapes, float(tolerance[d]), n_sizes)
        parts.append(wrong)
        p[d] = two_sided_p(wrong.estimate / max(wrong.u, 1e-12), float(pooled.df[d]))
    q = benjamini_hochberg(np.minimum(p, 1.0))
    found = []
    for d, part in enumerate(parts):
        if part is None:
            continue
        sizes, estimate, u = part.sizes, part.estimate, part.u
        half = t_quantile(0.975, float(pooled.df[d])) * u
        shaped = any(shape.dimension == d for shape in pooled.shapes)
        supported = shaped and bool(q[d] <= DISCOVERY_RATE)
        testers = int(pooled.testers[list(sizes), d].sum())
        verdict = judge(estimate, half, float(tolerance[d]), supported=supported, testers=testers)
        # A shift that nearly pays is in the estimate and its interval already; what is uneven may not be.
        doubtful = not shaped and pooled.uneven[d] > ALMOST_PAID
        if verdict is Verdict.HOLDS and (doubtful or not _all_hold(pooled, d, float(tolerance[d]))):
            verdict = Verdict.OPEN
        needs = None
        if verdict in (Verdict.LOOK_CLOSER, Verdict.OPEN):
            more = needed(
                estimate,
                u,
                float(pooled.df[d]),
                float(tolerance[d]),
                float(pooled.information[0, d]),
                float(pooled.price[d]),
            )
            needs = _spread(more, sizes, pooled.testers[:, d]) if more else None
        found.append(
            Judged(d, part.extent, sizes, verdict, estimate, estimate - half, estimate + half, testers, needs)
        )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Part:
    """What is wrong with one dimension, cm: where, how far, and how surely."""

    extent: Extent
    sizes: tuple[int, ...]
    estimate: float
    u: float


def _part(pooled: Pooled, d: int, shapes: Sequence[Shape], tolerance: float, n_sizes: int) -> _Part:
    every = tuple(range(n_sizes))
    profile, u = pooled.estimate[:, d], pooled.u[:, d]
    kinds = {shape.kind for shape in shapes}
    if kinds <= {"shift"}:
        return _Part(Extent.ALL_SIZES, every, float(pooled.shift[d]), float(pooled.u_shift[d]))
    worst = int(np.argmax(np.abs(profile)))
    same_side = np.sign(profile) == np.sign(profile[worst])
    beyond = tuple(int(s) for s in np.flatnonzero((np.abs(profile) > tolerance) & same_side))
    if "growth" in kinds:
        return _Part(Extent.WITH_SIZE, beyond or every, float(profile[worst]), float(u[worst]))
    if "shift" in kinds and len(beyond) == n_sizes:
        return _Part(Extent.ALL_SIZES, every, float(pooled.shift[d]), float(pooled.u_shift[d]))
    concerned = sorted({s for shape in shapes if shape.kind == "some" for s in shape.sizes})
    if "shift" in kinds and beyond:
        concerned = list(beyond)
    measured = [s for s in concerned if pooled.testers[s, d] > 0] or concerned
    # No gain from averaging sizes is claimed: they share what is uncertain.
    return _Part(
        Extent.SOME_SIZES,
        tuple(concerned),
        float(profile[measured].mean()),
        float(u[measured].mean()),
    )


def _all_hold(pooled: Pooled, d: int, tolerance: float) -> bool:
    half = pooled.half_width()[:, d]
    with_testers = pooled.testers[:, d] > 0
    return bool((np.abs(pooled.estimate[:, d]) + half)[with_testers].max(initial=0) <= 1.25 * tolerance)


def _spread(more: int, sizes: Sequence[int], testers: NDArray[np.intp]) -> dict[int, int]:
    """Share out further testers over sizes, always to the one with the fewest."""
    have = {s: int(testers[s]) for s in sizes}
    asked: Counter[int] = Counter()
    for _ in range(more):
        s = min(have, key=lambda s: (have[s], s))
        have[s] += 1
        asked[s] += 1
    return dict(sorted(asked.items()))


def deviation_cells(
    sheet: Sheet, found: Discrepancies, pooled: Pooled, judged: Sequence[Judged], sizes: Sequence[str | None]
) -> tuple[DeviationCell, ...]:
    """Every size and dimension, sizes within dimensions."""
    pattern = sheet.pattern
    by_dimension = {one.dimension: one for one in judged}
    half = pooled.half_width()
    if pattern.is_graded:
        stated = sheet.stated()
        targets = sheet.dimensions(stated, sheet.numbers(stated))
        printed = sheet.printed_dimensions()
    else:
        means = _column_means(found.target)
        targets = {d.key: means[[j]] for j, d in enumerate(pattern.dimensions)}
        printed = {d.key: np.full(1, np.nan) for d in pattern.dimensions}
    cells = []
    for j, dimension in enumerate(pattern.dimensions):
        whole = by_dimension.get(j)
        for s, size in enumerate(sizes):
            target, tolerance = float(targets[dimension.key][s]), dimension.tolerance
            testers = int(pooled.testers[s, j])
            estimate, width = float(pooled.estimate[s, j]), float(half[s, j])
            known = bool(np.isfinite(estimate))
            named = whole is not None and whole.verdict is Verdict.AMEND and s in whole.sizes
            # A size without testers is never judged on its own, only as part of a finding that names it.
            rests_on = testers if testers else (whole.testers if named and whole else 0)
            verdict = judge(
                estimate,
                width,
                tolerance,
                supported=named,
                testers=max(rests_on, 2) if named else rests_on,
            )
            needs = None
            if known and verdict in (Verdict.LOOK_CLOSER, Verdict.OPEN):
                needs = needed(
                    estimate,
                    float(pooled.u[s, j]),
                    float(pooled.df[j]),
                    tolerance,
                    float(pooled.information[s, j]),
                    float(pooled.price[j]),
                )
            on_paper = float(printed[dimension.key][s])
            cells.append(
                DeviationCell(
                    size=size,
                    dimension=dimension.key,
                    target=target,
                    printed=on_paper if np.isfinite(on_paper) else None,
                    tolerance=tolerance,
                    testers=testers,
                    estimate=estimate if known else None,
                    low=estimate - width if known else None,
                    high=estimate + width if known else None,
                    verdict=verdict,
                    needs=needs,
                )
            )
    return tuple(cells)


def _column_means(values: FloatArray) -> FloatArray:
    count = np.isfinite(values).sum(axis=0)
    total = np.where(np.isfinite(values), values, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


# Stated gauges --------------------------------------------------------------------------------------------


def judge_gauges(sheet: Sheet, own: OwnGauges, set_aside: BoolArray) -> tuple[PooledGauge, ...]:
    """Testers' blocked gauges, pooled, against the stated ones.

    Parameters
    ----------
    sheet : Sheet
    own : OwnGauges
    set_aside : array of bool, (testers, gauges, 2)
        Swatches that are themselves in question.

    Notes
    -----
    A difference is judged by what it does to the dimension it hits hardest, in tolerances. The mean is that of
    :func:`~testround.kernel.consensus.consensus`: an interval from the testers' own spread alone (Hartung and
    Knapp 2001) is so wide with three or four that a plain fault could not be said.
    """
    pattern = sheet.pattern
    limits = _gauge_limits(sheet)
    measured = own.measured & ~set_aside
    means = []
    for k, gauge in enumerate(pattern.gauges):
        for a, (axis, stated) in enumerate((("st", gauge.stitches), ("row", gauge.rows))):
            use = measured[:, k, a]
            logs = np.log(own.blocked[use, k, a] * 10 / stated)
            limit, worst = limits[k, a]
            mean = None
            if len(logs):
                variances = own.u_blocked[use, k, a] ** 2
                mean = consensus(logs, variances, usual=USUAL_GAUGE_SPREAD[a], worth=WORTH_MAKERS)
            means.append(_AxisMean(gauge.key, axis, stated, limit, worst, len(logs), mean))
    q = benjamini_hochberg(np.array([one.p for one in means]))
    return tuple(
        _judged_gauge(one, supported=bool(q_one <= DISCOVERY_RATE), graded=pattern.is_graded)
        for one, q_one in zip(means, q, strict=True)
    )


@dataclass(frozen=True, slots=True)
class _AxisMean:
    """One axis of a gauge: what is stated, how far off is allowed, and what testers have.

    ``limit`` is relative; ``mean`` is of the logarithm of their gauges over the stated one, None without any.
    """

    gauge: str
    axis: str
    stated: float
    limit: float
    worst: str | None
    testers: int
    mean: Consensus | None

    @property
    def p(self) -> float:
        """How likely such a mean is where the stated gauge is right."""
        return float("nan") if self.mean is None else self.mean.p


def _judged_gauge(one: _AxisMean, *, supported: bool, graded: bool) -> PooledGauge:
    tolerance = one.stated * one.limit
    if one.mean is None:
        return PooledGauge(
            one.gauge, one.axis, one.stated, None, None, None, 0, Verdict.OPEN, tolerance, one.worst
        )
    mean, half = one.mean.mean, max(one.mean.high - one.mean.mean, one.mean.mean - one.mean.low)
    enough = supported and one.testers >= LEAST_TESTERS_OF_A_GAUGE
    verdict = judge(mean, half, one.limit, supported=enough, testers=one.testers)
    if not graded and verdict is not Verdict.OPEN:
        # Everybody's numbers follow their own gauge, so that the stated one decides nothing.
        verdict = Verdict.HOLDS
    return PooledGauge(
        gauge=one.gauge,
        axis=one.axis,
        stated=one.stated,
        estimate=one.stated * float(np.exp(mean)),
        low=one.stated * float(np.exp(one.mean.low)),
        high=one.stated * float(np.exp(one.mean.high)),
        testers=one.testers,
        verdict=verdict,
        tolerance=tolerance,
        worst=one.worst,
    )


def _gauge_limits(sheet: Sheet) -> dict[tuple[int, int], tuple[float, str | None]]:
    """By gauge and axis: the relative difference at which a dimension leaves its tolerance, and which."""
    pattern = sheet.pattern
    limits: dict[tuple[int, int], tuple[float, str | None]] = {
        (k, a): (UNJUDGED_GAUGE, None) for k in range(len(pattern.gauges)) for a in range(2)
    }
    if not pattern.is_graded or not pattern.dimensions:
        return limits
    stated = sheet.stated()
    numbers = sheet.numbers(stated, sheet.printed_numbers())
    slopes = with_slopes(sheet, stated, numbers, len(pattern.sizes))[1]
    tolerance = np.array([d.tolerance for d in pattern.dimensions])
    per_tolerance = np.abs(slopes) / tolerance[None, :, None]
    steepest = per_tolerance.max(axis=0)
    for k, a in limits:
        column = steepest[:, 2 * k + a]
        d = int(np.argmax(column))
        if column[d] > 1e-9:
            limits[k, a] = (1 / float(column[d]), pattern.dimensions[d].key)
    return limits


# Worked counts --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Agreed:
    """A count that testers arrive at and the text does not give; ``offset`` is from what is printed."""

    number: str
    offset: float
    sizes: tuple[int, ...]
    extent: Extent
    votes: int
    reports: int
    testers: tuple[int, ...]
    silent: tuple[int, ...]
    """Testers of those sizes who did not report that count, whose pieces say nothing of what follows."""


def worked_counts(
    sheet: Sheet, found: Discrepancies, misprinted: Mapping[str, Mapping[str, float]]
) -> tuple[Agreed, ...]:
    """Numbers at which several testers arrive at one other count: the text's fault, where one is a slip.

    Parameters
    ----------
    sheet : Sheet
    found : Discrepancies
    misprinted : mapping of number to size to computed value
        What the desk check found already: testers who work the computed count there are right.

    Notes
    -----
    An offset is agreed when at least two testers have it and they are most of those who reported the number:
    in all sizes, in a run of neighbouring sizes, or in some. Two of different sizes are not enough for less than
    all. An offset that follows from one in a number before is not counted twice.
    """
    agreed: list[Agreed] = []
    n_sizes = max(len(sheet.pattern.sizes), 1)
    size_of = np.maximum(found.sizes, 0)
    offsets = _offsets(sheet, found, misprinted)
    for number in sheet.pattern.numbers:
        key = number.key
        offset = offsets[key]
        have = np.flatnonzero(np.isfinite(offset))
        if not _vote(offset, have, size_of, n_sizes):
            continue
        # Only now is it worth asking whether an earlier number explains it.
        own = np.where(np.round(offset - _explained(sheet, found, offsets, key), 6) != 0, offset, 0.0)
        own = np.where(np.isfinite(offset), own, np.nan)
        for one, sizes in _vote(own, have, size_of, n_sizes):
            inside = set(sizes)
            here = np.isin(size_of, sizes)
            reported = np.isfinite(offset)
            votes = np.flatnonzero(here & (own == one))
            agreed.append(
                Agreed(
                    number=key,
                    offset=one,
                    sizes=sizes,
                    extent=Extent.ALL_SIZES if len(inside) == n_sizes else Extent.SOME_SIZES,
                    votes=len(votes),
                    reports=int((here & reported).sum()),
                    testers=tuple(votes.tolist()),
                    silent=tuple(np.flatnonzero(here & ~reported).tolist()),
                )
            )
    return tuple(agreed)


def _offsets(
    sheet: Sheet, found: Discrepancies, misprinted: Mapping[str, Mapping[str, float]]
) -> dict[str, FloatArray]:
    """Reported less what the text says, or what it should say where it is misprinted; NaN where not reported."""
    offsets = {}
    for key, reported in found.reported.items():
        printed = found.printed[key]
        text = np.where(np.isnan(printed), found.computed[key], printed)
        offset = np.round(reported - text, 6)
        # A formula may come out at a broken stitch, which nobody can work.
        broken = np.abs(text - np.round(text)) > 1e-6
        offset = np.where(broken & (np.abs(offset) < 1), 0.0, offset)
        for size, computed in misprinted.get(key, {}).items():
            s = sheet.pattern.sizes.index(size)
            # Whoever comes nearer to what should be printed has put the misprint right, and is held against that.
            whole = abs(computed - round(computed)) <= 1e-6
            instead = np.round(reported - computed, 6)
            instead = np.where(~np.bool_(whole) & (np.abs(instead) < 1), 0.0, instead)
            offset = np.where((found.sizes == s) & (np.abs(instead) < np.abs(offset)), instead, offset)
        offsets[key] = offset
    return offsets


def _vote(
    offset: FloatArray, have: NDArray[np.intp], size_of: NDArray[np.intp], n_sizes: int
) -> list[tuple[float, tuple[int, ...]]]:
    """Offsets that enough testers share, and the sizes in which they do."""
    values, votes = np.unique(offset[have][offset[have] != 0], return_counts=True)
    if not len(values) or votes.max() < LEAST_VOTES:
        return []
    # Whoever arrived alone at a count of their own has slipped, and says nothing of the others.
    shared = values[votes >= LEAST_VOTES]
    counted = have[np.isin(offset[have], np.append(shared, 0.0))]
    reports = np.bincount(size_of[counted], minlength=n_sizes)
    agreed = []
    for one in shared.tolist():
        agreeing = np.bincount(size_of[have[offset[have] == one]], minlength=n_sizes)
        sizes = _led_astray(agreeing, reports)
        if sizes:
            agreed.append((one, sizes))
    return agreed


def _led_astray(votes: NDArray[np.intp], reports: NDArray[np.intp]) -> tuple[int, ...]:
    """The sizes whose testers the text leads to another count: all, a run of neighbours, those that vote, or none.

    Whichever is likeliest, when most of those led do as the text says and hardly anybody else arrives there; all
    sizes being as likely beforehand as all runs together, and these as likely as every other set.
    """
    n = len(reports)
    led = votes * np.log(FOLLOWING) + (reports - votes) * np.log(1 - FOLLOWING)
    astray = votes * np.log(BY_CHANCE) + (reports - votes) * np.log(1 - BY_CHANCE)
    gain = led - astray
    by_vote = (votes >= LEAST_VOTES) & (2 * votes > reports)
    runs = [(first, last + 1) for first in range(n) for last in range(first, n) if last - first + 1 < n]
    # A size that nobody reported tells nothing, so a run begins and ends at one that votes.
    runs = [(first, end) for first, end in runs if votes[first] and votes[end - 1]]
    every = n * (n + 1) / 2
    choices = [(float(gain.sum()), tuple(range(n)))]
    choices += [(float(gain[a:b].sum() - np.log(every)), tuple(range(a, b))) for a, b in runs]
    choices.append((float(gain[by_vote].sum() - n * np.log(2)), tuple(np.flatnonzero(by_vote).tolist())))
    for gained, sizes in sorted(choices, key=lambda choice: (-choice[0], -len(choice[1]))):
        inside = list(sizes)
        agreeing = int(votes[inside].sum())
        enough = (
            by_vote[inside].any() or agreeing > LEAST_VOTES or (len(sizes) == n and agreeing == LEAST_VOTES)
        )
        if gained > 0 and enough and 2 * agreeing > reports[inside].sum():
            return sizes
    return ()


def _explained(sheet: Sheet, found: Discrepancies, offsets: Mapping[str, FloatArray], key: str) -> FloatArray:
    """How far a number is moved by what each tester worked otherwise in the numbers before it."""
    before = {
        other: np.where(np.nan_to_num(offset) != 0, found.computed[other] + offset, np.nan)
        for other, offset in offsets.items()
        if other != key and key in sheet.follows(other) and np.any(np.nan_to_num(offset) != 0)
    }
    if not before:
        return np.zeros(len(found.testers))
    return np.nan_to_num(sheet.numbers(found.inputs, before)[key] - found.computed[key])


# Remarks and fit ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Gathered:
    """Remarks of several testers at one place in the text."""

    place: str
    testers: tuple[str, ...]
    kinds: tuple[str, ...]


def gathered_remarks(testers: Sequence[Tester]) -> tuple[Gathered, ...]:
    """Places that at least two testers stumbled over; remarks about fit are not about the text."""
    at: dict[str, list[tuple[str, str, str]]] = defaultdict(list)
    for tester in testers:
        for remark in tester.remarks:
            if remark.place and remark.kind is not RemarkKind.FIT:
                name = " ".join(remark.place.split())
                at[name.casefold().rstrip(".")].append((name, tester.id, remark.kind.value))
    found = []
    for said in at.values():
        people = sorted({tester for _, tester, _ in said})
        if len(people) >= 2:
            name = min(Counter(place for place, _, _ in said).items(), key=lambda c: (-c[1], c[0]))[0]
            kinds = sorted({kind for _, _, kind in said})
            found.append(Gathered(name, tuple(people), tuple(kinds)))
    return tuple(sorted(found, key=lambda g: g.place))


@dataclass(frozen=True, slots=True)
class FitSaid:
    """Several testers of one size find one dimension too small or too large."""

    dimension: str
    says: FitSays
    sizes: tuple[str, ...]
    testers: int


def fit_said(sheet: Sheet, testers: Sequence[Tester]) -> tuple[FitSaid, ...]:
    """Dimensions that at least two testers of a size, and most of those who said, do not find right."""
    order = sheet.pattern.sizes or ("",)
    heard: dict[tuple[str, str], list[FitSays]] = defaultdict(list)
    for tester in testers:
        last = {fit.dimension: fit.says for fit in tester.fit}
        for key, one in last.items():
            heard[key, tester.size or ""].append(one)
    hits: dict[tuple[str, FitSays], list[tuple[str, int]]] = defaultdict(list)
    for (key, size), said in heard.items():
        for one in (FitSays.TOO_SMALL, FitSays.TOO_LARGE):
            k = said.count(one)
            if k >= 2 and 2 * k > len(said) and size in order:
                hits[key, one].append((size, k))
    found = []
    for dimension in sheet.pattern.dimensions:
        for one in (FitSays.TOO_SMALL, FitSays.TOO_LARGE):
            where = sorted(hits.get((dimension.key, one), ()), key=lambda w: order.index(w[0]))
            if where:
                sizes = tuple(size for size, _ in where if size)
                found.append(FitSaid(dimension.key, one, sizes, sum(k for _, k in where)))
    return tuple(found)
