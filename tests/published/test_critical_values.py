"""Limits for outlying persons and readings against the tables of ISO 5725-2 and others.

Source of every row: column ``source`` of data/critical_values.csv (read from restated tables; misprints and
roundings of the sources are marked in ``note``; ``computed_here`` is the closed form, worked independently).
"""

from __future__ import annotations

import pytest

from testround.kernel.estimate import cochran_limit, grubbs_limit, mandel_h_limit, mandel_k_limit, sample
from tests.published.sources import load, table

ROWS = table("critical_values.csv")


def limit(row: dict[str, str]) -> float:
    n, alpha = int(row["p_labs_or_n_values"]), float(row["alpha"])
    match row["statistic"]:
        case "mandel_h":
            return mandel_h_limit(n, alpha)
        case "mandel_k":
            return mandel_k_limit(n, int(row["n_replicates"]), alpha)
        case "cochran_C":
            return cochran_limit(n, int(row["n_replicates"]), alpha)
        case _:
            return grubbs_limit(n, alpha)


@pytest.mark.parametrize(
    "row",
    ROWS,
    ids=lambda row: "-".join(
        [row["statistic"], row["alpha"], row["p_labs_or_n_values"], row["n_replicates"]]
    ),
)
def test_every_limit_of_the_tables(row):
    found = limit(row)

    assert found == pytest.approx(float(row["computed_here"]), abs=1e-4)
    if "misprint" not in row["note"]:
        assert found == pytest.approx(float(row["published"]), abs=0.01)


def test_the_eighth_uranium_reading_stands_apart():
    # Tietjen and Moore (1972): data, statistic and limit from memory, unverified; they agree with the
    # computation. The limit is one-sided, which is the two-sided one at twice the level.
    example = load("iso13528_algorithm_a.json")["grubbs_worked_example"]
    found = sample(example["data"])

    g = (max(example["data"]) - found.mean) / found.sd

    assert g == pytest.approx(example["published"]["G"], abs=5e-4)
    assert grubbs_limit(8, 0.10) == pytest.approx(
        example["published"]["critical_one_sided_upper_alpha_0.05"], abs=5e-4
    )
