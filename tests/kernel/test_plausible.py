"""Odd measurements are asked about, with the likely slip; ordinary ones are left alone."""

from __future__ import annotations

import pytest

from testround.kernel.plausible import (
    Doubt,
    Foretold,
    body_doubt,
    habits_of,
    likely_slip,
    question_about,
    typed_unit,
)

OTHERS = {"Hem to underarm": 32.0, "Back width": 47.0}


@pytest.mark.parametrize(
    ("value", "cause", "meant"),
    [
        (47.0, "half", 94.0),
        (190.0, "double", 95.0),
        (37.25, "inches", 94.615),
        (240.03, "centimetres", 94.5),
        (945.0, "millimetres", 94.5),
        (9.4, "decimal-point", 94.0),
        (59.0, "swapped-digits", 95.0),
        (32.5, "other-dimension", None),
        (60.0, "unknown", None),
        (125.0, "unknown", None),
    ],
)
def test_the_slip_behind_an_odd_chest(value, cause, meant):
    doubt = question_about(value, 94.5, OTHERS, "Chest")

    assert doubt is not None
    assert doubt.cause == cause
    assert doubt.meant_cm == (None if meant is None else pytest.approx(meant, abs=1e-3))


@pytest.mark.parametrize("value", [94.5, 88.0, 110.0, 80.0])
def test_what_gauge_alone_may_do_is_left_alone(value):
    assert question_about(value, 94.5, OTHERS, "Chest") is None


def test_a_cuff_is_not_asked_about_for_two_centimetres():
    assert question_about(6.0, 8.0, {}, "Cuff depth") is None


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_no_number_is_not_asked_about(value):
    assert question_about(value, 94.5, {}, "Chest") is None
    assert body_doubt("bust", "Full bust", value) is None


@pytest.mark.parametrize("expected", [0.0, -3.0, float("nan"), float("inf")])
def test_where_nothing_can_be_expected_nothing_is_asked(expected):
    assert question_about(90.0, expected, {}, "Chest") is None


def test_the_question_names_the_field_the_value_and_the_slip():
    assert question_about(47.0, 94.5, {}, "Chest") == Doubt(
        "half",
        "Chest is given as 47 cm, and about 94.5 cm was expected. Was it measured across one side only, and not all the "
        "way round? That would make it 94 cm.",
        94.0,
    )


def test_the_question_speaks_inches_to_those_who_do():
    # 73 typed for 37 in.
    doubt = question_about(73 * 2.54, 37 * 2.54, {}, "Chest", unit="in")

    assert doubt is not None
    assert doubt.cause == "swapped-digits"  # twice 36 1/2 in would do as well, and 37 in is nearer
    assert doubt.meant_cm == pytest.approx(37 * 2.54)
    assert doubt.sentence.startswith("Chest is given as 73 in, and about 37 in was expected.")


def test_another_place_that_is_alike_is_no_explanation():
    doubt = question_about(60.0, 94.5, {"Hip": 93.0}, "Chest")

    assert doubt is not None
    assert doubt.cause == "unknown"


# What a value is likely to come from, where it is known how long the place should be. The expected causes are
# common practice: what a technical editor would ask first.

HALF_CENTIMETRES = habits_of([32.5, 47.0, 61.5, 18.0, 24.5])
QUARTER_INCHES = habits_of([quarters * 2.54 / 4 for quarters in (51, 74, 97, 29, 38)])
PLACES = {"Hem to underarm": Foretold(32.5, 0.4), "Back width": Foretold(49.0, 0.4)}


def test_half_of_half_a_centimetre_is_no_reading_of_anything():
    # 23.25 is between two places, and only half of 46.5 is read so.
    slip = likely_slip(23.25, Foretold(46.3, 0.8), {"Yoke": Foretold(23.2, 0.4)}, HALF_CENTIMETRES)

    assert (slip.cause, slip.meant_cm) == ("half", 46.5)
    assert slip.probability > 0.9


def test_the_same_length_read_to_half_a_centimetre_may_be_the_other_place():
    slip = likely_slip(23.0, Foretold(49.5, 0.8), {"Yoke": Foretold(23.2, 0.4)}, HALF_CENTIMETRES)

    assert (slip.cause, slip.place, slip.meant_cm) == ("other-dimension", "Yoke", None)


def test_quarters_of_an_inch_tell_inches_from_half():
    slip = likely_slip(18.25, Foretold(45.8, 1.2), PLACES, HALF_CENTIMETRES)

    assert (slip.cause, slip.meant_cm) == ("inches", pytest.approx(46.355))


def test_digits_are_swapped_in_the_unit_they_were_typed_in():
    # 41 typed for 14 in, and told in centimetres.
    slip = likely_slip(41 * 2.54, Foretold(14.2 * 2.54, 0.8), PLACES, QUARTER_INCHES)

    assert (slip.cause, slip.meant_cm) == ("swapped-digits", pytest.approx(14 * 2.54))


def test_more_places_to_choose_from_say_less_that_one_of_them_fits():
    few = likely_slip(32.5, Foretold(94.5, 1.5), PLACES, HALF_CENTIMETRES)
    many = likely_slip(
        32.5,
        Foretold(94.5, 1.5),
        PLACES | {f"Place {n}": Foretold(60.0 + n, 0.4) for n in range(12)},
        HALF_CENTIMETRES,
    )

    assert few.cause == many.cause == "other-dimension"
    assert many.probability < few.probability


def test_the_surer_the_forecast_the_less_a_poor_match_explains():
    vague = likely_slip(44.5, Foretold(94.5, 4.0), {}, HALF_CENTIMETRES)
    sure = likely_slip(44.5, Foretold(94.5, 0.4), {}, HALF_CENTIMETRES)

    assert (vague.cause, sure.cause) == ("half", "unknown")


def test_nobody_writes_a_nought_in_front():
    slip = likely_slip(60.0, Foretold(6.0, 0.3), {}, HALF_CENTIMETRES)

    assert slip.cause == "millimetres"


@pytest.mark.parametrize(
    ("value", "unit"), [(36.195, "in"), (36.5, "cm"), (7.75, "cm"), (36.1, "cm"), (63.5, None), (36.17, None)]
)
def test_the_unit_a_number_was_typed_in_shows_in_its_fractions(value, unit):
    assert typed_unit(value) == unit


def test_what_a_person_reads_to_shows_in_what_they_sent():
    assert (HALF_CENTIMETRES.unit, QUARTER_INCHES.unit) == ("cm", "in")
    assert habits_of([63.5, 127.0]).in_unit("in") == pytest.approx(0.5)  # 25 and 50 in: nobody can tell
    assert habits_of((), "in").unit == "in"


# Bodies


@pytest.mark.parametrize(
    ("value", "cause", "sentence"),
    [
        (
            3,
            "missing-digit",
            "Full bust is given as 3 cm, smaller than anybody’s. Is a digit missing, or are these inches?",
        ),
        (
            900,
            "millimetres",
            "Full bust is given as 900 cm, larger than anybody’s. Are these millimetres, or is the decimal point missing? "
            "That would make it 90 cm.",
        ),
        (
            28,
            "inches",
            "Full bust is given as 28 cm, smaller than anybody’s. Are these inches, written as centimetres? "
            "That would make it 71.1 cm.",
        ),
        (
            230,
            "centimetres",
            "Full bust is given as 230 cm, larger than anybody’s. Are these centimetres, written as inches? "
            "That would make it 90.6 cm.",
        ),
    ],
)
def test_a_bust_that_no_body_has_is_asked_about(value, cause, sentence):
    doubt = body_doubt("bust", "Full bust", value)

    assert doubt is not None
    assert (doubt.cause, doubt.sentence) == (cause, sentence)


def test_a_babys_bust_is_asked_about_only_in_a_pattern_for_grown_ups():
    assert body_doubt("bust", "Bust", 36, sizes=[40.5, 43, 45.5]) is None
    doubt = body_doubt("bust", "Bust", 36, sizes=[76, 86, 96])

    assert doubt is not None
    assert doubt.cause == "inches"
    assert doubt.meant_cm == pytest.approx(91.44)


@pytest.mark.parametrize(
    ("key", "label", "usual", "odd"),
    [
        ("waist", "Waist", 70, 12),
        ("back_waist_length", "Back waist length", 43, 110),
        ("upper_arm", "Upper arm", 28, 90),
        ("hip", "Hips", 100, 30),
        ("wrist", "Wrist", 16, 70),
        ("arm_length", "Arm length to underarm", 45, 5),
        ("cross_back", "Cross back", 38, 100),
        ("drop", "Waist to hem", 25, 500),
        ("bust_depth", "Shoulder to bust point", 25, 500),
        ("whatever", "Favourite length", 60, 600),
    ],
)
def test_body_measures_are_known_by_the_words_in_their_names(key, label, usual, odd):
    assert body_doubt(key, label, usual) is None
    assert body_doubt(key, label, odd) is not None
