"""The report a person reads, and the paragraph that can be checked by hand."""

from __future__ import annotations

import pytest

from testround.kernel.analysis import Analysis, analyse
from testround.kernel.report_text import evidence, report_text
from testround.kernel.round import Pattern
from tests.kernel.simulated import Truth, as_round, finished, pattern, simulated_round


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    document = simulated_round(21, 12, Truth(offsets={"sleeve_length": {"*": 3.4}}, worked={"cuff_sts": 4}))
    entry = finished(document, 4, "chest")
    entry["values"] = [cm / 2 for cm in entry["values"]]
    return analyse(as_round(document))


@pytest.fixture(scope="module")
def report(analysis) -> str:
    return report_text(analysis)


def section(report: str, title: str) -> str:
    after = report.split(f"\n{title}\n{'-' * len(title)}\n")[1]
    return after.split("\n---")[0]


def test_it_begins_with_the_round_at_a_glance(report):
    assert report.splitlines()[:4] == [
        "Fenlight Cardigan, edition 0.9",
        "",
        "180 finished measurements by 12 testers.",
        "To amend: 2. To look at more closely: 0. Holding: 15. Open: 1. Questions to testers: 1.",
    ]


def test_a_finding_has_its_verdict_its_sentence_and_its_figures(report):
    found = section(report, "Findings")

    assert "AMEND  finished size: sleeve_length  [finished-size:sleeve_length]" in found
    assert "sleeve length: the pieces of 12 testers came out 3." in found
    assert "allowed 2 cm." in found


def test_now_and_proposed_stand_under_one_another_by_size(report):
    lines = section(report, "Findings").splitlines()
    at = next(i for i, line in enumerate(lines) if line.split()[:2] == ["sleeve_rows", "XS"])

    sizes, now, proposed = (lines[at + i].split() for i in range(3))
    assert sizes[1:] == ["XS", "S", "M", "L", "XL", "2X", "3X", "4X", "5X"]
    assert now == ["now", *["126"] * 9]
    assert proposed[0] == "proposed"
    assert len({len(line) for line in lines[at : at + 3]}) == 1


def test_a_worked_count_stands_beside_what_the_formula_gives(report):
    assert "by formula" in section(report, "Findings")


def test_questions_gauges_and_sizes_are_there(report):
    assert "t0005: chest is given as" in section(report, "Questions to ask testers")
    assert "body, rows" in section(report, "Gauges, per 10 cm")
    matrix = section(report, "Sizes by measurements")
    assert matrix.count("!!") == 9 + 1  # a row of nine, and the explanation


def test_it_fits_a_hundred_columns(report):
    assert max(map(len, report.splitlines())) <= 110


def test_inches_for_those_who_think_in_them(analysis):
    assert "allowed 3/4 in" in report_text(analysis, "in")


def test_a_round_with_nothing_to_say_says_so():
    quiet = report_text(analyse(as_round(simulated_round(22, 0))))

    assert "Nothing to amend or to look at more closely." in quiet
    assert "0 finished measurements by 0 testers." in quiet


def test_evidence_can_be_worked_by_hand_on_one_tester(analysis):
    said = evidence(analysis, "finished-size:sleeve_length", Pattern.model_validate(pattern()))

    cell = next(
        c for c in analysis.findings.cells if f"Take {c.tester} " in said and c.dimension == "sleeve_length"
    )
    own = next(o for o in analysis.own_gauges if o.tester == cell.tester)
    # 126 rows at that tester's rows per cm.
    assert cell.measured - cell.parts.remainder == pytest.approx(126 / (own.row / 10))
    assert f"at {own.st:.1f} stitches and {own.row:.1f} rows in 10 cm (body)" in said
    assert "All 12 testers who measured it there are left on that side." in said


def test_evidence_of_a_gauge_gives_the_range_of_swatches(analysis):
    said = evidence(analysis, "stated-gauge:body.row")

    assert "Their swatches run from" in said


def test_there_is_no_evidence_of_what_was_not_found(analysis):
    with pytest.raises(KeyError):
        evidence(analysis, "finished-size:nothing")
