"""Random-effects means against published data sets.

Source of the data and answers: see ``published_provenance`` of each set in data/iso13528_algorithm_a.json
(read from the test suites of statsmodels and of an R package; all but one compare with the cited paper).
"""

from __future__ import annotations

import numpy as np
import pytest

from testround.kernel.estimate import random_effects
from tests.published.sources import load

KACKER, VACCINE, TEACHERS, ASPIRIN = load("iso13528_algorithm_a.json")["random_effects"]["examples"]


def test_nine_laboratories_by_paule_and_mandel():
    # Kacker (2004), Metrologia 41.
    published = KACKER["published"]["Paule_Mandel"]

    found = random_effects(KACKER["data"]["y"], KACKER["data"]["v"], method="paule-mandel", interval="normal")

    assert found.converged
    assert found.tau2 == pytest.approx(published["tau2"], rel=1e-6)
    assert found.mean == pytest.approx(published["mu"], rel=1e-8)
    assert found.standard_error == pytest.approx(published["se"], rel=1e-6)
    assert (found.low, found.high) == pytest.approx(tuple(published["ci"]), rel=1e-7)
    assert found.i2 * 100 == pytest.approx(published["I2_percent"], rel=1e-6)


def test_nine_laboratories_by_dersimonian_and_laird_with_and_without_hartung_and_knapp():
    y, v = KACKER["data"]["y"], KACKER["data"]["v"]
    plain, scaled = (KACKER["published"][k] for k in ("DerSimonian_Laird", "DerSimonian_Laird_Hartung_Knapp"))

    found = random_effects(y, v, method="dersimonian-laird", interval="normal")
    with_t = random_effects(y, v, method="dersimonian-laird", interval="hartung-knapp")

    assert (found.tau2, found.mean, found.standard_error) == pytest.approx(
        (plain["tau2"], plain["mu"], plain["se"]), rel=1e-10
    )
    assert (found.low, found.high) == pytest.approx(tuple(plain["ci"]), rel=1e-10)
    assert with_t.df == scaled["df"]
    assert with_t.standard_error == pytest.approx(scaled["se"], rel=1e-10)
    assert (with_t.low, with_t.high) == pytest.approx(tuple(scaled["ci"]), rel=1e-10)


def test_nine_laboratories_as_if_they_did_not_differ():
    published = KACKER["published"]["equal_effects"]

    found = random_effects(KACKER["data"]["y"], KACKER["data"]["v"], method="equal", interval="normal")

    assert (found.mean, found.standard_error, found.q) == pytest.approx(
        (published["mu"], published["se"], published["Q"]), rel=1e-10
    )


def test_thirteen_vaccine_trials_by_dersimonian_and_laird():
    # Colditz et al. (1994); answers checked in their source against a second package, to 4 decimals.
    published = VACCINE["published"]["DerSimonian_Laird"]
    y = [trial["yi_log_rr"] for trial in VACCINE["data"]]
    v = [trial["vi"] for trial in VACCINE["data"]]

    found = random_effects(y, v, method="dersimonian-laird", interval="normal")

    assert found.mean == pytest.approx(published["mu"], abs=5e-5)
    assert found.tau2 == pytest.approx(published["tau2"], abs=5e-5)
    assert (found.low, found.high) == pytest.approx(tuple(published["ci"]), abs=1e-4)
    assert found.i2 * 100 == pytest.approx(published["I2_percent"], abs=5e-4)
    paule_mandel = random_effects(y, v, method="paule-mandel")
    assert paule_mandel.tau2 == pytest.approx(VACCINE["published"]["Paule_Mandel"]["tau2"], abs=5e-5)


@pytest.mark.parametrize(("method", "key"), [("reml", "REML"), ("dersimonian-laird", "DL")])
def test_nineteen_studies_of_teacher_expectancy(method, key):
    # Raudenbush (2009), Table 16.3, to 4 decimals.
    y = [study["yi"] for study in TEACHERS["data"]]
    v = [study["vi"] for study in TEACHERS["data"]]
    plain, scaled = TEACHERS["published"]["standard"][key], TEACHERS["published"]["Hartung_Knapp"][key]

    found = random_effects(y, v, method=method, interval="normal")
    with_t = random_effects(y, v, method=method, interval="hartung-knapp")

    assert (found.tau2, found.mean, found.standard_error) == pytest.approx(
        (plain["tau2"], plain["mu"], plain["se"]), abs=5.1e-5
    )
    assert (found.low, found.high) == pytest.approx(tuple(plain["ci"]), abs=1e-4)
    assert with_t.standard_error == pytest.approx(scaled["se"], abs=5.1e-5)
    assert (with_t.low, with_t.high) == pytest.approx(tuple(scaled["ci"]), abs=1e-4)


@pytest.mark.parametrize(
    ("method", "key"), [("paule-mandel", "PM"), ("dersimonian-laird", "DL"), ("reml", "REML")]
)
def test_six_aspirin_trials(method, key):
    # DerSimonian and Kacker (2007), Tables 3 and 4, to 4 decimals.
    data = {name: np.array(column, dtype=float) for name, column in ASPIRIN["data"].items()}
    a, b = data["events1"], data["n1"] - data["events1"]
    c, d = data["events2"], data["n2"] - data["events2"]
    published = ASPIRIN["published"][key]

    found = random_effects(
        np.log(a * d / (b * c)), 1 / a + 1 / b + 1 / c + 1 / d, method=method, interval="normal"
    )

    assert (np.sqrt(found.tau2), found.mean, found.standard_error) == pytest.approx(
        (published["tau"], published["mu"], published["se"]), abs=6e-5
    )
