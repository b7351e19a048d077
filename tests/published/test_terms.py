"""US and UK stitch terms.

Source: conversion tables of yarn makers, after Craft Yarn Council, Standards & Guidelines for Crochet and Knitting
(data/terms_us_uk.csv). The triple treble and "skip" are from memory and unverified.
"""

from __future__ import annotations

import pytest

from testround.kernel.terms import ambiguous, terms_of, translate
from tests.published.sources import table

STITCHES = [row for row in table("terms_us_uk.csv") if row["kind"] == "stitch"]
TERMS = [row for row in table("terms_us_uk.csv") if row["kind"] == "term"]
ABBREVIATIONS = [row for row in table("terms_us_uk.csv") if row["kind"] == "abbreviation"]


@pytest.mark.parametrize("row", [*STITCHES, *TERMS], ids=lambda row: row["us_term_or_meaning"])
def test_every_pair_of_the_table_translates_both_ways(row):
    us, uk = row["us_term_or_meaning"], row["uk_term"]

    assert translate(us, source="us", target="uk") == uk
    assert translate(uk, source="uk", target="us") == us


@pytest.mark.parametrize("row", STITCHES, ids=lambda row: row["us_abbreviation"])
def test_every_pair_of_abbreviations_translates_both_ways(row):
    us, uk = row["us_abbreviation"], row["uk_abbreviation"]

    assert translate(us, source="us", target="uk") == uk
    assert translate(uk, source="uk", target="us") == us


def test_the_whole_table_there_and_back_is_the_same():
    text = "; ".join(f"{row['us_term_or_meaning']} ({row['us_abbreviation']})" for row in STITCHES)

    there = translate(text, source="us", target="uk")

    assert there == "; ".join(f"{row['uk_term']} ({row['uk_abbreviation']})" for row in STITCHES)
    assert translate(there, source="uk", target="us") == text


def test_one_word_means_two_stitches_so_a_text_without_stated_terms_is_unclear():
    shared = {row["us_term_or_meaning"] for row in STITCHES} & {row["uk_term"] for row in STITCHES}

    for word in ("double crochet", "double treble crochet", "treble crochet", "triple treble crochet"):
        assert word in shared
        assert ambiguous(word)
    assert terms_of("single crochet") == "us"


def test_abbreviations_that_name_no_crochet_stitch_are_the_same_in_both():
    named = [row["us_abbreviation"] for row in ABBREVIATIONS]
    stitchless = [short for short in named if not any(term in short for term in ("dc", "sc", "sk", "yo"))]

    for abbreviation in stitchless:
        assert translate(abbreviation, source="us", target="uk") == abbreviation
