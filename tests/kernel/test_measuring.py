"""How to take a body measurement. What is common practice is from memory: the trade has no single source."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from testround.kernel.measuring import OTHERWISE, how_to_measure

DEMO = Path(__file__).parents[2] / "fixtures"


def test_what_the_pattern_says_goes_before_common_practice() -> None:
    assert how_to_measure("bust", "Full bust", " Over the vest. ") == "Over the vest."


@pytest.mark.parametrize(
    ("key", "label", "begins"),
    [
        ("bust", "Full bust", "Around the fullest part"),
        ("b1", "Chest circumference", "Around the fullest part"),
        ("upper_arm", "Upper arm", "Around the widest part of the relaxed upper arm"),
        ("waist", "Natural waist", "Around the natural waist"),
        ("waist_to_hip", "Waist to hip", "From the natural waist down"),
        ("back_waist", "Back-waist length", "From the bone"),
        ("cross_back", "Cross back", "Across the back"),
    ],
)
def test_a_measure_is_told_by_its_words(key: str, label: str, begins: str) -> None:
    assert how_to_measure(key, label).startswith(begins)


def test_a_measure_that_nobody_knows_is_taken_with_care() -> None:
    assert how_to_measure("x9", "Ninth thing") == OTHERWISE


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_every_measure_of_the_demo_has_a_way_to_take_it(name: str) -> None:
    measures = json.loads((DEMO / f"{name}.json").read_text())["pattern"]["measures"]

    ways = [how_to_measure(one["key"], one["label"], one.get("how")) for one in measures]

    assert OTHERWISE not in ways
