"""The description of the findings file, sentence by sentence, and testers worked out with pencil and paper."""

from __future__ import annotations

import json
import random

import jsonschema
import pytest

from testround.kernel.schemas import schema_of
from tests.contract.documents import (
    Document,
    example,
    finding,
    findings,
    findings_text,
    finished,
    ids,
    made_to_measure,
    makers,
    person,
    swatch,
    untested,
    verdicts,
)

ORDER = ["amend", "look-closer", "holds", "open"]
KINDS = {
    "printed-count",
    "schematic",
    "worked-count",
    "stated-gauge",
    "finished-size",
    "yarn",
    "hours",
    "clarity",
    "fit",
}
WITHOUT_SIZES = {"stated-gauge", "clarity"}


def cell(document: Document, dimension: str = "chest", tester: str = "t01") -> Document:
    (found,) = [
        one for one in findings(document)["cells"] if (one["tester"], one["dimension"]) == (tester, dimension)
    ]
    return found


def parts(document: Document, dimension: str = "chest", tester: str = "t01") -> Document:
    return cell(document, dimension, tester)["parts"]


def everything() -> Document:
    """A round in which something of every kind is wrong."""
    people = makers(12, longer=4.0)
    for i, one in enumerate(people):
        for count in one["counts"]:
            if count["number"] == "cuff_sts":
                count["worked"] += 2
        one["counts"].append({"number": "cuff_sts", "worked": 48})
        one["yarn"] = {"label": "Own choice", "metres_per_ball": 200, "grams_per_ball": 100}
        one["yarn_used"] = {"metres": 1500 + 10 * i}
        one["sittings"] = [{"part": "back", "hours": 80, "done": 1}]
        one["fit"] = [{"dimension": "chest", "says": "too-large"}]
        one["remarks"] = [{"place": "Back, step 3", "kind": "unclear", "text": "Which side faces me?"}]
        one["swatches"][0]["rows"] += 3
        length = next(f for f in one["finished"] if f["dimension"] == "body_length")
        length["values"] = [value - 2.5 for value in length["values"]]
    document = example(*people)
    pattern = document["pattern"]
    pattern["numbers"] += [
        {
            "key": "cuff_sts",
            "label": "Cuff",
            "unit": "st",
            "formula": "multiple(20 * body.st, of=4, plus=2)",
            "printed": {"XS": 46, "S": 46, "M": 46},
        },
        {
            "key": "neck_sts",
            "label": "Neck",
            "place": "Neck, step 1",
            "unit": "st",
            "formula": "multiple(18 * body.st, of=2)",
            "printed": {"XS": 40, "S": 40, "M": 44},
        },
    ]
    pattern["dimensions"].append(
        {
            "key": "neck_width",
            "label": "Neck width",
            "tolerance": 1.5,
            "formula": "neck_sts / body.st",
            "printed": {"XS": 18, "S": 18, "M": 25},
        }
    )
    return document


# The example


def test_the_example_gives_a_document_that_fits_the_published_schema():
    jsonschema.Draft202012Validator(schema_of("findings")).validate(findings(example()))


def test_the_document_has_the_keys_described_and_no_other():
    found = findings(example())

    assert list(found) == ["format", "version", "pattern", "findings", "cells"]
    assert (found["format"], found["version"]) == ("testround/findings", 1)
    assert found["pattern"] == {"title": "Fenlight Cardigan", "edition": "0.9"}
    assert list(found["cells"][0]) == [
        "tester",
        "size",
        "dimension",
        "target",
        "measured",
        "parts",
        "uncertainty",
    ]
    assert list(found["cells"][0]["parts"]) == ["counts", "gauge", "remainder"]


def test_the_cell_of_the_example_worked_by_hand():
    # T = 2 × 104 / 2.2. The 104 cast on are the computed ones, so C = T. At 22.5 stitches in 10 cm,
    # E = 208 / 2.25, and M = (93.0 + 93.5) / 2.
    # u(E) = E × √((0.25/√3/22.5)² + (0.25/√3/10)²) = 92.4444 × 0.0157951 = 1.46017, u(M) = 0.5/√3 = 0.28868.
    found = cell(example())

    assert (found["tester"], found["size"], found["dimension"]) == ("t01", "S", "chest")
    assert found["target"] == pytest.approx(94.545454545, abs=1e-8)
    assert found["measured"] == 93.25
    assert found["parts"] == {
        "counts": 0,
        "gauge": pytest.approx(-2.101010101, abs=1e-8),
        "remainder": pytest.approx(0.805555556, abs=1e-8),
    }
    assert found["uncertainty"] == pytest.approx(1.488432, abs=1e-4)


# Testers by hand


def test_a_tester_with_a_slip_of_two_stitches_worked_by_hand():
    # Size M: computed 114, worked 116. T = 228 / 2.2 = 103.63636, C = 232 / 2.2 = 105.45455,
    # E at 23 stitches in 10 cm = 232 / 2.3 = 100.86957, M = 102.
    document = example(
        person(
            1,
            "M",
            swatches=[swatch(23, 30)],
            counts=[{"number": "back_sts", "worked": 116}],
            finished=[finished("chest", 102)],
        )
    )

    found = cell(document)
    assert found["target"] == pytest.approx(103.636363636, abs=1e-8)
    assert found["parts"] == {
        "counts": pytest.approx(1.818181818, abs=1e-8),
        "gauge": pytest.approx(-4.584980237, abs=1e-8),
        "remainder": pytest.approx(1.130434783, abs=1e-8),
    }


def test_a_tester_who_reported_no_count_is_taken_at_the_printed_one():
    # Printed 108 in size S where 104 is computed: C = 216 / 2.2 = 98.18182, T = 94.54545.
    document = example(person(1, "S", swatches=[swatch(22, 30)], finished=[finished("chest", 98)]))
    document["pattern"]["numbers"][0]["printed"]["S"] = 108

    assert parts(document)["counts"] == pytest.approx(3.636363636, abs=1e-8)


def test_a_tester_who_reported_no_count_and_has_none_printed_is_taken_at_the_computed_one():
    document = example(person(1, "S", swatches=[swatch(22, 30)], finished=[finished("chest", 95)]))
    del document["pattern"]["numbers"][0]["printed"]

    assert parts(document) == {"counts": 0, "gauge": 0, "remainder": pytest.approx(0.454545455, abs=1e-8)}


def test_a_made_to_measure_tester_worked_by_hand():
    # Bust 90, ease 8, 24 stitches in 10 cm: 49 × 2.4 = 117.6, to the nearest even 118. T = 236 / 2.4 = 98.33333.
    # Worked were 120: C = 240 / 2.4 = 100, E the same, M = 101.
    document = made_to_measure(
        person(
            1,
            measures={"bust": 90},
            swatches=[swatch(24, 32)],
            counts=[{"number": "back_sts", "worked": 120}],
            finished=[finished("chest", 101)],
        )
    )

    found = cell(document)
    assert found["size"] is None
    assert found["target"] == pytest.approx(98.333333333, abs=1e-8)
    assert found["parts"] == {
        "counts": pytest.approx(1.666666667, abs=1e-8),
        "gauge": 0,
        "remainder": pytest.approx(1, abs=1e-8),
    }


# Which swatch counts


def test_with_several_tools_the_last_swatch_in_the_list_counts():
    document = example(
        person(1, swatches=[swatch(20, 28, tool_mm=4.5), swatch(23, 31)], finished=[finished("chest", 90)])
    )

    # 208 / 2.3 − 208 / 2.2
    assert parts(document)["gauge"] == pytest.approx(-4.110671937, abs=1e-8)


def test_swatches_of_one_tool_are_combined():
    document = example(person(1, swatches=[swatch(22, 30), swatch(24, 30)], finished=[finished("chest", 90)]))

    # Between 208 / 2.4 and 208 / 2.2, which is the target.
    assert 208 / 2.4 - 208 / 2.2 < parts(document)["gauge"] < 0


def test_the_blocked_swatch_counts_wherever_both_exist():
    document = example(
        person(
            1,
            swatches=[swatch(23, 31), swatch(25, 33, state="worked")],
            finished=[finished("chest", 90)],
        )
    )

    assert parts(document)["gauge"] == pytest.approx(208 / 2.3 - 208 / 2.2, abs=1e-8)


def test_the_blocked_measurement_counts_wherever_both_exist():
    document = example(person(1, finished=[finished("chest", 80, state="worked"), finished("chest", 94)]))

    assert cell(document)["measured"] == 94


def test_without_a_blocked_swatch_the_worked_one_counts_and_is_less_sure():
    blocked = example(person(1, swatches=[swatch(23, 31)], finished=[finished("chest", 90)]))
    worked = example(person(1, swatches=[swatch(23, 31, state="worked")], finished=[finished("chest", 90)]))

    assert parts(worked) == parts(blocked)
    assert cell(worked)["uncertainty"] > cell(blocked)["uncertainty"]


def test_without_any_swatch_the_stated_gauge_counts_with_the_spread_seen_between_testers():
    silent = person(99, finished=[finished("chest", 94)])
    alike, unlike = makers(6), makers(6)
    for i, one in enumerate(unlike):
        one["swatches"][0]["stitches"] = 18 + 1.6 * i

    among_alike = cell(example(*alike, silent), tester="t99")
    among_unlike = cell(example(*unlike, silent), tester="t99")

    assert among_alike["parts"]["gauge"] == among_unlike["parts"]["gauge"] == 0
    assert among_unlike["uncertainty"] > 2 * among_alike["uncertainty"]


def test_a_piece_measured_unblocked_is_expected_at_the_unblocked_gauge():
    document = example(
        person(
            1,
            swatches=[swatch(22, 30), swatch(23, 31, state="worked")],
            finished=[finished("chest", 91, state="worked"), finished("body_length", 32)],
        )
    )

    assert parts(document)["gauge"] == pytest.approx(208 / 2.3 - 208 / 2.2, abs=1e-8)
    assert parts(document, "body_length")["gauge"] == 0


# Cells


@pytest.mark.parametrize("document", [example(), everything(), example(*makers(40))], ids=["1", "12", "40"])
def test_every_cell_obeys_the_sum(document):
    cells = findings(document)["cells"]

    assert cells
    for one in cells:
        off = one["measured"] - one["target"] - sum(one["parts"].values())
        assert abs(off) <= 1e-9


def test_there_is_a_cell_for_every_measurement_and_no_other():
    people = makers(7)
    del people[3]["finished"]
    people[5]["finished"].pop()

    found = {(one["tester"], one["dimension"]) for one in findings(example(*people))["cells"]}

    assert found == {(one["id"], entry["dimension"]) for one in people for entry in one.get("finished", ())}


# Findings


def test_every_kind_can_be_found_at_once():
    document = everything()

    assert {one["kind"] for one in findings(document)["findings"]} == KINDS


@pytest.mark.parametrize("document", [example(), everything(), example(*makers(6))], ids=["1", "12", "6"])
class TestWhateverIsFound:
    def test_it_fits_the_published_schema(self, document):
        jsonschema.Draft202012Validator(schema_of("findings")).validate(findings(document))

    def test_every_id_is_the_kind_and_the_subject_and_stands_once(self, document):
        found = findings(document)["findings"]

        for one in found:
            assert one["id"] == one["kind"] or one["id"].startswith(f"{one['kind']}:{one['subject']}")
        assert len({one["id"] for one in found}) == len(found)

    def test_verdicts_and_extents_are_the_words_described(self, document):
        for one in findings(document)["findings"]:
            assert one["verdict"] in ORDER
            assert one["extent"] in ("all-sizes", "with-size", "some-sizes", None)

    def test_the_extent_is_null_for_kinds_without_sizes_and_said_for_others(self, document):
        for one in findings(document)["findings"]:
            assert (one["extent"] is None) == (one["kind"] in WITHOUT_SIZES), one["id"]
            assert ("sizes" in one) == (one["kind"] not in WITHOUT_SIZES)

    def test_amend_comes_first_and_then_by_estimate_over_tolerance(self, document):
        found = findings(document)["findings"]
        keys = [
            (
                ORDER.index(one["verdict"]),
                -round(abs(one["estimate"]) / one["tolerance"], 3) if one.get("tolerance") else 0,
            )
            for one in found
        ]

        assert keys == sorted(keys)

    def test_look_closer_says_how_many_more_testers_would_settle_it(self, document):
        # What is printed and how a piece sits are settled by looking, not by more testers.
        for one in findings(document)["findings"]:
            if one["kind"] not in ("schematic", "fit") and one["verdict"] == "look-closer":
                assert one["needs"], one["id"]

    def test_the_estimate_lies_in_its_interval(self, document):
        for one in findings(document)["findings"]:
            if "interval" in one:
                low, high = one["interval"]
                assert low <= one["estimate"] <= high

    def test_proposed_counts_are_whole(self, document):
        for one in findings(document)["findings"]:
            if one["kind"] in ("printed-count", "worked-count", "finished-size"):
                assert all(float(count).is_integer() for count in one.get("proposed", {}).values())
                assert one.get("now", {}).keys() == one.get("proposed", {}).keys()

    def test_each_says_why(self, document):
        assert all(one["why"].endswith((".", "!", "?")) for one in findings(document)["findings"])

    def test_the_text_has_no_nan_and_ends_in_one_line_feed(self, document):
        text = findings_text(document)

        assert not any(word in text for word in ("NaN", "Infinity"))
        assert text.endswith("}\n")
        assert "\r" not in text

    def test_the_same_input_gives_the_same_bytes(self, document):
        assert findings_text(document) == findings_text(json.loads(json.dumps(document)))

    def test_testers_in_another_order_give_the_same_findings_and_the_same_cells(self, document):
        other = json.loads(json.dumps(document))
        random.Random(7).shuffle(other["testers"])
        one, two = findings(document), findings(other)

        assert json.dumps(one["findings"]) == json.dumps(two["findings"])
        assert sorted(map(json.dumps, one["cells"])) == sorted(map(json.dumps, two["cells"]))

    def test_what_a_tester_sent_in_another_order_gives_the_same_bytes(self, document):
        other = json.loads(json.dumps(document))
        for one in other["testers"]:
            for part in ("counts", "finished", "remarks", "sittings"):
                one.get(part, []).reverse()

        assert findings_text(other) == findings_text(document)


def test_a_length_that_is_off_everywhere_proposes_the_count_behind_it():
    found = finding(example(*makers(14, longer=3.4)), "finished-size:body_length")

    assert (found["verdict"], found["extent"], found["sizes"]) == ("amend", "all-sizes", ["XS", "S", "M"])
    assert (found["unit"], found["tolerance"], found["testers"]) == ("cm", 2, 14)
    assert found["estimate"] == pytest.approx(3.4, abs=0.5)
    assert found["proposed_for"] == "body_rows"
    assert found["now"] == {"XS": 96, "S": 96, "M": 96}
    # 3.4 cm at 3 rows per cm are ten rows, in multiples of two.
    assert found["proposed"] == {"XS": 86, "S": 86, "M": 86}


def test_a_row_gauge_that_nobody_gets_proposes_the_gauge_to_print_and_what_follows():
    people = makers(9)
    for one in people:
        one["swatches"][0]["rows"] -= 2.5
        length = next(f for f in one["finished"] if f["dimension"] == "body_length")
        length["values"] = [round(2 * value * 30 / 27.5) / 2 for value in length["values"]]

    document = example(*people)
    found = finding(document, "stated-gauge:body.row")

    assert (found["verdict"], found["subject"], found["extent"]) == ("amend", "body.row", None)
    assert found["now"] == {"rows": 30}
    assert found["proposed"] == {"rows": 27.5}
    # 32 × 2.75 = 88 rows.
    assert found["follows"] == {"body_rows": {"XS": 88, "S": 88, "M": 88}}
    # The length it explains is not reported again.
    assert verdicts(document).get("finished-size:body_length") not in ("amend", "look-closer")


def test_a_stitch_gauge_that_nobody_gets_is_proposed_to_the_half():
    people = makers(9)
    for one in people:
        one["swatches"][0]["stitches"] -= 1.4
        chest = one["finished"][0]
        chest["values"] = [round(2 * value * 22 / 20.6) / 2 for value in chest["values"]]

    found = finding(example(*people), "stated-gauge:body.st")

    assert found["now"] == {"stitches": 22}
    assert found["proposed"] == {"stitches": 20.5}


def test_a_count_that_testers_agree_on_stands_beside_what_the_formula_gives():
    people = makers(6)
    for one in people:
        one["counts"][1]["worked"] = 100
        length = one["finished"][1]
        length["values"] = [round(2 * value * 100 / 96) / 2 for value in length["values"]]

    document = example(*people)
    found = finding(document, "worked-count:body_rows")

    assert (found["verdict"], found["subject"]) == ("amend", "body_rows")
    assert found["now"] == found["computed"] == {"XS": 96, "S": 96, "M": 96}
    assert found["proposed"] == {"XS": 100, "S": 100, "M": 100}
    # The counts explain the length.
    assert "finished-size:body_length" not in [
        one["id"] for one in findings(document)["findings"] if one["verdict"] == "amend"
    ]


# Misprints


def test_a_misprint_is_one_finding_and_proposes_the_computed_count():
    document = untested()
    document["pattern"]["numbers"][0]["printed"]["M"] = 124

    found = findings(document)["findings"]
    assert [(one["id"], one["verdict"], one["extent"], one["sizes"]) for one in found] == [
        ("printed-count:back_sts", "amend", "some-sizes", ["M"])
    ]
    assert (found[0]["now"], found[0]["proposed"]) == ({"M": 124}, {"M": 114})


def test_a_number_that_follows_from_a_misprinted_one_is_judged_on_the_computed_value():
    document = untested()
    document["pattern"]["numbers"][0]["printed"]["M"] = 124
    document["pattern"]["numbers"].append(
        {
            "key": "waist_sts",
            "label": "Waist",
            "unit": "st",
            "formula": "back_sts - 20",
            "printed": {"XS": 72, "S": 84, "M": 94},
        }
    )

    assert ids(document) == ["printed-count:back_sts"]


def test_a_misprint_of_a_number_in_the_middle_does_not_blame_the_ones_after_it():
    document = untested()
    document["pattern"]["numbers"] += [
        {
            "key": "waist_sts",
            "label": "Waist",
            "unit": "st",
            "formula": "back_sts - 20",
            "printed": {"XS": 72, "S": 48, "M": 94},
        },
        {
            "key": "yoke_sts",
            "label": "Yoke",
            "unit": "st",
            "formula": "2 * waist_sts",
            "printed": {"XS": 144, "S": 168, "M": 188},
        },
    ]

    assert ids(document) == ["printed-count:waist_sts"]


@pytest.mark.parametrize("printed", [94.5, 94.0 + 0.25, 95.0, 37.25 * 2.54, 37.0 * 2.54])
def test_a_printed_measurement_may_be_rounded_to_the_half_or_the_quarter_inch(printed):
    # 208 / 2.2 = 94.545 cm, which is 37.22 inches.
    document = untested()
    document["pattern"]["dimensions"][0]["printed"]["S"] = printed

    assert ids(document) == []


@pytest.mark.parametrize(
    ("printed", "verdict"), [(96, "look-closer"), (93, "look-closer"), (97, "look-closer"), (97.5, "amend")]
)
def test_beyond_rounding_it_is_a_schematic_finding_and_beyond_tolerance_one_to_amend(printed, verdict):
    document = untested()
    document["pattern"]["dimensions"][0]["printed"]["S"] = printed

    found = finding(document, "schematic:chest")
    assert (found["verdict"], found["sizes"]) == (verdict, ["S"])
    assert (found["now"], found["proposed"]) == ({"S": printed}, {"S": 94.5})
    assert found["estimate"] == pytest.approx(printed - 208 / 2.2, abs=1e-4)


def test_a_printed_count_that_is_not_whole_is_proposed_whole():
    document = untested()
    document["pattern"]["numbers"].append(
        {
            "key": "repeats",
            "label": "Repeats",
            "unit": "st",
            "formula": "back_sts / 8",
            "printed": {"XS": 20, "S": 20, "M": 20},
        }
    )

    # 11.5, 13 and 14.25; halves go up.
    assert finding(document, "printed-count:repeats")["proposed"] == {"XS": 12, "S": 13, "M": 14}


def test_a_tester_who_puts_a_broken_misprint_right_arrives_at_no_other_count():
    people = makers(6)
    for one in people:
        one["counts"].append({"number": "repeats", "worked": {"XS": 12, "S": 13, "M": 14}[one["size"]]})
    document = example(*people)
    document["pattern"]["numbers"].append(
        {
            "key": "repeats",
            "label": "Repeats",
            "unit": "st",
            "formula": "back_sts / 8",
            "printed": {"XS": 20, "S": 20, "M": 20},
        }
    )

    assert [one for one in ids(document) if "repeats" in one] == ["printed-count:repeats"]


def test_what_testers_add_is_not_added_to_a_misprint():
    people = makers(9)
    for one in people:
        one["counts"].append({"number": "cuff_sts", "worked": 48})
    document = example(*people)
    document["pattern"]["numbers"].append(
        {
            "key": "cuff_sts",
            "label": "Cuff",
            "unit": "st",
            "formula": "multiple(20 * body.st, of=4, plus=2)",
            "printed": {"XS": 46, "S": 64, "M": 46},
        }
    )

    assert finding(document, "printed-count:cuff_sts")["proposed"] == {"S": 46}
    assert finding(document, "worked-count:cuff_sts")["proposed"] == {"XS": 48, "S": 48, "M": 48}


# Numbers below nought, which nobody can work


def with_gap(*people: Document) -> Document:
    """The example with a number that its formula makes negative: 96 − 100 rows."""
    document = example(*people)
    document["pattern"]["numbers"].append(
        {"key": "gap_rows", "label": "Gap", "unit": "row", "formula": "body_rows - 100"}
    )
    return document


def test_testers_who_agree_on_a_count_where_the_formula_is_below_nought():
    people = makers(6)
    for one in people:
        one["counts"].append({"number": "gap_rows", "worked": 4})

    found = finding(with_gap(*people), "worked-count:gap_rows")
    assert found["proposed"] == {"XS": 4, "S": 4, "M": 4}
    assert found["computed"] == {"XS": -4, "S": -4, "M": -4}


def test_a_gauge_to_print_from_which_a_count_below_nought_follows():
    people = makers(9)
    for one in people:
        one["swatches"][0]["rows"] -= 2.5
        one["finished"].pop()

    # 32 × 2.75 = 88 rows.
    assert finding(with_gap(*people), "stated-gauge:body.row")["follows"]["gap_rows"] == {
        "XS": -12,
        "S": -12,
        "M": -12,
    }


def test_a_number_below_nought_anyway_does_not_stand_in_the_way_of_a_correction():
    document = with_gap(*makers(14, longer=3.4))
    document["pattern"]["numbers"].append(
        {"key": "less_sts", "label": "Less", "unit": "st", "formula": "back_sts - 200"}
    )

    assert finding(document, "finished-size:body_length")["proposed"] == {"XS": 86, "S": 86, "M": 86}


# Made to measure


def test_nothing_of_a_made_to_measure_round_names_sizes():
    people = makers(6, longer=6)
    for i, one in enumerate(people):
        one["measures"] = {"bust": 84 + 2 * i}
        del one["counts"]
        one["remarks"] = [{"place": "Back", "kind": "unclear", "text": "How?"}]
        one["fit"] = [{"dimension": "chest", "says": "too-large"}]

    found = findings(made_to_measure(*people))["findings"]
    assert {one["kind"] for one in found} == {"finished-size", "clarity", "fit"}
    assert not any("sizes" in one for one in found)


# Yarn and hours


def yarn_round(used: list[Document], *, grams_per_ball: float = 100) -> Document:
    people = makers(len(used))
    for one, took in zip(people, used, strict=True):
        one["yarn"] = {"label": "Own", "metres_per_ball": 200, "grams_per_ball": grams_per_ball}
        one["yarn_used"] = took
    return example(*people)


def test_grams_are_turned_into_metres_by_the_ball():
    # 200 m in 100 g: two metres a gram.
    metres = [1300, 1400, 1500, 1350, 1450, 1550]

    by_metres = finding(yarn_round([{"metres": m} for m in metres]), "yarn")
    by_grams = finding(yarn_round([{"grams": m / 2} for m in metres]), "yarn")

    assert by_grams == by_metres
    assert by_metres["verdict"] == "amend"
    assert by_metres["unit"] == "m"


def test_grams_of_a_yarn_whose_ball_is_unknown_are_left_out():
    document = yarn_round([{"grams": 700}] * 6)
    for one in document["testers"]:
        del one["yarn"]["grams_per_ball"]

    assert "yarn" not in ids(document)


def test_proposed_yarn_is_whole_balls():
    found = finding(yarn_round([{"metres": m} for m in (1300, 1400, 1500, 1350, 1450, 1550)]), "yarn")

    # The round supplies a yarn of 200 m a ball.
    assert all(amount % 200 == 0 for amount in found["proposed"].values())
    assert all(found["proposed"][size] > found["now"][size] for size in found["now"])


def with_hours(hours: float, **more: float) -> list[Document]:
    people = makers(6)
    for i, one in enumerate(people):
        one["sittings"] = [
            {"part": "back", "hours": hours / 4 + i / 4, "done": 0.3},
            {"part": "back", "hours": 3 * hours / 4, "done": 1, **more},
        ]
    return people


def test_hours_are_summed_over_the_sittings():
    found = finding(example(*with_hours(80)), "hours")

    assert (found["verdict"], found["unit"], found["testers"]) == ("amend", "h", 6)
    assert all(found["proposed"][size] > 1.5 * found["now"][size] for size in found["now"])


def test_a_piece_in_progress_says_nothing_of_the_hours_of_a_finished_one():
    assert "hours" not in ids(example(*with_hours(80, done=0.9)))


# Small rounds and large ones


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_a_round_of_few_convicts_nothing_that_is_right(n):
    assert "amend" not in verdicts(example(*makers(n)) if n else untested()).values()


def test_one_tester_alone_never_convicts():
    document = example(*makers(1, longer=5))

    assert "amend" not in verdicts(document).values()


def test_six_testers_reach_amend_where_the_evidence_is_plain():
    document = example(*makers(6, longer=6))

    assert verdicts(document)["finished-size:body_length"] == "amend"


@pytest.mark.parametrize("wrong", [lambda cm: cm / 2, lambda cm: cm * 2, lambda cm: cm * 2.54])
@pytest.mark.parametrize("place", [0, 1])
def test_one_reading_of_two_that_was_mistyped_moves_nothing(wrong, place):
    people = makers(9, longer=4)
    before = finding(example(*people), "finished-size:body_length")
    values = people[1]["finished"][place]["values"]
    values[1] = wrong(values[1])

    after = finding(example(*people), "finished-size:body_length")
    assert (after["verdict"], after["proposed"]) == (before["verdict"], before["proposed"])
    assert after["estimate"] == pytest.approx(before["estimate"], abs=0.5)


def test_six_testers_with_nothing_but_noise_convict_nothing():
    assert "amend" not in verdicts(example(*makers(6))).values()


def test_two_thousand_testers_are_analysed_whole():
    document = example(*makers(2000, longer=3.4))

    found = findings(document)
    assert len(found["cells"]) == 4000
    assert verdicts(document)["finished-size:body_length"] == "amend"
    assert verdicts(document)["finished-size:chest"] == "holds"
    assert all(abs(c["measured"] - c["target"] - sum(c["parts"].values())) <= 1e-9 for c in found["cells"])


def test_yarn_that_is_probably_short_says_how_many_more_makers_would_settle_it():
    document = yarn_round([{"metres": m} for m in (900, 1250, 1500)])

    found = finding(document, "yarn")
    assert found["verdict"] == "look-closer"
    assert found["needs"] == {"any size": found["needs"]["any size"]}


def test_a_place_two_testers_stumble_over_needs_a_third():
    people = makers(2)
    for one in people:
        one["remarks"] = [{"place": "Back, step 3", "kind": "unclear", "text": "Which side?"}]

    found = finding(example(*people), "clarity:Back, step 3")
    assert (found["verdict"], found["needs"]) == ("look-closer", {"any size": 1})


def test_testers_who_sent_nothing_change_nothing():
    people = makers(6, longer=6)

    assert findings(example(*people, person(90), person(91, None))) == findings(example(*people))
