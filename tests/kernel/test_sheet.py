"""Sheets: computed for all sizes at once, and every reason why one cannot be."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testround.kernel.problems import Problem
from testround.kernel.round import Pattern
from testround.kernel.sheet import GaugeColumns, Sheet, SheetError, check_pattern


def entry(**fields):
    return {"label": fields["key"].replace("_", " ").capitalize(), **fields}


def number(key, formula, unit="st", **fields):
    return entry(key=key, formula=formula, unit=unit, **fields)


def dimension(key, formula, **fields):
    return entry(key=key, formula=formula, tolerance=2.5, **fields)


@pytest.fixture
def cardigan():
    """A back in three sizes at 22 stitches and 30 rows in 10 cm."""
    return {
        "title": "Fenlight Cardigan",
        "edition": "0.9",
        "craft": "knit",
        "kind": "graded",
        "gauges": [entry(key="body", stitches=22, rows=30)],
        "sizes": ["XS", "S", "M"],
        "measures": [entry(key="bust", values={"XS": 76, "S": 86, "M": 96})],
        "constants": [entry(key="ease", value=8, unit="cm")],
        "numbers": [
            number("back_sts", "multiple((bust + ease) / 2 * body.st, of=2)", printed={"XS": 92, "S": 104}),
            number("body_rows", "multiple(32 * body.row, of=2)", "row"),
            number("ribs", "multiple_down((back_sts - 2) / rib_sts)", "rep"),
            number("rib_sts", "4"),
        ],
        "dimensions": [
            dimension("chest", "2 * back_sts / body.st", printed={"M": 104}),
            dimension("body_length", "body_rows / body.row"),
        ],
        "parts": [entry(key="back", stitches="back_sts * body_rows")],
    }


def sheet_of(document):
    return Sheet(Pattern.model_validate(document))


def problems(document):
    return check_pattern(Pattern.model_validate(document))


def lists(columns):
    return {key: value.tolist() for key, value in columns.items()}


# Computing ------------------------------------------------------------------------------------------------


def test_every_size_is_computed_in_one_go(cardigan):
    sheet = sheet_of(cardigan)
    stated = sheet.stated()

    numbers = sheet.numbers(stated)

    assert lists(numbers) == {
        "back_sts": [92, 104, 114],  # 42, 47, 52 cm × 2.2 = 92.4, 103.4, 114.4
        "body_rows": [96, 96, 96],
        "ribs": [22, 25, 28],  # 90 / 4, 102 / 4, 112 / 4
        "rib_sts": [4, 4, 4],
    }
    assert sheet.dimensions(stated, numbers)["chest"] == pytest.approx([184 / 2.2, 208 / 2.2, 228 / 2.2])
    assert sheet.dimensions(stated, numbers)["body_length"] == pytest.approx([32, 32, 32])
    assert lists(sheet.parts(stated, numbers)) == {"back": [8832, 9984, 10944]}


def test_numbers_come_in_sheet_order_whatever_they_depend_on(cardigan):
    sheet = sheet_of(cardigan)

    assert list(sheet.numbers(sheet.stated())) == ["back_sts", "body_rows", "ribs", "rib_sts"]


def test_named_sizes_may_repeat(cardigan):
    sheet = sheet_of(cardigan)

    inputs = sheet.stated(["M", "XS", "M"])

    assert inputs.n == 3
    assert sheet.numbers(inputs)["back_sts"].tolist() == [114, 92, 114]


def test_a_given_count_stands_and_what_follows_follows_from_it(cardigan):
    sheet = sheet_of(cardigan)
    stated = sheet.stated()

    numbers = sheet.numbers(stated, {"back_sts": np.array([np.nan, 110.0, np.nan])})

    assert numbers["back_sts"].tolist() == [92, 110, 114]
    assert numbers["ribs"].tolist() == [22, 27, 28]
    assert sheet.dimensions(stated, numbers)["chest"][1] == pytest.approx(100)


def test_another_gauge_gives_other_numbers_and_leaves_the_stated_inputs_alone(cardigan):
    sheet = sheet_of(cardigan)
    stated = sheet.stated()

    own = sheet.with_gauges(stated, {"body": GaugeColumns(st=np.full(3, 2.0), row=np.full(3, 2.8))})

    assert sheet.numbers(own)["back_sts"].tolist() == [84, 94, 104]
    assert sheet.numbers(stated)["back_sts"].tolist() == [92, 104, 114]


def test_a_missing_measure_leaves_only_what_needs_it_unknown(cardigan):
    sheet = sheet_of(cardigan)

    numbers = sheet.numbers(sheet.worked_from([{}, {"bust": 86}]))

    assert np.array_equal(numbers["back_sts"], [np.nan, 104], equal_nan=True)
    assert numbers["body_rows"].tolist() == [96, 96]


def test_a_measure_in_between_rounds_as_decimals_do():
    document = {
        "title": "Quillwork Skirt",
        "edition": "1",
        "craft": "crochet",
        "kind": "made-to-measure",
        "gauges": [entry(key="body", stitches=14, rows=10)],
        "measures": [entry(key="waist")],
        "numbers": [number("waist_sts", "multiple(waist * body.st)")],
    }
    sheet = sheet_of(document)

    numbers = sheet.numbers(sheet.worked_from([{"waist": 42.5}]))

    # 42.5 × 1.4 = 59.5, and halves go up
    assert numbers["waist_sts"].tolist() == [60]


def test_what_is_printed_is_unknown_where_nothing_is(cardigan):
    sheet = sheet_of(cardigan)

    assert np.array_equal(sheet.printed_numbers()["back_sts"], [92, 104, np.nan], equal_nan=True)
    assert np.array_equal(sheet.printed_dimensions()["chest"], [np.nan, np.nan, 104], equal_nan=True)


@pytest.mark.parametrize(
    ("name", "followers"),
    [
        ("bust", ("back_sts", "ribs", "chest")),
        ("back_sts", ("ribs", "chest")),
        ("rib_sts", ("ribs",)),
        ("body_rows", ("body_length",)),
        ("body.row", ("body_rows", "body_length")),
        ("body", ("back_sts", "body_rows", "ribs", "chest", "body_length")),
        ("chest", ()),
    ],
)
def test_what_follows_from_a_name(cardigan, name, followers):
    assert set(sheet_of(cardigan).follows(name)) == set(followers)


@pytest.mark.parametrize(
    ("formula", "rule"),
    [
        ("multiple(bust * body.st)", (1, 0)),
        ("multiple(bust * body.st, of=8, plus=3)", (8, 3)),
        ("multiple_up(bust * body.st, of=motif, plus=edge - 1)", (12, 1)),
        ("(multiple_down(bust * body.st, of=2 * 2))", (4, 0)),
        ("multiple(bust * body.st, of=rib_sts)", None),
        ("multiple(bust * body.st, of=4) + 2", None),
        ("bust * body.st", None),
    ],
)
def test_a_numbers_stitch_multiple(cardigan, formula, rule):
    cardigan["constants"] += [entry(key="motif", value=12, unit="st"), entry(key="edge", value=2, unit="st")]
    cardigan["numbers"][0]["formula"] = formula

    assert sheet_of(cardigan).multiple_of("back_sts") == rule


# Problems -------------------------------------------------------------------------------------------------


def test_a_good_sheet_has_no_problems(cardigan):
    assert problems(cardigan) == []


def test_every_problem_is_told_at_once(cardigan):
    cardigan["numbers"][0]["formula"] = "multiple((bist + ease) / 2 * body.st, of=2)"
    cardigan["numbers"][1]["formula"] = "32 * (body.row"
    cardigan["numbers"][0]["printed"] = {"XXL": 3}
    cardigan["dimensions"][1]["formula"] = "body_rows * body.row"
    cardigan["parts"][0]["stitches"] = "back_sts"
    cardigan["measures"][0]["values"] = {"XS": 76, "s": 86}
    cardigan["yarn"] = {"L": 900}
    cardigan["constants"].append(entry(key="rib_sts", value=4, unit="st"))

    found = problems(cardigan)

    assert set(found) == {
        Problem(
            "numbers[3].key", "“rib_sts” is already the key of constants[1]; give one of them another key."
        ),
        Problem("measures[0].values.s", "there is no size s; sizes are XS, S, M."),
        Problem("measures[0].values", "“bust” has no value for S, M; give one for every size."),
        Problem("numbers[0].printed.XXL", "there is no size XXL; sizes are XS, S, M."),
        Problem("yarn.L", "there is no size L; sizes are XS, S, M."),
        Problem("numbers[0].formula", "at character 11: there is no “bist”; did you mean bust?"),
        Problem("numbers[1].formula", "at character 6: this bracket is never closed; close it with )."),
        Problem(
            "dimensions[1].formula",
            "at character 1: the formula comes out in rows^2 per centimetre, and centimetres are wanted; "
            "check which names it multiplies and divides.",
        ),
        Problem(
            "parts[0].stitches",
            "at character 1: the formula comes out in stitches, and stitches × rows are wanted; "
            "multiply by a number of rows, such as a constant whose unit is row.",
        ),
    }


def test_a_sheet_with_problems_is_not_made(cardigan):
    cardigan["yarn"] = {"L": 900}

    with pytest.raises(SheetError) as refused:
        sheet_of(cardigan)

    assert refused.value.problems == (Problem("yarn.L", "there is no size L; sizes are XS, S, M."),)


def test_a_circle_is_refused_with_its_members(cardigan):
    cardigan["numbers"] += [
        number("a", "c + 1"),
        number("b", "a + 1"),
        number("c", "b + 1"),
        number("d", "d + 1"),
    ]

    assert problems(cardigan) == [
        Problem(
            "numbers[4].formula",
            "these numbers go in a circle: a needs c needs b needs a; work one of them out from something else.",
        ),
        Problem("numbers[7].formula", "“d” is worked out from itself; use other names in its formula."),
    ]


def test_a_chain_of_five_hundred_numbers_is_no_circle(cardigan):
    cardigan["numbers"] = [
        number("back_sts", "n498"),
        number("body_rows", "3", "row"),
        *(number(f"n{i}", f"n{i - 1} + 1") for i in range(498, 1, -1)),
        number("n1", "1"),
    ]
    cardigan["dimensions"], cardigan["parts"] = [], []

    assert problems(cardigan) == []
    assert sheet_of(cardigan).numbers(sheet_of(cardigan).stated())["back_sts"].tolist() == [498] * 3


def test_division_by_zero_names_the_sizes(cardigan):
    cardigan["numbers"][2]["formula"] = "back_sts / (back_sts - 104)"

    assert problems(cardigan) == [
        Problem(
            "numbers[2].formula",
            "at character 13: the divisor is zero in size S; divide by something that is never zero.",
        )
    ]


def test_division_by_zero_everywhere_says_so(cardigan):
    cardigan["constants"].append(entry(key="nought", value=0))
    cardigan["numbers"] += [number("never", "back_sts / nought"), number("nowhere", "4 / nought", "rep")]

    assert problems(cardigan) == [
        Problem(
            f"numbers[{i}].formula",
            f"at character {at}: the divisor is zero in every size; divide by something that is never zero.",
        )
        for i, at in ((4, 12), (5, 5))
    ]


def test_a_measurement_that_comes_out_below_zero_is_refused(cardigan):
    cardigan["dimensions"].append(dimension("neck", "80 - bust"))

    assert problems(cardigan) == [
        Problem(
            "dimensions[2].formula",
            "the formula comes out at -6 in sizes S, M, and must be above zero; check the signs and the measures it uses.",
        )
    ]


def test_a_part_may_be_left_out_of_a_size_and_cannot_take_less_than_nothing(cardigan):
    cardigan["parts"].append(entry(key="hood", stitches="when(bust > 90, 1, 0) * back_sts * body_rows"))

    assert problems(cardigan) == []

    cardigan["parts"][1]["stitches"] = "(back_sts - 100) * body_rows"

    assert problems(cardigan) == [
        Problem(
            "parts[1].stitches",
            "the formula comes out at -768 in size XS, and must not be below zero; "
            "check the signs and the measures it uses.",
        )
    ]


def test_parts_are_named_once_and_may_be_called_anything(cardigan):
    cardigan["parts"] += [entry(key="min", stitches="back_sts * body_rows")] * 2

    assert problems(cardigan) == [
        Problem("parts[2].key", "“min” is already the key of parts[1]; give one of them another key.")
    ]


def test_function_names_cannot_be_keys(cardigan):
    cardigan["constants"].append(entry(key="max", value=4))
    cardigan["gauges"].append(entry(key="when", stitches=20, rows=28))

    assert problems(cardigan) == [
        Problem("constants[1].key", "“max” is the name of a function; choose another key."),
        Problem("gauges[1].key", "“when” is the name of a function; choose another key."),
    ]


def test_gauges_dimensions_and_strangers_in_a_formula_are_told_apart(cardigan):
    cardigan["numbers"].append(number("odd", "chest + body + wobble"))

    assert [problem.sentence for problem in problems(cardigan)] == [
        "at character 1: “chest” is a dimension; use the numbers, measures and gauges it is made of; "
        "formulas do not use dimensions.",
        "at character 9: “body” is a gauge; write body.st for its stitches or body.row for its rows per cm.",
        "at character 16: there is no “wobble”; use a measure, a constant, a number or a gauge of this sheet, or add it.",
    ]


def test_a_gauge_may_share_its_key_with_a_measure(cardigan):
    cardigan["gauges"].append(entry(key="bust", stitches=20, rows=28))
    cardigan["numbers"].append(number("bust_sts", "bust * bust.st"))

    assert problems(cardigan) == []


def test_sizes_and_gauges_are_named_once(cardigan):
    cardigan["sizes"] = ["XS", "S", "M", "S"]
    cardigan["gauges"].append(entry(key="body", stitches=20, rows=28))

    assert problems(cardigan) == [
        Problem("gauges[1].key", "“body” is already the key of gauges[0]; give one of them another key."),
        Problem("sizes[3]", "“S” is listed twice; name every size once."),
    ]


def test_a_graded_pattern_needs_sizes(cardigan):
    cardigan |= {"sizes": [], "measures": [], "numbers": [], "dimensions": [], "parts": []}

    assert problems(cardigan) == [
        Problem(
            "sizes", "a graded pattern has no sizes; list them, smallest first, or make it made-to-measure."
        )
    ]


def test_a_made_to_measure_pattern_has_nothing_by_size(cardigan):
    cardigan |= {"kind": "made-to-measure", "yarn": {"S": 900}, "hours": {"S": 40}}

    assert [problem.path for problem in problems(cardigan)] == [
        "sizes",
        "measures[0].values",
        "numbers[0].printed",
        "dimensions[0].printed",
        "yarn",
        "hours",
    ]


NAMES = [
    "bust",
    "ease",
    "back_sts",
    "body_rows",
    "rib_sts",
    "chest",
    "body.st",
    "body.row",
    "body",
    "wobble",
    "0",
    "3",
]
SIGNS = [" + ", " - ", " * ", " / ", ", "]
random_formula = st.lists(st.sampled_from(NAMES), min_size=1, max_size=5).flatmap(
    lambda names: st.lists(st.sampled_from(SIGNS), min_size=len(names) - 1, max_size=len(names) - 1).map(
        lambda signs: names[0] + "".join(sign + name for sign, name in zip(signs, names[1:], strict=True))
    )
)
wrapped = st.tuples(
    st.sampled_from(["{}", "multiple({})", "min({}, 3)", "when({} > 3, 1, 2)", "-({})"]), random_formula
)


@given(st.lists(wrapped.map(lambda pair: pair[0].format(pair[1])), min_size=1, max_size=6))
@settings(deadline=None, max_examples=150)
def test_any_sheet_is_computed_or_refused_with_sentences(formulas):
    document = {
        "title": "Fenlight Cardigan",
        "edition": "0.9",
        "craft": "knit",
        "kind": "graded",
        "gauges": [entry(key="body", stitches=22, rows=30)],
        "sizes": ["S", "M"],
        "measures": [entry(key="bust", values={"S": 86, "M": 96})],
        "constants": [entry(key="ease", value=8, unit="cm")],
        "numbers": [number(f"n{i}", formula, "st") for i, formula in enumerate(formulas)]
        + [number("back_sts", "n0 * 1"), number("rib_sts", "4"), number("body_rows", "96", "row")],
        "dimensions": [dimension("chest", "2 * back_sts / body.st")],
    }

    found = problems(document)

    assert all(problem.path and problem.sentence.endswith((".", "?")) for problem in found)
    if not found:
        sheet = sheet_of(document)
        assert all(np.isfinite(column).all() for column in sheet.numbers(sheet.stated()).values())


@given(st.lists(st.floats(40, 180), min_size=1, max_size=8))
@settings(deadline=None, max_examples=50)
def test_testers_worked_together_get_what_each_gets_alone(busts):
    document = {
        "title": "Quillwork Skirt",
        "edition": "1",
        "craft": "crochet",
        "kind": "made-to-measure",
        "gauges": [entry(key="body", stitches=14.5, rows=10)],
        "measures": [entry(key="bust")],
        "numbers": [
            number(
                "sts", "when(bust > 100, multiple(bust * body.st, of=4), multiple_up(bust * body.st, of=6))"
            )
        ],
    }
    sheet = sheet_of(document)

    together = sheet.numbers(sheet.worked_from([{"bust": bust} for bust in busts]))["sts"].tolist()
    alone = [float(sheet.numbers(sheet.worked_from([{"bust": bust}]))["sts"][0]) for bust in busts]

    assert together == alone


# Shaping


def shaping(**fields):
    return {
        "key": "waist",
        "label": "Waist",
        "start": "back_sts",
        "end": "back_sts - 8",
        "over": "48",
        **fields,
    }


def test_a_shaping_is_worked_from_the_numbers_given(cardigan):
    cardigan["shapings"] = [shaping(over="body_rows / 2")]
    sheet = sheet_of(cardigan)
    inputs = sheet.stated()

    found = sheet.shapings(inputs, {**sheet.numbers(inputs), "back_sts": np.array([92.0, 106.0, np.nan])})

    assert list(found) == ["waist"]
    np.testing.assert_array_equal(found["waist"].start, [92, 106, np.nan])
    np.testing.assert_array_equal(found["waist"].end, [84, 98, np.nan])
    np.testing.assert_array_equal(found["waist"].over, [48, 48, 48])


@pytest.mark.parametrize(
    ("fields", "path", "sentence"),
    [
        (
            {"over": "back_sts"},
            "shapings[0].over",
            "at character 1: the formula comes out in stitches, and rows are wanted; "
            "check which names it multiplies and divides.",
        ),
        (
            {"along": "stitches", "over": "body_rows"},
            "shapings[0].over",
            "at character 1: the formula comes out in rows, and stitches are wanted; "
            "check which names it multiplies and divides.",
        ),
        (
            {"end": "bust"},
            "shapings[0].end",
            "at character 1: the formula comes out in centimetres, and stitches are wanted; "
            "multiply by a stitch gauge, as in … * body.st.",
        ),
        (
            {"over": "body_rows / (8 - 8)"},
            "shapings[0].over",
            "at character 14: the divisor is zero in every size; divide by something that is never zero.",
        ),
        (
            {"each": 4, "places": 3},
            "shapings[0].each",
            "4 stitches each time do not share out over 3 places; “each” counts the stitches of all of them "
            "together.",
        ),
        (
            {"along": "stitches", "over": "back_sts", "at": "each end"},
            "shapings[0].at",
            "a shaping along stitches is spread over the whole row or round, and has no places of its own; "
            "leave places and at out.",
        ),
    ],
)
def test_a_shaping_that_cannot_be_computed_is_refused_with_its_place_and_a_mend(
    cardigan, fields, path, sentence
):
    cardigan["shapings"] = [shaping(**fields)]

    assert problems(cardigan) == [Problem(path, sentence)]


def test_two_shapings_of_one_key_are_refused_and_a_number_may_share_its_key(cardigan):
    cardigan["shapings"] = [shaping(key="back_sts"), shaping(key="back_sts")]

    assert [problem.path for problem in problems(cardigan)] == ["shapings[1].key"]


def test_no_formula_uses_a_shaping(cardigan):
    cardigan["shapings"] = [shaping()]
    cardigan["numbers"].append(number("tried", "waist"))

    assert [problem.path for problem in problems(cardigan)] == ["numbers[4].formula"]
