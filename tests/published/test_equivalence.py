"""Two one-sided tests and the false discovery rate against published answers.

Source of data and answers: ``_provenance`` in data/tost.json (read from the statsmodels tests, which hold
answers of an R equivalence function; Benjamini and Hochberg 1995, section 4.1).
"""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from testround.kernel.estimate import benjamini_hochberg, equivalence
from tests.published.sources import load

TOST = load("tost.json")["tost"]
DISCOVERY = load("tost.json")["benjamini_hochberg_1995"]


@pytest.mark.parametrize("name", sorted(TOST["published"]))
def test_two_one_sided_tests_give_the_published_answer(name):
    published = TOST["published"][name]
    margin = published["margin"]

    found = equivalence(
        published["mean_diff"], published["se_diff"], published["df"], (-margin, margin), alpha=0.05
    )

    assert found.p == pytest.approx(published["p_value"], rel=1e-6)
    assert (found.low, found.high) == pytest.approx(tuple(published["ci90"]), abs=1e-9)
    inside = -margin < found.low and found.high < margin
    assert inside == (found.p < 0.05) == published["equivalent"]


def test_paired_readings_from_the_raw_table():
    group = np.array(TOST["data"]["group"])
    values = np.array(TOST["data"]["var1"])
    difference = values[group == 1] - values[group == 2]
    published = TOST["published"]["var1_paired"]

    found = equivalence(
        difference.mean(), difference.std(ddof=1) / np.sqrt(len(difference)), len(difference) - 1, (-0.6, 0.6)
    )

    assert found.p == pytest.approx(published["p_value"], rel=1e-9)


def test_two_groups_given_by_their_means_and_deviations():
    # Lakens (2017); its answers are computed independently, not read.
    example = TOST["second_example_summary_data"]
    expected = example["computed_here"]
    error = expected["pooled_sd"] * np.sqrt(1 / example["n1"] + 1 / example["n2"])
    margin = expected["raw_margin"]

    found = equivalence(example["m1"] - example["m2"], error, expected["df"], (-margin, margin))

    assert found.p_lower == pytest.approx(expected["p_lower"], rel=1e-5)
    assert found.p_upper == pytest.approx(expected["p_upper"], rel=1e-5)


def test_the_false_discovery_rate_rejects_four_of_fifteen_as_in_the_paper():
    # Benjamini and Hochberg (1995), section 4.1.
    adjusted = benjamini_hochberg(DISCOVERY["p_values"])

    rejected = [p for p, q in zip(DISCOVERY["p_values"], adjusted, strict=True) if q <= 0.05]
    assert rejected == DISCOVERY["published"]["rejected_p_values"]
    # Adjusted values computed independently.
    assert adjusted == pytest.approx(DISCOVERY["computed_here"]["BH_adjusted_p"], abs=1e-6)
    assert adjusted == pytest.approx(multipletests(DISCOVERY["p_values"], method="fdr_bh")[1])
