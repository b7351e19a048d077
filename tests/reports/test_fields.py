"""What a tester types, read; and every refusal in a sentence that fits beside its field."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from testround.reports.fields import (
    AmountField,
    CountField,
    HoursField,
    LengthField,
    MetresField,
    PercentField,
    ToolField,
    TypedField,
    as_typed,
)

CM = LengthField(label="Width", units="cm")
INCHES = LengthField(label="Width", units="in")
HOURS = HoursField(label="How long")
METRES = MetresField(label="Yarn")
STITCHES = CountField(label="Stitches", above_zero=True)
HOOK = ToolField(label="Hook size", craft="crochet", system="us")
PERCENT = PercentField(label="Done")
GRAMS = AmountField(label="By weight", most=1_000_000, example="420")

# Lengths in inches worked by hand: 36 1/4 in × 2.54 cm.
READ = [
    (CM, "92.5", 92.5),
    (CM, " 92,5 ", 92.5),
    (CM, "4 in", 10.16),
    (INCHES, "36 1/4", 92.075),
    (INCHES, "36¼", 92.075),
    (INCHES, '36.25"', 92.075),
    (INCHES, "10 cm", 10.0),
]


@pytest.mark.parametrize(("field", "text", "cm"), READ)
def test_a_length_is_read_in_the_persons_unit_unless_another_is_written(
    field: LengthField, text: str, cm: float
) -> None:
    assert field.clean(text).cm == pytest.approx(cm, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("2:30", 2.5),
        ("2.5", 2.5),
        ("2,5", 2.5),
        ("2 1/2", 2.5),
        ("2h30", 2.5),
        ("2 h 30 min", 2.5),
        ("2 hours", 2),
        ("0:45", 0.75),
        ("45 min", 0.75),
        ("2 Std. 30 Min.", 2.5),
        ("2,5 Stunden", 2.5),
        ("45 Minuten", 0.75),
        ("1½ h", 1.5),
    ],
)
def test_hours_are_read_as_a_clock_or_as_a_number(text: str, hours: float) -> None:
    assert HOURS.clean(text) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("text", "metres"), [("1010", 1010), ("1010 m", 1010), ("1100 yd", 1005.84), ("1100 yards", 1005.84)]
)
def test_yarn_is_read_in_metres_or_in_yards_where_they_are_named(text: str, metres: float) -> None:
    assert METRES.clean(text) == pytest.approx(metres)


def test_other_amounts_are_read_as_they_are_typed() -> None:
    assert STITCHES.clean("22 1/2") == 22.5
    assert HOOK.clean("G-6").mm == 4.0
    assert PERCENT.clean("40 %") == pytest.approx(0.4)
    assert GRAMS.clean("420 g") == 420
    assert GRAMS.clean("420 Gramm") == 420


@pytest.mark.parametrize("field", [CM, INCHES, HOURS, METRES, STITCHES, HOOK, PERCENT, GRAMS])
@pytest.mark.parametrize(
    "text", ["abc", "1e300", "NaN", "inf", "-3", "−3", "1/0", "9" * 59, "½½", "__import__"]
)
def test_what_is_no_such_thing_is_refused_with_a_sentence(field: TypedField, text: str) -> None:
    with pytest.raises(ValidationError) as refused:
        field.clean(text)

    (sentence,) = refused.value.messages
    assert sentence[0].isupper() or sentence[0] == "“"
    assert sentence.endswith(".")
    assert not sentence.startswith(f"{field.label}:"), "the page says the label"


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        (CM, "0", "“0” is not above zero; write the length, as in 92.5 cm."),
        (CM, "abc", "“abc” cannot be read as a number; write it as in 92.5 cm."),
        (INCHES, "1e300", "“1e300” cannot be read as a number; write it as in 36 1/4 in."),
        (CM, "2000", "“2000” is more than ten metres; check the number and the unit."),
        (
            STITCHES,
            "0",
            "There is at least a part of one in any swatch; write how many you counted.",
        ),
        (HOURS, "0", "A sitting takes some time; write how long it was, as in 2:30 or 2.5."),
        (
            HOURS,
            "500",
            "That is more than a week without a break. Write hours, as in 2:30 or 2.5, or log it in parts.",
        ),
        (PERCENT, "140", "A part is at most 100 per cent done; write 100 when it is finished."),
        (GRAMS, "0", "Write an amount above zero, as in 420, or leave it empty."),
    ],
)
def test_a_refusal_says_what_to_write_instead(field: TypedField, text: str, sentence: str) -> None:
    with pytest.raises(ValidationError) as refused:
        field.clean(text)

    assert refused.value.messages == [sentence]


@pytest.mark.parametrize("field", [CM, INCHES, HOURS, METRES, STITCHES, HOOK, PERCENT, GRAMS])
def test_an_empty_field_says_nothing(field: TypedField) -> None:
    assert field.clean("") is None
    assert field.clean("   ") is None


@pytest.mark.parametrize(
    ("text", "shown"),
    [("36 1/4", "36 1/4 in"), ("36¼", "36¼ in"), ("92.5 cm", "92.5 cm"), ('36"', '36"'), (" 4in ", "4in")],
)
def test_a_length_is_shown_back_as_it_was_typed_with_the_unit_it_was_meant_in(text: str, shown: str) -> None:
    assert as_typed(text, "in") == shown
