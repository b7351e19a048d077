"""The report a person reads."""

from __future__ import annotations

import pytest

from testround.kernel.analysis import Analysis, analyse
from testround.kernel.report_text import report_text
from testround.kernel.round import Round
from tests.kernel.simulated import Truth, as_round, finished, simulated_round


@pytest.fixture(scope="module")
def tested() -> Round:
    document = simulated_round(21, 12, Truth(offsets={"sleeve_length": {"*": 3.4}}, worked={"cuff_sts": 4}))
    entry = finished(document, 4, "chest")
    entry["values"] = [cm / 2 for cm in entry["values"]]
    return as_round(document)


@pytest.fixture(scope="module")
def analysis(tested) -> Analysis:
    return analyse(tested)


@pytest.fixture(scope="module")
def report(analysis, tested) -> str:
    return report_text(analysis, tested)


def section(report: str, title: str) -> str:
    after = report.split(f"\n{title}\n{'-' * len(title)}\n")[1]
    return after.split("\n---")[0]


def test_it_begins_with_the_round_at_a_glance(report, analysis):
    verdicts = [finding.verdict for finding in analysis.findings.findings]

    assert report.splitlines()[:4] == [
        "Fenlight Cardigan, edition 0.9",
        "",
        "180 finished measurements by 12 testers.",
        f"To amend: 2. To look at more closely: 0. Holding: {verdicts.count('holds')}. "
        f"Open: {verdicts.count('open')}. Questions to testers: 1.",
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


def test_inches_for_those_who_think_in_them(analysis, tested):
    assert "allowed 3/4 in" in report_text(analysis, tested, "in")


def test_a_round_with_nothing_to_say_says_so():
    round = as_round(simulated_round(22, 0))
    quiet = report_text(analyse(round), round)

    assert "Nothing to amend or to look at more closely." in quiet
    assert "0 finished measurements by 0 testers." in quiet


def test_each_pressing_finding_can_be_checked_by_hand(report):
    found = section(report, "Findings")

    assert found.count("To check by hand.") == 2
    assert "126 rows / 3 rows/cm = 42 cm" in found
    assert "t0001 (size XS) reported 54 where the text prints 50: 54 − 50 = 4 st" in found


def test_what_holds_says_what_it_rests_on(report):
    assert "It rests on 12 testers in sizes XS, S, M, L, XL, 2X, 3X, 4X, 5X." in " ".join(
        section(report, "What holds, and what is open").split()
    )


def test_the_figures_stand_at_the_end_for_a_technical_editor(report):
    figures = section(report, "The figures behind it, for a technical editor")
    table = figures[figures.index("sleeve length, every tester's piece") :].splitlines()

    assert table[1].split()[:4] == ["Tester", "Size", "Target", "Worked"]
    assert len([line for line in table[2:14] if line.split()[0].startswith("t00")]) == 12
    assert "Shape shift of all sizes" in " ".join(line.strip() for line in table[14:18])


def test_yarn_and_hours_have_the_amounts_to_print_by_size():
    document = simulated_round(31, 9)
    document["pattern"]["parts"] = [{"key": "back", "label": "Back", "stitches": "2 * back_sts * body_rows"}]
    document["pattern"]["yarn"] = dict.fromkeys(document["pattern"]["sizes"], 500.0)
    for i, tester in enumerate(document["testers"]):
        worked = {count["number"]: count["worked"] for count in tester["counts"]}
        stitches = 2 * worked["back_sts"] * worked["body_rows"]
        tester["yarn"] = {"label": "Wool", "metres_per_ball": 200, "grams_per_ball": 100}
        tester["yarn_used"] = {"metres": round(0.05 * stitches * (1 + 0.02 * (i % 5 - 2)), 1)}
        tester["sittings"] = [{"part": "back", "hours": round(stitches / 600, 2), "done": 1}]
        tester["guess"] = {"hours": 20}
    tested = as_round(document)
    analysis = analyse(tested)
    amount = analysis.taken.amount("yarn")

    lines = [
        line.split() for line in section(report_text(analysis, tested), "Yarn and hours").splitlines() if line
    ]

    sizes = list(amount.typical)[:7]
    assert lines[0] == ["yarn,", "m", *sizes]
    assert ["to", "print", *(f"{amount.proposed[size]:.0f}" for size in sizes)] in lines
    assert ["balls", "of", "200", "m", *(f"{amount.proposed[size] / 200:.0f}" for size in sizes)] in lines
    assert "Back: 600 stitches an hour, 100 % of the hours (9 makers)." in (" ".join(line) for line in lines)
    assert any(" ".join(line).startswith("Of 9 testers who guessed and finished,") for line in lines)


def test_where_nobody_said_what_it_took_there_is_nothing_of_yarn_and_hours(report):
    assert "Yarn and hours" not in report
