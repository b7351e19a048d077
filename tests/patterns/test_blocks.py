"""Blocks of cells from a spreadsheet, pasted into the sheet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.blocks import BlockRefused, cells_of, fill
from testround.patterns.drafts import SheetDraft
from testround.patterns.fields import Scale
from testround.patterns.models import Edition
from testround.people.models import User
from tests.patterns.test_views import fields_of, page_of

SignIn = Callable[[User], Client]

# Taking a block apart


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("94\t106\n80\t82\n", [["94", "106"], ["80", "82"]]),
        ("94\t106\r\n80\t82\r\n\r\n", [["94", "106"], ["80", "82"]]),
        ("94;106;118", [["94", "106", "118"]]),
        ("36,5;37,5", [["36,5", "37,5"]]),
        ("36,5\t37,5", [["36,5", "37,5"]]),
        ("94,106,118", [["94", "106", "118"]]),
        ("94, 106", [["94", "106"]]),
        ("36,5, 37,5, 38", [["36,5", "37,5", "38"]]),
        ("36,5", [["36,5"]]),
        ("36,5\n37,5\n38", [["36,5"], ["37,5"], ["38"]]),
        ('"36,5","37,5"', [["36,5", "37,5"]]),
        ("36 1/4\t37½", [["36 1/4", "37½"]]),
        ("\u00a094\u00a0\t\t118", [["94", "", "118"]]),
        ('36"\t37"', [['36"', '37"']]),
    ],
)
def test_a_block_is_taken_apart_at_tabs_else_semicolons_else_commas(
    text: str, cells: list[list[str]]
) -> None:
    assert cells_of(text) == cells


@pytest.mark.parametrize("text", ["", " \n\n ", "9" * 200_001])
def test_nothing_and_far_too_much_are_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(BlockRefused, match=r"copy cells in the spreadsheet|paste less of it"):
        cells_of(text)


plain_cell = st.text(st.characters(codec="ascii", exclude_characters='\t\r\n";'), max_size=8).map(str.strip)


@given(st.lists(st.lists(plain_cell, min_size=2, max_size=5), min_size=1, max_size=5))
def test_whatever_a_spreadsheet_copies_comes_out_as_its_cells(block: list[list[str]]) -> None:
    if not block[-1][-1]:
        block[-1][-1] = "1"

    assert cells_of("\n".join("\t".join(line) for line in block)) == block


# Putting it in


def draft_of(document: dict[str, Any], **scale: Any) -> SheetDraft:
    return SheetDraft.of(SheetDocument.model_validate(document), Scale(**scale))


def printed(draft: SheetDraft) -> list[list[str]]:
    return [[cell.text for cell in row.sized] for row in draft.rows["numbers"]]


def test_a_block_fills_to_the_right_and_down_from_the_field_it_is_pasted_into(
    little_top: dict[str, Any],
) -> None:
    draft = draft_of(little_top)

    filled = fill(draft, "106\t116\n98\t100", "numbers-0-printed-1")

    assert printed(draft) == [["92", "106", "116"], ["96", "98", "100"]]
    assert filled.sentence == "4 cells filled from Back, cast on, S on. Nothing is saved yet."


def test_decimal_commas_and_fractions_are_read_in_the_readers_unit(little_top: dict[str, Any]) -> None:
    draft = draft_of(little_top, units="in")

    fill(draft, "30¼\t34,5\t37 3/4 in", "measures-0-values-0")

    document = draft.read()
    assert document is not None
    assert document.measures[0].values == {"XS": 76.835, "S": 87.63, "M": 95.885}


def test_an_empty_cell_empties_its_field(little_top: dict[str, Any]) -> None:
    draft = draft_of(little_top)

    fill(draft, "\t106", "numbers-0-printed-0")

    assert printed(draft)[0] == ["", "106", "114"]


def test_yarn_and_hours_take_a_block_as_well(little_top: dict[str, Any]) -> None:
    draft = draft_of(little_top)

    fill(draft, "700\t800\t900\n20\t22\t24", "yarn-0")

    assert [[cell.text for cell in row.sized] for row in draft.by_size.values()] == [
        ["700", "800", "900"],
        ["20", "22", "24"],
    ]


@pytest.mark.parametrize(
    ("text", "at", "sentences"),
    [
        (
            "94\t106\t118",
            "numbers-0-printed-1",
            [
                "Line 1 of the block has 3 cells, and from S on there is room for 2, up to M. Begin further to "
                "the left, or leave out the cells that are no sizes."
            ],
        ),
        (
            "94\n96\n98",
            "numbers-1-printed-0",
            [
                "The block has 3 lines, and from Rows to underarm on this table has room for 1, down to Rows "
                "to underarm. Begin further up, add rows first, or paste fewer lines."
            ],
        ),
        (
            "94\tabout 106\n-2\t96",
            "numbers-0-printed-0",
            [
                "Line 1, cell 2 of the block, for Back, cast on, size S: “about 106” cannot be read as a number; "
                "write it as in 22 1/2.",
                "Line 2, cell 1 of the block, for Rows to underarm, size XS: “-2” is below zero; write how many "
                "there are, as in 22 1/2.",
            ],
        ),
        (
            "XS\tS\tM",
            "measures-0-values-0",
            [
                f"Line 1, cell {n} of the block, for Full bust, size {size}: “{size}” cannot be read as a number; "
                "write it as in 92.5 cm."
                for n, size in enumerate(["XS", "S", "M"], 1)
            ],
        ),
        ("94", "numbers-0-label", ["Choose the row and the size that the block begins with."]),
        ("94", "", ["Choose the row and the size that the block begins with."]),
        ("94", "numbers-9-printed-0", ["Choose the row and the size that the block begins with."]),
    ],
    ids=["too wide", "too long", "unreadable", "names of sizes", "a name", "nowhere", "no such row"],
)
def test_a_block_that_cannot_be_put_in_changes_nothing_and_says_which_cell_and_what_to_do(
    little_top: dict[str, Any], text: str, at: str, sentences: list[str]
) -> None:
    draft = draft_of(little_top)
    before = printed(draft)

    with pytest.raises(BlockRefused) as refused:
        fill(draft, text, at)

    assert list(refused.value.sentences) == sentences
    assert printed(draft) == before


def test_of_many_cells_that_cannot_be_read_the_first_few_are_told(little_top: dict[str, Any]) -> None:
    little_top["sizes"] = [f"S{n}" for n in range(12)]
    little_top["measures"][0]["values"] = dict.fromkeys(little_top["sizes"], 80)
    for number in little_top["numbers"]:
        number["printed"] = {}
    draft = draft_of(little_top)

    with pytest.raises(BlockRefused) as refused:
        fill(draft, "\t".join("x" * 12), "measures-0-values-0")

    assert len(refused.value.sentences) == 9
    assert refused.value.sentences[-1] == "And 4 more cells."


# The page and the script's door


def test_without_scripts_the_plain_form_puts_the_block_in_and_stores_nothing(
    signed_in: SignIn, edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    fields = {
        **fields_of(edition),
        "numbers-0-label": "Typed before",
        "action": "paste",
        "paste-row": "numbers-0-printed",
        "paste-size": "1",
        "paste-text": "106\t116",
    }

    answer = signed_in(designer).post(page_of(edition), fields)

    page = answer.content.decode()
    edition.refresh_from_db()
    assert answer.status_code == 200
    assert "2 cells filled from Typed before, S on. Nothing is saved yet." in page
    assert "106 is printed and the formula gives 104, 2 fewer." in page
    assert edition.sheet == little_top


def test_a_block_refused_on_the_plain_form_stays_there_with_the_reason(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    fields = {
        **fields_of(edition),
        "action": "paste",
        "paste-row": "numbers-0-printed",
        "paste-size": "2",
        "paste-text": "106\t116",
    }

    answer = signed_in(designer).post(page_of(edition), fields)

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Line 1 of the block has 2 cells, and from M on there is room for 1, up to M." in page
    assert "106\t116</textarea>" in page
    assert '<option value="numbers-0-printed" selected>' in page


def test_the_scripts_door_answers_with_the_fields_and_their_texts(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    fields = {**fields_of(edition), "paste-at": "numbers-0-printed-1", "paste-text": "106\t116"}

    answer = signed_in(designer).post(page_of(edition, "paste"), fields)

    assert answer.status_code == 200
    assert answer.json() == {
        "cells": {"id_numbers-0-printed-1": "106", "id_numbers-0-printed-2": "116"},
        "sentences": ["2 cells filled from Back, cast on, S on. Nothing is saved yet."],
    }


def test_the_scripts_door_refuses_by_the_same_rule(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    fields = {**fields_of(edition), "paste-at": "numbers-0-printed-2", "paste-text": "106\t116"}

    answer = signed_in(designer).post(page_of(edition, "paste"), fields)

    assert answer.status_code == 422
    assert len(answer.json()["sentences"]) == 1


def test_a_block_is_not_put_under_sizes_that_were_typed_since(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    fields = {
        **fields_of(edition),
        "sizes": "XS, S, M, L",
        "paste-at": "numbers-0-printed-0",
        "paste-text": "1\t2",
    }

    answer = signed_in(designer).post(page_of(edition, "paste"), fields)

    assert answer.status_code == 422
    assert answer.json()["sentences"] == [
        "The sizes have changed since the page was made; check or save the sheet first, then paste."
    ]


def test_a_refused_block_is_not_said_to_be_a_refused_save(
    signed_in: SignIn, edition: Edition, designer: User
) -> None:
    fields = {**fields_of(edition), "action": "paste", "paste-text": "1"}

    page = signed_in(designer).post(page_of(edition), fields).content.decode()

    assert "Not pasted" in page
    assert "Not saved yet" not in page
    # What was typed is on the page alone, so that leaving it asks first.
    assert "data-unsaved" in page
