"""Safety pointers: shown where a pattern calls for them, and they certify nothing."""

from __future__ import annotations

import pytest

from testround.kernel.cautions import cautions_for, sitting_caution
from testround.kernel.round import Pattern


def pattern(sizes=(), bust=None, kind="graded"):
    return Pattern.model_validate(
        {
            "title": "Fenlight Cardigan",
            "edition": "0.9",
            "craft": "knit",
            "kind": kind,
            "gauges": [{"key": "body", "label": "Stockinette", "stitches": 22, "rows": 30}],
            "sizes": list(sizes),
            "measures": [
                {
                    "key": "bust",
                    "label": "Full bust",
                    "values": dict(zip(sizes, bust, strict=True)) if bust else None,
                }
            ],
        }
    )


def kinds(*args):
    return [caution.kind for caution in cautions_for(*args)]


EVERYONE = ["steam", "repetitive-work"]
CHILD = ["cords", "small-parts", *EVERYONE]


@pytest.mark.parametrize(
    "size", ["3m", "6-12 months", "2T", "4 years", "Age 8", "Newborn", "12 mo", "3–6 m", "5 yrs"]
)
def test_a_size_named_by_a_childs_age_brings_the_childrens_pointers(size):
    assert kinds(pattern([size])) == CHILD


@pytest.mark.parametrize("size", ["XS", "S", "M", "2X", "10", "42", "M/L", "36 in", "1", "One size"])
def test_a_grown_up_size_does_not(size):
    assert kinds(pattern([size])) == EVERYONE


def test_a_chest_below_the_smallest_adult_size_is_a_childs():
    assert kinds(pattern(["8", "10"], [67, 71])) == CHILD
    assert kinds(pattern(["XS", "S"], [71, 81])) == EVERYONE


def test_a_made_to_measure_tester_may_be_a_child():
    skirt = pattern(kind="made-to-measure")

    assert kinds(skirt, {"bust": 58.5}) == CHILD
    assert kinds(skirt, {"bust": 92.0}) == EVERYONE
    assert kinds(skirt) == EVERYONE


def test_the_pointers_send_the_reader_to_the_law_and_certify_nothing():
    cords, small_parts, steam, repetitive = cautions_for(pattern(["2T"]))

    assert "EN 14682" in cords.sentence
    assert "ASTM F1816" in cords.sentence
    assert "16 CFR 1501" in small_parts.sentence
    for caution in (cords, small_parts):
        assert "law" in caution.sentence
        assert "nothing here certifies a garment as safe" in caution.sentence
    assert "care symbols" in steam.sentence
    assert "health professional" in repetitive.sentence


@pytest.mark.parametrize("hours", [0.25, 2.0, float("nan")])
def test_a_short_sitting_brings_no_reminder(hours):
    assert sitting_caution(hours) is None


def test_a_long_sitting_brings_a_reminder_to_rest():
    caution = sitting_caution(3.5)

    assert caution is not None
    assert caution.sentence.startswith("That was a sitting of 3.5 hours. Pause, stretch and rest")
