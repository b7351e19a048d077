"""Sheets of paper and the bank card that scale things.

Sources: ISO 216 (A sizes and their tolerances), ANSI/ASME Y14.1 (US Letter), ISO/IEC 7810 (ID-1 card), restated
on several pages that agree (data/id1_card.json).
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from reportlab.lib.pagesizes import A3, A4, A5, LETTER
from reportlab.lib.units import mm

from testround.kernel.units import INCH_CM
from tests.published.sources import load

FIGURES = load("id1_card.json")
PAPER = FIGURES["paper"]


@pytest.mark.parametrize(("name", "pages"), [("A3", A3), ("A4", A4), ("A5", A5), ("US_letter", LETTER)])
def test_the_pages_we_print_on_are_the_standard_ones(name, pages):
    width, height = (side / mm for side in pages)

    assert (width, height) == pytest.approx((PAPER[name]["width"], PAPER[name]["height"]), abs=0.01)


def test_each_a_size_is_the_larger_one_folded():
    assert A4[0] == pytest.approx(A3[1] / 2, abs=1e-6)
    assert A4[1] == pytest.approx(A3[0], abs=1e-6)
    # ISO 216 rounds down to whole millimetres: half of 297 is 148.
    assert int(A4[1] / mm + 1e-6) // 2 == round(A5[0] / mm)


def test_letter_is_eight_and_a_half_by_eleven_exact_inches():
    assert Fraction(str(PAPER["US_letter"]["width"])) == 10 * INCH_CM * Fraction(17, 2)
    assert Fraction(str(PAPER["US_letter"]["height"])) == 10 * INCH_CM * 11


def test_the_inch_is_the_exact_one():
    # International yard and pound agreement, 1959: 25.4 mm (from memory, a textbook constant).
    assert Fraction(str(FIGURES["units_exact"]["inch_mm"])) == 10 * INCH_CM


def test_a_bank_cards_millimetres_are_its_inches():
    card = FIGURES["id1_card"]

    assert card["nominal"]["width"] == pytest.approx(25.4 * card["nominal_inch"]["width"], abs=0.05)
    assert card["nominal"]["height"] == pytest.approx(25.4 * card["nominal_inch"]["height"], abs=0.05)
