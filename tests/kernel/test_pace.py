"""Yarn and hours: what the edition says against what it took."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from testround.kernel.discrepancy import discrepancies
from testround.kernel.pace import Amount, hours_taken, metres_used, yarn_and_hours
from testround.kernel.round import Pattern, SuppliedYarn, Tester
from testround.kernel.sheet import Sheet

BALL = {"label": "Wool", "metres_per_ball": 200, "grams_per_ball": 100}
MERINO = SuppliedYarn(key="merino", label="Merino", metres_per_ball=210, grams_per_ball=100)


def maker(i: int, size: str = "S", **more: Any) -> Tester:
    finished = [{"dimension": "chest", "state": "blocked", "values": [94.5]}]
    return Tester.model_validate(
        {"id": f"t{i}", "name": f"Tester {i}", "size": size, "finished": finished, **more}
    )


def amounts(little_top: dict[str, Any], people: list[Tester], *supplied: SuppliedYarn) -> tuple[Amount, ...]:
    sheet = Sheet(Pattern.model_validate(little_top))
    return yarn_and_hours(sheet, discrepancies(sheet, people), people, supplied)


def test_metres_are_taken_as_said_and_grams_turned_into_metres_by_the_ball():
    assert metres_used(maker(1, yarn_used={"metres": 950})) == 950
    assert metres_used(maker(1, yarn=BALL, yarn_used={"grams": 430})) == 860
    assert metres_used(maker(1, yarn={"label": "Wool"}, yarn_used={"grams": 430})) is None
    assert metres_used(maker(1)) is None


def test_hours_count_once_every_part_is_done():
    sittings = [{"part": "back", "hours": 2.5, "done": 0.4}, {"part": "back", "hours": 3, "done": 1.0}]

    assert hours_taken(maker(1, sittings=sittings), ["back"]) == 5.5
    assert hours_taken(maker(1, sittings=sittings[:1]), ["back"]) is None
    assert hours_taken(maker(1, sittings=sittings), ["back", "sleeve"]) is None
    assert hours_taken(maker(1, sittings=[{"hours": 4}]), ["back"]) == 4
    assert hours_taken(maker(1), ["back"]) is None


def test_yarn_scales_with_the_stitches_and_is_rounded_up_to_whole_balls(little_top):
    # 104 × 96 stitches in an S; everybody takes a tenth of a metre each, give or take two in a hundred.
    little_top["yarn"] = {"XS": 800, "S": 900, "M": 1000}
    people = [
        maker(i, yarn_used={"metres": 0.1 * 104 * 96 * factor}) for i, factor in enumerate([0.98, 1, 1.02, 1])
    ]

    (found,) = amounts(little_top, people, MERINO)

    assert (found.kind, found.makers) == ("yarn", 4)
    assert found.typical == pytest.approx(
        {"XS": 0.1 * 92 * 96, "S": 0.1 * 104 * 96, "M": 0.1 * 114 * 96}, rel=1e-3
    )
    assert found.relative == pytest.approx(
        np.mean(np.log([883.2 / 800, 998.4 / 900, 1094.4 / 1000])), abs=1e-3
    )
    assert found.low < found.relative < found.high
    assert all(metres % 210 == 0 and metres > found.typical[size] for size, metres in found.proposed.items())


def test_the_testers_own_ball_serves_where_none_is_supplied(little_top):
    little_top["yarn"] = {"S": 900}
    people = [maker(i, yarn=BALL, yarn_used={"metres": 1000}) for i in range(3)]

    (found,) = amounts(little_top, people)

    assert found.proposed["S"] % 200 == 0


def test_two_makers_are_too_few_to_say(little_top):
    little_top["yarn"] = {"S": 900}

    assert amounts(little_top, [maker(i, yarn_used={"metres": 2000}) for i in range(2)]) == ()


def test_a_piece_not_finished_says_nothing_of_the_yarn(little_top):
    little_top["yarn"] = {"S": 900}

    assert amounts(little_top, [maker(i, finished=[], yarn_used={"metres": 300}) for i in range(5)]) == ()


def test_hours_against_hours(little_top):
    little_top["hours"] = {"XS": 30, "S": 33, "M": 36}
    people = [maker(i, sittings=[{"part": "back", "hours": 50 + i, "done": 1}]) for i in range(6)]

    (found,) = amounts(little_top, people)

    assert found.kind == "hours"
    assert found.low > np.log(1.25)
    assert found.proposed["S"] == pytest.approx(52, abs=1)


def test_a_pattern_that_says_nothing_is_not_judged(little_top):
    assert amounts(little_top, [maker(i, yarn_used={"metres": 1000}) for i in range(4)]) == ()
