"""The whole numbers that would put it right.

Which number to change: among those a dimension depends on, the one that moves the fewest other finished
measurements (by more than a tenth of their tolerance); among equals one that the dimension's own formula uses,
then the one nearest to the dimension in dependency order. A number whose change pushes another measurement out
of its tolerance comes after all that do not, and says which it would harm; every count keeps its multiple.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from testround.kernel.sheet import GaugeColumns, Inputs, Sheet

FloatArray = NDArray[np.float64]

BySize = dict[str, float]

MOVED = 0.1
"""Share of its tolerance by which another measurement may move and count as left alone."""
FURTHEST = 0.6
"""A count that would have to change by more than this share of itself is not the one behind the fault."""


@dataclass(frozen=True, slots=True)
class Correction:
    """What to print instead.

    ``now`` and ``proposed`` by size, for the number ``number``; ``follows`` holds what other numbers become,
    by number and size, where they change. ``left`` is the deviation that remains, cm, by size. ``harmed`` are
    other dimensions that the change would push beyond their tolerance.
    """

    number: str
    now: BySize
    proposed: BySize
    follows: dict[str, BySize]
    left: BySize
    harmed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GaugeCorrection:
    """The gauge to print, per 10 cm to the half, and what every number that depends on it becomes."""

    now: BySize
    proposed: BySize
    follows: dict[str, BySize]


def numbers_now(
    sheet: Sheet, instead: Mapping[str, Mapping[str, float]] | None = None
) -> dict[str, FloatArray]:
    """What the text says, by number and size: printed, else computed; ``instead`` puts misprints right."""
    stated = sheet.stated()
    given = {key: value.copy() for key, value in sheet.printed_numbers().items()}
    for key, by_size in (instead or {}).items():
        for size, value in by_size.items():
            given[key][sheet.pattern.sizes.index(size)] = value
    return sheet.numbers(stated, given)


def correct_dimension(
    sheet: Sheet,
    dimension: str,
    deviation: Mapping[str, float],
    *,
    misprints: Mapping[str, Mapping[str, float]] | None = None,
    welcome: Mapping[str, Mapping[str, float]] | None = None,
) -> Correction | None:
    """The smallest change of one number that brings a dimension to its target in every affected size.

    Parameters
    ----------
    sheet : Sheet
        A graded pattern's.
    dimension : str
    deviation : mapping of size to float
        By how much pieces come out off, cm, in the sizes to put right.
    misprints : mapping of number to size to count, optional
        Printed counts that are wrong anyway, and what they should be.
    welcome : mapping of dimension to size to float, optional
        Deviations of other dimensions, cm, which a change may reduce.

    Returns
    -------
    Correction or None
        None when no number reaches it with a change that could be meant.
    """
    if not sheet.pattern.is_graded or not deviation:
        return None
    stated = sheet.stated()
    now = numbers_now(sheet, misprints)
    index = [sheet.pattern.sizes.index(size) for size in deviation]
    wanted = np.zeros(stated.n)
    wanted[index] = [-value for value in deviation.values()]
    behind = [number.key for number in sheet.pattern.numbers if dimension in sheet.follows(number.key)]
    direct = set(sheet.uses(dimension))
    best: tuple[tuple[int, int, int, int], Correction] | None = None
    for position, key in enumerate(behind):
        tried = _try(sheet, stated, now, key, dimension, wanted, index, welcome or {})
        if tried is None:
            continue
        moved, correction = tried
        # Later numbers stand nearer to the dimension.
        rank = (len(correction.harmed), moved, 0 if key in direct else 1, -position)
        if best is None or rank < best[0]:
            best = (rank, correction)
    return best[1] if best else None


def _try(
    sheet: Sheet,
    stated: Inputs,
    now: Mapping[str, FloatArray],
    key: str,
    dimension: str,
    wanted: FloatArray,
    index: Sequence[int],
    welcome: Mapping[str, Mapping[str, float]],
) -> tuple[int, Correction] | None:
    """How many other dimensions this number would move, and the correction; None when it will not do."""
    pattern = sheet.pattern
    of, plus = sheet.multiple_of(key) or (1.0, 0.0)
    before = sheet.dimensions(stated, now)
    one_more = _with(sheet, stated, now, key, now[key] + of)
    lever = (sheet.dimensions(stated, one_more)[dimension] - before[dimension]) / of
    if np.any(np.abs(lever[index]) < 1e-9):
        return None
    aim = now[key].copy()
    aim[index] += wanted[index] / lever[index]
    if not np.all(np.isfinite(aim)):
        return None
    guess = np.round((aim - plus) / of) * of + plus
    # The lever may bend: look at the neighbours too, nearest to the target first, then the smaller change.
    choices = []
    for step in (0.0, -of, of):
        count = now[key].copy()
        count[index] = guess[index] + step
        reached = sheet.dimensions(stated, _with(sheet, stated, now, key, count))[dimension]
        miss = np.abs(reached - before[dimension] - wanted)
        choices.append((np.round(miss, 9), np.abs(count - now[key]), count))
    proposed = now[key].copy()
    for j in index:
        proposed[j] = min(choices, key=lambda c: (c[0][j], c[1][j]))[2][j]
    change = np.abs(proposed - now[key])
    if (
        np.any(proposed[index] <= 0)
        or np.any(change > FURTHEST * np.abs(now[key]))
        or not change[index].any()
    ):
        return None
    numbers = _with(sheet, stated, now, key, proposed)
    if any(np.any(value < 0) for value in numbers.values()):
        return None
    after = sheet.dimensions(stated, numbers)
    moved, harmed = 0, []
    for other in pattern.dimensions:
        if other.key == dimension:
            continue
        shift = after[other.key] - before[other.key]
        off = np.array([welcome.get(other.key, {}).get(size, 0.0) for size in pattern.sizes])
        if np.any((np.abs(shift + off) > other.tolerance) & (np.abs(shift + off) > np.abs(off) + 1e-9)):
            harmed.append(other.key)
        if np.any((np.abs(shift) > MOVED * other.tolerance) & (np.abs(shift + off) > np.abs(off))):
            moved += 1
    sizes = pattern.sizes
    left = after[dimension] - before[dimension] - wanted
    return moved, Correction(
        number=key,
        now={sizes[j]: float(now[key][j]) for j in index},
        proposed={sizes[j]: float(proposed[j]) for j in index},
        follows={
            other: {sizes[j]: float(numbers[other][j]) for j in changed}
            for other in numbers
            if other != key and len(changed := np.flatnonzero(np.abs(numbers[other] - now[other]) > 1e-9))
        },
        left={sizes[j]: float(left[j]) for j in index},
        harmed=tuple(harmed),
    )


def _with(
    sheet: Sheet, stated: Inputs, now: Mapping[str, FloatArray], key: str, value: FloatArray
) -> dict[str, FloatArray]:
    """The sheet with one number changed: what depends on it is worked out again, the rest stands."""
    follows = set(sheet.follows(key))
    changed = value != now[key]
    given = {
        other: np.where(changed, np.nan, column) if other in follows else column
        for other, column in now.items()
    }
    given[key] = value
    return sheet.numbers(stated, given)


def correct_gauge(sheet: Sheet, gauge: str, axis: str, per_10cm: float) -> GaugeCorrection:
    """The gauge to print, to the half, and what every number that depends on it becomes in every size."""
    word = "stitches" if axis == "st" else "rows"
    stated = next(g for g in sheet.pattern.gauges if g.key == gauge)
    proposed = max(round(per_10cm * 2) / 2, 0.5)
    inputs = sheet.stated()
    columns = inputs.gauges[gauge]
    new = np.full(inputs.n, proposed / 10)
    instead = GaugeColumns(new, columns.row) if axis == "st" else GaugeColumns(columns.st, new)
    numbers = sheet.numbers(sheet.with_gauges(inputs, {gauge: instead}))
    follows = set(sheet.follows(f"{gauge}.{axis}"))
    return GaugeCorrection(
        now={word: stated.stitches if axis == "st" else stated.rows},
        proposed={word: proposed},
        follows={
            key: dict(zip(sheet.pattern.sizes, map(float, value), strict=True))
            for key, value in numbers.items()
            if key in follows and np.all(np.isfinite(value))
        },
    )
