"""Body size tables, and what the program makes of them.

Source: Craft Yarn Council, Standards & Guidelines for Crochet and Knitting, body sizing. The women's bust limits were
read on restated pages; most other figures are from memory and unverified (data/body_sizes_*.csv, row by row).
"""

from __future__ import annotations

from itertools import groupby, pairwise

import pytest

from testround.kernel.cautions import is_for_children
from testround.kernel.plausible import body_doubt
from testround.kernel.round import Pattern
from testround.kernel.units import format_length, parse_length
from tests.published.sources import table

TABLES = {name: table(f"body_sizes_{name}.csv") for name in ("women", "men", "child", "baby")}
ROWS = [(name, row) for name, rows in TABLES.items() for row in rows]


def test_published_centimetres_are_the_inches_rounded():
    # The publisher rounds to the half centimetre; the widest gap in these tables is 0.52 cm.
    for _, row in ROWS:
        for end in ("low", "high"):
            exact = parse_length(row[f"in_{end}"], "in").cm
            assert exact == pytest.approx(float(row[f"cm_{end}_exact"]), abs=0.006)
            assert exact == pytest.approx(float(row[f"cm_{end}_published"]), abs=0.6)


def test_published_inches_come_back_after_they_were_kept_in_centimetres():
    for _, row in ROWS:
        kept = parse_length(row["in_low"], "in").cm
        assert parse_length(format_length(kept, "in")).cm == pytest.approx(kept, abs=1e-9)


@pytest.mark.parametrize("name", TABLES)
def test_bodies_grow_with_the_size(name):
    for measure, rows in groupby(TABLES[name], key=lambda row: row["measure"]):
        limits = [(float(row["in_low"]), float(row["in_high"])) for row in rows]
        for (low, high), (next_low, next_high) in pairwise(limits):
            assert low <= high, measure
            assert low <= next_low, measure
            assert high <= next_high, measure


def test_a_womens_bust_of_31_inches_lies_between_two_sizes():
    limits = {
        row["size"]: (float(row["in_low"]), float(row["in_high"]))
        for row in TABLES["women"]
        if row["measure"] == "chest"
    }

    assert [size for size, (low, high) in limits.items() if low <= 31 <= high] == []
    assert limits["XS"] == (28, 30)
    assert limits["S"] == (32, 34)


def test_no_body_of_the_tables_is_asked_about():
    for _, row in ROWS:
        for end in ("low", "high"):
            value = float(row[f"cm_{end}_exact"])
            assert body_doubt(row["measure"], row["publisher_label"], value) is None, row


def test_every_bust_of_the_tables_written_in_inches_is_asked_about_among_its_own_sizes():
    for name in ("women", "men"):
        rows = [row for row in TABLES[name] if row["measure"] == "chest"]
        sizes = [float(row["cm_low_exact"]) for row in rows]
        for row in rows:
            # 42 in and more, written as centimetres, are the body of a child or a small adult; below that there is none.
            doubt = body_doubt("bust", "Bust", float(row["in_low"]), sizes=sizes)
            if float(row["in_low"]) < 0.7 * min(sizes):
                assert doubt is not None
                assert doubt.cause == "inches"


@pytest.mark.parametrize(
    ("name", "child"), [("women", False), ("men", False), ("child", True), ("baby", True)]
)
def test_a_pattern_graded_by_these_tables_is_for_children_or_not(name, child):
    busts = {row["size"]: float(row["cm_low_published"]) for row in TABLES[name] if row["measure"] == "chest"}
    pattern = Pattern.model_validate(
        {
            "title": "Fenlight Cardigan",
            "edition": "0.9",
            "craft": "knit",
            "kind": "graded",
            "gauges": [{"key": "body", "label": "Stockinette", "stitches": 22, "rows": 30}],
            "sizes": list(busts),
            "measures": [{"key": "chest", "label": "Chest", "values": busts}],
        }
    )

    assert is_for_children(pattern) is child
