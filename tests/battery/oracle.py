"""Who knows everything but the answer: which planted faults could be found at all.

The oracle is told each fault's subject and shape, every variance that the people were drawn with, and which
readings are slips. It estimates one thing, how large the fault is, by generalised least squares from what was
reported. A fault is detectable when that estimate lies beyond the tolerance and further from nought, in standard
errors, than a search over all that a round could have wrong allows chance to reach (Bonferroni at 5 %). The
oracle's own estimate is drawn from the same readings, so that no estimator is asked for what the data do not say.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from testround.kernel.discrepancy import Discrepancies, discrepancies
from testround.kernel.sheet import Sheet
from tests.battery.generator import SCORED_FROM, FloatArray, Planted, Trial

DESK_KINDS = ("printed-count", "schematic")
LEAST_TESTERS = 2
LEAST_SWATCHES = 3
LEAST_VOTES = 2


class Oracle:
    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.sheet = Sheet(trial.round.pattern)
        self.found: Discrepancies = discrepancies(self.sheet, trial.round.testers)

    def detectable(self, fault: Planted) -> bool:
        """Whether this fault is large enough to be scored and could be found from what was reported."""
        if fault.tolerances < SCORED_FROM - 1e-9:
            return False
        if fault.kind in DESK_KINDS:
            return True
        if fault.kind == "worked-count":
            return self.agreed(fault)
        if fault.kind == "stated-gauge":
            return self.gauge_seen(fault)
        return self.size_seen(fault)

    def agreed(self, fault: Planted) -> bool:
        """Most of those concerned who reported it have it, in all sizes together or in one at least."""
        misled = self.trial.truth.misled[fault.subject]
        reporting = self.trial.truth.reporting[fault.subject]
        sizes = self.trial.round.pattern.sizes
        if not sizes or fault.extent == "all-sizes":
            return bool(misled.sum() >= LEAST_VOTES and 2 * misled.sum() > reporting.sum())
        for size in fault.sizes or ():
            here = self.found.sizes == sizes.index(size)
            if (misled & here).sum() >= LEAST_VOTES and 2 * (misled & here).sum() > (reporting & here).sum():
                return True
        return False

    def gauge_seen(self, fault: Planted) -> bool:
        k = [f"{key}.{axis}" for key, axis in self.found.axes].index(fault.subject)
        seen = np.isfinite(self.trial.truth.swatch_off[:, k])
        if seen.sum() < LEAST_SWATCHES:
            return False
        own = self.found.own.blocked.reshape(len(seen), -1)[seen, k]
        gauge = self.trial.round.pattern.gauges[k // 2]
        logs = np.log(own * 10 / (gauge.stitches if k % 2 == 0 else gauge.rows))
        weight = self.trial.truth.u_swatch[seen, k] ** -2
        mean = float((weight * logs).sum() / weight.sum())
        z = abs(mean) * float(np.sqrt(weight.sum()))
        return z > norm.isf(0.025 / len(self.found.axes)) and abs(mean) > self.gauge_limit(k)

    def gauge_limit(self, k: int) -> float:
        tolerance = np.array([d.tolerance for d in self.trial.round.pattern.dimensions])
        slope = np.abs(np.nan_to_num(self.found.sensitivity[:, :, k])).max(axis=0)
        return float(1 / np.max(slope / tolerance))

    def size_seen(self, fault: Planted) -> bool:
        estimate, z, testers = self.size_estimate(fault)
        pattern = self.trial.round.pattern
        looked_at = len(pattern.dimensions) * (2 + len(pattern.sizes))
        return bool(testers >= LEAST_TESTERS and z > norm.isf(0.025 / looked_at) and estimate > 1)

    def size_estimate(self, fault: Planted) -> tuple[float, float, int]:
        """The worst size's deviation in tolerances, its z, and how many testers bear on it."""
        truth, found = self.trial.truth, self.found
        pattern = self.trial.round.pattern
        d = found.dimensions.index(fault.subject)
        profile = np.array([fault.deviation[size] for size in pattern.sizes or ("",)])
        x = profile[np.maximum(found.sizes, 0)]
        worst = float(np.max(np.abs(profile)))
        # Other planted faults are known to the oracle too.
        known = found.known & ~truth.slipped
        values = found.remainder - truth.deviation[np.maximum(found.sizes, 0)]
        values[:, d] += x
        # Without a swatch the gauge is only known as well as people differ.
        spread = np.where(
            np.isfinite(truth.swatch_off), truth.u_garment, np.hypot(truth.u_garment, found.u_gauge)
        )
        top = bottom = 0.0
        testers = 0
        for i in np.flatnonzero(known[:, d]):
            use = np.flatnonzero(known[i])
            at = int(np.flatnonzero(use == d)[0])
            sens: FloatArray = found.sensitivity[i, use]
            cov = (sens * spread[i] ** 2) @ sens.T + np.diag(truth.u_reading[i, use] ** 2)
            row = np.linalg.inv(cov)[at]
            top += x[i] * float(row @ values[i, use])
            bottom += x[i] ** 2 * float(row[at])
            testers += abs(x[i]) > 0.5 * worst
        if bottom <= 0:
            return 0.0, 0.0, 0
        size = top / bottom
        tolerance = pattern.dimensions[d].tolerance
        return size * worst / tolerance, size * float(np.sqrt(bottom)), testers
