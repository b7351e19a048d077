"""Ease: what a finished garment measures beyond the body.

Source: Craft Yarn Council, Standards & Guidelines for Crochet and Knitting, fit chart, in two editions (data/ease.csv).
The older chart was read on restated pages. Of the 2018 chart only the signs were read; its amounts are from memory
and unverified.
"""

from __future__ import annotations

import pytest

from testround.kernel.deskcheck import desk_check
from testround.kernel.round import Pattern
from testround.kernel.sheet import Sheet
from testround.kernel.units import parse_length
from tests.published.sources import table

ROWS = table("ease.csv")
WOMEN = [row for row in table("body_sizes_women.csv") if row["measure"] == "chest"]
BUSTS = {row["size"]: float(row["cm_low_exact"]) for row in WOMEN}


def garment(ease_cm, **chest):
    """A tube as wide as the bust and the ease, at 20 stitches in 10 cm, one stitch for every half centimetre."""
    return Pattern.model_validate(
        {
            "title": "Fenlight Cardigan",
            "edition": "0.9",
            "craft": "knit",
            "kind": "graded",
            "gauges": [{"key": "body", "label": "Stockinette", "stitches": 20, "rows": 28}],
            "sizes": list(BUSTS),
            "measures": [{"key": "bust", "label": "Full bust", "values": BUSTS}],
            "constants": [{"key": "ease", "label": "Ease", "value": ease_cm, "unit": "cm"}],
            "numbers": [
                {
                    "key": "sts",
                    "label": "Cast on",
                    "unit": "st",
                    "formula": "multiple((bust + ease) * body.st)",
                }
            ],
            "dimensions": [
                {
                    "key": "chest",
                    "label": "Chest",
                    "tolerance": 2.5,
                    "formula": "sts / body.st",
                    "printed": chest or None,
                }
            ],
        }
    )


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['edition']}: {row['fit']}" for row in ROWS])
def test_the_charts_centimetres_are_its_inches_rounded(row):
    for end in ("min", "max"):
        if row[f"ease_in_{end}"]:
            inches = float(row[f"ease_in_{end}"])
            assert float(row[f"ease_cm_{end}"]) == pytest.approx(inches * 2.54, abs=0.6)


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['edition']}: {row['fit']}" for row in ROWS])
def test_the_finished_bust_is_the_body_and_the_ease_for_every_fit_of_the_charts(row):
    ease_cm = float(row["ease_cm_min"])
    sheet = Sheet(garment(ease_cm))
    stated = sheet.stated()

    chest = sheet.dimensions(stated, sheet.numbers(stated))["chest"]

    # Whole stitches of half a centimetre leave at most a quarter of a centimetre.
    assert chest == pytest.approx([bust + ease_cm for bust in BUSTS.values()], abs=0.25 + 1e-9)
    assert desk_check(sheet).notes == ()


def test_boundaries_of_the_older_chart_meet_at_two_four_and_six_inches():
    older = [row for row in ROWS if row["edition"] == "older chart"]

    assert (
        [row["ease_in_max"] for row in older[1:4]]
        == [row["ease_in_min"] for row in older[2:5]]
        == ["2", "4", "6"]
    )


def test_a_printed_chest_without_the_stated_ease_is_found():
    # 4 in of ease are stated; M is printed as the body alone: 36 in.
    found = desk_check(Sheet(garment(parse_length("4", "in").cm, M=parse_length("36", "in").cm)))

    assert [(fault.key, fault.size, fault.verdict) for fault in found.measurements] == [
        ("chest", "M", "amend")
    ]
