"""Every figure of a worksheet on either paper, in either unit and dialect, and the code that leads back to its page."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from reportlab.graphics import shapes

from testround.kernel.pieces import Mark, Piece
from testround.kernel.round import Round
from testround.kernel.terms import Terms, translate
from testround.kernel.units import LengthUnit, format_count, format_gauge, format_length
from testround.kernel.worksheet import Worksheet, worksheet
from testround.paper.worksheet import qr_code, worksheet_pdf

from .scene import read, text_of

FIXTURES = Path(__file__).parents[2] / "fixtures"
UNIT_WORDS = {"st": "stitches", "row": "rows", "rep": "repeats"}
PAGE = "https://testround.example.org/places/5/worksheet/"


@pytest.fixture(scope="module")
def worksheets() -> dict[str, Worksheet]:
    """Of a size with a swatch, and of one made to measure with a swatch."""
    found = {}
    for file, name in (("fenlight.json", "Elder"), ("quillwork.json", "Birch")):
        round_ = Round.model_validate_json((FIXTURES / file).read_text(), strict=True)
        tester = next(tester for tester in round_.testers if tester.name == name)
        found[name] = worksheet(round_, tester)
    return found


@pytest.mark.parametrize("who", ["Elder", "Birch"])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("units", "terms"), [("cm", "us"), ("cm", "uk"), ("in", "us"), ("in", "uk")])
def test_the_paper_says_every_figure_that_the_kernel_worked_out(
    who: str, paper: str, units: LengthUnit, terms: Terms, worksheets: dict[str, Worksheet]
) -> None:
    sheet = worksheets[who]
    text = text_of(worksheet_pdf(sheet, paper=paper, units=units, terms=terms, address=PAGE))

    def say(words: str) -> str:
        return translate(words, source="us", target=terms)

    for place in sheet.places:
        for number in place.numbers:
            assert number.value is not None
            own = "" if number.at_own_gauge is None else f" {format_count(number.at_own_gauge)}"
            stands = f"{say(number.label)} {format_count(number.value)} {UNIT_WORDS[number.unit]}{own}"
            assert stands in text
        for shaping in place.shapings:
            assert shaping.words is not None
            assert f"{say(shaping.label)}: {shaping.counts} {shaping.words}" in text
    for gauge in sheet.gauges:
        over = "4in" if units == "in" else "10cm"
        stitches, rows = (format_gauge(value, over) for value in (gauge.stated_stitches, gauge.stated_rows))  # type: ignore[arg-type]
        assert f"{stitches} st × {rows} rows" in text
    for measure in sheet.measures:
        assert measure.cm is not None
        assert format_length(measure.cm, units) in text
    for dimension in sheet.dimensions:
        assert dimension.target is not None
        fine = f"{format_length(dimension.target, units)} ±{format_length(dimension.tolerance, units)}"
        assert fine in text
    assert ("Tension over" if terms == "uk" else "Gauge over") in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_page_says_whose_it_is_of_which_pattern_and_which_of_how_many(
    paper: str, worksheets: dict[str, Worksheet]
) -> None:
    pages = read(worksheet_pdf(worksheets["Elder"], paper=paper)).pages

    for index, page in enumerate(pages, start=1):
        text = page.extract_text()
        assert "Fenlight Cardigan: worksheet" in text
        assert "Edition 0.9, Elder, size S" in text
        assert f"Page {index} of {len(pages)}" in text


def test_each_measurement_has_the_letter_it_has_on_the_drawing(worksheets: dict[str, Worksheet]) -> None:
    text = text_of(worksheet_pdf(worksheets["Birch"]))

    # On the drawing first, then beside each measurement.
    drawn = re.search(r"((?:[A-Z] )+)The piece", text)
    assert drawn is not None
    assert sorted(drawn[1].split()) == ["A", "B", "C", "D"]
    for letter, label in zip("ABCD", ("Waist", "Hip", "Length", "Hem"), strict=True):
        assert f"{letter} {label} " in text[text.index("Reading 3") :]


def test_a_hundred_measurements_of_one_piece_fit_a_page(worksheets: dict[str, Worksheet]) -> None:
    birch = worksheets["Birch"]
    first = birch.dimensions[0]
    many = tuple(replace(first, key=f"d{k}", label=f"Width {k}") for k in range(100))
    piece = Piece("The piece", (), tuple(Mark(one.key, True, 40.0) for one in many))

    text = text_of(worksheet_pdf(replace(birch, dimensions=many, pieces=(piece,)), paper="Letter"))

    assert all(f"Width {k} " in text for k in range(100))
    assert "CV Width 99" in text


def test_the_address_of_the_page_stands_on_the_first_page_as_a_code_and_in_letters(
    worksheets: dict[str, Worksheet],
) -> None:
    with_code = read(worksheet_pdf(worksheets["Elder"], address=PAGE)).pages
    without = read(worksheet_pdf(worksheets["Elder"])).pages

    assert PAGE in with_code[0].extract_text().replace("\n", "")
    assert "https://" not in "".join(page.extract_text() for page in without)


def test_the_code_reads_as_the_address() -> None:
    assert decoded(modules(qr_code(PAGE, 85), 85)) == PAGE


def test_the_code_has_a_quiet_zone_and_is_as_large_as_asked() -> None:
    dark = np.argwhere(modules(qr_code(PAGE, 85), 85, border=0))

    # ISO/IEC 18004, 6.3.8: four modules clear on every side.
    assert dark.min(axis=0).tolist() == [4, 4]
    assert dark.max(axis=0).tolist() == [4 + SIDE - 1, 4 + SIDE - 1]


# A reader of QR codes, as far as this one needs it: version 4, 33 modules wide, correction level M. From ISO/IEC
# 18004:2015; a reader has no need of the correction where nothing is damaged.
SIDE = 33
MASKS = {
    0: lambda i, j: (i + j) % 2 == 0,
    1: lambda i, j: i % 2 == 0,
    2: lambda i, j: j % 3 == 0,
    3: lambda i, j: (i + j) % 3 == 0,
    4: lambda i, j: (i // 2 + j // 3) % 2 == 0,
    5: lambda i, j: (i * j) % 2 + (i * j) % 3 == 0,
    6: lambda i, j: ((i * j) % 2 + (i * j) % 3) % 2 == 0,
    7: lambda i, j: ((i + j) % 2 + (i * j) % 3) % 2 == 0,
}


def modules(code: shapes.Drawing, side: float, *, border: int = 4) -> Any:
    """Which modules are dark, row by row from the top, read off what is drawn."""
    wide = SIDE + 8
    grid = np.zeros((wide, wide), dtype=bool)
    (widget,) = code.contents
    for rect in widget.draw().contents:
        if not isinstance(rect, shapes.Rect) or rect.width > 0.9 * side:
            continue
        left, foot = round(rect.x / side * wide), round(rect.y / side * wide)
        right, top = (round((rect.x + rect.width) / side * wide), round((rect.y + rect.height) / side * wide))
        grid[wide - top : wide - foot, left:right] = True
    return grid[border : wide - border, border : wide - border]


def decoded(dark: Any) -> str:
    """Table 1 and clauses 7.4.5, 7.7.3, 7.8 and 7.9: mask, order of the codewords, two blocks of 32, bytes."""
    assert dark.shape == (SIDE, SIDE)
    function = np.zeros((SIDE, SIDE), dtype=bool)
    function[:9, :9] = function[:9, -8:] = function[-8:, :9] = True
    function[6, :] = function[:, 6] = True
    function[24:29, 24:29] = True
    # Format information beside the upper left finder: level, mask, and its own correction; masked with 101010000010010.
    format_bits = [dark[8, j] for j in (0, 1, 2, 3, 4)]
    level_and_mask = int("".join(str(int(bit)) for bit in format_bits), 2) ^ 0b10101
    assert level_and_mask >> 3 == 0b00  # M
    mask = MASKS[level_and_mask & 0b111]
    bits: list[int] = []
    column, upwards = SIDE - 1, True
    while column > 0:
        if column == 6:
            column -= 1
        for row in range(SIDE - 1, -1, -1) if upwards else range(SIDE):
            for j in (column, column - 1):
                if not function[row, j]:
                    bits.append(int(bool(dark[row, j]) ^ bool(mask(row, j))))
        column, upwards = column - 2, not upwards
    words = [int("".join(map(str, bits[k : k + 8])), 2) for k in range(0, 64 * 8, 8)]
    data = "".join(f"{word:08b}" for word in (*words[0::2], *words[1::2]))
    assert data[:4] == "0100"  # bytes
    length = int(data[4:12], 2)
    return bytes(int(data[12 + 8 * k : 20 + 8 * k], 2) for k in range(length)).decode()
