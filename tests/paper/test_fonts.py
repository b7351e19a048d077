from __future__ import annotations

import pytest

from testround.paper import fonts


@pytest.mark.parametrize(
    "text", ["× − ’ “ ” ½ ¼ ¾ ⅛ ⅜ ⅝ ⅞ → ± é ø ß Ł ő č ş ğ ñ å – — … · ″ ≤ ≥", "Αθήνα", "Привет"]
)
def test_fractions_signs_and_european_letters_are_there(text: str) -> None:
    assert fonts.printable(text) == text


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("yarn 🧶 ball", "yarn □ ball"),
        ("日本", "□□"),
        ("👩‍🦰️", "□□"),  # joiners and variation selectors go, the pictures stay visible
        ("e\u0301", "é"),
        ("a\tb\nc\x00d", "a b c d"),
        ("\u202eabc", "abc"),  # a sign that turns the direction of writing
        ("10\u00a0cm", "10\u00a0cm"),
    ],
)
def test_what_the_typeface_lacks_is_replaced_visibly(typed: str, shown: str) -> None:
    assert fonts.printable(typed) == shown


def test_a_label_that_is_too_long_is_cut_with_an_ellipsis() -> None:
    cut = fonts.shortened("Back length from the nape of the neck", 60, 12)

    assert cut.endswith("…")
    assert fonts.width_of(cut, 12) <= 60
    assert fonts.width_of("Back length from the nape"[: len(cut) + 1] + "…", 12) > 60


def test_a_label_that_fits_is_left_alone() -> None:
    assert fonts.shortened("Chest", 60, 12) == "Chest"


def test_the_licence_stands_beside_the_typeface() -> None:
    folder = fonts._FOLDER

    assert "Bitstream Vera" in (folder / "LICENSE.txt").read_text()
    assert {path.name for path in folder.glob("*.ttf")} == set(fonts._FILES.values())
