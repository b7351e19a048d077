"""Every finished measurement taken apart: what the counts explain, what the gauge explains, what is left.

measured − target = counts + gauge + remainder, exactly, for all testers and dimensions at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from testround.kernel.estimate import algorithm_s
from testround.kernel.gauge import AXES, AxisName, OwnGauges, own_gauges
from testround.kernel.round import FabricState, Tester
from testround.kernel.sheet import GaugeColumns, Inputs, Sheet
from testround.kernel.units import INCH_CM

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]

READING_FLOOR = 0.5 / float(np.sqrt(3))
"""Least standard uncertainty of a finished measurement, cm: read to half a centimetre, rectangular."""
READING_FLOOR_INCHES = float(INCH_CM) / 4 / float(np.sqrt(3))
"""The same where it was read in inches, to a quarter."""

_STEP = 1e-4  # of ln(gauge), for the derivatives


@dataclass(frozen=True, slots=True)
class Discrepancies:
    """All testers by all dimensions, cm; NaN where something is unknown.

    Attributes
    ----------
    testers : tuple of str, length n
    sizes : array of int, (n,)
        Index of the tester's size, −1 for none.
    dimensions : tuple of str, length d
    axes : tuple of (gauge, "st" or "row"), length a
    target, after_counts, expected, measured : array of float, (n, d)
        T, C, E and M: what is meant; what the worked counts give at the stated gauge; what they give at own
        gauge; the mean of the readings.
    u_expected, u_measured : array of float, (n, d)
        Standard uncertainties of E, from the swatch, and of M, from the readings.
    sensitivity : array of float, (n, d, a)
        ∂E/∂ln(gauge), cm.
    u_gauge : array of float, (n, a)
        Relative uncertainty of every gauge as it was used for expected values of blocked pieces.
    own : OwnGauges
    inputs : Inputs
        What T is worked from: a column per tester at the stated gauge, for made-to-measure at their own.
    computed, printed, reported, worked : mapping of number to array of float, (n,)
        Each tester's numbers: by formula, as printed, as reported (NaN where not), and the one that counts.
    """

    testers: tuple[str, ...]
    sizes: IntArray
    dimensions: tuple[str, ...]
    axes: tuple[tuple[str, AxisName], ...]
    target: FloatArray
    after_counts: FloatArray
    expected: FloatArray
    measured: FloatArray
    u_expected: FloatArray
    u_measured: FloatArray
    sensitivity: FloatArray
    u_gauge: FloatArray
    own: OwnGauges
    inputs: Inputs
    computed: Mapping[str, FloatArray]
    printed: Mapping[str, FloatArray]
    reported: Mapping[str, FloatArray]
    worked: Mapping[str, FloatArray]

    @property
    def counts(self) -> FloatArray:
        """C − T."""
        return self.after_counts - self.target

    @property
    def gauge(self) -> FloatArray:
        """E − C."""
        return self.expected - self.after_counts

    @property
    def remainder(self) -> FloatArray:
        """M − E."""
        return self.measured - self.expected

    @property
    def uncertainty(self) -> FloatArray:
        """Standard uncertainty of the remainder."""
        return np.hypot(self.u_expected, self.u_measured)

    @property
    def known(self) -> BoolArray:
        """Where there is a whole cell: measured, and every part of the comparison computable."""
        return np.isfinite(self.measured) & np.isfinite(self.target) & np.isfinite(self.expected)


def discrepancies(sheet: Sheet, testers: Sequence[Tester]) -> Discrepancies:
    """Take every finished measurement of every tester apart.

    Parameters
    ----------
    sheet : Sheet
    testers : sequence of Tester, length n
        Readings of keys that the sheet does not have are passed over.

    Returns
    -------
    Discrepancies
        Of a made-to-measure pattern the stated gauge is the tester's own, so the gauge part is zero unless a
        piece was measured unblocked, which is expected at the unblocked gauge.

    References
    ----------
    JCGM 100:2008, 5.1.2: u²(E) = Σ (∂E/∂ln g)² u²(ln g) over stitches and rows of every gauge.
    """
    pattern = sheet.pattern
    n = len(testers)
    own = own_gauges(sheet, testers)
    at_size = {size: j for j, size in enumerate(pattern.sizes)}
    sizes = np.array([at_size.get(tester.size or "", -1) for tester in testers], dtype=np.intp)
    reported = _reported(sheet, testers)
    measured, u_measured, blocked = _measured(sheet, testers)

    if pattern.is_graded:
        stated = of_sizes(sheet, sizes)
        own_inputs = replace(stated, gauges=own.columns())
        printed = {key: _take(value, sizes) for key, value in sheet.printed_numbers().items()}
    else:
        stated = replace(sheet.made_for(testers), gauges=own.columns())
        own_inputs = stated
        printed = {number.key: np.full(n, np.nan) for number in pattern.numbers}
    unblocked_inputs = replace(stated, gauges=own.columns(blocked=False))

    computed = sheet.numbers(stated)
    given = {key: np.where(np.isnan(reported[key]), printed[key], reported[key]) for key in reported}
    worked = sheet.numbers(stated, given)
    target = _table(sheet, stated, computed, n)
    after_counts = _table(sheet, stated, worked, n)
    at_blocked, slopes_blocked = with_slopes(sheet, own_inputs, worked, n)
    expected, sensitivity = at_blocked, slopes_blocked
    n_axes = 2 * len(pattern.gauges)
    u_gauge = own.u_blocked.reshape(n, n_axes)
    u_squared = np.einsum("nda,na->nd", sensitivity**2, u_gauge**2)
    if not blocked.all():
        at_unblocked, slopes_unblocked = with_slopes(sheet, unblocked_inputs, worked, n)
        u_other = np.einsum("nda,na->nd", slopes_unblocked**2, own.u_worked.reshape(n, n_axes) ** 2)
        expected = np.where(blocked, expected, at_unblocked)
        u_squared = np.where(blocked, u_squared, u_other)
    return Discrepancies(
        testers=tuple(tester.id for tester in testers),
        sizes=sizes,
        dimensions=tuple(dimension.key for dimension in pattern.dimensions),
        axes=tuple((gauge.key, axis) for gauge in pattern.gauges for axis in AXES),
        target=target,
        after_counts=after_counts,
        expected=expected,
        measured=measured,
        u_expected=np.sqrt(u_squared),
        u_measured=u_measured,
        sensitivity=sensitivity,
        u_gauge=u_gauge,
        own=own,
        inputs=stated,
        computed=computed,
        printed=printed,
        reported=reported,
        worked=worked,
    )


def worked_out(sheet: Sheet, testers: Sequence[Tester]) -> list[dict[str, float]]:
    """What to keep of made-to-measure testers whose measures are to be deleted, so that every finding stays.

    Parameters
    ----------
    sheet : Sheet
        Of a made-to-measure pattern.
    testers : sequence of Tester, length n
        With all they sent: numbers follow from their own gauge too.

    Returns
    -------
    list of dict of key to float, length n
        For each tester the numbers as computed, in their own units, and in cm such measures as a dimension or a
        part names itself. With these in ``Tester.worked_out`` and no measures, :func:`discrepancies` is what it
        was. What cannot be computed is left out.
    """
    found = discrepancies(sheet, testers)
    named = {name for d in sheet.pattern.dimensions for name in sheet.uses(d.key)}
    named |= {name for part in sheet.pattern.parts for name in sheet.used_by_part(part.key)}
    columns = dict(found.computed)
    columns |= {key: column for key, column in found.inputs.measures.items() if key in named}
    return [
        {key: float(column[i]) for key, column in columns.items() if np.isfinite(column[i])}
        for i in range(len(testers))
    ]


def of_sizes(sheet: Sheet, sizes: IntArray) -> Inputs:
    """Stated inputs with a column per tester; NaN measures and gauges for one without a size."""
    every = sheet.stated()
    return Inputs(
        gauges={
            key: GaugeColumns(_take(gauge.st, sizes), _take(gauge.row, sizes))
            for key, gauge in every.gauges.items()
        },
        measures={key: _take(value, sizes) for key, value in every.measures.items()},
    )


def _take(by_size: FloatArray, sizes: IntArray) -> FloatArray:
    if not len(by_size):
        return np.full(len(sizes), np.nan)
    return np.where(sizes >= 0, by_size[np.maximum(sizes, 0)], np.nan)


def _table(sheet: Sheet, inputs: Inputs, numbers: Mapping[str, FloatArray], n: int) -> FloatArray:
    found = sheet.dimensions(inputs, numbers)
    columns = [found[dimension.key] for dimension in sheet.pattern.dimensions]
    return np.column_stack(columns) if columns else np.empty((n, 0))


def with_slopes(
    sheet: Sheet, inputs: Inputs, numbers: Mapping[str, FloatArray], n: int
) -> tuple[FloatArray, FloatArray]:
    """Every dimension, and its derivative by the log of every gauge, the counts standing still."""
    middle = _table(sheet, inputs, numbers, n)
    slopes = []
    for key in (gauge.key for gauge in sheet.pattern.gauges):
        gauge = inputs.gauges[key]
        for axis in AXES:
            moved = []
            for step in (_STEP, -_STEP):
                factor = np.exp(step)
                other = (
                    GaugeColumns(gauge.st * factor, gauge.row)
                    if axis == "st"
                    else GaugeColumns(gauge.st, gauge.row * factor)
                )
                moved.append(_table(sheet, sheet.with_gauges(inputs, {key: other}), numbers, n))
            slopes.append((moved[0] - moved[1]) / (2 * _STEP))
    return middle, np.nan_to_num(np.stack(slopes, axis=2))


def _reported(sheet: Sheet, testers: Sequence[Tester]) -> dict[str, FloatArray]:
    n = len(testers)
    reported = {number.key: np.full(n, np.nan) for number in sheet.pattern.numbers}
    for i, tester in enumerate(testers):
        for count in tester.counts:
            column = reported.get(count.number)
            if column is not None:
                column[i] = count.worked
    return reported


def _measured(sheet: Sheet, testers: Sequence[Tester]) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Mean of the readings, its uncertainty, and whether the piece was blocked; (n, d) each."""
    at = {dimension.key: j for j, dimension in enumerate(sheet.pattern.dimensions)}
    n, d = len(testers), len(at)
    cell: list[int] = []
    value: list[float] = []
    for i, tester in enumerate(testers):
        # Two slots per cell: unblocked at 0, blocked at 1.
        base = i * d
        for finished in tester.finished:
            j = at.get(finished.dimension)
            if j is not None:
                slot = 2 * (base + j) + (finished.state is FabricState.BLOCKED)
                for one in finished.values:
                    cell.append(slot)
                    value.append(one)
    slots = np.array(cell, dtype=np.intp)
    values = np.array(value, dtype=np.float64)
    size = 2 * n * d
    k = np.bincount(slots, minlength=size).astype(np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(slots, values, minlength=size) / k
        squares = np.bincount(slots, (values - mean[slots]) ** 2, minlength=size)
        # Repeatability pooled over everybody's repeats (ISO 5725-2:1994, 7.4), robustly, so that one mistyped
        # reading does not make everybody unsure; one person's own only from three readings on, for two say
        # little.
        own = np.sqrt(squares / np.maximum(k - 1, 1))
        again = k >= 2
        pooled = algorithm_s(own[again], k[again] - 1, least=READING_FLOOR) if again.any() else 0.0
        sd = np.where(k >= 3, own, pooled)
        inches = _in_inches(slots, values, size)
        u = np.maximum(np.where(inches, READING_FLOOR_INCHES, READING_FLOOR), sd / np.sqrt(k))
        u = np.where(k > 0, u, np.nan)
    k, mean, u = k.reshape(n, d, 2), mean.reshape(n, d, 2), u.reshape(n, d, 2)
    blocked = (k[:, :, 1] > 0) | (k[:, :, 0] == 0)
    pick = blocked.astype(np.intp)[:, :, None]
    return (
        np.take_along_axis(mean, pick, axis=2)[:, :, 0],
        np.take_along_axis(u, pick, axis=2)[:, :, 0],
        blocked,
    )


def _in_inches(slots: IntArray, values: FloatArray, size: int) -> BoolArray:
    """Cells whose readings are all whole eighths of an inch and not all whole half centimetres."""
    eighths, halves = values * 8 / float(INCH_CM), values * 2
    odd_inch = np.abs(eighths - np.round(eighths)) > 1e-6
    odd_cm = np.abs(halves - np.round(halves)) > 1e-6
    whole = np.bincount(slots, odd_inch, minlength=size) == 0
    return np.asarray(whole & (np.bincount(slots, odd_cm, minlength=size) > 0))
