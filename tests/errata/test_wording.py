"""Sentences about findings: plain data in, plain text out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from testround.errata.wording import (
    affected_sizes,
    brief_words,
    change_sentence,
    change_table_of,
    change_tables,
    changed_since,
    changes_from,
    draft_text,
    fault_words,
    headline,
    names_of,
    needs_words,
    of_size,
    printed_words,
    reason_beyond,
    sizes_words,
    why_for_readers,
)
from testround.kernel import whys
from testround.kernel.analysis import analyse
from testround.kernel.round import Pattern
from testround.kernel.roundfile import read_round
from testround.kernel.units import lengths_in
from testround.kernel.words import told

EVERY = ("XS", "S", "M", "L")


@pytest.fixture
def names(little_top: dict[str, Any]):
    return names_of(Pattern.model_validate(little_top))


def finding(**changes: Any) -> dict[str, Any]:
    return {
        "id": "finished-size:body_length",
        "kind": "finished-size",
        "subject": "body_length",
        "extent": "all-sizes",
        "sizes": ["XS", "S", "M"],
        "verdict": "amend",
        "estimate": 3.4,
        "interval": [2.6, 4.2],
        "unit": "cm",
        "tolerance": 2.0,
        "testers": 14,
        "now": {"XS": 96, "S": 96, "M": 96},
        "proposed": {"XS": 86, "S": 86, "M": 86},
        "proposed_for": "body_rows",
        "why": "Fourteen testers' pieces came out 3.4 cm longer than their own gauge explains.",
        **changes,
    }


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ([], "in every size"),
        (["XS", "S", "M", "L"], "in every size"),
        (["M"], "in size M"),
        (["S", "M", "L"], "in sizes S to L"),
        (["L", "XS"], "in sizes XS and L"),
        (["XS", "S", "L"], "in sizes XS, S and L"),
    ],
)
def test_sizes_are_named_as_a_person_names_them(sizes: list[str], words: str) -> None:
    assert sizes_words(sizes, EVERY) == words


@pytest.mark.parametrize(
    ("units", "sentence"),
    [
        (
            "cm",
            "Hem to underarm comes out 3.4 cm larger than the pattern means in every size "
            "(95 % interval +2.6 cm to +4.2 cm); up to 2 cm is fine.",
        ),
        (
            "in",
            "Hem to underarm comes out 1 3/8 in larger than the pattern means in every size "
            "(95 % interval +1 in to +1 5/8 in); up to 3/4 in is fine.",
        ),
    ],
)
def test_a_finished_size_is_told_in_the_readers_unit(names, units, sentence: str) -> None:
    assert headline(finding(), names, ("XS", "S", "M"), units) == sentence


def test_a_stated_gauge_is_told_as_what_testers_get(names) -> None:
    gauge = finding(
        kind="stated-gauge",
        subject="body.row",
        sizes=None,
        estimate=-1.4,
        now={"rows": 30},
        proposed={"rows": 28.5},
    )

    # As on the page of the swatches, to a tenth: 30 − 1.4 over 10 cm are 29.06 over 10.16 cm.
    assert headline(gauge, names, EVERY) == "Testers get 28.6 rows in 10 cm; the pattern states 30."
    assert headline(gauge, names, EVERY, "in") == "Testers get 29.1 rows in 4 in; the pattern states 30 1/2."


def test_every_size_whose_printed_yarn_falls_short_is_named(names) -> None:
    yarn = finding(
        kind="yarn",
        subject="yarn",
        now={"XS": 900, "S": 1000, "L": 1400},
        proposed={"XS": 1100, "S": 1100, "L": 1200},
        why="Half of makers need 1020 m or more for size XS.",
    )
    one = {**yarn, "now": {"XS": 900}, "proposed": {"XS": 1100}}

    assert headline(yarn, names, EVERY) == (
        "Half of makers need 1020 m or more for size XS. The printed yarn falls short in sizes XS and S."
    )
    assert headline(one, names, EVERY) == yarn["why"]
    assert reason_beyond(yarn, headline(yarn, names, EVERY)) == ""


def test_a_size_that_holds_is_told_in_the_analysis_own_words(names) -> None:
    holds = finding(verdict="holds", estimate=0.1, why="It agrees to within 2 cm.")

    assert headline(holds, names, ("XS", "S", "M"), "in") == "It agrees to within 3/4 in."


def test_a_printed_measurement_is_told_beside_what_the_counts_give_and_what_is_to_be_printed(names) -> None:
    why = told(whys.schematic, "Hem to underarm", 162.5, "M", 156.57)
    printed = finding(kind="schematic", estimate=5.93, sizes=["M"], why=why)

    # 156.57 is 156.6 to a tenth, and 156.5 is proposed: beside "156.6 cm" alone that would look like a slip.
    assert headline(printed, names, EVERY) == (
        "Hem to underarm is printed as 162.5 cm in size M. The printed counts give 156.6 cm at the stated gauge, "
        "rounded for print to 156.5 cm."
    )
    assert told(whys.schematic, "Hem to underarm", 162.5, "M", 156.48) == (
        "Hem to underarm is printed as 162.5 cm in size M. The printed counts give 156.5 cm at the stated gauge."
    )
    assert headline({**printed, "sizes": ["XS", "M"]}, names, EVERY).endswith(
        "What is printed is off in sizes XS and M."
    )
    assert printed_words(printed, EVERY) == "What is printed in size M is wrong."
    assert printed_words({**printed, "verdict": "look-closer", "sizes": ["XS", "S"]}, EVERY) == (
        "What is printed in sizes XS and S is perhaps wrong."
    )


def test_values_are_told_in_wearing_order_however_they_were_stored(names) -> None:
    misprint = finding(
        kind="printed-count",
        subject="back_sts",
        now={"M": 1, "S": 2, "XS": 3},
        proposed={"M": 4, "S": 5, "XS": 6},
    )

    assert headline(misprint, names, ("XS", "S", "M")) == (
        "Back, step 1 prints XS 3, S 2, M 1; its formula gives XS 6, S 5, M 4."
    )


def test_a_reason_does_not_say_the_headline_again() -> None:
    one = finding(
        why="Hem: the pieces of 14 testers came out 3.4 cm longer. Lower the rows. It moves the sleeve."
    )

    assert reason_beyond(one, "Hem comes out 3.4 cm larger.") == (
        "The pieces of 14 testers say so, beyond what the counts worked and their own gauge explain. "
        "Lower the rows. It moves the sleeve."
    )
    assert reason_beyond({**one, "verdict": "look-closer", "testers": 1}, "") == (
        "The piece of 1 tester says so, which is not enough to be sure. Lower the rows. It moves the sleeve."
    )
    assert reason_beyond({**one, "verdict": "holds"}, one["why"]) == ""
    assert reason_beyond({**one, "kind": "schematic"}, "") == one["why"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "Fault: the pattern’s numbers, not gauge or making"),
        ({"kind": "stated-gauge"}, "Fault: the stated gauge"),
        ({"kind": "printed-count", "testers": 0}, "Fault: a printed number"),
        ({"kind": "clarity"}, "Fault: the text"),
        (
            {"verdict": "look-closer", "testers": 3},
            "Fault: perhaps the pattern’s numbers, not gauge or making",
        ),
        ({"verdict": "look-closer", "testers": 1}, "Fault: not known, by one tester alone"),
        ({"verdict": "holds"}, ""),
    ],
)
def test_a_finding_says_whose_fault_it_is(changes: dict[str, Any], words: str) -> None:
    assert fault_words(finding(**changes)) == words


def test_a_finding_says_how_many_testers_would_settle_it() -> None:
    assert needs_words(finding(needs={"S": 1, "M": 2})) == "To settle it, more testers: 1 in S, 2 in M."
    assert needs_words(finding()) == ""


def test_a_gauge_finding_changes_the_gauge_and_every_number_that_follows(names) -> None:
    gauge = finding(
        id="stated-gauge:body.row",
        kind="stated-gauge",
        subject="body.row",
        extent=None,
        sizes=None,
        now={"rows": 30},
        proposed={"rows": 28.5},
        proposed_for=None,
        follows={"body_rows": {"XS": 92, "S": 92, "M": 92}},
    )

    changes = changes_from(gauge, names, {"body_rows": {"XS": 96, "S": 96, "M": 92}})

    assert [(c["subject"], c["unit"], c["was"], c["now"]) for c in changes] == [
        ("body.row", "row/10 cm", {"rows": 30}, {"rows": 28.5}),
        # Size M prints the right number already.
        ("body_rows", "row", {"XS": 96, "S": 96}, {"XS": 92, "S": 92}),
    ]
    assert affected_sizes(gauge, changes, ["XS", "S", "M"]) == []
    assert draft_text(changes, EVERY) == (
        "Stockinette, blocked: 28 1/2 rows in 10 cm, not 30. What follows from it changes too, as given here."
    )


def test_a_change_that_differs_by_size_is_left_to_the_table() -> None:
    change = {
        "label": "Back, cast on",
        "unit": "st",
        "was": {"XS": 92, "S": 104},
        "now": {"XS": 90, "S": 100, "M": 112},
    }

    assert change_sentence(change, EVERY) == (
        "Back, cast on: work with the stitches given here for your size, in sizes XS to M."
    )


def test_a_length_is_drafted_in_decimals_so_that_all_of_it_can_be_told_in_inches() -> None:
    change = {"label": "Chest", "unit": "cm", "was": {"M": 162.5}, "now": {"M": 156.5}}

    sentence = change_sentence(change, EVERY)

    assert sentence == "Chest: 156.5 cm in size M, not 162.5 cm."
    assert lengths_in(sentence, "in") == "Chest: 61 5/8 in in size M, not 64 in."


def test_a_gauge_change_is_shown_over_four_inches_to_a_reader_of_inches() -> None:
    change = {
        "label": "Stockinette",
        "place": "Gauge",
        "unit": "row/10 cm",
        "was": {"rows": 30},
        "now": {"rows": 28},
    }

    (table,) = change_tables([change], "in")

    assert (table.caption, table.across) == ("Gauge: Stockinette", "Gauge")
    assert [(row.size, row.was, row.now) for row in table.rows] == [("Rows in 4 in", "30 1/2", "28 1/2")]


def test_one_size_gets_one_table_with_a_row_for_each_number() -> None:
    changes = [
        {
            "label": "Cast on",
            "place": "Back, step 1",
            "unit": "st",
            "was": {"S": 104, "M": 118},
            "now": {"S": 100, "M": 114},
        },
        {"label": "Length", "place": "Length", "unit": "cm", "was": {"S": 50}, "now": {"S": 52.5}},
        {"label": "Cuff", "place": "Sleeve", "unit": "st", "was": {"M": 50}, "now": {"M": 46}},
    ]

    (table,) = change_table_of(changes, "S", "cm")

    assert (table.caption, table.across) == ("Size S", "Number")
    assert [(row.size, row.was, row.now) for row in table.rows] == [
        ("Back, step 1: Cast on, stitches", "104", "100"),
        ("Length", "50 cm", "52.5 cm"),
    ]
    assert change_table_of(changes, "XS", "cm") == ()


def test_a_unit_that_the_label_has_said_is_not_said_again() -> None:
    change = {"label": "Sleeve stitches at underarm", "place": "Sleeves, step 3", "unit": "st"}
    values = {"was": {"M": 69.0}, "now": {"M": 96.0}}

    (said,) = change_tables([{**change, **values}], "cm")
    (other,) = change_tables([{**change, "label": "Cast on", **values}], "cm")

    assert said.caption == "Sleeves, step 3: Sleeve stitches at underarm"
    assert other.caption == "Sleeves, step 3: Cast on, stitches"


def test_what_a_finding_would_print_is_told_in_a_clause_where_one_value_says_it(names) -> None:
    printed = finding(kind="schematic", subject="chest", now={"M": 162.5}, proposed={"M": 156.5})
    printed["proposed_for"] = "chest"
    several = {**printed, "now": {"S": 95.0, "M": 162.5}, "proposed": {"S": 94.5, "M": 156.5}}
    gauge = finding(kind="stated-gauge", subject="body.row", now={"rows": 30}, proposed={"rows": 28})

    assert brief_words(printed, names, EVERY) == "156.5 cm instead of 162.5 cm in size M"
    assert brief_words(several, names, EVERY) == "new values in sizes S and M"
    assert brief_words(gauge, names, EVERY) == "28 instead of 30"
    assert brief_words(finding(kind="clarity", proposed=None), names, EVERY) == ""


def test_one_size_sees_its_own_numbers_and_the_gauge() -> None:
    changes = [
        {"unit": "st", "was": {"S": 1, "M": 2}, "now": {"S": 3, "M": 4}},
        {"unit": "st", "was": {"M": 2}, "now": {"M": 4}},
        {"unit": "row/10 cm", "was": {"rows": 30}, "now": {"rows": 28}},
    ]

    assert of_size(changes, "S") == [
        {"unit": "st", "was": {"S": 1}, "now": {"S": 3}},
        {"unit": "row/10 cm", "was": {"rows": 30}, "now": {"rows": 28}},
    ]
    assert of_size(changes, "") == changes


def test_what_has_changed_since_a_decision_is_said_in_numbers() -> None:
    assert changed_since(finding(), finding()) == ""
    assert changed_since(finding(), finding(estimate=1.2, verdict="holds")) == (
        "Changed since you decided: was amend, now holds; +1.2 cm off, was +3.4 cm. "
        "Your decision stands until you undo it."
    )
    assert changed_since(finding(), None) == (
        "The analysis no longer reports this. Your decision stands until you undo it."
    )


def test_readers_are_not_told_what_only_the_designer_has_to_weigh():
    why = (
        "Across the back: the pieces of 6 testers came out 3.1 cm larger in sizes 3X, 4X than the counts worked "
        "and their own gauge explain. Stitches across the back is the number behind it. "
        "Changing it also moves Shoulder beyond tolerance: look at them together."
    )

    assert why_for_readers(why) == (
        "Across the back: the pieces of 6 testers came out 3.1 cm larger in sizes 3X, 4X than the counts worked "
        "and their own gauge explain. Stitches across the back is the number behind it."
    )


def test_the_demos_widest_fault_is_told_to_readers_without_advice_to_the_designer():
    data = (Path(__file__).parents[2] / "fixtures" / "fenlight.json").read_bytes()
    found = analyse(read_round(data)).findings.finding("finished-size:back_width")

    assert "look at them together" in found.why
    assert why_for_readers(found.why).endswith("Stitches across the back is the number behind it.")
