from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from testround.kernel.analysis import analyse
from testround.kernel.findings import Cell, Parts
from testround.kernel.round import Round
from testround.paper.report import MOST_TESTERS_SHOWN, Decided, Known, names_of_testers, report_pdf

from .scene import SIZES, a_round, an_analysis, outline_of, read, round_document, text_of

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMED = Known(called=names_of_testers(a_round()))


@pytest.fixture(scope="module")
def pdf() -> bytes:
    """The report of the made-up round, on A4, in centimetres, its testers named."""
    return report_pdf(an_analysis(), a_round(), known=NAMED)


@pytest.fixture(scope="module")
def text(pdf: bytes) -> str:
    return text_of(pdf)


def test_its_parts_come_in_the_order_of_the_questions_a_designer_asks(pdf: bytes) -> None:
    assert outline_of(pdf) == [
        (0, "Fenlight Cardigan: report of the round"),
        (1, "At a glance"),
        (1, "Who tested what"),
        (1, "Findings"),
        (2, "1. Hem to underarm: amend"),
        (2, "2. Stockinette, blocked, rows: look closer"),
        (2, "What holds"),
        (1, "Questions to ask testers"),
        (1, "Gauge: Stockinette, blocked"),
        (1, "Dimension: Chest circumference"),
        (1, "Dimension: Hem to underarm"),
        (1, "Open questions"),
        (1, "How this was worked out"),
    ]


def test_at_a_glance_counts_the_verdicts(text: str) -> None:
    assert "4 testers, of whom 4 sent finished measurements. 1 to amend, 1 to look at more closely." in text
    assert (
        "Amend 1 Hem to underarm Look closer 1 Stockinette, blocked, rows Holds 1 Chest circumference" in text
    )


def test_at_a_glance_shows_every_dimension_in_every_size(text: str) -> None:
    assert "Chest circumference – – – – – – – – –" in text
    assert "Hem to underarm +3 ! +3.1 ! +3.2 ! +3.3 ! +3.4 ! +3.5 ! +3.6 ! +3.7 … +3.8 !" in text.replace(
        "\u00a0", " "
    )


def test_a_finding_has_its_sentence_its_evidence_and_its_correction(text: str) -> None:
    assert "Pieces came out 3.4 cm longer than the testers' own gauges explain." in text
    assert (
        "finished size · every size · off by +3.4 cm · 95 % interval +2.6 cm to +4.2 cm · tolerance ±2 cm · 4 testers"
    ) in text
    assert (
        "Rows to underarm, Back, step 3, rows XS S M L XL 2X 3X 4X 5X "
        "was 106 106 106 106 106 106 106 106 106 now 95 96 97 98 99 100 101 102 103"
    ) in text


def test_a_finding_can_be_checked_by_hand_on_paper_too() -> None:
    round_ = Round.model_validate(json.loads((FIXTURES / "fenlight.json").read_text()))

    text = text_of(report_pdf(analyse(round_), round_))

    assert "Check it by hand" in text
    assert "50 st / 2.375 st/cm = 21.05 cm" in text
    assert "the multiple of 2 nearest to 96.8 is 96 st" in text
    assert "It rests on 16 testers in sizes XS, S, M, L, XL, 2X, 3X, 4X, 5X." in text
    assert "Standard uncertainty u 0.11 cm" in text
    assert "Who arrived at what: Pick up around the neck" in text


def test_a_stated_gauge_says_what_every_number_becomes(text: str) -> None:
    assert "Stockinette, blocked, rows, over 10 cm rows was 30 now 28 1/2" in text
    assert (
        "What the numbers become: XS S M L XL 2X 3X 4X 5X Rows to underarm 84 86 88 90 92 94 96 98 100"
        in text
    )
    assert "further testers that would settle it: 7 in M" in text


def test_every_tester_stands_with_size_yarn_and_what_they_sent(text: str) -> None:
    assert "XS S M L XL 2X 3X 4X 5X testers 1 0 2 0 0 0 0 0 1 measured 0 0 0 0 0 0 0 0 0" in text
    assert (
        "Tester Size Yarn Swatch Counts Measured, of 2 Hours Metres "
        "Alder XS – blocked – – – – Birch M – blocked – – – – Cedar M – blocked – – – – Dogwood 5X – blocked"
    ) in text


def test_nobody_is_named_who_is_not_known_to_agree() -> None:
    text = text_of(
        report_pdf(an_analysis(), a_round(), known=Known(called={"t02": "Birch", "t04": "Tester 4"}))
    )

    assert "Birch M 35.3" in text
    assert "t01 XS 35.3" in text
    assert "Tester 4 5X 35.3" in text
    for name in ("Alder", "Cedar", "Dogwood"):
        assert name not in text


def test_every_dimension_says_its_verdict_above_its_plot(text: str) -> None:
    section = text.partition("Dimension: Hem to underarm Amend. ")[2]

    assert section.startswith("Pieces came out 3.4 cm longer than the testers' own gauges explain.")


def test_what_nobody_measured_is_named() -> None:
    document = round_document()
    document["pattern"]["dimensions"].append(
        {"key": "cuff", "label": "Cuff", "tolerance": 1, "formula": "10"}
    )

    text = text_of(report_pdf(an_analysis(), type(a_round()).model_validate(document)))

    assert "Not measured Nobody has measured Cuff so far." in text


def test_remarks_stand_by_place_in_the_order_of_the_text_in_their_testers_words() -> None:
    document = round_document()
    document["testers"][0]["remarks"] = [
        {"kind": "typo", "text": "Says cof."},
        {"place": "Back, step 3", "kind": "unclear", "text": "Which edge?"},
    ]
    document["testers"][1]["remarks"] = [
        {"place": "Back, step 3", "kind": "wrong-number", "text": "104, surely."},
        {"place": "Back, step 1", "kind": "missing", "text": "Says nothing of the needle."},
    ]

    text = text_of(report_pdf(an_analysis(), type(a_round()).model_validate(document)))

    assert (
        "Remarks by place in the text Where Kind In the tester's words Tester "
        "Back, step 1 missing Says nothing of the needle. t02 "
        "Back, step 3 unclear Which edge? t01 wrong number 104, surely. t02 "
        "no place named typo Says cof. t01"
    ) in text


def test_what_was_decided_and_whom_to_thank_are_said_where_they_are_known(text: str) -> None:
    decided = Decided(
        published=(("1", "Back, step 3", "every size", "Work 96 rows.", "12 May 2027"),),
        declined=(("Chest circumference", "look closer", "Meant to be roomy."),),
    )
    known = Known(decided=decided, thanks="Tested by Alder and 3 others who prefer not to be named.")

    told = text_of(report_pdf(an_analysis(), a_round(), known=known))

    assert (
        "What was decided Published as errata Erratum Where Sizes Correction Published "
        "1 Back, step 3 every size Work 96 rows. 12 May 2027 "
        "Declined, and why About Verdict Reason Chest circumference look closer Meant to be roomy."
    ) in told
    assert "Thanks Tested by Alder and 3 others who prefer not to be named. To copy into the pattern" in told
    assert "What was decided" not in text
    assert "Thanks" not in text


def test_words_of_the_pattern_are_told_in_the_readers_terms() -> None:
    told = text_of(
        report_pdf(an_analysis(), a_round(), known=Known(told=lambda text: text.replace("Hem", "Lower edge")))
    )

    assert "Dimension: Lower edge to underarm" in told
    assert "Hem to underarm" not in told


def test_questions_name_the_tester_and_what_it_is_about(text: str) -> None:
    assert "Cedar Hem to underarm Is 18.8 cm half of the measurement?" in text


def test_the_limits_of_a_gauge_are_said_under_its_plot(text: str) -> None:
    assert "In the shaded region every measurement of every size keeps its tolerance." in text
    assert re.search(r"A\. Too few stitches: .+ is the first to come out too large, from \d+\.\d on\.", text)


def test_gauges_are_given_with_their_uncertainty_and_assumed_ones_are_not_drawn(text: str) -> None:
    assert "stitches 22 22.3 21.5 23.0 rows 30 28.8 28.3 29.5" in text
    # 21.5 stitches, 2 % standard uncertainty: two of them are 0.86.
    assert "Alder blocked 21 1/2 ± 0.9 28 ± 1.1" in text
    assert "Dogwood blocked" not in text


def test_every_tester_stands_with_the_three_parts(text: str) -> None:
    # measured − target = counts + gauge + remainder: 40.9 − 35.3 = 2.7 − 0.7 + 3.6
    assert "Birch M 35.3 38 37.3 40.9 +2.7 −0.7 +3.6 0.4" in text
    assert "Dogwood 5X 35.3 34 34.9 38 −1.3 +0.9 +3.1 0.4" in text
    assert "Cedar (to be asked) M 35.3 35.3 35.7 18.5 0 +0.4 −17.2 0.4" in text


def test_pooled_estimates_stand_by_size(text: str) -> None:
    assert "XL 1 +3.4 cm +1.4 cm to +5.4 cm ±2 cm amend" in text


def test_open_questions_say_how_many_testers_would_settle_them(text: str) -> None:
    assert "Hem to underarm 4X 1 tester: too little to say 3" in text


def test_the_method_names_its_sources_and_its_limits(text: str) -> None:
    for source in ("JCGM 100:2008", "Gelman et al. 2013", "Schuirmann 1987", "Benjamini and Hochberg 1995"):
        assert source in text
    assert "common practice" in text
    assert "Limits: the verdicts are arithmetic on what was reported." in text


def test_plots_are_vector_drawings(pdf: bytes) -> None:
    assert not [image for page in read(pdf).pages for image in page.images]


def test_inches_throughout_for_those_who_read_inches() -> None:
    text = text_of(report_pdf(an_analysis(), a_round(), units="in", paper="Letter"))

    # 3.4 cm are 1.339 in, to the eighth 1 3/8; 2 cm are 0.787 in, to the eighth 3/4.
    assert "Pieces came out 1 3/8 in longer" in text
    assert "off by +1 3/8 in" in text
    assert "tolerance ±3/4 in" in text
    # 1.25 rows over 10 cm are 1.27 over 4 in.
    assert "off by −1.3 rows over 4 in" in text
    # Only the sums of the checks by hand are in centimetres, as the sheet's formulas are.
    assert " cm" not in re.sub(
        r"Check it by hand.*?(?=2\. Stockinette|What holds)", "", text, flags=re.DOTALL
    )


def test_the_same_round_gives_the_same_bytes_in_another_process(pdf: bytes) -> None:
    say = (
        "import hashlib; from tests.paper.scene import a_round, an_analysis; "
        "from testround.paper.report import report_pdf; "
        "from tests.paper.test_report import NAMED; "
        "print(hashlib.sha256(report_pdf(an_analysis(), a_round(), known=NAMED)).hexdigest())"
    )

    elsewhere = subprocess.run(
        [sys.executable, "-c", say],
        env={**os.environ, "PYTHONHASHSEED": "1"},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        check=True,
        text=True,
    ).stdout.strip()

    assert elsewhere == hashlib.sha256(pdf).hexdigest()


def test_testers_of_one_name_are_told_apart() -> None:
    document = round_document()
    document["testers"][1]["name"] = "Alder"
    round_ = type(a_round()).model_validate(document)

    assert names_of_testers(round_) == {
        "t01": "Alder (t01)",
        "t02": "Alder (t02)",
        "t03": "Cedar",
        "t04": "Dogwood",
    }


def test_a_round_where_nothing_was_sent_yet_has_its_report() -> None:
    analysis = an_analysis()
    empty = replace(
        analysis,
        findings=analysis.findings.model_copy(update={"findings": (), "cells": ()}),
        deviations=(),
        gauges=(),
        own_gauges=(),
        questions=(),
    )

    text = text_of(report_pdf(empty, a_round()))

    assert "4 testers, of whom 0 sent finished measurements." in text
    assert "Nothing to amend and nothing to look at more closely." in text


def test_an_estimate_that_had_not_settled_says_so(text: str) -> None:
    unsettled = text_of(report_pdf(replace(an_analysis(), converged=False), a_round()))

    assert "The estimate had not settled when it was stopped" in unsettled
    assert "had not settled" not in text


def test_of_very_many_testers_the_furthest_are_shown_and_it_says_so() -> None:
    analysis = an_analysis()
    cells = tuple(
        Cell(
            tester=f"p{k:03d}",
            size=SIZES[k % 9],
            dimension="chest",
            target=104,
            measured=104 + k / 100,
            parts=Parts(counts=0, gauge=0, remainder=k / 100),
            uncertainty=0.4,
        )
        for k in range(200)
    )
    many = replace(analysis, findings=analysis.findings.model_copy(update={"cells": cells}))

    text = text_of(report_pdf(many, a_round()))

    assert f"{MOST_TESTERS_SHOWN} of 200 are shown" in text
    assert "p199" in text
    assert "p139" not in text


def test_hostile_words_neither_break_it_nor_become_markup() -> None:
    round_ = a_round(title="<b>" + "W" * 197)
    text = text_of(report_pdf(an_analysis(why="<para>&" + "🧶" * 4000), round_))

    assert "<b>WWW" in text
    assert "<para>&□□" in text
