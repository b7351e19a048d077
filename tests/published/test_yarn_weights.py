"""The standard yarn weight system.

Source: Craft Yarn Council, Standards & Guidelines for Crochet and Knitting, as restated on several chart pages
(data/yarn_weights.csv names what was read where; categories 6 and 7 differ between copies).
"""

from __future__ import annotations

import pytest

from testround.kernel.units import YARN_WEIGHTS, tools_named, weights_for_gauge, weights_for_tool
from tests.published.sources import table

ROWS = table("yarn_weights.csv")
STANDARD = pytest.mark.parametrize("row", ROWS, ids=[row["name"] for row in ROWS])


def limit(text):
    return float(text) if text else None


@STANDARD
def test_every_category_has_the_limits_of_the_standard(row):
    weight = YARN_WEIGHTS[int(row["category"])]

    assert weight.name == row["name"]
    assert weight.knit == (limit(row["knit_sts_per_4in_min"]), limit(row["knit_sts_per_4in_max"]))
    assert weight.needle_mm == (limit(row["needle_mm_min"]), limit(row["needle_mm_max"]))
    assert weight.crochet == (limit(row["crochet_sts_per_4in_min"]), limit(row["crochet_sts_per_4in_max"]))
    assert weight.crochet_stitch == row["crochet_gauge_stitch"]
    assert weight.hook_mm == (limit(row["hook_mm_min"]), limit(row["hook_mm_max"]))


def test_there_are_eight_categories_in_order():
    assert [weight.category for weight in YARN_WEIGHTS] == list(range(8))


@STANDARD
def test_a_gauge_at_a_categorys_limits_belongs_to_it(row):
    category = int(row["category"])
    for over_4in in (row["knit_sts_per_4in_min"], row["knit_sts_per_4in_max"]):
        if over_4in:
            # The standard counts over 4 in, which are 10.16 cm.
            assert category in weights_for_gauge(float(over_4in) / 1.016, "knit")
    for over_4in in (row["crochet_sts_per_4in_min"], row["crochet_sts_per_4in_max"]):
        if over_4in:
            stitch = row["crochet_gauge_stitch"]
            assert category in weights_for_gauge(float(over_4in) / 1.016, "crochet", stitch=stitch)


@STANDARD
def test_a_tool_at_a_categorys_limits_belongs_to_it(row):
    for mm in (row["needle_mm_min"], row["needle_mm_max"]):
        if mm:
            assert int(row["category"]) in weights_for_tool(float(mm), "knit")


def test_twenty_stitches_are_medium_alone_and_neighbours_share_their_limits():
    assert weights_for_gauge(20 / 1.016, "knit") == (4,)
    assert weights_for_gauge(23 / 1.016, "knit") == (2, 3)
    assert weights_for_gauge(8 / 1.016, "crochet") == (5, 6)


def test_the_us_needle_names_of_the_standard_mean_its_millimetres():
    for row in ROWS:
        for name, mm in (("needle_us_min", "needle_mm_min"), ("needle_us_max", "needle_mm_max")):
            if row[name]:
                assert [tool.mm for tool in tools_named(row[name], "knit", "us")] == [float(row[mm])]
