from __future__ import annotations

from dataclasses import replace

import pytest

from testround.kernel.units import format_count, format_length
from testround.kernel.worksheet import Worksheet, worksheet
from testround.paper.document import Lines, PaperError
from testround.paper.worksheet import Answered, worksheet_pdf

from .scene import a_round, outline_of, read, text_of


@pytest.fixture
def birch() -> Worksheet:
    """The worksheet of a tester of size M with a swatch of 22.5 × 31."""
    round_ = a_round()
    return worksheet(round_, round_.tester("t02"))


def test_every_number_stands_at_its_place_with_its_count(birch: Worksheet) -> None:
    text = text_of(worksheet_pdf(birch))

    # Bust 96 + 8 ease, halved, at 2.2 st/cm: 114.4, to an even number 114; at 2.25: 117, up to 118.
    assert "Back, step 1 Back, cast on 114 stitches 118" in text
    # Printed 106; 32 cm at the tester's 3.1 rows/cm: 99.2, to an even number 100.
    assert "Back, step 3 Rows to underarm 106 rows 100" in text
    assert text.index("Back, step 1") < text.index("Back, step 3")


def test_every_figure_of_the_worksheet_is_in_the_text(birch: Worksheet) -> None:
    text = text_of(worksheet_pdf(birch))

    for place in birch.places:
        for number in place.numbers:
            assert number.value is not None
            assert f"{number.label} {format_count(number.value)} " in text
    for dimension in birch.dimensions:
        assert dimension.target is not None
        assert f"{format_length(dimension.target)} ±{format_length(dimension.tolerance)}" in text
    assert "Lay flat after blocking; measure straight across, then double." in text
    assert "Around the fullest part, the tape level." in text
    for caution in birch.cautions:
        assert caution.sentence in text


def test_a_shaping_is_spelled_out_at_its_place() -> None:
    # Size M: 114 stitches, 12 fewer two at a time are 6 times; 50 = 4 · 8 + 2 · 9.
    waist = {"key": "waist", "label": "Waist", "place": "Back, step 3", "start": "back_sts"}
    round_ = a_round(
        shapings=[{**waist, "end": "back_sts - 12", "over": "50", "each": 2, "places": 2, "at": "each end"}]
    )
    text = text_of(worksheet_pdf(worksheet(round_, round_.tester("t02"))))

    assert (
        "Waist: 114 to 102 stitches over 50 rows Decrease 1 stitch at each end of every 8th row 4 times, "
        "then of every 9th row twice."
    ) in text
    assert text.index("Rows to underarm") < text.index("Waist: ")


def test_what_was_asked_and_answered_stands_after_the_numbers_as_plain_text(birch: Worksheet) -> None:
    said = Answered(
        "Back, step 3", "Which row <b>first</b>?", ("The right side.\nLook twice.", "In S the wrong.")
    )

    text = text_of(worksheet_pdf(birch, answered=[said]))

    assert (
        "Asked and answered Back, step 3 Which row <b>first</b>? The right side. Look twice. In S the wrong."
    ) in text
    assert text.index("Rows to underarm") < text.index("Asked and answered") < text.index("Reading 1")
    assert "Asked and answered" not in text_of(worksheet_pdf(birch))


def test_gauges_stated_and_own_stand_side_by_side(birch: Worksheet) -> None:
    text = text_of(worksheet_pdf(birch))

    assert "Stockinette, blocked 4 mm 22 st × 30 rows 22 1/2 st × 31 rows" in text


def test_inches_us_needles_and_uk_terms_as_the_tester_chose(birch: Worksheet) -> None:
    text = text_of(worksheet_pdf(birch, units="in", tools="us", terms="uk"))

    assert "Tension over 4 in" in text
    assert "US 6 (4 mm)" in text
    # 114 stitches twice at 2.2 st/cm: 103.636… cm, 40.80 in, to the eighth 40 3/4; 2.5 cm to the eighth is 1.
    assert "40 3/4 in ±1 in" in text
    assert "cm" not in text.replace("10 cm", "")


def test_a_tester_without_a_swatch_is_told_so_and_sees_no_second_count(birch: Worksheet) -> None:
    gauges = tuple(replace(gauge, own_stitches=None, own_rows=None) for gauge in birch.gauges)
    places = tuple(
        replace(place, numbers=tuple(replace(number, at_own_gauge=None) for number in place.numbers))
        for place in birch.places
    )
    text = text_of(worksheet_pdf(replace(birch, gauges=gauges, places=places)))

    assert "no swatch yet" in text
    assert "At your gauge" not in text


def test_a_number_that_is_not_known_is_a_dash_and_says_what_is_missing(birch: Worksheet) -> None:
    first = birch.places[0]
    unknown = replace(first, numbers=(replace(first.numbers[0], value=None, at_own_gauge=None),))
    sentence = "Full bust: send this measurement, and the numbers that need it are worked out."
    text = text_of(worksheet_pdf(replace(birch, places=(unknown,), missing=(sentence,))))

    assert sentence in text
    assert "Back, cast on – stitches" in text


# ISO 216: A4 is 210 × 297 mm; US Letter is 8.5 × 11 in. A point is 1/72 in.
@pytest.mark.parametrize(
    ("paper", "width", "height"),
    [("A4", 210 / 25.4 * 72, 297 / 25.4 * 72), ("Letter", 8.5 * 72, 11 * 72)],
)
def test_pages_are_as_large_as_the_paper(birch: Worksheet, paper: str, width: float, height: float) -> None:
    for page in read(worksheet_pdf(birch, paper=paper)).pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=0.01)
        assert float(page.mediabox.height) == pytest.approx(height, abs=0.01)


def test_another_paper_is_refused_with_the_ones_there_are(birch: Worksheet) -> None:
    with pytest.raises(PaperError, match=r"paper: “A5” is not known; choose A4 or Letter\."):
        worksheet_pdf(birch, paper="A5")


def test_the_document_says_what_it_is(birch: Worksheet) -> None:
    pdf = read(worksheet_pdf(birch))

    assert pdf.metadata is not None
    assert (pdf.metadata.title, pdf.metadata.author) == ("Fenlight Cardigan: worksheet", "Testround")
    assert pdf.metadata.subject == "Edition 0.9, Birch, size M"
    assert pdf.trailer["/Root"]["/Lang"] == "en-GB"  # type: ignore[index]
    assert pdf.trailer["/Root"]["/ViewerPreferences"]["/DisplayDocTitle"] is not None  # type: ignore[index]


def test_bookmarks_lead_to_its_parts(birch: Worksheet) -> None:
    assert outline_of(worksheet_pdf(birch)) == [
        (0, "Fenlight Cardigan: worksheet"),
        (1, "Gauge over 10 cm"),
        (1, "Body measurements"),
        (1, "Your numbers"),
        (1, "Finished measurements"),
        (1, "Notes"),
    ]


def test_every_page_says_which_of_how_many_it_is(birch: Worksheet) -> None:
    pages = read(worksheet_pdf(birch)).pages

    for index, page in enumerate(pages, start=1):
        assert f"Page {index} of {len(pages)}" in page.extract_text()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_stands_alone_on_a_page_after_the_room_for_notes(birch: Worksheet, paper: str) -> None:
    last = read(worksheet_pdf(birch, paper=paper)).pages[-1]

    assert "Where you stumbled" in last.extract_text()


def test_lines_to_write_on_take_what_the_page_has_left() -> None:
    lines = Lines(48, apart=20)

    assert lines.wrap(300, 130) == (300, 120)
    assert lines.wrap(300, 40) == (300, 48)


def test_its_typeface_is_embedded(birch: Worksheet) -> None:
    fonts = read(worksheet_pdf(birch)).pages[0]["/Resources"]["/Font"]  # type: ignore[index]
    drawn = [font.get_object() for font in fonts.values()]

    named = [font for font in drawn if "DejaVu" in font["/BaseFont"]]
    assert named
    assert all("/FontFile2" in font["/FontDescriptor"] for font in named)


def test_the_same_worksheet_gives_the_same_bytes(birch: Worksheet) -> None:
    assert worksheet_pdf(birch) == worksheet_pdf(birch)


def test_what_people_type_is_never_read_as_markup() -> None:
    typed = "<b>5 < 6 & 7</b> <para>"
    round_ = a_round(title=typed)
    text = text_of(worksheet_pdf(worksheet(round_, round_.tester("t02"))))

    assert typed in text


def test_words_without_end_and_signs_without_glyphs_do_not_break_it(birch: Worksheet) -> None:
    endless = "W" * 200
    hostile = replace(
        birch,
        title=endless,
        tester="🧶" * 200,
        size="W" * 20,
        missing=("x" * 5000,),
        measures=tuple(replace(measure, label=endless, how="y" * 5000) for measure in birch.measures),
        gauges=tuple(replace(gauge, label=endless) for gauge in birch.gauges),
        places=tuple(
            replace(
                place,
                place=endless,
                numbers=tuple(
                    replace(number, label=endless, value=1e6, at_own_gauge=1e300) for number in place.numbers
                ),
            )
            for place in birch.places
        ),
        dimensions=tuple(
            replace(dimension, label=endless, how="\n".join(["Measure it."] * 400), target=999.9)
            for dimension in birch.dimensions
        ),
    )

    text = text_of(worksheet_pdf(hostile))

    assert "□" in text
    assert "1000000" in text
    assert text.count("Measure it.") == 400 * len(birch.dimensions)


def test_five_hundred_numbers_go_on_over_as_many_pages_as_they_need(birch: Worksheet) -> None:
    place = birch.places[0]
    many = replace(place, numbers=tuple(replace(place.numbers[0], label=f"Number {k}") for k in range(500)))

    pdf = worksheet_pdf(replace(birch, places=(many,)))
    text = text_of(pdf)

    assert all(f"Number {k} 114" in text for k in range(500))
    assert f"Page 1 of {len(read(pdf).pages)}" in text
