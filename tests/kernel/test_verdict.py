"""From estimates to verdicts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from testround.kernel.analysis import analyse
from testround.kernel.discrepancy import discrepancies
from testround.kernel.findings import Extent, Finding, Verdict
from testround.kernel.gauge import own_gauges
from testround.kernel.round import FitSays, Pattern, Tester
from testround.kernel.sheet import Sheet
from testround.kernel.verdict import (
    Agreed,
    FitSaid,
    Gathered,
    fit_said,
    gathered_remarks,
    judge,
    judge_gauges,
    needed,
    worked_counts,
)
from tests.kernel.simulated import Truth, as_round, simulated_round


def maker(i: int, size: str | None = "S", **more: Any) -> Tester:
    return Tester.model_validate({"id": f"t{i:02d}", "name": f"Tester {i}", "size": size, **more})


def with_gauge(i: int, stitches: float, rows: float) -> Tester:
    swatch = {
        "gauge": "body",
        "state": "blocked",
        "tool_mm": 4,
        "width": 10,
        "height": 10,
        "stitches": stitches,
        "rows": rows,
    }
    return maker(i, swatches=[swatch])


def counted(i: int, size: str, **counts: float) -> Tester:
    return maker(i, size, counts=[{"number": key, "worked": n} for key, n in counts.items()])


@pytest.fixture
def sheet(little_top) -> Sheet:
    return Sheet(Pattern.model_validate(little_top))


# One deviation


@pytest.mark.parametrize(
    ("estimate", "half", "supported", "testers", "verdict"),
    [
        (3.4, 0.8, True, 14, Verdict.AMEND),
        (-3.4, 0.8, True, 14, Verdict.AMEND),
        (3.4, 0.8, False, 14, Verdict.LOOK_CLOSER),  # outside, and not paid for
        (3.4, 3.9, True, 14, Verdict.LOOK_CLOSER),  # the interval reaches zero
        (3.4, 0.8, True, 1, Verdict.LOOK_CLOSER),  # one tester alone convicts nothing
        (1.0, 0.8, True, 14, Verdict.HOLDS),
        (1.0, 1.2, True, 14, Verdict.OPEN),  # the interval leaves the tolerance
        (0.0, 0.5, False, 1, Verdict.OPEN),
        (0.0, 0.5, False, 0, Verdict.OPEN),
        (float("nan"), 0.5, False, 3, Verdict.OPEN),
    ],
)
def test_a_deviation_of_two_centimetres_allowed(estimate, half, supported, testers, verdict):
    assert judge(estimate, half, 2.0, supported=supported, testers=testers) is verdict


def test_a_deviation_beyond_is_settled_when_its_evidence_outweighs_the_odds():
    # Off by 5 where 2 are allowed, known to 2.5: one tester who adds 1 is enough, of those who add a tenth it takes
    # three, and eight where there was more to look at.
    assert needed(5.0, 2.5, 10, 2.0, 1.0) == 1
    assert needed(5.0, 2.5, 10, 2.0, 0.1) == 3
    assert needed(5.0, 2.5, 10, 2.0, 0.1, price=8.0) == 8


def test_a_deviation_just_beyond_takes_more_testers_than_one_far_out():
    # With an error of e, the next estimate lies beyond the tolerance four times in five when it is now 0.84 e
    # beyond: 0.2 beyond asks for an error of 0.238, that is (1 / 0.238² − 1 / 1.5²) = 17.3 testers' information.
    assert needed(2.2, 1.5, 10, 2.0, 1.0) == 18
    assert needed(4.0, 1.5, 10, 2.0, 1.0) < 18


def test_a_deviation_within_is_settled_when_its_interval_fits():
    few = needed(0.0, 1.5, 10, 2.0, 1.0)
    more = needed(1.5, 1.5, 10, 2.0, 1.0)

    assert few < more


def test_what_lies_beyond_always_asks_for_testers_and_what_lies_on_the_limit_for_none():
    assert needed(2.0001, 1.5, 10, 2.0, 1.0) == 99
    assert needed(2.0, 1.5, 10, 2.0, 1.0) is None
    assert needed(3.0, 1.5, 10, 2.0, 0.0) is None


@pytest.fixture(scope="module")
def undecided() -> list[Finding]:
    """A sleeve a little too long, measured by four testers with unsteady hands: what is said of it."""
    found = [sleeve(seed, 4, 2.4 + 0.02 * (seed % 10)) for seed in range(24)]
    return [one for one in found if one.verdict is Verdict.LOOK_CLOSER]


def sleeve(seed: int, testers: int, off: float) -> Finding:
    truth = Truth(offsets={"sleeve_length": {"*": off}}, reading_noise=1.2, garment_noise=0.02)
    findings = analyse(as_round(simulated_round(seed, testers, truth))).findings.findings
    return next(one for one in findings if one.id == "finished-size:sleeve_length")


def test_the_testers_asked_for_settle_it_four_times_in_five(undecided):
    """By simulation: rounds with so many testers more, in which the estimate is the truth."""
    settled = [
        sleeve(1000 + 100 * k + again, 4 + sum(one.needs.values()), one.estimate).verdict is Verdict.AMEND
        for k, one in enumerate(undecided)
        for again in range(10)
    ]

    assert len(settled) >= 24
    # Four in five, and the binomial's spread about that.
    assert np.mean(settled) == pytest.approx(0.8, abs=3 * (0.8 * 0.2 / len(settled)) ** 0.5)


# Stated gauges


def test_a_row_gauge_that_nobody_gets_is_amended_and_the_stitches_hold(sheet):
    people = [
        with_gauge(i, st, row)
        for i, (st, row) in enumerate([(22, 27), (22.25, 27.5), (21.75, 28), (22, 27.5), (22, 28)])
    ]
    own = own_gauges(sheet, people)

    stitches, rows = judge_gauges(sheet, own, np.zeros(own.blocked.shape, dtype=bool))

    assert (stitches.verdict, rows.verdict) == (Verdict.HOLDS, Verdict.AMEND)
    assert rows.estimate == pytest.approx(27.6, abs=0.05)
    assert rows.low < rows.estimate < rows.high < 30
    assert (rows.testers, rows.worst) == (5, "body_length")
    # 96 rows are 32 cm, and 2 cm are allowed: 2 / 32 of 30 rows.
    assert rows.tolerance == pytest.approx(30 * 2 / 32, abs=1e-6)


def test_two_testers_alone_do_not_amend_a_gauge(sheet):
    own = own_gauges(sheet, [with_gauge(1, 22, 25), with_gauge(2, 22, 25)])

    rows = judge_gauges(sheet, own, np.zeros(own.blocked.shape, dtype=bool))[1]

    assert rows.verdict is Verdict.LOOK_CLOSER


def test_one_tester_shows_nothing_of_how_testers_differ(sheet):
    own = own_gauges(sheet, [with_gauge(1, 22, 27.5)])

    rows = judge_gauges(sheet, own, np.zeros(own.blocked.shape, dtype=bool))[1]

    assert rows.verdict is Verdict.LOOK_CLOSER
    assert rows.low < 25
    assert rows.high > 30


def test_without_swatches_a_gauge_is_open(sheet):
    own = own_gauges(sheet, [maker(1)])

    found = judge_gauges(sheet, own, np.zeros(own.blocked.shape, dtype=bool))

    assert [(g.estimate, g.testers, g.verdict) for g in found] == [(None, 0, Verdict.OPEN)] * 2


# Worked counts


def counts(sheet: Sheet, people: list[Tester], misprinted: dict[str, dict[str, float]] | None = None):
    return worked_counts(sheet, discrepancies(sheet, people), misprinted or {})


def test_several_testers_of_several_sizes_at_one_offset_are_the_texts_fault(sheet):
    people = [
        counted(1, "XS", back_sts=94),
        counted(2, "S", back_sts=106),
        counted(3, "M", back_sts=114),
        maker(4, "M"),
    ]

    assert counts(sheet, people) == (
        Agreed(
            number="back_sts",
            offset=2.0,
            sizes=(0, 1, 2),
            extent=Extent.ALL_SIZES,
            votes=2,
            reports=3,
            testers=(0, 1),
            silent=(3,),
        ),
    )


def test_one_alone_is_a_slip(sheet):
    assert counts(sheet, [counted(1, "XS", back_sts=94), counted(2, "S", back_sts=104)]) == ()
    assert counts(sheet, [counted(1, "XS", back_sts=94)]) == ()


def test_a_minority_with_one_offset_is_not_the_text(sheet):
    people = [counted(i, "S", back_sts=104) for i in range(4)] + [counted(i, "M", back_sts=116) for i in (5,)]

    assert counts(sheet, [*people, counted(6, "XS", back_sts=94)]) == ()


def test_two_of_one_size_agree_while_the_other_sizes_work_what_is_printed(sheet):
    people = [counted(i, "S", back_sts=104) for i in range(5)]
    people += [counted(8, "M", back_sts=110), counted(9, "M", back_sts=110)]

    (found,) = counts(sheet, people)

    assert (found.sizes, found.extent, found.offset, found.votes) == ((2,), Extent.SOME_SIZES, -4.0, 2)


def test_whoever_puts_a_misprint_right_is_right(sheet):
    people = [counted(1, "M", back_sts=114), counted(2, "M", back_sts=114)]
    wrongly_printed = Sheet(
        sheet.pattern.model_copy(
            update={
                "numbers": (
                    sheet.pattern.numbers[0].model_copy(update={"printed": {"M": 141}}),
                    sheet.pattern.numbers[1],
                )
            }
        )
    )

    assert counts(wrongly_printed, people, {"back_sts": {"M": 114}}) == ()


def test_the_nearest_whole_stitch_to_a_broken_one_is_no_other_count(little_top):
    little_top["numbers"][0].update(formula="(bust + ease) / 2 * body.st", printed=None)  # 103.4 in an S
    sheet = Sheet(Pattern.model_validate(little_top))

    assert counts(sheet, [counted(i, "S", back_sts=103) for i in range(3)]) == ()
    assert counts(sheet, [counted(i, "S", back_sts=105) for i in range(3)]) != ()


def test_a_count_that_follows_from_another_is_not_counted_twice(little_top):
    little_top["numbers"].append(
        {"key": "waist_sts", "label": "Waist", "unit": "st", "formula": "back_sts - 8"}
    )
    sheet = Sheet(Pattern.model_validate(little_top))
    people = [
        counted(i, size, back_sts=n + 4, waist_sts=n - 4)
        for i, (size, n) in enumerate([("XS", 92), ("S", 104)])
    ]

    assert [one.number for one in counts(sheet, people)] == ["back_sts"]


# Remarks and fit


def remarked(i: int, place: str | None, kind: str = "unclear") -> Tester:
    return maker(i, remarks=[{"place": place, "kind": kind, "text": "Which side faces me?"}])


def test_remarks_gather_where_two_testers_stumble():
    people = [
        remarked(1, "Back, step 3"),
        remarked(2, "back,  step 3.", "missing"),
        remarked(3, "Back, step 4"),
        remarked(4, None),
        remarked(5, "Sleeves, step 1", "fit"),
        remarked(6, "Sleeves, step 1", "fit"),
    ]

    assert gathered_remarks(people) == (Gathered("Back, step 3", ("t01", "t02"), ("missing", "unclear")),)


def test_fit_is_heard_when_most_of_a_size_say_the_same(sheet):
    def says(i: int, size: str, word: str) -> Tester:
        return maker(i, size, fit=[{"dimension": "chest", "says": word}])

    people = [
        says(1, "S", "too-large"),
        says(2, "S", "too-large"),
        says(3, "S", "right"),
        says(4, "M", "too-small"),
    ]

    assert fit_said(sheet, people) == (FitSaid("chest", FitSays.TOO_LARGE, ("S",), 2),)
