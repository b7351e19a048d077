"""The typeface of everything on paper, and what becomes of signs it does not have.

DejaVu Sans Condensed is embedded, so that a PDF reads the same everywhere, its text can be searched and
copied, and fractions, arrows and the letters of European languages are all there.
"""

from __future__ import annotations

import unicodedata
from functools import cache, lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR = "TestroundSans"
BOLD = "TestroundSans-Bold"

# Shown in place of a sign the typeface lacks (an emoji, say): a reader sees that something stood there.
MISSING = "□"

_FOLDER = Path(__file__).parent / "fonts"
_FILES = {REGULAR: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}


@cache
def register() -> None:
    """Make the typeface known to ReportLab; done once, and again harmlessly."""
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(_FOLDER / file)))
    # <b> in a paragraph finds the bold face; there is no slanted one, and none is asked for.
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


@cache
def _has() -> frozenset[int]:
    register()
    return frozenset(pdfmetrics.getFont(REGULAR).face.charToGlyph)


@lru_cache(maxsize=4096)
def printable(text: str) -> str:
    """The text as the typeface can show it.

    Letters with marks are joined into one sign where there is one; what joins or varies emoji and what only
    steers the direction of writing is dropped; line ends, tabs and control signs become spaces; any other
    sign that the typeface lacks becomes `MISSING`.
    """
    if text.isascii() and text.isprintable():
        return text
    shown = []
    for sign in unicodedata.normalize("NFC", text):
        category = unicodedata.category(sign)
        if category in ("Cc", "Zs", "Zl", "Zp"):
            # A no-break space keeps a number and its unit on one line.
            shown.append(sign if sign == "\u00a0" else " ")
        elif category == "Cf" or 0xFE00 <= ord(sign) <= 0xFE0F:
            continue
        else:
            shown.append(sign if ord(sign) in _has() else MISSING)
    return "".join(shown)


@lru_cache(maxsize=8192)
def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """How wide a line of text is, in the unit of ``size``."""
    register()
    return float(pdfmetrics.stringWidth(printable(text), BOLD if bold else REGULAR, size))


def shortened(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """The text, cut with an ellipsis where it is wider than ``width``."""
    if width_of(text, size, bold=bold) <= width:
        return text
    # Cut by halves: a label may be thousands of signs long.
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width_of(text[:middle].rstrip() + "…", size, bold=bold) <= width:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…"
