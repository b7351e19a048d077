"""Odd measurements are asked about, with the likely slip; ordinary ones are left alone."""

from __future__ import annotations

import pytest

from testround.kernel.plausible import Doubt, body_doubt, question_about

OTHERS = {"Hem to underarm": 32.0, "Back width": 47.0}


@pytest.mark.parametrize(
    ("value", "cause", "meant"),
    [
        (47.0, "half", 94.0),
        (190.0, "double", 95.0),
        (37.25, "inches", 94.615),
        (240.0, "centimetres", 94.488),
        (945.0, "millimetres", 94.5),
        (9.4, "decimal-point", 94.0),
        (49.0, "swapped-digits", 94.0),
        (32.5, "other-dimension", None),
        (60.0, "unknown", None),
        (130.0, "unknown", None),
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
    assert doubt.cause == "double"  # 36 1/2 in is as good an explanation and comes first
    assert doubt.sentence.startswith("Chest is given as 73 in, and about 37 in was expected.")


def test_another_place_that_is_alike_is_no_explanation():
    doubt = question_about(60.0, 94.5, {"Hip": 93.0}, "Chest")

    assert doubt is not None
    assert doubt.cause == "unknown"


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


def test_a_slip_is_named_below_the_rough_share_when_it_is_known_that_the_value_is_odd():
    assert question_about(65.0, 56.2, {}, "Chest") is None

    doubt = question_about(65.0, 56.2, {}, "Chest", certain=True)

    assert doubt is not None
    assert (doubt.cause, doubt.meant_cm) == ("swapped-digits", pytest.approx(56.0))


def test_digits_are_swapped_in_the_unit_they_were_typed_in():
    # 41 typed for 14 in, and told in centimetres.
    doubt = question_about(41 * 2.54, 14.2 * 2.54, {}, "Hem depth", typed="in")

    assert doubt is not None
    assert (doubt.cause, doubt.meant_cm) == ("swapped-digits", pytest.approx(14 * 2.54))
