"""A pattern's numbers by section of its text."""

from __future__ import annotations

from typing import Any

import pytest

from testround.kernel.round import Pattern
from testround.reports.sections import section_named, section_to_do, sections_of
from tests.spoken import bracketed


@pytest.fixture
def pattern_at(little_top: dict[str, Any]) -> Any:
    """The little top with a number at each of these places."""

    def of(*places: str | None) -> Pattern:
        little_top["numbers"] = [
            {"key": f"n{at}", "label": f"Number {at}", "place": place, "unit": "st", "formula": "10"}
            for at, place in enumerate(places)
        ]
        little_top.update(dimensions=[], parts=[])
        return Pattern.model_validate(little_top)

    return of


def test_sections_are_the_words_before_the_comma_in_the_sheets_order(pattern_at: Any) -> None:
    pattern = pattern_at("Back, step 1", "Sleeves, step 1", "Back, step 2", None)

    assert [(one.slug, one.title, sorted(one.keys)) for one in sections_of(pattern)] == [
        ("back", "Back", ["n0", "n2"]),
        ("sleeves", "Sleeves", ["n1"]),
        ("elsewhere-in-the-text", "Elsewhere in the text", ["n3"]),
    ]


def test_a_section_has_its_title_in_the_readers_language_and_one_address_for_all(pattern_at: Any) -> None:
    with bracketed():
        (section,) = sections_of(pattern_at(None))

    assert (section.slug, section.title) == ("elsewhere-in-the-text", "⟦Elsewhere in the text⟧")


def test_where_every_step_has_a_place_of_its_own_they_come_in_runs(pattern_at: Any) -> None:
    pattern = pattern_at(*(f"Page {n}" for n in range(1, 15)))

    assert [(one.slug, one.title, len(one.numbers)) for one in sections_of(pattern)] == [
        ("1-to-6", "1 to 6", 6),
        ("7-to-12", "7 to 12", 6),
        ("13-to-14", "13 to 14", 2),
    ]


def test_a_run_is_named_in_the_readers_language_and_a_place_in_the_patterns_own_words(
    pattern_at: Any,
) -> None:
    with bracketed():
        runs = sections_of(pattern_at(*(f"Page {n}" for n in range(1, 15))))
        rows = sections_of(pattern_at("1 to 6, edge", "1 to 6, neck"))

    assert [(one.slug, one.title) for one in runs] == [
        ("1-to-6", "⟦1 to 6⟧"),
        ("7-to-12", "⟦7 to 12⟧"),
        ("13-to-14", "⟦13 to 14⟧"),
    ]
    assert [(one.slug, one.title) for one in rows] == [("1-to-6", "1 to 6")]


def test_two_sections_of_the_same_letters_have_addresses_of_their_own(pattern_at: Any) -> None:
    assert [one.slug for one in sections_of(pattern_at("Neck, 1", "Neck., 2", "Neck!, 3"))] == [
        "neck",
        "neck-2",
        "neck-3",
    ]


def test_the_next_section_is_the_first_with_something_left(pattern_at: Any) -> None:
    sections = sections_of(pattern_at("Back, 1", "Back, 2", "Sleeve, 1"))

    assert [
        section_to_do(sections, done).slug for done in ([], ["n0"], ["n0", "n1"], ["n0", "n1", "n2"])
    ] == [
        "back",
        "back",
        "sleeve",
        "sleeve",
    ]
    assert section_to_do((), []) is None
    assert section_named(sections, "nowhere") is None
