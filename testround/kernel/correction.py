"""The whole numbers that would put it right.

Which number to change: among those a dimension depends on, the one that moves the fewest other finished
measurements (by more than a tenth of their tolerance); among equals one that the dimension's own formula uses,
then the one nearest to the dimension in dependency order. A number whose change pushes another measurement out
of its tolerance comes after all that do not, and says which it would harm; every count keeps its multiple.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
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
    gauges: Mapping[str, GaugeColumns] | None = None,
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
    gauges : mapping of gauge to GaugeColumns, optional
        Gauges to be printed instead of the stated ones: the counts proposed are for these.

    Returns
    -------
    Correction or None
        None when no number reaches it with a change that could be meant.
    """
    if not sheet.pattern.is_graded or not deviation:
        return None
    stated = sheet.stated()
    on_paper = now = numbers_now(sheet, misprints)
    if gauges:
        stated = sheet.with_gauges(stated, gauges)
        now = _at_gauges(sheet, stated, now, gauges)
    index = [sheet.pattern.sizes.index(size) for size in deviation]
    wanted = np.zeros(stated.n)
    wanted[index] = [-value for value in deviation.values()]
    behind = [number.key for number in sheet.pattern.numbers if dimension in sheet.follows(number.key)]
    if not behind:
        return None
    direct = set(sheet.uses(dimension))
    tries = _Tries(sheet, stated, now, behind)
    before = sheet.dimensions(stated, now)
    steps = np.array([sheet.multiple_of(key) or (1.0, 0.0) for key in behind]).reshape(-1, 2)
    of, plus = steps[:, :1], steps[:, 1:]
    text = np.array([now[key] for key in behind]).reshape(len(behind), stated.n)
    one_more = tries.dimensions(tries.numbers(text + of))[dimension]
    lever = (one_more - before[dimension]) / of
    with np.errstate(divide="ignore", invalid="ignore"):
        aim = np.where(wanted != 0, text + wanted / lever, text)
    guess = np.where(np.isfinite(aim), np.round((aim - plus) / of) * of + plus, text)
    # The lever may bend: the neighbours are tried too, nearest to the target first, then the smaller change.
    proposed, best_miss = text.copy(), np.full(text.shape, np.inf)
    for step in (0.0, -of, of):
        count = np.where(wanted != 0, guess + step, text)
        reached = tries.dimensions(tries.numbers(count))[dimension]
        miss = np.round(np.abs(reached - before[dimension] - wanted), 9)
        nearer = (miss < best_miss) | ((miss == best_miss) & (np.abs(count - text) < np.abs(proposed - text)))
        proposed, best_miss = np.where(nearer, count, proposed), np.where(nearer, miss, best_miss)
    numbers = tries.numbers(proposed)
    after = tries.dimensions(numbers)
    change = np.abs(proposed - text)
    usable = (
        (np.abs(lever[:, index]) > 1e-9).all(axis=1)
        & (proposed[:, index] > 0).all(axis=1)
        & (change <= FURTHEST * np.abs(text)).all(axis=1)
        & (change[:, index] > 0).any(axis=1)
        & ~np.any([((value < 0) & (now[key] >= 0)).any(axis=1) for key, value in numbers.items()], axis=0)
    )
    moved, harmed = _others(sheet, dimension, before, after, welcome or {}, len(behind))
    ranked = sorted(
        (len(harmed[c]), moved[c], 0 if key in direct else 1, -c)
        for c, key in enumerate(behind)
        # Later numbers stand nearer to the dimension.
        if usable[c]
    )
    if not ranked:
        return None
    c = -ranked[0][3]
    sizes = sheet.pattern.sizes
    left = after[dimension][c] - before[dimension] - wanted
    return Correction(
        number=behind[c],
        now={sizes[j]: float(on_paper[behind[c]][j]) for j in index},
        proposed={sizes[j]: float(proposed[c, j]) for j in index},
        follows={
            other: {sizes[j]: float(value[c, j]) for j in changed}
            for other, value in numbers.items()
            if other != behind[c] and len(changed := np.flatnonzero(np.abs(value[c] - now[other]) > 1e-9))
        },
        left={sizes[j]: float(left[j]) for j in index},
        harmed=harmed[c],
    )


def _at_gauges(
    sheet: Sheet, inputs: Inputs, now: Mapping[str, FloatArray], gauges: Mapping[str, GaugeColumns]
) -> dict[str, FloatArray]:
    """What the text will say once these gauges are printed; numbers that do not depend on them stand."""
    stated = sheet.stated().gauges
    moved: set[str] = set()
    for gauge, columns in gauges.items():
        for axis, new, old in (
            ("st", columns.st, stated[gauge].st),
            ("row", columns.row, stated[gauge].row),
        ):
            if np.any(new != old):
                moved.update(sheet.follows(f"{gauge}.{axis}"))
    return sheet.numbers(inputs, {key: value for key, value in now.items() if key not in moved})


def _others(
    sheet: Sheet,
    dimension: str,
    before: Mapping[str, FloatArray],
    after: Mapping[str, FloatArray],
    welcome: Mapping[str, Mapping[str, float]],
    n: int,
) -> tuple[list[int], list[tuple[str, ...]]]:
    """For each candidate: how many other dimensions it moves, and which it pushes out of tolerance."""
    moved, harmed = np.zeros(n, dtype=np.intp), [list[str]() for _ in range(n)]
    for other in sheet.pattern.dimensions:
        if other.key == dimension:
            continue
        shift = after[other.key] - before[other.key]
        off = np.array([welcome.get(other.key, {}).get(size, 0.0) for size in sheet.pattern.sizes])
        worse = np.abs(shift + off) > np.abs(off) + 1e-9
        moved += ((np.abs(shift) > MOVED * other.tolerance) & worse).any(axis=1)
        out = ((np.abs(shift + off) > other.tolerance) & worse).any(axis=1)
        for c in np.flatnonzero(out):
            harmed[c].append(other.key)
    return moved.tolist(), [tuple(keys) for keys in harmed]


class _Tries:
    """The sheet with one number changed, for several numbers at once: a block of sizes for each."""

    def __init__(
        self, sheet: Sheet, stated: Inputs, now: Mapping[str, FloatArray], keys: Sequence[str]
    ) -> None:
        self.sheet, self.now, self.keys = sheet, now, tuple(keys)
        self.follows = [set(sheet.follows(key)) for key in keys]
        self.n = stated.n
        tiled = {
            gauge: GaugeColumns(np.tile(columns.st, len(self.keys)), np.tile(columns.row, len(self.keys)))
            for gauge, columns in stated.gauges.items()
        }
        self.inputs = sheet.with_gauges(sheet.stated([*sheet.pattern.sizes] * len(self.keys)), tiled)

    def numbers(self, values: FloatArray) -> dict[str, FloatArray]:
        """Every number, (keys, sizes); what depends on a changed one is worked out again, the rest stands."""
        given = {key: np.tile(column, (len(self.keys), 1)) for key, column in self.now.items()}
        for c, key in enumerate(self.keys):
            changed = values[c] != self.now[key]
            for other in self.follows[c]:
                if other in given:
                    given[other][c, changed] = np.nan
            given[key][c] = values[c]
        found = self.sheet.numbers(self.inputs, {key: table.ravel() for key, table in given.items()})
        return {key: column.reshape(len(self.keys), self.n) for key, column in found.items()}

    def dimensions(self, numbers: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        found = self.sheet.dimensions(self.inputs, {key: table.ravel() for key, table in numbers.items()})
        return {key: column.reshape(len(self.keys), self.n) for key, column in found.items()}


def gauges_to_print(sheet: Sheet, found: Mapping[tuple[str, str], float]) -> dict[str, GaugeColumns]:
    """The gauges to print, a column per size, from what testers get per 10 cm by gauge and axis; to the half."""
    inputs = sheet.stated()
    gauges: dict[str, GaugeColumns] = {}
    for (gauge, axis), per_10cm in found.items():
        columns = gauges.get(gauge, inputs.gauges[gauge])
        new = np.full(inputs.n, _to_the_half(per_10cm) / 10)
        gauges[gauge] = GaugeColumns(new, columns.row) if axis == "st" else GaugeColumns(columns.st, new)
    return gauges


def _to_the_half(per_10cm: float) -> float:
    return max(round(per_10cm * 2) / 2, 0.5)


def correct_gauge(
    sheet: Sheet,
    gauge: str,
    axis: str,
    per_10cm: float,
    *,
    gauges: Mapping[str, GaugeColumns] | None = None,
    said_elsewhere: Mapping[str, Container[str]] | None = None,
) -> GaugeCorrection:
    """The gauge to print, to the half, and what every number that depends on it becomes in every size.

    Parameters
    ----------
    sheet : Sheet
    gauge, axis : str
    per_10cm : float
        What testers get.
    gauges : mapping of gauge to GaugeColumns, optional
        All gauges to be printed in place of the stated ones, where there are others beside this.
    said_elsewhere : mapping of number to sizes, optional
        Counts that another correction gives for the new gauge; they are left out here.
    """
    word = "stitches" if axis == "st" else "rows"
    stated = next(g for g in sheet.pattern.gauges if g.key == gauge)
    inputs = sheet.stated()
    new = gauges or gauges_to_print(sheet, {(gauge, axis): per_10cm})
    numbers = sheet.numbers(sheet.with_gauges(inputs, new))
    follows = {}
    for key in sheet.follows(f"{gauge}.{axis}"):
        value = numbers.get(key)
        if value is not None and np.all(np.isfinite(value)):
            elsewhere = (said_elsewhere or {}).get(key, ())
            by_size = zip(sheet.pattern.sizes, map(float, value), strict=True)
            follows[key] = {size: count for size, count in by_size if size not in elsewhere}
    return GaugeCorrection(
        now={word: stated.stitches if axis == "st" else stated.rows},
        proposed={word: _to_the_half(per_10cm)},
        follows={key: counts for key, counts in follows.items() if counts},
    )
