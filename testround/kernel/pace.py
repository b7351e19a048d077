"""Yarn and hours: both scale with the stitches in the parts, and vary between people by a factor.

Metres per stitch and hours per stitch are taken as log-normal over testers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from testround.kernel.discrepancy import Discrepancies
from testround.kernel.estimate import algorithm_a, t_quantile
from testround.kernel.round import Tester, Yarn
from testround.kernel.sheet import Sheet

FloatArray = NDArray[np.float64]

NOT_RUN_OUT = 0.9
"""Share of makers for whom the amount printed is to be enough."""
LEAST_MAKERS = 3
AMOUNT_TOLERANCE = 0.1
"""Relative tolerance of an amount of yarn, and of hours below (common practice)."""
HOURS_TOLERANCE = 0.25
USUAL_SPREAD = {"yarn": 0.1, "hours": 0.25}
"""Spread between makers, relative, that a prior worth four of them brings into a small round (common
practice)."""
_PRIOR_MAKERS = 4


@dataclass(frozen=True, slots=True)
class Rate:
    """Metres or hours per stitch, on the log scale.

    ``mean`` and ``sd`` of the logs over ``makers``; ``low`` and ``high`` enclose the mean with 95 %.
    """

    mean: float
    sd: float
    makers: int
    low: float
    high: float

    def for_new_maker(self, share: float) -> float:
        """The rate that this share of new makers do not exceed (a prediction limit, Student's t)."""
        df = self.makers - 1 + _PRIOR_MAKERS
        width = t_quantile(share, df) * self.sd * float(np.sqrt(1 + 1 / self.makers))
        return float(np.exp(self.mean + width))


@dataclass(frozen=True, slots=True)
class Amount:
    """What the edition says of yarn or hours, against what making it took.

    ``relative`` is ln(taken / printed), with its 95 % interval; ``by_size`` what to print.
    """

    kind: str
    relative: float
    low: float
    high: float
    makers: int
    printed: dict[str, float]
    typical: dict[str, float]
    proposed: dict[str, float]


def _rate(per_stitch: Sequence[float], kind: str) -> Rate | None:
    logs = np.log([value for value in per_stitch if np.isfinite(value) and value > 0])
    if len(logs) < LEAST_MAKERS:
        return None
    robust = algorithm_a(logs)
    n = len(logs)
    prior = USUAL_SPREAD[kind]
    sd = float(np.sqrt((_PRIOR_MAKERS * prior**2 + (n - 1) * robust.sd**2) / (_PRIOR_MAKERS + n - 1)))
    half = t_quantile(0.975, n - 1 + _PRIOR_MAKERS) * sd / float(np.sqrt(n))
    return Rate(robust.mean, sd, n, robust.mean - half, robust.mean + half)


def metres_used(tester: Tester) -> float | None:
    """What a tester used, in metres; grams are turned into metres by the yarn's ball."""
    used, yarn = tester.yarn_used, tester.yarn
    if used is None:
        return None
    if used.metres is not None:
        return used.metres
    if used.grams is None or yarn is None or not yarn.metres_per_ball or not yarn.grams_per_ball:
        return None
    return used.grams * yarn.metres_per_ball / yarn.grams_per_ball


def hours_taken(tester: Tester, parts: Sequence[str]) -> float | None:
    """Hours of a piece that is done: every part brought to its end, or the whole measured."""
    if not tester.sittings:
        return None
    reached: dict[str, float] = {}
    for sitting in tester.sittings:
        if sitting.part is not None and sitting.done is not None:
            reached[sitting.part] = max(reached.get(sitting.part, 0.0), sitting.done)
    finished = all(reached.get(part, 0.0) >= 0.99 for part in parts) if reached else bool(tester.finished)
    return sum(sitting.hours for sitting in tester.sittings) if finished else None


def yarn_and_hours(
    sheet: Sheet, found: Discrepancies, testers: Sequence[Tester], supplied: Sequence[Yarn]
) -> tuple[Amount, ...]:
    """What the edition says of yarn and of hours against what the testers took; graded patterns only.

    Parameters
    ----------
    sheet : Sheet
    found : Discrepancies
        Gives every tester's worked counts, from which the stitches in the parts follow.
    testers : sequence of Tester
    supplied : sequence of Yarn
        The round's yarns, whose ball sets what is rounded up to.
    """
    pattern = sheet.pattern
    if not pattern.is_graded or not pattern.parts or not testers:
        return ()
    worked = sum(sheet.parts(found.inputs, found.worked).values())
    stated = sheet.stated()
    meant = sum(sheet.parts(stated, sheet.numbers(stated)).values())
    stitches: Mapping[str, float] = dict(zip(pattern.sizes, np.atleast_1d(meant), strict=True))
    mine = np.atleast_1d(np.asarray(worked, dtype=np.float64))
    keys = [part.key for part in pattern.parts]
    amounts = []
    for kind, printed, taken in (
        ("yarn", pattern.yarn, [metres_used(t) if _complete(t, keys) else None for t in testers]),
        ("hours", pattern.hours, [hours_taken(t, keys) for t in testers]),
    ):
        if not printed:
            continue
        rates = [
            value / float(total)
            for value, total in zip(taken, mine, strict=True)
            if value is not None and total > 0
        ]
        rate = _rate(rates, kind)
        usable = {size: value for size, value in printed.items() if stitches.get(size, 0) > 0}
        if rate is None or not usable:
            continue
        of_printed = float(np.mean([np.log(value / stitches[size]) for size, value in usable.items()]))
        typical = {size: float(np.exp(rate.mean)) * stitches[size] for size in usable}
        if kind == "yarn":
            ball = _ball(testers, supplied)
            enough = rate.for_new_maker(NOT_RUN_OUT)
            proposed = {size: float(np.ceil(enough * stitches[size] / ball - 1e-9)) * ball for size in usable}
        else:
            proposed = {size: float(max(round(value), 1)) for size, value in typical.items()}
        amounts.append(
            Amount(
                kind,
                rate.mean - of_printed,
                rate.low - of_printed,
                rate.high - of_printed,
                rate.makers,
                dict(usable),
                typical,
                proposed,
            )
        )
    return tuple(amounts)


def _complete(tester: Tester, parts: Sequence[str]) -> bool:
    """Yarn counts once the piece is done."""
    return bool(tester.finished) or hours_taken(tester, parts) is not None


def _ball(testers: Sequence[Tester], supplied: Sequence[Yarn]) -> float:
    """Metres in a ball to round up to: the supplied yarn's, else the testers' middle one, else 1."""
    own = [yarn.metres_per_ball for yarn in supplied if yarn.metres_per_ball]
    if not own:
        own = [t.yarn.metres_per_ball for t in testers if t.yarn and t.yarn.metres_per_ball]
    return float(np.median(own)) if own else 1.0
