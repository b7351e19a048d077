"""Stitch terms in US and UK English.

The two dialects use the same words for different stitches: a US double crochet is a UK treble. So a text is
translated in one pass, longest term first, each word once; two passes would translate what was just written.
A text that keeps to the terms of the first table of its dialect comes back unchanged when translated there
and back.

References
----------
The table of stitches that yarn makers and the Craft Yarn Council print, restated in many places; the triple
treble, "skip" and "miss" are common practice.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal

Terms = Literal["us", "uk"]

# US, UK. Pairs run both ways, so no word stands twice on one side.
_WORDS: tuple[tuple[str, str], ...] = (
    ("single crochet", "double crochet"),
    ("half double crochet", "half treble crochet"),
    ("half double", "half treble"),
    ("double crochet", "treble crochet"),
    ("treble crochet", "double treble crochet"),
    ("treble", "double treble"),
    ("double treble crochet", "triple treble crochet"),
    ("double treble", "triple treble"),
    ("triple treble crochet", "quadruple treble crochet"),
    ("triple treble", "quadruple treble"),
    ("yarn over", "yarn over hook"),
    ("gauge", "tension"),
    ("skip", "miss"),
    ("skipped", "missed"),
    ("bind off", "cast off"),
    ("binding off", "casting off"),
)
_ABBREVIATIONS: tuple[tuple[str, str], ...] = (
    ("sc", "dc"),
    ("hdc", "htr"),
    ("dc", "tr"),
    ("tr", "dtr"),
    ("dtr", "ttr"),
    ("trtr", "qtr"),
    ("yo", "yoh"),
)
# Said in one dialect only; the way back is the usual term of the tables above.
_US_BESIDES: Mapping[str, str] = {"bound off": "cast off"}
_UK_BESIDES: Mapping[str, str] = {"treble": "double crochet"}
_US_BESIDES_SHORT: Mapping[str, str] = {"sk": "miss"}
_UK_BESIDES_SHORT: Mapping[str, str] = {"yrh": "yo", "trtr": "dtr"}

# Words that both dialects have, for different stitches. Everything else in a table is a sign of its own.
_SHARED = frozenset(
    {"double crochet", "treble crochet", "treble", "double treble crochet", "double treble"}
    | {"triple treble crochet", "triple treble", "dc", "tr", "dtr", "trtr"}
)
# "Miss", "skip" and "gauge" are everyday words too and prove nothing; casting off is said in both.
_NO_SIGN = frozenset(
    {"miss", "missed", "skip", "skipped", "gauge", "tension", "cast off", "casting off", "yarn over", "yo"}
)


class _Dialect:
    """One direction of translation: how to find a term, and what it becomes."""

    def __init__(self, words: Mapping[str, str], short: Mapping[str, str]) -> None:
        self.words = words
        self.short = short
        spoken = "|".join(r"\s+".join(term.split()) for term in sorted(words, key=len, reverse=True))
        clipped = "|".join(sorted(short, key=len, reverse=True))
        # An abbreviation may carry a number before it, front or back post, a plural, or "2tog" after it.
        self.pattern = re.compile(
            rf"(?<![^\W_])(?P<word>{spoken})(?P<plural>e?s)?(?![^\W_])"
            rf"|(?<![^\W\d_])(?P<post>[FB]P)?(?P<short>{clipped})(?P<tail>s|[0-9]*tog)?(?![^\W_])",
            re.IGNORECASE,
        )

    def replace(self, found: re.Match[str]) -> str:
        written = found["word"] or found["short"]
        known = self.words if found["word"] is not None else self.short
        term = known.get(_plain(written))
        if term is None:
            # A letter from another alphabet that only passes for this one when case is ignored.
            return found[0]
        said = _in_the_manner_of(written, term)
        if found["plural"]:
            return said + ("es" if term.endswith("ss") else "s")
        return f"{found['post'] or ''}{said}{found['tail'] or ''}"

    def terms(self, text: str) -> set[str]:
        return {_plain(found["word"] or found["short"]) for found in self.pattern.finditer(text)}


def _plain(written: str) -> str:
    return " ".join(written.lower().split())


def _in_the_manner_of(written: str, term: str) -> str:
    """``term`` with the capitals and the spaces of what was written."""
    spaces = re.findall(r"\s+", written)
    words = term.split()
    if len(written) > 1 and written.isupper():
        words = [word.upper() for word in words]
    elif all(word[:1].isupper() for word in written.split()) and len(written.split()) > 1:
        words = [word.capitalize() for word in words]
    elif written[:1].isupper():
        words[0] = words[0].capitalize()
    spaces += [" "] * (len(words) - 1 - len(spaces))
    return "".join(word + space for word, space in zip(words, [*spaces[: len(words) - 1], ""], strict=True))


_FROM_US = _Dialect({**dict(_WORDS), **_US_BESIDES}, {**dict(_ABBREVIATIONS), **_US_BESIDES_SHORT})
_FROM_UK = _Dialect(
    {**{uk: us for us, uk in _WORDS}, **_UK_BESIDES},
    {**{uk: us for us, uk in _ABBREVIATIONS}, **_UK_BESIDES_SHORT},
)
_ONLY_US = frozenset({*_FROM_US.words, *_FROM_US.short}) - _SHARED - _NO_SIGN
_ONLY_UK = frozenset({*_FROM_UK.words, *_FROM_UK.short}) - _SHARED - _NO_SIGN


def translate(text: str, *, source: Terms, target: Terms) -> str:
    """The text with its stitch terms in the other dialect; everything else stays as it is.

    Whole words only, capitals kept, abbreviations with what hangs on them ("FPdc", "dc2tog", "3dc").

    >>> translate("Work 2 dc, then sc2tog.", source="us", target="uk")
    'Work 2 tr, then dc2tog.'
    """
    if source == target:
        return text
    dialect = _FROM_US if source == "us" else _FROM_UK
    return dialect.pattern.sub(dialect.replace, text)


def terms_of(text: str) -> Terms | None:
    """The dialect a text gives away: "single crochet" is only US, "half treble" only UK.

    None when nothing gives it away, or when it has signs of both.
    """
    us = bool(_FROM_US.terms(text) & _ONLY_US)
    uk = bool(_FROM_UK.terms(text) & _ONLY_UK)
    if us == uk:
        return None
    return "us" if us else "uk"


def ambiguous(text: str) -> bool:
    """Whether the text names stitches that differ between the dialects and does not give away its own."""
    shared = (_FROM_US.terms(text) | _FROM_UK.terms(text)) & _SHARED
    return bool(shared) and terms_of(text) is None
