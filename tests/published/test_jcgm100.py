"""The law of propagation of uncertainty, JCGM 100:2008 (the "GUM")."""

from __future__ import annotations

import numpy as np
import pytest

from testround.kernel.estimate import birge_mean, propagate


def test_a_ratio_has_the_root_sum_of_squares_of_the_relative_uncertainties():
    # JCGM 100:2008, 5.1.6, equation (12): for a product of powers the relative variances add.
    found = propagate(lambda x: x[0] / x[1], [22.5, 10.0], [0.144, 0.144])

    assert found.value == pytest.approx(2.25)
    assert found.u / found.value == pytest.approx(np.hypot(0.144 / 22.5, 0.144 / 10))


def test_the_power_dissipated_by_a_resistor():
    # JCGM 100:2008, 5.1.3 note 1: P = V² / {R0 [1 + α (t − t0)]} and its four partial derivatives.
    v, r0, alpha, t = 10.0, 100.0, 0.004, 25.0

    def power(x):
        return x[0] ** 2 / (x[1] * (1 + x[2] * (x[3] - 20)))

    found = propagate(power, [v, r0, alpha, t], [0.01, 0.05, 1e-5, 0.1])

    p = v**2 / (r0 * (1 + alpha * (t - 20)))
    assert found.sensitivities == pytest.approx(
        [
            2 * p / v,
            -p / r0,
            -p * (t - 20) / (1 + alpha * (t - 20)),
            -p * alpha / (1 + alpha * (t - 20)),
        ],
        rel=1e-6,
    )


def test_ten_resistors_in_series_calibrated_together_add_their_uncertainties():
    # JCGM 100:2008, 5.2.2 example: ten 1000 Ω resistors, u = 100 mΩ each, all correlations 1: 1 Ω, where
    # taking them as independent would give 0.32 Ω.
    r = np.full(10, 1000.0)
    u = np.full(10, 0.1)

    together = propagate(np.sum, r, u, correlations=np.ones((10, 10)))
    apart = propagate(np.sum, r, u)

    assert together.u == pytest.approx(1.0)
    assert apart.u == pytest.approx(0.32, abs=5e-3)


def test_a_rectangular_half_width_is_divided_by_the_root_of_three():
    # JCGM 100:2008, 4.3.7: half-width a, variance a²/3.
    from testround.kernel.gauge import READING_U

    assert pytest.approx(0.25 / np.sqrt(3)) == READING_U


def test_two_readings_that_agree_weigh_by_inverse_variance_and_two_that_do_not_are_widened():
    # Birge (1932): the ratio is the root of the weighted squares over n − 1.
    agreeing = birge_mean([10.0, 10.1], [0.1, 0.2])
    apart = birge_mean([10.0, 11.0], [0.1, 0.2])

    assert agreeing.mean == pytest.approx((10.0 * 4 + 10.1) / 5)
    assert agreeing.u == pytest.approx(0.2 / np.sqrt(5))
    assert apart.birge == pytest.approx(np.sqrt(((0.2 / 0.1) ** 2 + (0.8 / 0.2) ** 2) / 1))
    assert apart.u == pytest.approx(0.2 / np.sqrt(5) * apart.birge)
