from __future__ import annotations

from typing import Any

import pytest

from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import plain
from testround.patterns.checks import check
from testround.patterns.drafts import SheetDraft
from testround.patterns.fields import Scale

CENTIMETRES = Scale()
INCHES = Scale(units="in", tools="us")


def posted(draft: SheetDraft) -> dict[str, str]:
    """What a browser sends of the page, nothing touched."""
    fields = {cell.name: cell.text for cell in draft.single_cells()}
    for j, size in enumerate(draft.columns):
        fields[f"column-{j}"] = size
    for row in draft.all_rows():
        fields[f"{row.name}-was"] = row.was
        fields.update((cell.name, cell.text) for cell in row.all_cells)
    return fields


def typed(document: dict[str, Any], scale: Scale = CENTIMETRES, **changes: str) -> SheetDraft:
    """The page of a sheet with some fields typed over; a double underscore stands for a hyphen."""
    stored = SheetDocument.model_validate(document)
    fields = posted(SheetDraft.of(stored, scale))
    fields.update({name.replace("__", "-"): text for name, text in changes.items()})
    return SheetDraft.typed(fields, stored, scale)


def saved(draft: SheetDraft) -> dict[str, Any]:
    pattern = draft.read()
    assert pattern is not None, draft.problems()
    return plain(pattern)


def said(draft: SheetDraft) -> list[tuple[str, str]]:
    assert draft.read() is None
    return [(problem.where, problem.sentence) for problem in draft.problems()]


@pytest.mark.parametrize("scale", [CENTIMETRES, INCHES], ids=["centimetres", "inches"])
def test_a_page_sent_back_untouched_saves_the_sheet_as_it_was(
    little_top: dict[str, Any], scale: Scale
) -> None:
    little_top["measures"][0]["values"]["S"] = 86.123456789
    little_top["gauges"][0]["stitches"] = 21.37
    little_top["dimensions"][0]["printed"] = {"XS": 83.63636363636364}
    little_top["constants"].append({"key": "hem", "label": "Hem", "value": -0.77, "unit": "cm"})
    little_top["constants"].append({"key": "half", "label": "Half", "value": 0.5})
    little_top["yarn"] = {"XS": 950.5, "S": 1050, "M": 1150}

    assert saved(typed(little_top, scale)) == little_top


def test_a_length_typed_in_inches_is_stored_in_centimetres(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, INCHES, **{"measures__0__values__1": "34 1/4"})

    assert saved(draft)["measures"][0]["values"] == {"XS": 76, "S": 86.995, "M": 96}


def test_a_unit_typed_with_the_value_wins_over_the_readers_own(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, INCHES, **{"measures__0__values__1": "88 cm"})

    assert saved(draft)["measures"][0]["values"]["S"] == 88


def test_a_gauge_typed_over_four_inches_is_stored_per_ten_centimetres(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, INCHES, **{"gauges__0__stitches": "22"})

    assert saved(draft)["gauges"][0]["stitches"] == pytest.approx(22 / 10.16 * 10)


def test_negative_ease_can_be_typed(little_top: dict[str, Any]) -> None:
    assert saved(typed(little_top, **{"constants__0__value": "−4"}))["constants"][0]["value"] == -4


def test_a_constant_may_be_nothing(little_top: dict[str, Any]) -> None:
    assert saved(typed(little_top, INCHES, **{"constants__0__value": "0"}))["constants"][0]["value"] == 0


def test_a_constant_whose_unit_changes_is_read_in_the_new_unit(little_top: dict[str, Any]) -> None:
    little_top["constants"].append({"key": "extra", "label": "Extra", "value": 8, "unit": "st"})

    draft = typed(little_top, INCHES, **{"constants__1__unit": "cm"})

    assert saved(draft)["constants"][1] == {"key": "extra", "label": "Extra", "value": 20.32, "unit": "cm"}


def test_a_row_ticked_for_deletion_is_left_out(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, **{"parts__0__delete": "on"})

    assert "parts" not in {name for name, value in saved(draft).items() if value}


def test_an_empty_added_row_is_no_entry(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, **{"numbers__7__unit": "st", "numbers__7__formula": " "})

    assert saved(draft) == little_top


def test_a_row_without_a_key_gets_one_from_its_name(little_top: dict[str, Any]) -> None:
    draft = typed(
        little_top,
        **{
            "numbers__2__label": "Back, cast on",
            "numbers__2__unit": "st",
            "numbers__2__formula": "back_sts",
            "numbers__3__label": "Back, cast on",
            "numbers__3__unit": "st",
            "numbers__3__formula": "back_sts",
        },
    )

    assert [number["key"] for number in saved(draft)["numbers"]] == [
        "back_sts",
        "body_rows",
        "back_cast_on",
        "back_cast_on_2",
    ]


def test_a_renamed_size_keeps_its_values(little_top: dict[str, Any]) -> None:
    little_top["measures"][0]["values"]["S"] = 86.123456789

    sheet = saved(typed(little_top, INCHES, sizes="XS, Small, M"))

    assert sheet["sizes"] == ["XS", "Small", "M"]
    assert sheet["measures"][0]["values"] == {"XS": 76, "Small": 86.123456789, "M": 96}
    assert sheet["numbers"][0]["printed"] == {"XS": 92, "Small": 104, "M": 114}


def test_a_size_put_in_the_middle_moves_nobodys_values(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, sizes="XS, XS/S, S, M")

    assert said(draft) == [("Full bust", "“bust” has no value for XS/S; give one for every size.")]
    assert [cell.text for cell in draft.rows["numbers"][0].sized] == ["92", "", "104", "114"]


def test_a_size_taken_out_takes_its_values_along(little_top: dict[str, Any]) -> None:
    assert saved(typed(little_top, sizes="XS, M"))["numbers"][0]["printed"] == {"XS": 92, "M": 114}


def test_an_unknown_function_is_named_beside_its_formula_with_the_place_marked(
    little_top: dict[str, Any],
) -> None:
    draft = typed(little_top, **{"numbers__0__formula": "2 * round(bust)"})

    (problem,) = said(draft)
    cell = draft.rows["numbers"][0].cells["formula"]
    assert problem[0] == "Back, cast on: formula"
    assert "round" in problem[1]
    assert cell.wrong == ("2 * ", "round", "(bust)")
    assert cell.text == "2 * round(bust)"


def test_formulas_in_a_circle_name_its_members(little_top: dict[str, Any]) -> None:
    draft = typed(
        little_top,
        **{
            "numbers__0__formula": "body_rows * body.st / body.row",
            "numbers__1__formula": "back_sts * body.row / body.st",
        },
    )

    assert said(draft) == [
        (
            "Back, cast on: formula",
            "These numbers go in a circle: back_sts needs body_rows needs back_sts; "
            "work one of them out from something else.",
        )
    ]


@pytest.mark.parametrize("text", ["1e300", "NaN", "Infinity", "-inf", "lots", "0x10", "9" * 400, "1/0"])
def test_what_is_no_number_is_refused_beside_its_field_and_kept(
    little_top: dict[str, Any], text: str
) -> None:
    draft = typed(little_top, **{"numbers__0__printed__1": text, "dimensions__0__tolerance": text})

    assert [where for where, _ in said(draft)] == [
        "Back, cast on: printed, S",
        "Chest circumference: tolerance",
    ]
    assert draft.rows["numbers"][0].sized[1].text == text
    assert draft.rows["dimensions"][0].cells["tolerance"].text == text


def test_a_million_million_stitches_are_refused(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, **{"numbers__0__printed__1": "1000000000000"})

    assert len(said(draft)) == 1


def test_every_problem_is_said_at_once(little_top: dict[str, Any]) -> None:
    draft = typed(
        little_top,
        **{
            "title": " ",
            "measures__0__values__0": "chest",
            "numbers__0__formula": "",
            "dimensions__1__formula": "body_rows",
        },
    )

    assert [where for where, _ in said(draft)] == [
        "Title",
        "Full bust: body measurement, XS",
        "Back, cast on: formula",
        "Hem to underarm: formula",
    ]


def test_a_gauge_that_cannot_be_read_hides_nothing_and_nothing_is_computed_without_it(
    little_top: dict[str, Any],
) -> None:
    draft = typed(little_top, **{"gauges__0__stitches": "many", "numbers__0__formula": "bust"})

    where = [problem[0] for problem in said(draft)]
    answer = check(draft, None)

    assert where == ["Stockinette, blocked: stitches", "Back, cast on: formula"]
    assert answer.compared == 0
    assert all(row.computed == [] for row in draft.all_rows())


def test_a_sheet_without_any_gauge_is_told_to_have_one(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, **{"gauges__0__delete": "on"})

    assert ("", "The sheet has no gauge; add the one the pattern states.") in said(draft)


def test_a_field_that_cannot_be_read_does_not_hide_what_can_be_computed(little_top: dict[str, Any]) -> None:
    draft = typed(little_top, **{"numbers__0__formula": "bust +"})

    answer = check(draft, draft.read())

    assert answer.summary == "1 thing to mend before this sheet can be used."
    rows, length = draft.rows["numbers"][1], draft.rows["dimensions"][1]
    assert [computed.text for computed in rows.computed] == ["96", "96", "96"]
    assert [computed.text for computed in length.computed] == ["32", "32", "32"]


def test_a_wrong_printed_count_is_said_in_words_beside_the_computed_one(little_top: dict[str, Any]) -> None:
    # (86 + 8) / 2 × 2.2 = 103.4, to the nearest even count 104; the text prints 106.
    draft = typed(little_top, **{"numbers__0__printed__1": "106"})

    answer = check(draft, draft.read())

    assert answer.summary == "1 printed value of 6 is not what the formulas give."
    assert [(fault.where, fault.sentence) for fault in answer.faults] == [
        ("Back, cast on, size S (Back, step 1)", "106 is printed and the formula gives 104, 2 fewer.")
    ]
    assert [computed.differs for computed in draft.rows["numbers"][0].computed] == [
        "",
        "106 is printed and the formula gives 104, 2 fewer.",
        "",
    ]


def test_a_wrong_printed_measurement_is_said_in_the_readers_unit(little_top: dict[str, Any]) -> None:
    # 2 × 114 / 2.2 = 103.636 cm, which is 40 3/4 in; 110 cm is printed, 43 1/4 in.
    little_top["dimensions"][0]["printed"] = {"M": 110}
    draft = typed(little_top, INCHES)

    answer = check(draft, draft.read())

    assert [fault.sentence for fault in answer.faults] == [
        "43 1/4 in is printed and the counts give 40 3/4 in at the stated gauge, 2 1/2 in less. "
        "That is beyond the tolerance of 1 in."
    ]


def test_a_right_sheet_says_so(little_top: dict[str, Any]) -> None:
    draft = typed(little_top)

    assert check(draft, draft.read()).summary == "All 6 printed values are what the formulas give."


@pytest.fixture
def skirt() -> dict[str, Any]:
    """Made to measure: the waist in multiples of six stitches and three more."""
    return {
        "title": "Quillwork Skirt",
        "edition": "1.0",
        "craft": "crochet",
        "kind": "made-to-measure",
        "gauges": [
            {"key": "body", "label": "Half double crochet", "stitches": 16, "rows": 12, "tool_mm": 4.5}
        ],
        "measures": [{"key": "waist", "label": "Waist"}],
        "numbers": [
            {
                "key": "start",
                "label": "Foundation",
                "unit": "st",
                "formula": "multiple(waist * body.st, of=6, plus=3)",
            }
        ],
        "dimensions": [{"key": "around", "label": "Waist", "tolerance": 2, "formula": "start / body.st"}],
    }


def test_a_made_to_measure_sheet_can_be_tried_with_measures_and_a_gauge(skirt: dict[str, Any]) -> None:
    # 80 cm at 16 st in 10 cm are 128 stitches; of the counts 6 m + 3 the nearest is 129, or 80.625 cm.
    # At 15 st in 10 cm they are 120; 117 and 123 are equally far, and halves go up.
    draft = typed(skirt)

    draft.take_tries({"try-measures-0": "80"})
    check(draft, draft.read())
    as_stated = [draft.rows[group][0].computed[0].text for group in ("numbers", "dimensions")]
    draft.take_tries({"try-measures-0": "80", "try-gauges-0-stitches": "15", "try-gauges-0-rows": "12"})
    check(draft, draft.read())
    as_tried = [draft.rows[group][0].computed[0].text for group in ("numbers", "dimensions")]

    assert (as_stated, as_tried) == (["129", "80.6"], ["123", "82"])


def test_what_is_tried_is_not_stored_and_a_bad_try_does_not_keep_a_sheet_from_being_saved(
    skirt: dict[str, Any],
) -> None:
    draft = typed(skirt)
    draft.take_tries({"try-measures-0": "wide"})

    check(draft, draft.read())

    assert saved(draft)["measures"] == [{"key": "waist", "label": "Waist"}]
    assert draft.rows["measures"][0].tries[0].errors != []
    assert draft.rows["numbers"][0].computed[0].text == "–"


# Shaping


@pytest.fixture
def shaped_top(little_top: dict[str, Any]) -> dict[str, Any]:
    """The little top, 92, 104 and 114 stitches wide, ten narrower at the waist."""
    little_top["shapings"] = [
        {
            "key": "waist",
            "label": "Waist",
            "place": "Back, step 2",
            "start": "back_sts",
            "end": "back_sts - 10",
            "over": "48",
            "along": "rows",
            "each": 2,
            "places": 2,
            "at": "each end",
        }
    ]
    return little_top


def test_a_shaping_sent_back_untouched_is_saved_as_it_was(shaped_top: dict[str, Any]) -> None:
    assert saved(typed(shaped_top))["shapings"] == shaped_top["shapings"]


def test_a_sheet_without_shapings_is_saved_without_their_list(little_top: dict[str, Any]) -> None:
    assert "shapings" not in saved(typed(little_top))


def test_a_shaping_typed_in_an_added_row_gets_a_key_and_the_defaults(little_top: dict[str, Any]) -> None:
    draft = typed(
        little_top,
        **{
            "shapings__0__label": "Waist",
            "shapings__0__start": "back_sts",
            "shapings__0__end": "back_sts - 10",
            "shapings__0__over": "body_rows / 2",
            "shapings__0__along": "rounds",
        },
    )

    assert saved(draft)["shapings"] == [
        {
            "key": "waist",
            "label": "Waist",
            "start": "back_sts",
            "end": "back_sts - 10",
            "over": "body_rows / 2",
            "along": "rounds",
            "each": 1,
            "places": 1,
        }
    ]


def test_a_shaping_stands_in_words_for_every_size(shaped_top: dict[str, Any]) -> None:
    # 10 stitches two at a time are 5 times; 48 = 2 · 9 + 3 · 10.
    draft = typed(shaped_top)

    answer = check(draft, draft.read())

    words = "Decrease 1 stitch at each end of every 9th row twice, then of every 10th row 3 times."
    assert [computed.text for computed in draft.rows["shapings"][0].computed] == [words] * 3
    assert answer.notes == ()


def test_a_shaping_that_cannot_be_worked_asks_beside_its_fields_and_in_the_desk_check(
    shaped_top: dict[str, Any],
) -> None:
    draft = typed(shaped_top, **{"shapings__0__end": "when(bust > 80, 90, 89)"})

    answer = check(draft, draft.read())

    question = (
        "from 92 to 89 stitches are 3 to decrease, and 2 each time never make 3; is it to end with 90 or 88, "
        "or another number to be worked each time?"
    )
    assert [(computed.text, computed.asks) for computed in draft.rows["shapings"][0].computed] == [
        ("–", question),
        ("Decrease 1 stitch at each end of every 6th row once, then of every 7th row 6 times.", ""),
        ("Decrease 1 stitch at each end of every 4th row 12 times.", ""),
    ]
    assert answer.notes == (f"Waist, size XS: {question}",)
    assert answer.is_clean


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        (
            "over",
            "bust",
            "At character 1: the formula comes out in centimetres, and rows are wanted; "
            "multiply by a row gauge, as in … * body.row.",
        ),
        (
            "places",
            "3",
            "2 stitches each time do not share out over 3 places; “each” counts the stitches of all of them "
            "together.",
        ),
    ],
)
def test_a_wrong_shaping_says_so_beside_the_field(
    shaped_top: dict[str, Any], field: str, text: str, sentence: str
) -> None:
    label = {"over": "Waist: worked over", "places": "Waist: stitches each time"}[field]

    assert said(typed(shaped_top, **{f"shapings__0__{field}": text})) == [(label, sentence)]


@pytest.mark.parametrize("text", ["two", "1.5", "1/2", "-2", "0", "1e9"])
def test_stitches_each_time_are_a_whole_number(shaped_top: dict[str, Any], text: str) -> None:
    draft = typed(shaped_top, shapings__0__each=text)

    assert [where for where, _ in said(draft)] == ["Waist: stitches each time"]
    assert draft.rows["shapings"][0].cells["each"].text == text
