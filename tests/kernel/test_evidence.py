"""What a finding rests on: every sum holds as it is shown, and the figures are those of the analysis."""

from __future__ import annotations

import functools
import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from testround.kernel.analysis import analyse
from testround.kernel.evidence import Evidence, Explained, evidence
from testround.kernel.findings import FindingKind, Verdict
from testround.kernel.round import Round
from tests.generated import rounds
from tests.kernel.simulated import Truth, as_round, finished, simulated_round
from tests.kernel.sums import holds, untrue, value_of

FIXTURES = Path(__file__).parents[2] / "fixtures"


def explained(round: Round, units="cm") -> Explained:
    return Explained(analyse(round), round, units)


@functools.cache
def demo(name: str, units="cm") -> Explained:
    return explained(Round.model_validate(json.loads((FIXTURES / f"{name}.json").read_text())), units)


@pytest.fixture(scope="module")
def cardigan() -> Explained:
    """Twelve testers; the sleeves come out long, four stitches are added at every cuff, and one chest is halved."""
    document = simulated_round(21, 12, Truth(offsets={"sleeve_length": {"*": 3.4}}, worked={"cuff_sts": 4}))
    entry = finished(document, 4, "chest")
    entry["values"] = [cm / 2 for cm in entry["values"]]
    return explained(as_round(document))


def step(evidence: Evidence, says: str) -> str:
    return next(str(step) for step in evidence.steps if says in step.says)


# Sums -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["cm", "in"])
@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_every_sum_of_the_demo_holds_as_it_is_shown(name, units):
    found = demo(name, units).all()

    assert {key: untrue(one) for key, one in found.items() if untrue(one)} == {}
    # Whatever is measured, printed or counted over has a sum to redo.
    assert [
        key
        for key, one in found.items()
        if not key.startswith(("clarity:", "fit:")) and not any(step.sum for step in one.steps)
    ] == []


@settings(max_examples=120, suppress_health_check=[HealthCheck.too_slow])
@given(rounds())
def test_any_round_has_evidence_and_its_sums_hold(round):
    found = explained(round).all()

    assert {key: untrue(one) for key, one in found.items() if untrue(one)} == {}


@pytest.mark.parametrize("seed", range(6))
def test_sums_hold_in_rounds_with_faults_of_every_kind(seed):
    truth = Truth(
        offsets={"sleeve_length": {"*": 3.4}, "chest": {"3X": 5.0, "4X": 5.0}},
        rows=0.93,
        worked={"cuff_sts": 4, "neck_sts": -2},
    )
    document = simulated_round(seed, 20, truth)
    document["pattern"]["numbers"][0]["printed"]["M"] += 8
    document["pattern"]["dimensions"][0]["printed"]["L"] += 6

    found = explained(as_round(document)).all()

    assert {key: untrue(one) for key, one in found.items() if untrue(one)} == {}


@pytest.mark.parametrize("name", ["fenlight", "quillwork"])
def test_the_three_parts_are_those_of_the_cell_to_a_hundredth(name):
    shown = demo(name)
    cells = {(c.tester, c.dimension): c for c in shown.analysis.findings.cells}
    checked = 0
    for finding in shown.analysis.findings.findings:
        if finding.kind is FindingKind.FINISHED_SIZE:
            found = shown.of(finding.id)
            tester = found.lead.split("Take ")[1].split()[0].rstrip(",")
            parts = cells[tester, finding.subject].parts
            left, _, total = (
                step(found, "counts, gauge and what is left").partition(": ")[2].rpartition(" = ")
            )
            cell = cells[tester, finding.subject]

            assert value_of(total) == pytest.approx(cell.measured - cell.target, abs=0.011)
            assert value_of(step(found, "which leaves").rpartition(" = ")[2]) == pytest.approx(
                parts.remainder, abs=0.011
            )
            assert value_of(left) == pytest.approx(value_of(total), abs=1e-9)
            checked += 1
    assert checked >= 4


def test_a_sum_that_does_not_hold_is_seen():
    assert holds("50 st / 2.4 st/cm = 20.83 cm")
    assert not holds("50 st / 2.4 st/cm = 20.84 cm")
    assert not holds("0 + 0.22 + 1.7 = 1.93 cm")


# Kinds ----------------------------------------------------------------------------------------------------


def test_a_printed_count_is_worked_from_the_measures_of_the_size():
    """(38 + 6) × 2.2 = 96.8, of which the nearest even count is 96."""
    found = demo("fenlight").of("printed-count:sleeve_sts")

    assert [str(step) for step in found.steps[1:]] == [
        "(38 cm + 6 cm) × 2.2 st/cm = 96.8",
        "the multiple of 2 nearest to 96.8 is 96 st",
        "printed is 69: 69 − 96 = −27 st",
    ]
    assert "no tester is needed" in found.paragraph


def test_a_printed_measurement_is_worked_from_the_printed_counts():
    found = demo("fenlight").of("schematic:chest")

    assert found.steps[0].sum == "(174 st + 2 × 82 st) / 2.2 st/cm + 3 cm = 156.64 cm"
    assert str(found.steps[1]) == "printed is 162.5 cm: 162.5 − 156.64 = 5.86 cm"


def test_a_worked_count_names_one_tester_and_lists_the_others(cardigan):
    """Every tester of the round works four stitches more; the formula gives 48.4, so 50 (a multiple of 4 plus 2)."""
    found = cardigan.of("worked-count:cuff_sts")

    assert [str(step) for step in found.steps] == [
        "t0001 (size XS) reported 54 where the text prints 50: 54 − 50 = 4 st"
    ]
    assert "The same difference: t0001, t0002, t0003" in found.paragraph
    assert "Nobody who reported it arrived at anything else." in found.paragraph


def test_who_does_not_agree_is_named_too():
    document = simulated_round(21, 12, Truth(worked={"cuff_sts": 4}))
    for tester, worked in ((document["testers"][2], 50), (document["testers"][5], 52)):
        count = next(c for c in tester["counts"] if c["number"] == "cuff_sts")
        count["worked"] = worked

    found = explained(as_round(document)).of("worked-count:cuff_sts")

    assert "Otherwise: as the text has it: t0003; 2 more: t0006." in found.paragraph
    assert found.figures is not None
    assert [row[-1] for row in found.figures.rows].count("does not") == 2


def test_a_gauge_shows_one_swatch_all_of_them_and_what_it_does():
    found = demo("fenlight").of("stated-gauge:body.row")

    assert str(found.steps[0]) == (
        "t05 (size S) counted 28 rows over 10 cm, which makes in 10 cm: 28 rows × 10 / 10 = 28 rows"
    )
    assert found.lead.count(", t") == 20
    assert "Back length, hem to shoulder in size 5X at the stated gauge" in found.steps[1].says
    assert "up to 2.5 cm is fine" in found.steps[-1].says
    assert "95 % interval" in found.paragraph


def test_a_finished_size_is_checked_on_the_tester_nearest_to_the_estimate(cardigan):
    finding = cardigan.by_id["finished-size:sleeve_length"]
    found = cardigan.of(finding.id)

    left = {
        c.tester: c.parts.remainder
        for c in cardigan.analysis.findings.cells
        if c.dimension == "sleeve_length"
    }
    nearest = min(left, key=lambda tester: (abs(left[tester] - finding.estimate), tester))
    assert f"Take {nearest} (size" in found.lead
    assert step(found, "what the pattern means").endswith("126 rows / 3 rows/cm = 42 cm")
    assert "Of 12 testers of the round, 12 are left with a piece that is larger" in found.paragraph


def test_what_a_question_is_asked_about_is_no_example(cardigan):
    found = cardigan.of("finished-size:chest")

    assert "Take t0005" not in found.lead
    assert "Of 11 testers of the round" in found.paragraph


def test_counts_worked_otherwise_are_a_part_of_their_own(cardigan):
    found = cardigan.of("finished-size:cuff")

    assert "cuff sts 54, where 50 is meant" in step(found, "with the counts worked")
    assert step(found, "the counts explain").endswith("24.55 − 22.73 = 1.82 cm")


def test_made_to_measure_is_worked_at_own_gauge():
    found = demo("quillwork").of("finished-size:skirt_length")

    assert "at own gauge" in found.steps[0].says
    assert "what is meant is worked at it already" in step(found, "own gauge explains nothing")


def test_yarn_is_worked_from_one_makers_rate():
    """573 g at 210 m for 100 g are 1203.3 m, over 56.972 thousand stitches."""
    found = demo("fenlight").of("yarn")

    assert step(found, "by the ball").endswith("573 g × 210 m / 100 g = 1203.3 m")
    assert step(found, "in a thousand stitches").endswith("1203.3 m / 56.972 = 21.121 m")


def test_remarks_are_counted_and_their_words_are_not_repeated():
    shown = demo("fenlight")
    found = shown.of("clarity:Fronts, step 6")

    assert found.lead == "3 of the 22 testers of the round remarked on Fronts, step 6."
    assert [str(step) for step in found.steps] == [
        "remarks by kind: unclear 3",
        "testers by size: S 1, L 1, 3X 1",
    ]
    words = [r.text for tester in shown.testers for r in tester.remarks]
    assert not [text for text in words if text in found.paragraph]


def test_fit_is_counted_by_size():
    found = demo("fenlight").of("fit:back_width:too-large")

    assert "size 4X: too large 2" in [step.says for step in found.steps]


# Verdicts -------------------------------------------------------------------------------------------------


def test_every_verdict_says_what_it_rests_on_or_what_is_missing():
    words = {
        Verdict.AMEND: "Amend: ",
        Verdict.LOOK_CLOSER: "Look closer: ",
        Verdict.HOLDS: "Holds: ",
        Verdict.OPEN: "Open: ",
    }
    seen = set()
    small = explained(
        as_round(simulated_round(5, 3, Truth(offsets={"chest": {"*": 5.0}}, garment_noise=0.03)))
    )
    for shown in (demo("fenlight"), demo("quillwork"), small):
        for finding in shown.analysis.findings.findings:
            assert words[finding.verdict] in shown.of(finding.id).paragraph
            seen.add(finding.verdict)
    assert seen >= {Verdict.AMEND, Verdict.HOLDS, Verdict.OPEN}


def test_more_testers_are_asked_for_by_size():
    small = explained(
        as_round(simulated_round(5, 3, Truth(offsets={"chest": {"*": 5.0}}, garment_noise=0.03)))
    )
    asked = [finding for finding in small.analysis.findings.findings if finding.needs]

    assert asked
    for finding in asked:
        size, n = next(iter(finding.needs.items()))
        assert f"More testers that would settle it: {n} in {size}" in small.of(finding.id).paragraph


def test_a_hold_says_how_many_testers_it_rests_on():
    assert "It rests on 16 testers in sizes XS, S, M, L, XL, 2X, 3X, 4X, 5X." in (
        demo("fenlight").of("finished-size:chest").paragraph
    )


# Figures --------------------------------------------------------------------------------------------------


def test_the_figures_are_those_of_the_analysis(cardigan):
    found = cardigan.of("finished-size:sleeve_length")
    behind = cardigan.analysis.behind.dimension("sleeve_length")
    figures = found.figures

    assert figures is not None
    assert behind is not None
    assert len(figures.rows) == 12
    facts = dict(figures.facts)
    assert facts["Standard uncertainty u"] == f"{round(behind.u, 2):g} cm"
    assert facts["Shape"] == "shift of all sizes"
    assert facts["q"] == "below 0.001"
    assert "Garments against swatches τ (body, rows)" in facts


def test_half_the_interval_is_the_t_quantile_times_u(cardigan):
    """With 21 degrees of freedom or more Student's factor lies between 1.96 and 2.08 (any table of t)."""
    finding = cardigan.by_id["finished-size:sleeve_length"]
    behind = cardigan.analysis.behind.dimension("sleeve_length")

    low, high = finding.interval
    assert 1.96 < (high - low) / 2 / behind.u < 2.2


def test_what_was_set_aside_is_said(cardigan):
    figures = cardigan.of("finished-size:chest").figures

    assert figures is not None
    row = next(row for row in figures.rows if row[0] == "t0005")
    assert row[-1] == "set aside"


def test_inches_for_those_who_think_in_them():
    found = demo("fenlight", "in").of("finished-size:cuff")

    assert "The sums are in centimetres, as the sheet's formulas are." in found.lead
    assert step(found, "the same in inches").endswith(" in")
    assert "up to 3/8 in is fine" in found.paragraph


def test_testers_are_called_as_the_page_calls_them():
    shown = demo("fenlight")
    called = {tester.id: f"Name of {tester.id}" for tester in shown.testers}

    found = evidence(shown.analysis, shown.round, "finished-size:cuff", called=called)

    assert "Take Name of t" in found.lead
    assert found.figures is not None
    assert found.figures.rows[0][0].startswith("Name of ")


def test_there_is_no_evidence_of_what_was_not_found(cardigan):
    with pytest.raises(KeyError):
        cardigan.of("finished-size:nothing")


def test_of_very_many_testers_the_furthest_off_are_shown_and_the_others_counted():
    crowd = explained(as_round(simulated_round(3, 90, Truth(offsets={"sleeve_length": {"*": 3.4}}))))

    figures = crowd.of("finished-size:sleeve_length").figures

    assert figures is not None
    assert (len(figures.rows), figures.more) == (60, 30)
    left = {c.tester: abs(c.parts.remainder) for c in crowd.cells["sleeve_length"]}
    shown = {row[0] for row in figures.rows}
    assert min(left[tester] for tester in shown) >= max(
        left[tester] for tester in left if tester not in shown
    )
