"""Stored values leave as text in the reader's own units, tools and terms."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from django.template import Context, Template
from django.utils import translation

from testround.people.readers import Reader

METRIC = Reader()
INCHES = Reader(units="in", tools="us", terms="us")
UK = Reader(units="cm", tools="uk", terms="uk")


def shown(source: str, reader: Reader, **values: object) -> str:
    text = Template("{% load shown %}" + source).render(Context({"reader": reader, **values}))
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("cm", "reader", "text"),
    [
        (92.5, METRIC, "92.5 cm"),
        (92.5, INCHES, "36 3/8 in"),
        (90, METRIC, "90 cm"),
        (2.54, INCHES, "1 in"),
        (None, METRIC, "–"),
        (math.nan, INCHES, "–"),
    ],
)
def test_a_length_is_shown_to_a_tenth_of_a_centimetre_or_an_eighth_of_an_inch(
    cm: float | None, reader: Reader, text: str
) -> None:
    assert shown("{{ cm|length:reader }}", reader, cm=cm) == text


@pytest.mark.parametrize(
    ("cm", "reader", "text"),
    [
        (4.1, METRIC, "+4.1 cm"),
        (-4.1, METRIC, "−4.1 cm"),
        (0.01, METRIC, "0 cm"),
        (1.27, INCHES, "+1/2 in"),
        (-1.905, INCHES, "−3/4 in"),
        (None, INCHES, "–"),
    ],
)
def test_a_difference_carries_its_sign(cm: float | None, reader: Reader, text: str) -> None:
    assert shown("{{ cm|signed_length:reader }}", reader, cm=cm) == text


def test_a_range_says_its_unit_once() -> None:
    source = "{% length_range low high reader %}"

    assert shown(source, METRIC, low=3.2, high=5.0) == "3.2 to 5 cm"
    assert shown(source, INCHES, low=2.54, high=3.81) == "1 to 1 1/2 in"
    assert shown(source, METRIC, low=None, high=5.0) == "–"


def test_a_range_of_differences_carries_both_signs() -> None:
    assert (
        shown("{% length_range low high reader signed=True %}", METRIC, low=-0.4, high=1.2)
        == "−0.4 to +1.2 cm"
    )


def test_a_number_is_never_parted_from_its_unit_by_a_line_break() -> None:
    text = Template("{% load shown %}{{ cm|length:reader }}").render(Context({"reader": INCHES, "cm": 92.5}))

    assert text == "36\N{NO-BREAK SPACE}3/8\N{NO-BREAK SPACE}in"


@pytest.mark.parametrize(
    ("craft", "reader", "text"),
    [
        ("knit", METRIC, "4 mm"),
        ("knit", INCHES, "US 6 (4 mm)"),
        ("knit", UK, "UK 8 (4 mm)"),
        ("crochet", METRIC, "4 mm"),
        ("crochet", INCHES, "US G-6 (4 mm)"),
        ("crochet", UK, "UK 8 (4 mm)"),
    ],
)
def test_a_tool_is_named_in_the_readers_system_for_its_craft(craft: str, reader: Reader, text: str) -> None:
    assert shown("{% tool mm craft reader %}", reader, mm=4.0, craft=craft) == text


def test_a_tool_without_a_name_in_the_readers_system_is_shown_in_millimetres() -> None:
    assert shown("{% tool mm 'crochet' reader %}", UK, mm=2.75) == "2.75 mm"
    assert shown("{% tool mm 'knit' reader %}", INCHES, mm=None) == "–"


def test_a_gauge_is_counted_over_the_readers_own_span() -> None:
    source = "{{ st|gauge:reader }} over {{ reader|gauge_span }}"

    assert shown(source, METRIC, st=22.0) == "22 over 10 cm"
    # 22 over 10 cm are 22.352 over 4 in, a quarter more than 22 when rounded.
    assert shown(source, INCHES, st=22.0) == "22 1/4 over 4 in"
    assert shown(source, METRIC, st=None) == "– over 10 cm"


def test_an_estimated_gauge_keeps_its_tenth() -> None:
    assert shown("{{ st|gauge_fine:reader }}", METRIC, st=21.62) == "21.6"
    assert shown("{{ st|gauge_fine:reader }}", INCHES, st=22.0) == "22.4"
    assert shown("{{ st|gauge_fine:reader }}", METRIC, st=math.nan) == "–"


@pytest.mark.parametrize(
    ("st", "row", "text"),
    [
        (22, 30, "22 st and 30 rows over 10 cm"),
        (22.5, None, "22 1/2 st over 10 cm"),
        (None, 30, "30 rows over 10 cm"),
        (None, None, "–"),
    ],
)
def test_a_gauge_in_words_names_what_is_known_of_it(st: float | None, row: float | None, text: str) -> None:
    assert shown("{% gauge_words st row reader %}", METRIC, st=st, row=row) == text


@pytest.mark.parametrize(
    ("value", "text"), [(104.0, "104"), (22.5, "22 1/2"), (0.75, "3/4"), (92.4, "92.4"), (None, "–")]
)
def test_a_count_has_no_idle_decimals_and_quarters_as_fractions(value: float | None, text: str) -> None:
    assert shown("{{ value|count }}", METRIC, value=value) == text


def test_crochet_terms_are_translated_into_the_readers_dialect() -> None:
    source = "{% terms text 'us' reader %}"

    assert shown(source, UK, text="Work 2 dc, then sc2tog.") == "Work 2 tr, then dc2tog."
    assert shown(source, METRIC, text="Work 2 dc, then sc2tog.") == "Work 2 dc, then sc2tog."


def test_text_of_a_pattern_is_escaped_after_translation() -> None:
    assert shown("{% terms text 'us' reader %}", UK, text="<b>sc</b>") == "&lt;b&gt;dc&lt;/b&gt;"


def test_values_by_size_come_in_the_order_of_the_sizes_with_gaps_kept() -> None:
    source = "{% for size, value in values|size_map:sizes %}{{ size }}={{ value|count }} {% endfor %}"

    assert shown(source, METRIC, values={"M": 112, "XS": 92}, sizes=["XS", "S", "M"]) == "XS=92 S=– M=112 "
    assert shown(source, METRIC, values=None, sizes=["XS"]) == "XS=– "


def test_a_value_is_found_under_a_key_that_another_variable_names() -> None:
    assert shown("{{ values|at:key|count }}", METRIC, values={"back": 104}, key="back") == "104"
    assert shown("{{ values|at:key|count }}", METRIC, values={"back": 104}, key="front") == "–"


def test_a_sentence_behind_its_fields_name_says_the_name_once() -> None:
    source = "{{ label }}: {{ error|after_label:label }}"

    assert (
        shown(source, METRIC, label="Wrist", error="Wrist: “x” is no length.") == "Wrist: “x” is no length."
    )
    assert shown(source, METRIC, label="Wrist", error="Give a length.") == "Wrist: Give a length."


@pytest.mark.parametrize(
    ("source", "text"),
    [
        ("{{ cm|length:reader }}", "92,5 cm"),
        ("{{ cm|bare_length:reader }}", "92,5"),
        ("{% length_range 3.2 5 reader %}", "3,2 bis 5 cm"),
        ("{{ 21.64|gauge_fine:reader }}", "21,6"),
        ("{% gauge_words 22 30.5 reader %}", "22 M und 30 1/2 R auf 10 cm"),
        ("{% gauge_words 22 None reader %}", "22 M auf 10 cm"),
    ],
)
def test_numbers_and_the_words_around_them_are_the_readers_languages(
    german: Callable[[dict[str, str]], None], source: str, text: str
) -> None:
    german(
        {
            "between a number and its decimals\x04.": ",",
            "{low} to {high}": "{low} bis {high}",
            "{n} st": "{n} M",
            "{n} rows": "{n} R",
            "{stitches} and {rows} over {span}": "{stitches} und {rows} auf {span}",
            "{count} over {span}": "{count} auf {span}",
        }
    )

    with translation.override("de"):
        said = shown(source, METRIC, cm=92.5)

    assert said == text
