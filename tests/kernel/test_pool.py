"""The pooled estimate on tables made by hand, without a sheet or a swatch."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from testround.kernel.pool import Pooled, Remainders, Shape, pool

SIZES = 5


def remainders(seed: int, n: int = 20, dimensions: int = 6, **more: Any) -> Remainders:
    """Half of the dimensions follow stitches and half rows; nothing is wrong with the pattern."""
    rng = np.random.default_rng(seed)
    sensitivity = np.zeros((n, dimensions, 2))
    sensitivity[:, ::2, 0] = -50.0
    sensitivity[:, 1::2, 1] = -50.0
    theta = rng.normal(0, 0.02, (n, 2))
    values = np.einsum("nda,na->nd", sensitivity, theta) + rng.normal(0, 0.4, (n, dimensions))
    given = {
        "values": values,
        "u_measured": np.full((n, dimensions), 0.29),
        "sensitivity": sensitivity,
        "u_gauge": np.full((n, 2), 0.015),
        "sizes": np.arange(n) % SIZES,
        "n_sizes": SIZES,
        "expected": np.full(dimensions, 50.0),
        "tolerance": np.full(dimensions, 2.0),
    }
    return Remainders(**{**given, **more})


def with_fault(seed: int, dimension: int, by_size: list[float], n: int = 20) -> Pooled:
    cells = remainders(seed, n)
    cells.values[:, dimension] += np.array(by_size)[cells.sizes]
    return pool(cells)


@pytest.mark.parametrize("seed", range(8))
def test_nothing_is_taken_in_where_nothing_is_wrong(seed):
    found = pool(remainders(seed))

    assert found.shapes == ()
    assert found.converged
    assert np.all(np.abs(found.estimate) < 2 * found.half_width())


def test_a_shift_of_all_sizes():
    found = with_fault(1, 2, [3.0] * SIZES)

    assert found.shapes == (Shape(2, "shift", (0, 1, 2, 3, 4)),)
    assert found.shift[2] == pytest.approx(3.0, abs=0.6)
    assert np.all(np.abs(found.estimate[:, [0, 1, 3, 4, 5]]) < 1)


def test_two_sizes_alone():
    found = with_fault(2, 3, [0, 0, 3.5, 3.5, 0])

    assert found.shapes == (Shape(3, "some", (2, 3)),)
    assert found.estimate[2:4, 3] == pytest.approx([3.5, 3.5], abs=0.8)
    assert found.estimate[[0, 1, 4], 3] == pytest.approx([0, 0, 0], abs=0.8)


def test_a_growth_along_the_sizes():
    found = with_fault(3, 4, [-2.5, -1.25, 0, 1.25, 2.5])

    assert found.shapes == (Shape(4, "growth", (0, 1, 2, 3, 4)),)
    assert found.estimate[:, 4] == pytest.approx([-2.5, -1.25, 0, 1.25, 2.5], abs=0.8)


def test_faults_in_several_dimensions_are_told_apart():
    cells = remainders(4)
    cells.values[:, 0] += 3.0
    cells.values[:, 5] += np.array([0, 0, 0, -3.5, -3.5])[cells.sizes]

    assert pool(cells).shapes == (
        Shape(0, "shift", (0, 1, 2, 3, 4)),
        Shape(5, "some", (3, 4)),
    )


def test_the_interval_covers_the_truth_about_as_often_as_it_says():
    covered = []
    for seed in range(40):
        found = with_fault(seed, 2, [3.0] * SIZES, n=12)
        half = found.half_width()[:, 2]
        covered.append(np.abs(found.estimate[:, 2] - 3.0) <= half)

    assert 0.9 <= np.mean(covered) <= 1.0


def test_a_testers_own_gauge_convicts_nobody():
    cells = remainders(5)
    cells.values[4] += np.einsum("da,a->d", cells.sensitivity[4], [0.1, 0.0])  # ten in a hundred looser

    found = pool(cells)

    assert found.shapes == ()
    assert np.all(np.abs(found.fitted[4]) < 2.0)


def test_a_wild_measurement_is_hardly_believed():
    cells = remainders(6)
    clean = pool(cells).shift[1]
    cells.values[3, 1] += 15.0

    found = pool(cells)

    assert found.weights[3, 1] < 0.1
    assert found.shift[1] == pytest.approx(clean, abs=0.3)


def test_one_tester_of_a_size_never_makes_a_shape():
    cells = remainders(7, n=16)  # one extra tester, in the first size
    cells.values[cells.sizes == 4, 1] = np.nan
    cells.values[4, 1] = 4.0

    assert pool(cells).shapes == ()


def test_a_size_nobody_made_borrows_and_says_so():
    cells = remainders(8, sizes=np.arange(20) % 4)
    found = pool(cells)

    assert found.testers[4].tolist() == [0] * 6
    assert np.all(np.isfinite(found.estimate[4]))
    assert np.all(found.u[4] > found.u[0])


def test_a_dimension_nobody_measured_has_no_estimate():
    cells = remainders(9)
    cells.values[:, 3] = np.nan

    found = pool(cells)

    assert np.all(np.isnan(found.estimate[:, 3]))
    assert np.isfinite(found.estimate[:, 2]).all()


def test_more_testers_narrow_the_interval():
    few, many = pool(remainders(10, n=10)), pool(remainders(10, n=80))

    assert np.all(many.u_shift < few.u_shift)


def test_the_order_of_testers_changes_nothing_that_matters():
    cells = remainders(11)
    cells.values[:, 2] += 3.0
    turned = np.arange(20)[::-1]
    other = Remainders(
        values=cells.values[turned],
        u_measured=cells.u_measured[turned],
        sensitivity=cells.sensitivity[turned],
        u_gauge=cells.u_gauge[turned],
        sizes=cells.sizes[turned],
        n_sizes=SIZES,
        expected=cells.expected,
        tolerance=cells.tolerance,
    )

    assert pool(other).estimate == pytest.approx(pool(cells).estimate, abs=1e-6)


@pytest.mark.parametrize("n", [0, 1, 2])
def test_few_or_no_testers_are_no_reason_to_fail(n):
    found = pool(remainders(12, n=n))

    assert found.shapes == ()
    assert np.all(np.isnan(found.estimate)) == (n == 0)


def test_a_sheet_too_large_to_take_whole_is_taken_dimension_by_dimension():
    cells = remainders(13, n=130, dimensions=40, sizes=np.arange(130) % 20, n_sizes=20)
    cells.values[:, 7] += 3.0

    found = pool(cells)

    assert found.shapes == (Shape(7, "shift", tuple(range(20))),)
    assert found.shift[7] == pytest.approx(3.0, abs=0.5)
