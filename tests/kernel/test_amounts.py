"""What to print of yarn and hours, against what the edition says."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from testround.kernel.amounts import Amount, Taken, amount_findings, yarn_and_hours
from testround.kernel.discrepancy import discrepancies
from testround.kernel.findings import Extent, Finding, Verdict
from testround.kernel.round import Pattern, SuppliedYarn, Tester, YarnUsed
from testround.kernel.sheet import Sheet

BALL = {"label": "Wool", "metres_per_ball": 200, "grams_per_ball": 100}
MERINO = SuppliedYarn(key="merino", label="Merino", metres_per_ball=210, grams_per_ball=100)
STITCHES = {"XS": 92 * 96, "S": 104 * 96, "M": 114 * 96}


def maker(i: int, size: str | None = "S", *, measured: bool = True, **more: Any) -> Tester:
    finished = [{"dimension": "chest", "state": "blocked", "values": [94.5]}] if measured else []
    return Tester.model_validate(
        {"id": f"t{i}", "name": f"Tester {i}", "size": size, "finished": finished, **more}
    )


def who_used(*tenths: float, **more: Any) -> list[Tester]:
    """Makers of an S who took about a tenth of a metre for every stitch."""
    return [
        maker(i, yarn_used={"metres": 0.1 * STITCHES["S"] * factor}, **more)
        for i, factor in enumerate(tenths)
    ]


def who_took(*hours: float, **more: Any) -> list[Tester]:
    return [
        maker(i, sittings=[{"part": "back", "hours": took, "done": 1}], **more)
        for i, took in enumerate(hours)
    ]


def taken(pattern: dict[str, Any], people: list[Tester], *supplied: SuppliedYarn) -> Taken:
    sheet = Sheet(Pattern.model_validate(pattern))
    return yarn_and_hours(sheet, discrepancies(sheet, people), people, supplied)


def findings(pattern: dict[str, Any], people: list[Tester], *supplied: SuppliedYarn) -> list[Finding]:
    return list(amount_findings(Sheet(Pattern.model_validate(pattern)), taken(pattern, people, *supplied)))


def yarn_of(pattern: dict[str, Any], people: list[Tester], *supplied: SuppliedYarn) -> Amount:
    found = taken(pattern, people, *supplied).amount("yarn")
    assert found is not None
    return found


AROUND_ONE = (0.98, 1, 1.02, 1)


# Amounts


def test_yarn_scales_with_the_stitches_and_is_rounded_up_to_whole_balls(little_top):
    found = yarn_of(little_top, who_used(*AROUND_ONE), MERINO)

    assert found.makers == 4
    assert found.typical == pytest.approx({size: 0.1 * n for size, n in STITCHES.items()}, rel=2e-3)
    for size, metres in found.proposed.items():
        assert found.low[size] < found.typical[size] < found.high[size]
        assert metres - 210 < found.most[size] <= metres
        assert found.balls(metres) == metres / 210


def test_nothing_printed_is_no_reason_to_recommend_nothing(little_top):
    little_top.pop("yarn", None)

    assert yarn_of(little_top, who_used(*AROUND_ONE)).proposed.keys() == set(STITCHES)
    assert [finding.id for finding in findings(little_top, who_used(*AROUND_ONE))] == []


def test_of_two_supplied_yarns_the_ball_that_most_testers_have_sets_the_amount(little_top):
    other = SuppliedYarn(key="other", label="Other", metres_per_ball=150, grams_per_ball=50)
    small = {"label": "Other", "metres_per_ball": 150, "grams_per_ball": 50}

    assert yarn_of(little_top, who_used(*AROUND_ONE, yarn=small), MERINO, other).ball == 150
    assert yarn_of(little_top, who_used(*AROUND_ONE), MERINO, other).ball == 210


def test_the_testers_own_ball_serves_where_none_is_supplied(little_top):
    found = yarn_of(little_top, who_used(*AROUND_ONE, yarn=BALL))

    assert (found.ball, found.proposed["S"] % 200) == (200, 0)


def test_without_a_ball_metres_are_rounded_up_to_tens(little_top):
    found = yarn_of(little_top, who_used(*AROUND_ONE))

    assert found.ball is None
    assert found.balls(1000) is None
    assert found.proposed["S"] % 10 == 0


def test_a_piece_half_done_counts_for_half(little_top):
    people = who_used(*AROUND_ONE)
    half = maker(
        9,
        measured=False,
        yarn_used={"metres": 0.05 * STITCHES["S"]},
        sittings=[{"part": "back", "hours": 9, "done": 0.5}],
    )

    found = yarn_of(little_top, [*people, half])

    assert found.makers == 5
    assert found.typical["S"] == pytest.approx(0.1 * STITCHES["S"], rel=2e-3)
    assert (found.took[4].share, found.took[4].whole) == (0.5, pytest.approx(0.1 * STITCHES["S"]))


def test_two_makers_are_too_few_to_say(little_top):
    assert taken(little_top, who_used(1, 1.1)).amounts == ()


def test_a_pattern_without_parts_has_no_stitches_to_go_by(little_top):
    little_top["parts"] = []

    assert taken(little_top, who_used(*AROUND_ONE)).amounts == ()


def test_how_many_makers_the_printed_amount_will_do(little_top):
    little_top["yarn"] = {"S": 0.1 * STITCHES["S"]}
    found = yarn_of(little_top, who_used(0.8, 0.9, 1 / 0.9, 1 / 0.8))

    assert found.enough_for("S") == pytest.approx(0.5)
    assert found.enough_for("XS") is None


# Findings on yarn


def test_too_little_for_half_of_makers_is_to_be_amended_with_the_balls_said(little_top):
    little_top["yarn"] = {"XS": 1000, "S": 800, "M": 1300}

    (found,) = findings(little_top, who_used(*AROUND_ONE), MERINO)

    # Only the S: the other sizes have plenty, if not too much.
    assert (found.id, found.verdict, found.extent) == ("yarn", Verdict.AMEND, Extent.SOME_SIZES)
    assert (found.sizes, found.now, found.proposed) == (("S",), {"S": 800}, {"S": 1260})
    assert found.estimate == pytest.approx(0.1 * STITCHES["S"] - 800, rel=0.02)
    assert found.why == (
        "By what 4 pieces took, half of makers need 998 m or more for size S, 25 % more than the 800 m printed, which "
        "will do for hardly any maker. For nine in ten it takes 6 balls of 210 m, 1260 m."
    )


def test_what_is_proposed_would_hold(little_top):
    people = who_used(0.85, 0.9, 1, 1.1, 1.2)
    little_top["yarn"] = dict.fromkeys(STITCHES, 700)
    (before,) = findings(little_top, people, MERINO)
    little_top["yarn"] = dict(before.proposed)

    (after,) = findings(little_top, people, MERINO)

    assert (before.verdict, after.verdict) == (Verdict.AMEND, Verdict.HOLDS)


def test_far_more_than_nine_in_ten_need_is_to_be_amended_too(little_top):
    little_top["yarn"] = dict.fromkeys(STITCHES, 2500)

    (found,) = findings(little_top, who_used(*AROUND_ONE), MERINO)

    assert (found.verdict, found.extent, found.sizes) == (Verdict.AMEND, Extent.ALL_SIZES, ("XS", "S", "M"))
    assert all(found.proposed[size] < 2500 for size in STITCHES)
    assert "nearly every maker" in found.why


def test_probably_short_is_to_be_looked_at_and_says_how_many_more_makers_would_settle_it(little_top):
    little_top["yarn"] = {"S": 880}

    (found,) = findings(little_top, who_used(0.8, 1, 1.3))

    assert found.verdict is Verdict.LOOK_CLOSER
    assert found.needs["any size"] >= 1


def test_made_to_measure_yarn_is_judged_by_the_square_metre(little_top):
    little_top.update(kind="made-to-measure", sizes=[], yarn_per_m2=900)
    for entry in (*little_top["numbers"], *little_top["dimensions"]):
        entry.pop("printed", None)
    for measure in little_top["measures"]:
        measure.pop("values", None)
    swatch = {"gauge": "body", "state": "blocked", "width": 10, "stitches": 22, "height": 10, "rows": 30}
    sheet = Sheet(Pattern.model_validate(little_top))
    key = little_top["measures"][0]["key"]
    people = [
        maker(i, None, measures={key: 80 + 5 * i}, swatches=[swatch], yarn=BALL, yarn_used={"metres": 1})
        for i in range(5)
    ]
    found = discrepancies(sheet, people)
    stitches = sheet.parts(found.inputs, found.worked)["back"]
    # 1200 m for a square metre, give or take two in a hundred; 22 × 30 stitches in 100 cm².
    people = [
        person.model_copy(update={"yarn_used": YarnUsed(metres=1200 * n / (22 * 30 * 100) * factor)})
        for person, n, factor in zip(people, stitches.tolist(), (0.98, 1, 1.02, 0.99, 1.01), strict=True)
    ]

    (finding,) = findings(little_top, people)

    assert (finding.id, finding.verdict, finding.extent, finding.sizes) == ("yarn", Verdict.AMEND, None, None)
    assert finding.estimate == pytest.approx(300, abs=5)
    assert finding.now == {"per m²": 900}
    assert finding.proposed["per m²"] % 10 == 0
    assert 1200 < finding.proposed["per m²"] < 1330
    assert "for each square metre of fabric" in finding.why
    assert yarn_of(little_top, people).balls(1260) is None


# Hours


def test_hours_off_by_more_than_a_quarter_are_to_be_amended(little_top):
    little_top["hours"] = {"XS": 30, "S": 33, "M": 36}

    (found,) = findings(little_top, who_took(50, 51, 52, 53, 54, 55))

    assert (found.id, found.verdict, found.unit, found.testers) == ("hours", Verdict.AMEND, "h", 6)
    assert found.proposed["S"] == pytest.approx(52, abs=1)
    assert found.why.startswith("By what 6 pieces took, half of makers take ")


def test_hours_about_right_hold(little_top):
    little_top["hours"] = {"XS": 46, "S": 52, "M": 57}

    (found,) = findings(little_top, who_took(50, 51, 52, 53, 54, 55))

    assert (found.verdict, found.now) == (Verdict.HOLDS, None)


def test_hours_by_part_add_up_to_the_whole(little_top):
    little_top["parts"].append({"key": "sleeves", "label": "Sleeves", "stitches": "back_sts * body_rows / 2"})
    people = [
        maker(
            i,
            sittings=[
                {"part": "back", "hours": 20 + i, "done": 1},
                {"part": "sleeves", "hours": 20 + i, "done": 1},
            ],
        )
        for i in range(5)
    ]

    found = taken(little_top, people)

    back, sleeves = found.parts
    assert (back.label, back.makers, sleeves.makers) == ("Back", 5, 5)
    assert (back.share, sleeves.share) == pytest.approx((0.5, 0.5))
    assert back.stitches_an_hour == pytest.approx(STITCHES["S"] / 22, rel=5e-3)
    assert back.hours["S"] + sleeves.hours["S"] == pytest.approx(found.amount("hours").typical["S"], rel=5e-3)


# Guesses


def test_guesses_are_held_against_what_it_took(little_top):
    people = who_took(50, 55, 60, 66, guess={"hours": 50})

    guess = taken(little_top, people).guess("hours")

    assert guess.pairs[1] == ("t1", 50, 55)
    assert guess.over == 3
    assert guess.ratio == pytest.approx(np.exp(np.mean(np.log([1, 1.1, 1.2, 1.32]))), rel=0.01)
    assert guess.low < guess.ratio < guess.high
    assert guess.sentence.startswith(
        "Of 4 testers who guessed and finished, 3 took more than their guess; in the middle it took 15 % more time"
    )


def test_guessed_metres_are_held_against_yarn_of_finished_pieces_only(little_top):
    people = who_used(1, 1, 1, guess={"metres": 1200})
    half = maker(
        9,
        measured=False,
        guess={"metres": 1200},
        yarn_used={"metres": 500},
        sittings=[{"part": "back", "hours": 9, "done": 0.5}],
    )

    guess = taken(little_top, [*people, half]).guess("yarn")

    assert [tester for tester, _, _ in guess.pairs] == ["t0", "t1", "t2"]
    assert guess.ratio == pytest.approx(0.1 * STITCHES["S"] / 1200)


def test_two_guesses_say_nothing(little_top):
    assert taken(little_top, who_took(50, 55, guess={"hours": 50})).guesses == ()
