"""US and UK stitch terms."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testround.kernel.terms import ambiguous, terms_of, translate

US_TERMS = [
    "single crochet",
    "half double crochet",
    "double crochet",
    "treble crochet",
    "double treble crochet",
]
US_TERMS += [
    "triple treble crochet",
    "sc",
    "hdc",
    "dc",
    "tr",
    "dtr",
    "trtr",
    "slip stitch",
    "ch",
    "yarn over",
    "gauge",
]
US_TERMS += [
    "Single Crochet",
    "Double crochet",
    "DC",
    "sc2tog",
    "FPdc",
    "BPsc",
    "3dc",
    "double crochets",
    "skip",
    "bind off",
]


@pytest.mark.parametrize(
    ("us", "uk"),
    [
        ("Work 1 single crochet in each stitch.", "Work 1 double crochet in each stitch."),
        ("2 dc, 1 tr, 1 hdc", "2 tr, 1 dtr, 1 htr"),
        ("Double Treble Crochet", "Triple Treble Crochet"),
        ("DOUBLE CROCHET", "TREBLE CROCHET"),
        ("FPdc around next st, sc2tog, 3dc in ch-sp", "FPtr around next st, dc2tog, 3tr in ch-sp"),
        ("half double crochets", "half treble crochets"),
        ("Check your gauge.", "Check your tension."),
        ("half\u00a0double\ncrochet", "half\u00a0treble\ncrochet"),
        ("discs, scarves and traces", "discs, scarves and traces"),
    ],
)
def test_terms_are_translated_as_whole_words_with_their_capitals(us, uk):
    assert translate(us, source="us", target="uk") == uk
    assert translate(uk, source="uk", target="us") == us


def test_what_the_uk_says_in_short_becomes_the_usual_us_term():
    assert translate("2 trebles, yrh", source="uk", target="us") == "2 double crochets, yo"


def test_a_text_in_the_wanted_terms_stays_as_it_is():
    assert translate("1 dc", source="us", target="us") == "1 dc"


@given(st.lists(st.sampled_from([*US_TERMS, ",", "into next stitch", "2", "("]), max_size=12).map(" ".join))
@settings(deadline=None)
def test_there_and_back_is_the_same_text(text):
    assert translate(translate(text, source="us", target="uk"), source="uk", target="us") == text


@given(st.text(max_size=60) | st.sampled_from(["ſc", "s\u212a", "gauge\u0131", "sKİp", "\x00dc"]))
@settings(deadline=None)
def test_any_text_can_be_translated(text):
    assert isinstance(translate(text, source="us", target="uk"), str)
    assert isinstance(translate(text, source="uk", target="us"), str)
    assert terms_of(text) in ("us", "uk", None)


def test_letters_that_only_look_alike_are_no_terms():
    assert translate("1 ſc in ſkip", source="us", target="uk") == "1 ſc in ſkip"


def test_translating_twice_is_not_the_same_as_once():
    once = translate("single crochet", source="us", target="uk")

    assert once == "double crochet"
    assert translate(once, source="us", target="uk") == "treble crochet"


@pytest.mark.parametrize(
    ("text", "terms", "unclear"),
    [
        ("1 single crochet in next 2 dc", "us", False),
        ("hdc in each st", "us", False),
        ("1 htr, 2 dc", "uk", False),
        ("1 half treble in next stitch", "uk", False),
        ("2 dc in next ch-sp", None, True),
        ("double crochet in each stitch", None, True),
        ("1 sc, 1 htr, 1 dc", None, True),
        ("I could not miss the gauge", None, False),
        ("Knit to the end.", None, False),
        ("", None, False),
    ],
)
def test_the_terms_of_a_text_are_guessed_or_owned_to_be_unclear(text, terms, unclear):
    assert terms_of(text) == terms
    assert ambiguous(text) is unclear
