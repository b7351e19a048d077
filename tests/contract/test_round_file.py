"""The description of the round file and its formulas, sentence by sentence."""

from __future__ import annotations

import json
import math
from fractions import Fraction
from typing import Any

import jsonschema
import pytest

from testround.kernel.roundfile import RoundFileError, read_round
from testround.kernel.schemas import schema_of
from tests.contract.documents import EXAMPLE_FILE, Document, example, finding, ids, made_to_measure, problems

FORMULA = "pattern.numbers[2].formula"


def with_number(formula: str, unit: str = "st", **more: Any) -> Document:
    """The example with one number more."""
    document = example()
    document["pattern"]["constants"] += [
        {"key": "wide_sts", "label": "Stitches in the draft", "value": 42.5, "unit": "st"},
        {"key": "share", "label": "Share of them", "value": 1.4},
        {"key": "motif_sts", "label": "Stitches in a motif", "value": 12, "unit": "st"},
        {"key": "motif_rows", "label": "Rows in a motif", "value": 16, "unit": "row"},
    ]
    document["pattern"]["numbers"].append(
        {"key": "tried", "label": "Tried", "unit": unit, "formula": formula, **more}
    )
    return document


NOT_MEANT = 987654


def computes(formula: str, unit: str = "st") -> dict[str, float]:
    """What a formula gives by size, as the desk check says of a number that is printed quite differently."""
    printed = dict.fromkeys(("XS", "S", "M"), NOT_MEANT)
    found = finding(with_number(formula, unit, printed=printed), "printed-count:tried")
    return found.get("computed") or found["proposed"]


def everywhere(value: float) -> dict[str, float]:
    return dict.fromkeys(("XS", "S", "M"), value)


# The file


def test_the_example_is_a_valid_round_file():
    round_ = read_round(EXAMPLE_FILE.read_bytes())

    assert (round_.pattern.title, [tester.id for tester in round_.testers]) == ("Fenlight Cardigan", ["t01"])


def test_the_example_fits_the_published_schema():
    jsonschema.Draft202012Validator(schema_of("round")).validate(example())


def test_unknown_keys_are_refused_with_the_path_to_the_key():
    document = example()
    document["testers"][0]["swatches"][0]["colour"] = "blue"

    assert problems(document) == {"testers[0].swatches[0].colour": "unknown"}


def test_every_problem_is_reported_at_once_and_never_only_the_first():
    document = example()
    document["pattern"]["craft"] = "weave"
    document["pattern"]["numbers"][0]["formula"] = "hips * body.st"
    document["testers"][0]["size"] = "XXL"
    document["testers"][0]["finished"][0]["values"] = []
    document["round"]["theme"] = "spring"

    assert sorted(problems(document)) == [
        "pattern.craft",
        "pattern.numbers[0].formula",
        "round.theme",
        "testers[0].finished[0].values",
        "testers[0].size",
    ]


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_no_nan_or_infinity_is_taken(word):
    text = EXAMPLE_FILE.read_text().replace('"value": 8', f'"value": {word}')

    with pytest.raises(RoundFileError):
        read_round(text.encode())


def test_a_count_that_was_read_off_a_swatch_may_be_a_quarter():
    document = example()
    document["testers"][0]["swatches"][0]["stitches"] = 22.25

    assert problems(document) == {}


@pytest.mark.parametrize("key", ["Back_sts", "back-sts", "back sts", "_back", "2back", "back__sts", ""])
def test_keys_are_lower_case_words_joined_by_an_underscore(key):
    document = example()
    document["pattern"]["constants"][0]["key"] = key

    assert "pattern.constants[0].key" in problems(document)


@pytest.mark.parametrize("taken", ["bust", "back_sts", "chest"])
def test_keys_are_unique_over_measures_constants_numbers_and_dimensions(taken):
    document = example()
    document["pattern"]["constants"].append({"key": taken, "label": "Again", "value": 1, "unit": "cm"})

    assert any(taken in sentence for sentence in problems(document).values())


def test_a_gauge_key_is_unique_among_gauges():
    document = example()
    document["pattern"]["gauges"].append(document["pattern"]["gauges"][0])

    assert "pattern.gauges[1].key" in problems(document)


@pytest.mark.parametrize("where", ["values", "printed", "dimension", "yarn", "hours"])
def test_maps_by_size_name_only_sizes_of_the_pattern(where):
    document = example()
    pattern = document["pattern"]
    by_size = {
        "values": pattern["measures"][0]["values"],
        "printed": pattern["numbers"][0]["printed"],
        "dimension": pattern["dimensions"][0]["printed"],
        "yarn": pattern["yarn"],
        "hours": pattern["hours"],
    }[where]
    by_size["XXL"] = 110

    (path,) = problems(document)
    assert path.endswith(".XXL")


def test_values_of_measures_are_complete():
    document = example()
    del document["pattern"]["measures"][0]["values"]["M"]

    (path,) = problems(document)
    assert path.startswith("pattern.measures[0].values")


def test_printed_may_be_partial_or_absent():
    document = example()
    del document["pattern"]["numbers"][0]["printed"]["M"]
    del document["pattern"]["numbers"][1]["printed"]
    del document["pattern"]["dimensions"][0]["printed"]

    assert problems(document) == {}


def test_a_made_to_measure_pattern_is_valid_with_no_sizes():
    assert problems(made_to_measure()) == {}


def test_yarn_per_square_metre_may_stand_in_place_of_yarn():
    document = made_to_measure()
    document["pattern"]["yarn_per_m2"] = 900

    assert problems(document) == {}


@pytest.mark.parametrize("part", ["numbers", "dimensions", "measures", "yarn", "hours"])
def test_a_made_to_measure_pattern_has_nothing_by_size(part):
    document = made_to_measure()
    pattern = document["pattern"]
    match part:
        case "numbers" | "dimensions":
            pattern[part][0]["printed"] = {"S": 94}
        case "measures":
            pattern["measures"][0]["values"] = {"S": 86}
        case _:
            pattern[part] = {"S": 900}

    assert problems(document)


def test_a_made_to_measure_tester_has_no_size():
    document = made_to_measure()
    document["testers"][0]["size"] = "S"

    assert list(problems(document)) == ["testers[0].size"]


@pytest.mark.parametrize(
    ("path", "change"),
    [
        ("testers[0].swatches[0].state", lambda t: t["swatches"][0].update(state="steamed")),
        ("testers[0].finished[0].state", lambda t: t["finished"][0].update(state="washed")),
        ("testers[0].fit[0].says", lambda t: t["fit"][0].update(says="snug")),
        ("testers[0].remarks[0].kind", lambda t: t["remarks"][0].update(kind="praise")),
        ("testers[0].sittings[0].done", lambda t: t["sittings"][0].update(done=1.01)),
        ("testers[0].sittings[0].part", lambda t: t["sittings"][0].update(part="hood")),
        ("testers[0].counts[0].number", lambda t: t["counts"][0].update(number="hood_sts")),
        ("testers[0].swatches[0].gauge", lambda t: t["swatches"][0].update(gauge="lace")),
        ("testers[0].measures.hip", lambda t: t["measures"].update(hip=99)),
    ],
)
def test_words_outside_the_list_are_refused_at_their_place(path, change):
    document = example()
    change(document["testers"][0])

    assert list(problems(document)) == [path]


@pytest.mark.parametrize(
    "part",
    [
        "measures",
        "yarn",
        "swatches",
        "counts",
        "finished",
        "yarn_used",
        "sittings",
        "guess",
        "fit",
        "remarks",
    ],
)
def test_a_tester_may_have_any_part_missing(part):
    document = example()
    del document["testers"][0][part]

    assert problems(document) == {}


def test_a_tester_may_have_sent_nothing_at_all():
    document = example({"id": "t01", "name": "Tester one", "size": "S"})

    assert problems(document) == {}


@pytest.mark.parametrize("part", ["places", "yarns"])
def test_places_and_yarns_are_optional(part):
    document = example()
    document["candidates"] = []
    del document["round"][part]

    assert problems(document) == {}


def test_candidates_are_optional():
    document = example()
    del document["candidates"]

    assert problems(document) == {}


def test_photos_list_names_hashes_and_captions():
    document = example()
    document["testers"][0]["photos"] = [{"name": "front.jpg", "sha256": "0" * 64, "caption": "The front"}]

    assert problems(document) == {}


# Formulas


@pytest.mark.parametrize(
    ("formula", "value"),
    [
        ("1 + 2 * 3 - 4 / 2", 5),
        ("-(3 - 10)", 7),
        ("2 - -3", 5),
        ("7 - 2 - 1", 4),
        ("24 / 4 / 2", 3),
        ("12", 12),
        ("0.5 * 5", 2.5),
    ],
)
def test_arithmetic_is_ordinary(formula, value):
    assert computes(formula) == everywhere(value)


@pytest.mark.parametrize(
    "formula",
    ["multiple(42.5 * 1.4)", "multiple(wide_sts * share)", "multiple(wide_sts * share, of=1, plus=0)"],
)
def test_forty_two_and_a_half_times_one_point_four_rounds_to_sixty(formula):
    assert computes(formula) == everywhere(60)


@pytest.mark.parametrize(
    ("formula", "value"),
    [
        ("multiple(13, of=4, plus=2)", 14),
        ("multiple(11.9, of=4, plus=2)", 10),
        ("multiple(12, of=4, plus=2)", 14),  # halves go up
        ("multiple(2.5)", 3),
        ("multiple(2.4)", 2),
        ("10 + multiple(-2.5)", 8),  # up, not away from nought
        ("multiple(0.1 + 0.2, of=0.2)", 0.4),
        ("multiple(4.35 * 100, of=10)", 440),
        ("multiple(1.005 * 100, of=1)", 101),
        ("multiple(7, of=4)", 8),
        ("multiple(7, plus=0.25)", 7.25),
        ("multiple_up(14.1, of=4, plus=2)", 18),
        ("multiple_up(14, of=4, plus=2)", 14),
        ("multiple_up(3 * 1.1 - 0.3)", 3),  # 3.0000000000000004 in binary
        ("multiple_down(13.9, of=4, plus=2)", 10),
        ("multiple_down(14, of=4, plus=2)", 14),
        ("multiple_down(4.35 * 100)", 435),  # 434.99999999999994 in binary
        ("multiple_up(2.1)", 3),
        ("multiple_down(2.9)", 2),
    ],
)
def test_multiple_is_the_trades_multiple_of_n_plus_k(formula, value):
    assert computes(formula) == everywhere(value)


@pytest.mark.parametrize(
    ("formula", "by_size"),
    [
        ("min(12, 8, 10)", everywhere(8)),
        ("max(12, 8, 10)", everywhere(12)),
        ("abs(3 - 8)", everywhere(5)),
        ("max(back_sts, 100)", {"XS": 100, "S": 104, "M": 114}),
        ("when(bust > 80, 40, 30)", {"XS": 30, "S": 40, "M": 40}),
        ("when(bust >= 86, 40, 30)", {"XS": 30, "S": 40, "M": 40}),
        ("when(back_sts < 104, back_sts, back_sts - 2)", {"XS": 92, "S": 102, "M": 112}),
        ("when(ease == 8, 1, 2)", everywhere(1)),
        ("when(42.5 * 1.4 <= 59.5, 1, 2)", everywhere(1)),
    ],
)
def test_choices(formula, by_size):
    assert computes(formula) == by_size


def test_a_number_may_use_numbers_listed_after_it():
    document = with_number("back_sts / 2", printed=everywhere(NOT_MEANT))
    numbers = document["pattern"]["numbers"]
    numbers.insert(0, numbers.pop())

    assert finding(document, "printed-count:tried")["proposed"] == {"XS": 46, "S": 52, "M": 57}


def test_a_circle_is_refused_naming_its_members():
    document = with_number("tried_too + 2")
    document["pattern"]["numbers"].append(
        {"key": "tried_too", "label": "Tried too", "unit": "st", "formula": "tried - 2"}
    )

    sentences = list(problems(document).values())
    assert len(sentences) == 1
    assert "tried" in sentences[0].replace("tried_too", "")
    assert "tried_too" in sentences[0]


def test_a_number_that_uses_itself_is_a_circle():
    assert "tried" in problems(with_number("tried + 2"))[FORMULA]


@pytest.mark.parametrize(
    ("formula", "unit"),
    [
        ("bust * body.st", "st"),
        ("(bust + ease) * body.row", "row"),
        ("bust + 8", None),
        ("back_sts / 8", "st"),
        ("back_sts / motif_sts", "rep"),
        ("body_rows / motif_rows", "rep"),
        ("back_sts / 8", None),
        ("back_sts / motif_sts", None),
        ("5", "st"),
        ("5", "row"),
        ("5", "rep"),
        ("back_sts + 2", "st"),
        ("body_rows + 2", "row"),
        ("min(back_sts, 100)", "st"),
        ("ease", None),
    ],
)
def test_a_numbers_formula_must_come_out_in_the_unit_it_declares(formula, unit):
    right = {"bust + 8": (), "back_sts / 8": ("st",), "back_sts / motif_sts": ("rep",), "ease": ()}
    if unit is not None:
        assert problems(with_number(formula, unit)) == {}
        return
    for wrong in {"st", "row", "rep"} - set(right[formula]):
        assert list(problems(with_number(formula, wrong))) == [FORMULA]


@pytest.mark.parametrize(
    ("formula", "both"),
    [
        ("back_sts + body_rows", ("stitches", "rows")),
        ("back_sts - bust", ("stitches", "centimetres")),
        ("min(back_sts, body_rows)", ("stitches", "rows")),
        ("max(back_sts, bust)", ("stitches", "centimetres")),
        ("when(bust > back_sts, 2, 4)", ("centimetres", "stitches")),
        ("when(bust > 80, back_sts, body_rows)", ("stitches", "rows")),
        ("back_sts + body.st", ("stitches", "stitches per centimetre")),
        ("multiple(back_sts, of=motif_rows)", ("stitches", "rows")),
    ],
)
def test_unlike_units_are_an_error_that_names_both(formula, both):
    sentence = problems(with_number(formula))[FORMULA]

    assert all(unit in sentence for unit in both)


@pytest.mark.parametrize("formula", ["back_sts", "back_sts / body.st * body_rows", "bust * ease"])
def test_a_part_must_come_out_in_stitches_times_rows(formula):
    document = example()
    document["pattern"]["parts"][0]["stitches"] = formula

    assert list(problems(document)) == ["pattern.parts[0].stitches"]


@pytest.mark.parametrize("formula", ["back_sts", "body_rows / body.st", "back_sts * body.st"])
def test_a_dimension_must_come_out_in_centimetres(formula):
    document = example()
    document["pattern"]["dimensions"][0]["formula"] = formula

    assert list(problems(document)) == ["pattern.dimensions[0].formula"]


HOSTILE = {
    "attribute walk": "body.st.__class__",
    "attribute of a measure": "bust.real",
    "import": "__import__('os').system('true')",
    "call of a name": "bust(1)",
    "comprehension": "[x for x in (1,)][0]",
    "lambda": "(lambda: 1)()",
    "string": "'a' * 10",
    "power": "9 ** 9 ** 9",
    "walrus": "(x := 5)",
    "a million characters": "1+" * 500_000 + "1",
    "ten thousand brackets": "(" * 10_000 + "1" + ")" * 10_000,
    "brackets within the length": "(" * 499 + "1" + ")" * 499,
    "minus signs": "-" * 999 + "1",
    "functions in functions": "abs(" * 190 + "1" + ")" * 190,
    "exponent": "1e308",
    "too many digits": "9" * 400,
    "nought as divisor": "bust * body.st / 0",
    "nought in disguise": "bust * body.st / (1 - 1)",
    "multiple of nought": "multiple(back_sts, of=0)",
    "multiple of less": "multiple(back_sts, of=-2)",
    "overflow": "999999999 * 999999999 * 999999999",
    "arabic digits": "٣ + ٤",
    "full-width digits": "１２",
    "superscript": "back_sts²",
    "look-alike letter": "b\u0430ck_sts",
    "line break inside": "back_sts\n+ 2",
    "carriage return": "back_sts\r+ 2",
    "line separator": "back_sts\u2028+ 2",
    "null character": "back_sts\0",
    "comment": "back_sts # and more",
    "two formulas": "back_sts; bust",
    "backslash": "back_sts \\ 2",
    "half": "back_sts +",
    "unclosed": "multiple(back_sts",
    "unknown option": "multiple(back_sts, by=2)",
    "option twice": "multiple(back_sts, of=2, of=4)",
    "no argument": "min()",
    "comparison outside": "bust > 80",
    "chain of comparisons": "when(1 < bust < 3, 1, 2)",
    "when of two": "when(bust > 80, 1)",
    "when without a comparison": "when(bust, 1, 2)",
    "unknown gauge": "bust * lace.st",
    "gauge alone": "bust * body",
    "gauge's other face": "bust * body.tool_mm",
    "a dimension": "chest * body.st",
    "empty": "",
    "blank": "   ",
}


@pytest.mark.parametrize("formula", HOSTILE.values(), ids=HOSTILE.keys())
def test_a_hostile_line_is_a_problem_with_its_path(formula):
    assert list(problems(with_number(formula))) == [FORMULA]


@pytest.mark.parametrize(
    ("formula", "value"), [("-5", -5), ("ease * body.st - 99", 17.6 - 99), ("multiple(-7)", -7)]
)
def test_a_number_that_nobody_can_work_is_found_and_nothing_proposed(formula, value):
    found = finding(with_number(formula, printed=everywhere(12)), "printed-count:tried")

    assert found["verdict"] == "amend"
    assert found["computed"] == everywhere(pytest.approx(value))
    assert "proposed" not in found


def test_rounding_does_not_depend_on_binary_noise():
    # Quarter stitches by tenths, against exact fractions.
    document = example()
    pattern = document["pattern"]
    pattern["numbers"], pattern["dimensions"], pattern["parts"], document["testers"] = [], [], [], []
    wanted = {}
    for width in range(101, 160, 7):
        for share in (5, 14, 15, 25, 35, 45, 105):
            key = f"n_{width}_{share}"
            exact = Fraction(width, 4) * Fraction(share, 10)
            wanted[key] = math.floor(exact + Fraction(1, 2))
            pattern["numbers"].append(
                {
                    "key": key,
                    "label": key,
                    "unit": "st",
                    "formula": f"multiple({width / 4} * {share / 10})",
                    "printed": {"S": wanted[key]},
                }
            )

    assert len(wanted) == 63
    assert ids(document) == []


def test_the_file_is_written_in_utf8_and_read_so():
    document = example()
    document["pattern"]["title"] = "Fenlight – Jacke für 6 °C"

    round_ = read_round(json.dumps(document, ensure_ascii=False).encode("utf-8"))

    assert round_.pattern.title == "Fenlight – Jacke für 6 °C"


# Shaping


def with_shaping(**fields: Any) -> Document:
    document = example()
    document["pattern"]["shapings"] = [
        {
            "key": "waist",
            "label": "Waist",
            "start": "back_sts",
            "end": "back_sts - 8",
            "over": "body_rows / 2",
        }
        | fields
    ]
    return document


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"place": "Back, step 2", "along": "right-side-rows", "each": 2, "places": 2, "at": "each end"},
        {"along": "rounds", "each": 8, "places": 4},
        {"along": "stitches", "over": "back_sts"},
    ],
)
def test_a_pattern_may_list_its_shapings(fields):
    document = with_shaping(**fields)

    assert problems(document) == {}
    jsonschema.Draft202012Validator(schema_of("round")).validate(document)


@pytest.mark.parametrize(
    ("fields", "key"),
    [
        ({"along": "columns"}, "along"),
        ({"each": 0}, "each"),
        ({"each": 1.5}, "each"),
        ({"places": 2}, "each"),
        ({"each": 1.5, "places": 3}, "each"),
        ({"over": "back_sts"}, "over"),
        ({"start": "hips"}, "start"),
        ({"printed": {}}, "printed"),
    ],
)
def test_a_shaping_is_refused_with_the_path_to_what_is_wrong(fields, key):
    assert list(problems(with_shaping(**fields))) == [f"pattern.shapings[0].{key}"]


def test_a_shaping_that_cannot_be_worked_keeps_nothing_from_being_read_and_is_no_finding():
    before = ids(example())

    assert problems(with_shaping(each=3)) == {}
    assert ids(with_shaping(each=3)) == before
