"""A tester's own numbers, as the page and the paper show them."""

from __future__ import annotations

import numpy as np
import pytest

from testround.kernel import round as kernel_round
from testround.kernel.round import Along, Round
from testround.kernel.sheet import GaugeColumns, Sheet
from testround.kernel.worksheet import (
    OTHERWISE_PLACE,
    WorksheetDimension,
    WorksheetGauge,
    WorksheetMeasure,
    WorksheetNumber,
    WorksheetShaping,
    worksheet,
)


def round_of(pattern, *testers):
    return Round.model_validate(
        {
            "format": "testround/round",
            "version": 1,
            "pattern": pattern,
            "round": {"title": "First test"},
            "testers": testers,
        }
    )


@pytest.fixture
def cardigan():
    return {
        "title": "Fenlight Cardigan",
        "edition": "0.9",
        "craft": "knit",
        "kind": "graded",
        "gauges": [{"key": "body", "label": "Stockinette", "stitches": 22, "rows": 30, "tool_mm": 4}],
        "sizes": ["S", "M"],
        "measures": [
            {
                "key": "bust",
                "label": "Full bust",
                "values": {"S": 86, "M": 96},
                "how": "Over the fullest part.",
            }
        ],
        "constants": [{"key": "ease", "label": "Ease", "value": 8, "unit": "cm"}],
        "numbers": [
            {
                "key": "back_sts",
                "label": "Back, cast on",
                "place": "Back, step 1",
                "unit": "st",
                "formula": "multiple((bust + ease) / 2 * body.st, of=2)",
                "printed": {"S": 104},
            },
            {"key": "ribs", "label": "Ribs", "unit": "rep", "formula": "3"},
        ],
        "dimensions": [
            {
                "key": "chest",
                "label": "Chest",
                "tolerance": 2.5,
                "formula": "2 * back_sts / body.st",
                "how": "Lay flat.",
            }
        ],
    }


@pytest.fixture
def skirt():
    """Worked from a waist and a length at 14 stitches and 10 rows in 10 cm."""
    return {
        "title": "Quillwork Skirt",
        "edition": "1",
        "craft": "crochet",
        "kind": "made-to-measure",
        "gauges": [{"key": "fans", "label": "Fans, blocked", "stitches": 14, "rows": 10, "tool_mm": 5}],
        "measures": [{"key": "waist", "label": "Waist"}, {"key": "drop", "label": "Waist to hem"}],
        "numbers": [
            {
                "key": "waist_ch",
                "label": "Chain",
                "place": "Waist",
                "unit": "st",
                "formula": "multiple(waist * fans.st, of=6)",
            },
            {
                "key": "rows",
                "label": "Rows",
                "place": "Skirt",
                "unit": "row",
                "formula": "multiple(drop * fans.row)",
            },
            {"key": "turn_ch", "label": "Turning chain", "place": "Waist", "unit": "st", "formula": "3"},
        ],
        "dimensions": [
            {"key": "round", "label": "Waist, finished", "tolerance": 2, "formula": "waist_ch / fans.st"}
        ],
    }


def blocked(stitches=None, rows=None, gauge="body", state="blocked", **more):
    swatch = {"gauge": gauge, "state": state, **more}
    if stitches:
        swatch |= {"width": 10, "stitches": stitches}
    if rows:
        swatch |= {"height": 10, "rows": rows}
    return swatch


def sheet_for(pattern, **tester):
    round_ = round_of(pattern, {"id": "t01", "name": "Tester one", **tester})
    return worksheet(round_, round_.testers[0])


def values(sheet):
    return {number.key: number.value for place in sheet.places for number in place.numbers}


def at_own_gauge(sheet):
    return {number.key: number.at_own_gauge for place in sheet.places for number in place.numbers}


def test_a_graded_tester_gets_printed_numbers_and_what_their_own_gauge_would_need(cardigan):
    cardigan["numbers"].pop()

    found = sheet_for(cardigan, size="S", measures={"bust": 87.5}, swatches=[blocked(20, 28)])

    assert found.measures == (WorksheetMeasure("bust", "Full bust", 86, 87.5, "Over the fullest part."),)
    assert found.gauges == (
        WorksheetGauge("body", "Stockinette", 22, 30, 4, pytest.approx(20), pytest.approx(28)),
    )
    assert [place.place for place in found.places] == ["Back, step 1"]
    # 47 cm × 2.2 = 103.4 gives 104, as printed; at 20 stitches 47 × 2 = 94
    assert found.places[0].numbers == (
        WorksheetNumber("back_sts", "Back, cast on", "Back, step 1", "st", 104, True, 94),
    )
    assert found.dimensions == (
        WorksheetDimension("chest", "Chest", pytest.approx(208 / 2.2), 2.5, "Lay flat."),
    )
    assert found.missing == ()
    assert (found.title, found.edition, found.craft, found.tester, found.size) == (
        "Fenlight Cardigan",
        "0.9",
        "knit",
        "Tester one",
        "S",
    )


def test_where_nothing_is_printed_the_computed_number_stands(cardigan):
    found = sheet_for(cardigan, size="M")

    assert values(found) == {"back_sts": 114, "ribs": 3}
    assert at_own_gauge(found) == {"back_sts": None, "ribs": None}
    assert [place.place for place in found.places] == ["Back, step 1", OTHERWISE_PLACE]


def test_a_misprint_is_what_the_tester_works_from(cardigan):
    cardigan["numbers"].pop()
    cardigan["numbers"][0]["printed"] = {"S": 114}

    found = sheet_for(cardigan, size="S")

    assert values(found) == {"back_sts": 114}
    assert found.dimensions[0].target == pytest.approx(208 / 2.2)


def test_a_printed_zero_is_a_number(cardigan):
    cardigan["numbers"] = [
        {**cardigan["numbers"][0], "printed": {"S": 0}},
    ]

    assert values(sheet_for(cardigan, size="S")) == {"back_sts": 0}


def test_a_tester_without_a_size_is_told_so(cardigan):
    cardigan["numbers"].pop()

    found = sheet_for(cardigan)

    assert values(found) == {"back_sts": None}
    assert found.missing == ("No size has been agreed yet; the numbers follow once it is.",)


def test_a_made_to_measure_tester_gets_numbers_from_own_measures_at_own_gauge(skirt):
    found = sheet_for(
        skirt,
        measures={"waist": 72, "drop": 60},
        swatches=[blocked(15, 11, "fans"), blocked(99, 99, "fans", "worked")],
    )

    # 72 × 1.5 = 108 = 18 × 6; 60 × 1.1 = 66
    assert values(found) == {"waist_ch": 108, "rows": 66, "turn_ch": 3}
    assert at_own_gauge(found) == {"waist_ch": None, "rows": None, "turn_ch": None}
    assert found.dimensions[0].target == pytest.approx(72)
    assert [[number.key for number in place.numbers] for place in found.places] == [
        ["waist_ch", "turn_ch"],
        ["rows"],
    ]
    assert found.missing == ()


def test_what_is_missing_is_asked_for_and_the_rest_is_worked_out(skirt):
    found = sheet_for(skirt, measures={"waist": 72}, swatches=[blocked(15, None, "fans")])

    assert values(found) == {"waist_ch": 108, "rows": None, "turn_ch": 3}
    assert found.missing == (
        "Waist to hem: send this measurement, and the numbers that need it are worked out.",
        "Fans, blocked: send a blocked swatch with its rows; until then the numbers are worked out at the stated gauge.",
    )


def test_an_unblocked_swatch_counts_where_no_blocked_one_is(skirt):
    found = sheet_for(skirt, measures={"waist": 72}, swatches=[blocked(15, 11, "fans", "worked")])

    assert values(found)["waist_ch"] == 108


def test_gauges_handed_in_come_before_the_swatches(skirt):
    round_ = round_of(skirt, {"id": "t01", "name": "Tester one", "measures": {"waist": 72}})
    own = {"fans": GaugeColumns(st=np.array([1.5]), row=np.array([np.nan]))}

    found = worksheet(round_, round_.testers[0], own, sheet=Sheet(round_.pattern))

    assert values(found)["waist_ch"] == 108
    assert (found.gauges[0].own_stitches, found.gauges[0].own_rows) == (15, None)


def test_a_swatch_of_another_gauge_changes_nothing(cardigan):
    cardigan["numbers"].pop()
    round_ = round_of(cardigan)
    stranger = kernel_round.Tester.model_validate(
        {"id": "t02", "name": "Tester two", "size": "S", "swatches": [blocked(9, 9, "lace")]}
    )

    found = worksheet(round_, stranger)

    assert at_own_gauge(found) == {"back_sts": None}


def test_a_childs_measures_bring_the_childrens_cautions(skirt):
    skirt["measures"].append({"key": "chest", "label": "Chest"})

    found = sheet_for(skirt, measures={"chest": 58})

    assert [caution.kind for caution in found.cautions] == [
        "cords",
        "small-parts",
        "steam",
        "repetitive-work",
    ]


def shapings(sheet):
    return {shaping.key: shaping for place in sheet.places for shaping in place.shapings}


def test_a_shaping_is_spelled_out_at_its_place_from_the_numbers_on_the_worksheet(cardigan):
    # 104 is printed for S; 8 stitches two at a time are 4 times, and 30 = 2 · 7 + 2 · 8.
    cardigan["numbers"].pop()
    cardigan["shapings"] = [
        {
            "key": "waist",
            "label": "Waist",
            "place": "Back, step 1",
            "start": "back_sts",
            "end": "back_sts - 8",
            "over": "30",
            "each": 2,
            "places": 2,
            "at": "each end",
        },
        {"key": "neck", "label": "Neck", "start": "10", "end": "4", "over": "6"},
    ]

    found = sheet_for(cardigan, size="S")

    assert [(place.place, len(place.numbers), len(place.shapings)) for place in found.places] == [
        ("Back, step 1", 1, 1),
        (OTHERWISE_PLACE, 0, 1),
    ]
    assert shapings(found)["waist"] == WorksheetShaping(
        key="waist",
        label="Waist",
        place="Back, step 1",
        along=Along.ROWS,
        start=104,
        end=96,
        over=30,
        words="Decrease 1 stitch at each end of every 7th row twice, then of every 8th row twice.",
        problem=None,
    )
    assert shapings(found)["waist"].counts == "104 to 96 stitches over 30 rows"


def test_a_made_to_measure_shaping_follows_own_measures_and_own_gauge(skirt):
    # 72 × 1.5 = 108 at the waist; 60 × 1.1 = 66 rounds; 24 stitches six at a time are 4 times, 66 = 2 · 16 + 2 · 17.
    skirt["shapings"] = [
        {
            "key": "flare",
            "label": "Flare",
            "place": "Skirt",
            "start": "waist_ch",
            "end": "waist_ch + 24",
            "over": "rows",
            "along": "rounds",
            "each": 6,
            "places": 6,
        }
    ]

    found = sheet_for(skirt, measures={"waist": 72, "drop": 60}, swatches=[blocked(15, 11, "fans")])
    unknown = sheet_for(skirt, measures={"waist": 72})

    flare = shapings(found)["flare"]
    assert flare.counts == "108 to 132 stitches over 66 rounds"
    assert flare.instruction == (
        "Increase 1 stitch at each of 6 places on every 16th round twice, then on every 17th round twice."
    )
    assert shapings(unknown)["flare"].instruction == "It is spelled out once its numbers are known."


def test_a_shaping_that_a_testers_numbers_do_not_allow_says_so(cardigan):
    cardigan["shapings"] = [
        {"key": "waist", "label": "Waist", "start": "back_sts", "end": "95", "over": "30", "each": 2}
    ]

    found = shapings(sheet_for(cardigan, size="S"))["waist"]

    assert found.words is None
    assert found.instruction == (
        "It cannot be worked with these numbers: from 104 to 95 stitches are 9 to decrease, and 2 each time "
        "never make 9; is it to end with 96 or 94, or another number to be worked each time? Ask the designer."
    )
