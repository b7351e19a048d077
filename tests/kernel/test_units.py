"""What people type, read exactly; and what they are shown, rounded by one rule."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testround.kernel.units import (
    TypedLength,
    TypedTool,
    UnitsError,
    format_count,
    format_gauge,
    format_length,
    gauge_over,
    gauge_per_10cm,
    lengths_in,
    parse_count,
    parse_gauge,
    parse_length,
    parse_tool,
    rounded,
    to_half,
    tool_at,
    tool_label,
    tools_named,
    weights_for_gauge,
    weights_for_tool,
)


@pytest.mark.parametrize(
    ("text", "unit", "cm", "read_as"),
    [
        ("92.5", "cm", 92.5, "cm"),
        ("92,5 cm", "cm", 92.5, "cm"),
        (" 92.5cm ", "in", 92.5, "cm"),
        ("36", "in", 91.44, "in"),
        ("36 1/4", "in", 92.075, "in"),
        ("36-1/4", "in", 92.075, "in"),
        ("36¼ in", "cm", 92.075, "in"),
        ('36.25"', "cm", 92.075, "in"),
        ("36 ¼ ”", "cm", 92.075, "in"),
        ("36 inches", "cm", 91.44, "in"),
        ("½", "in", 1.27, "in"),
        (".5", "cm", 0.5, "cm"),
        ("925 mm", "cm", 92.5, "cm"),
        ("1 m", "cm", 100, "cm"),
    ],
)
def test_a_length_is_read_as_people_type_it(text, unit, cm, read_as):
    assert parse_length(text, unit) == TypedLength(cm=cm, text=text.strip(), unit=read_as)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "Full bust: nothing is written here; write a number, as in 92.5 cm."),
        ("about 90", "Full bust: “about 90” cannot be read as a number; write it as in 92.5 cm."),
        ("NaN", "Full bust: “NaN” cannot be read as a number; write it as in 92.5 cm."),
        ("1e300", "Full bust: “1e300” cannot be read as a number; write it as in 92.5 cm."),
        ("90/0", "Full bust: “90/0” divides by zero; write it as in 92.5 cm."),
        ("90 ells", "Full bust: “90 ells” ends in an unknown unit; write cm or in, as in 92.5 cm."),
        ("-90", "Full bust: “-90” is not above zero; write the length, as in 92.5 cm."),
        ("0", "Full bust: “0” is not above zero; write the length, as in 92.5 cm."),
        ("1001", "Full bust: “1001” is more than ten metres; check the number and the unit."),
        ("9" * 61, "Full bust: that is too long for a number; write it as in 92.5 cm."),
    ],
)
def test_what_is_no_length_is_refused_with_the_mend(text, sentence):
    with pytest.raises(UnitsError) as refused:
        parse_length(text, name="Full bust")

    assert str(refused.value) == sentence


@given(st.text(max_size=80), st.sampled_from(["cm", "in"]))
@settings(deadline=None)
def test_any_entry_is_a_length_or_a_refusal(text, unit):
    try:
        found = parse_length(text, unit)
    except UnitsError:
        return
    assert 0 < found.cm <= 1000


@given(st.integers(1, 3149).map(lambda n: Fraction(n, 8)))
@settings(deadline=None)
def test_inches_in_eighths_come_back_as_they_were_typed(inches):
    typed = format_length(float(inches * Fraction(254, 100)), "in")

    assert Fraction(parse_length(typed).cm).limit_denominator(10**6) == inches * Fraction(254, 100)
    assert format_length(parse_length(typed).cm, "in") == typed


@pytest.mark.parametrize(
    ("cm", "unit", "shown"),
    [
        (92.5, "cm", "92.5 cm"),
        (92.0, "cm", "92 cm"),
        (92.25, "cm", "92.3 cm"),  # half-way goes up in magnitude
        (94.54545, "cm", "94.5 cm"),
        (0.04, "cm", "0 cm"),
        (-0.04, "cm", "0 cm"),
        (92.5, "in", "36 3/8 in"),  # 36.417 in: three eighths is 0.375, half is 0.5
        (91.44, "in", "36 in"),
        (1.27, "in", "1/2 in"),
    ],
)
def test_a_length_is_shown_to_the_tenth_or_the_eighth(cm, unit, shown):
    assert format_length(cm, unit) == shown


def test_a_signed_length_shows_its_sign():
    assert format_length(3.4, signed=True) == "+3.4 cm"
    assert format_length(-2.15, signed=True) == "−2.2 cm"
    assert format_length(-2.54, "in", signed=True) == "−1 in"
    assert format_length(0.0, signed=True) == "0 cm"


@given(st.decimals(-1000, 1000, places=4), st.sampled_from([Fraction(1, 10), Fraction(1, 8), Fraction(1, 4)]))
@settings(deadline=None)
def test_rounding_takes_the_nearest_step_and_half_way_the_larger(value, step):
    found = rounded(float(value), step)

    exact = Fraction(value)
    assert found % step == 0
    assert abs(found - exact) <= step / 2
    if abs(found - exact) == step / 2:
        assert abs(found) > abs(exact)


@pytest.mark.parametrize(
    ("text", "count"), [("104", 104), ("22 1/2", 22.5), ("22½", 22.5), ("22,25 sts", 22.25), ("0", 0)]
)
def test_a_count_is_read_with_its_halves_and_quarters(text, count):
    assert parse_count(text) == count


@pytest.mark.parametrize(
    ("text", "whole", "sentence"),
    [
        ("-3", False, "Rows: “-3” is below zero; write how many there are, as in 22 1/2."),
        ("1" + "0" * 8, False, "Rows: “100000000” is more than a million; check the number."),
        ("1e300", False, "Rows: “1e300” cannot be read as a number; write it as in 22 1/2."),
        ("22 cm", False, "Rows: “22 cm” has an unknown word in it; write the number alone, as in 22 1/2."),
        ("22.5", True, "Rows: “22.5” is not a whole number; write how many there are, as in 104."),
    ],
)
def test_what_is_no_count_is_refused_with_the_mend(text, whole, sentence):
    with pytest.raises(UnitsError) as refused:
        parse_count(text, name="Rows", whole=whole)

    assert str(refused.value) == sentence


@pytest.mark.parametrize(
    ("count", "shown"), [(104, "104"), (22.5, "22 1/2"), (0.25, "1/4"), (92.4, "92.4"), (-4, "−4")]
)
def test_a_count_is_shown_in_quarters_or_to_the_tenth(count, shown):
    assert format_count(count) == shown


def test_four_inches_are_a_little_more_than_ten_centimetres():
    # 4 in = 10.16 cm exactly, so 22 stitches over 4 in are 22 / 1.016 = 21.65… over 10 cm.
    assert gauge_per_10cm(22, "4in") == pytest.approx(22 / 1.016, rel=1e-15)
    assert parse_gauge("25.4", "4in") == 25
    assert gauge_over(25, "4in") == 25.4
    assert gauge_per_10cm(22, "10cm") == 22
    assert format_gauge(22 / 1.016, "4in") == "22"
    assert format_gauge(22.4) == "22 1/2"


def test_a_gauge_of_nothing_is_refused():
    with pytest.raises(
        UnitsError, match=r"^Gauge: “0” is no gauge; count stitches or rows over 4 in, as in 22 1/2\.$"
    ):
        parse_gauge("0", "4in")


@pytest.mark.parametrize(
    ("text", "craft", "system", "mm"),
    [
        ("4", "knit", "metric", 4),
        ("4,5 mm", "knit", "us", 4.5),
        ("7", "knit", "us", 4.5),
        ("7", "crochet", "us", 4.5),
        ("US 7", "knit", "metric", 4.5),
        ("7 US", "knit", "metric", 4.5),
        ("10.5", "knit", "us", 6.5),
        ("10 1/2", "knit", "us", 6.5),
        ("K-10.5", "crochet", "us", 6.5),
        ("k", "crochet", "us", 6.5),
        ("G-6", "crochet", "us", 4),
        ("6", "crochet", "us", 4),
        ("8", "knit", "uk", 4),
        ("000", "knit", "uk", 10),
        ("000", "knit", "us", 1.5),
        ("3.8", "knit", "metric", 3.8),
    ],
)
def test_a_hook_or_needle_is_read_in_a_persons_own_system(text, craft, system, mm):
    assert parse_tool(text, craft, system) == TypedTool(mm, text)


@pytest.mark.parametrize(
    ("text", "craft", "system", "sentence"),
    [
        (
            "Z",
            "crochet",
            "us",
            "Hook: there is no US hook size “Z” in the table; write its millimetres, as in 4.5 mm.",
        ),
        ("G", "crochet", "us", None),
        ("60", "knit", "metric", "Hook: no needle is 60; write its millimetres, as in 4.5 mm."),
        ("Q", "crochet", "us", "Hook: “Q” may be 15.75 mm or 16 mm; write the millimetres."),
        (
            "4 cm",
            "knit",
            "metric",
            "Hook: “4 cm” is not in millimetres; write it as in 4.5 mm, or put US or UK before it.",
        ),
        ("", "knit", "us", "Hook: nothing is written here; write the needle size, as in 4.5 mm."),
    ],
)
def test_a_size_that_is_none_or_several_is_refused(text, craft, system, sentence):
    if sentence is None:
        assert parse_tool(text, craft, system).mm == 4.25  # the plain letter is the odd size's whole name
        return
    with pytest.raises(UnitsError) as refused:
        parse_tool(text, craft, system, name="Hook")

    assert str(refused.value) == sentence


@given(st.text(max_size=70), st.sampled_from(["knit", "crochet"]), st.sampled_from(["metric", "us", "uk"]))
@settings(deadline=None)
def test_any_entry_is_a_size_or_a_refusal(text, craft, system):
    try:
        found = parse_tool(text, craft, system)
    except UnitsError:
        return
    assert 0 < found.mm <= 50


@given(st.text(max_size=70), st.booleans())
@settings(deadline=None)
def test_any_entry_is_a_count_or_a_refusal(text, whole):
    try:
        found = parse_count(text, whole=whole)
    except UnitsError:
        return
    assert 0 <= found <= 1_000_000


def test_a_size_is_shown_in_a_persons_own_system_with_its_millimetres():
    assert tool_label(4.0, "knit") == "4 mm"
    assert tool_label(4.0, "knit", "us") == "US 6 (4 mm)"
    assert tool_label(4.0, "crochet", "us") == "US G-6 (4 mm)"
    assert tool_label(4.0, "knit", "uk") == "UK 8 (4 mm)"
    assert tool_label(3.5, "knit", "uk") == "3.5 mm"
    assert tool_label(3.8, "knit", "us") == "3.8 mm"


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        ("3.4 cm longer", "1 3/8 in longer"),
        ("between −2.5 cm and 2.5 cm", "between −1 in and 1 in"),
        ("22 stitches over 10 cm, 4 cm off", "22 stitches over 10 cm, 1 5/8 in off"),
        ("28.1 rows in 10 cm, 5.08 cm off", "28.1 rows in 10 cm, 2 in off"),
        ("3.4 cm long, up to 2 cm is fine.", "1 3/8 in long, up to 3/4 in is fine."),
    ],
)
def test_sentences_are_said_in_the_readers_unit(sentence: str, said: str) -> None:
    assert lengths_in(sentence, "in") == said
    assert lengths_in(sentence, "cm") == sentence


def test_a_name_that_no_size_has_finds_none():
    assert tools_named("Z", "crochet", "us") == ()
    assert tools_named("", "knit", "us") == ()
    assert tool_at(3.8, "knit") is None


def test_yarn_weights_overlap_and_are_told_from_gauge_or_tool():
    # 20 stitches over 4 in in stockinette are category 4 alone; 16 in single crochet fall in 2 alone.
    assert weights_for_gauge(20 / 1.016, "knit") == (4,)
    assert weights_for_gauge(24 / 1.016, "knit") == (2, 3)
    assert weights_for_gauge(5, "knit") == (7,)
    assert weights_for_gauge(60, "knit") == ()
    assert weights_for_gauge(36 / 1.016, "crochet", stitch="dc") == (0,)
    assert weights_for_tool(5.0, "knit") == (4,)
    assert weights_for_tool(5.5, "knit") == (4, 5)
    assert weights_for_tool(20.0, "crochet") == (7,)


def test_a_length_is_printed_to_the_half_centimetre_and_a_half_of_that_goes_up() -> None:
    """Common practice; Python's own rounding goes to the even one of two that are as near."""
    assert [to_half(cm) for cm in (156.57, 94.24, 94.25, 94.75, 0)] == [156.5, 94.0, 94.5, 95.0, 0]
