"""The parts of a sheet that are folded on its page."""

from __future__ import annotations

from testround.patterns.fields import Column
from testround.patterns.rows import Cell, Row, sections_of


def rows_at(*places: str) -> list[Row]:
    """Rows of numbers with these places in the text."""
    rows = []
    for i, place in enumerate(places):
        named = {"label": f"Number {i}", "place": place}
        cells = {
            name: Cell(name, Column(name, name, name, "text"), name, text) for name, text in named.items()
        }
        rows.append(Row("numbers", i, "", cells, []))
    return rows


def of_sections(rows: list[Row]) -> list[tuple[str, int, bool, bool]]:
    return [
        (section.said, section.rows[0].index, section.folds, section.is_open)
        for section in sections_of("numbers", rows)
    ]


def test_a_short_group_is_not_folded() -> None:
    assert of_sections(rows_at("Back, step 1", "Front, step 1")) == [("2 numbers", 0, False, False)]
    assert of_sections([]) == []


def test_a_long_group_is_folded_by_the_part_of_the_text() -> None:
    rows = rows_at("Back, 1", "Back, 2", "", "Back, 4", "Front, 1", "Front, 2", "Front", "Back, 5", "Back, 6")

    assert of_sections(rows) == [
        ("Back, 4 numbers", 0, True, False),
        ("Front, 3 numbers", 4, True, False),
        ("Back, 2 numbers", 7, True, False),
    ]


def test_a_long_group_whose_places_tell_no_parts_is_one_fold() -> None:
    assert of_sections(rows_at(*(f"Row {i}" for i in range(8)))) == [("8 numbers", 0, True, False)]
    assert of_sections(rows_at(*[""] * 8)) == [("8 numbers", 0, True, False)]


def test_a_fold_is_open_where_something_has_to_be_mended_drawn_or_filled_in() -> None:
    rows = rows_at(*["Back, 1"] * 3, *["Front, 1"] * 3, *["Neck, 1"] * 3, *["Hem, 1"] * 3)
    rows[1].cells["place"].refuse("Too long.")
    rows[4].plots = True
    rows[8].is_new = True

    sections = sections_of("numbers", rows)

    assert [(section.title, section.is_open, section.wrong) for section in sections] == [
        ("Back", True, 1),
        ("Front", True, 0),
        ("Neck", True, 0),
        ("Hem", False, 0),
    ]
