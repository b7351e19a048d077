"""Means, deviations and sums of squares against NIST's Statistical Reference Datasets.

Source of data and certified values: ``_provenance`` in data/univariate.json and data/anova.json (read from
verbatim copies of NIST's files; the certified values of Lew and Lottery are from memory, confirmed by exact
recomputation).
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from testround.kernel.estimate import analysis_of_variance, sample
from tests.published.sources import load

UNIVARIATE = load("univariate.json")["datasets"]
ANOVA = load("anova.json")["datasets"]

# NumAcc4's deviations cannot be held to more digits in double precision once its values are stored.
DIGITS_OF_SD = {"NumAcc3": 9, "NumAcc4": 8}
# Nor can those sets of the analysis of variance whose values share many leading digits.
DIGITS_OF_F = {"AtmWtAg": 8, "SmLs04": 9, "SmLs07": 2}


def agreeing_digits(found: float, certified: str) -> float:
    """The log relative error that NIST itself reports."""
    exact = Decimal(certified)
    if exact == 0:
        return -float(np.log10(max(abs(found), 1e-300)))
    error = abs((Decimal(found) - exact) / exact)
    return 15.0 if error == 0 else -float(error.log10())


def readings(dataset) -> list[float]:
    data = dataset["data"] if "data" in dataset else dataset["digits"]
    return [float(value) for value in data]


@pytest.mark.parametrize("name", sorted(UNIVARIATE))
def test_means_and_deviations_are_the_certified_ones(name):
    dataset = UNIVARIATE[name]

    found = sample(readings(dataset))

    assert found.n == dataset["n"]
    assert agreeing_digits(found.mean, dataset["certified"]["mean"]) > 13
    assert agreeing_digits(found.sd, dataset["certified"]["sd_n_minus_1"]) > DIGITS_OF_SD.get(name, 13)


@pytest.mark.parametrize("name", sorted(ANOVA))
def test_spread_between_and_within_groups_is_the_certified_one(name):
    certified = ANOVA[name]["certified"]
    groups = ANOVA[name]["groups"]
    values = [float(value) for group in groups.values() for value in group]
    numbers = [j for j, group in enumerate(groups.values()) for _ in group]

    found = analysis_of_variance(values, numbers)

    assert (found.between_df, found.within_df) == (certified["between"]["df"], certified["within"]["df"])
    digits = DIGITS_OF_F.get(name, 10)
    assert agreeing_digits(found.between_ss, certified["between"]["ss"]) > digits
    assert agreeing_digits(found.within_ss, certified["within"]["ss"]) > digits
    assert agreeing_digits(found.f, certified["between"]["F"]) > digits
