from __future__ import annotations

import itertools
import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings

from testround.kernel.gauge import SwatchEffect
from testround.kernel.pieces import Mark, Piece, laid_flat
from testround.kernel.round import Pattern, Round
from testround.kernel.sheet import Sheet
from testround.kernel.worksheet import worksheet
from testround.paper.drawing import Circle, Drawing, Group, Polygon, Text, paper, svg
from testround.paper.schematic import bounds, compared, lettered, letters, said, scale_of, schematic
from tests.generated import rounds
from tests.generated_sheets import free_patterns

ANY = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
BACK = Piece(
    "Back",
    ((0, 50), (36, 50), (36, 30), (56, 30)),
    (Mark("width", True, 50, 18), Mark("length", False, 56, 0), Mark("neck", True, 16)),
)
NAMED = {"width": ("A", "Width"), "length": ("B", "Length"), "neck": ("C", "Neck")}


def drawn(pattern: Pattern) -> list[Drawing]:
    sheet = Sheet(pattern)
    inputs = sheet.stated()
    pieces = laid_flat(sheet, inputs, sheet.numbers(inputs))
    keys = [mark.dimension for piece in pieces for mark in piece.marks]
    named = {key: (letter, f"The {key}") for key, letter in zip(keys, letters(len(keys)), strict=True)}
    return [schematic(piece, named, scale_of(pieces)) for piece in pieces]


def discs(drawing: Drawing) -> list[Circle]:
    return [leaf for leaf in drawing.leaves() if isinstance(leaf, Circle)]


def test_letters_go_on_after_z() -> None:
    assert [letters(80)[k] for k in (0, 25, 26, 51, 52)] == ["A", "Z", "AA", "AZ", "BA"]


def test_a_piece_is_drawn_to_scale() -> None:
    drawing = schematic(BACK, NAMED, 2.0)

    outline = next(mark for mark in drawing.marks if isinstance(mark, Polygon))
    xs, ys = [x for x, _ in outline.points], [y for _, y in outline.points]

    assert (max(xs) - min(xs), max(ys) - min(ys)) == (pytest.approx(100), pytest.approx(112))


def test_the_longest_side_of_a_garment_decides_the_scale_of_all_its_pieces() -> None:
    cuff = Piece("Cuff", (), (Mark("cuff", True, 19),))

    assert scale_of([BACK, cuff]) == pytest.approx(190 / 56)


def test_each_dimension_is_a_group_that_can_be_pointed_at_with_its_letter_and_label() -> None:
    groups = [mark for mark in schematic(BACK, NAMED, 2.0).marks if isinstance(mark, Group)]

    assert {(group.kind, group.label) for group in groups} == {
        ("dim dim-width", "A: Width"),
        ("dim dim-length", "B: Length"),
        ("dim dim-neck", "C: Neck"),
    }


def test_the_description_says_what_the_letters_mean() -> None:
    drawing = schematic(BACK, NAMED, 2.0)

    assert drawing.title == "Back, laid flat"
    assert drawing.description == "Back, to scale. Where to measure: A, Width; B, Length; C, Neck."


def test_targets_are_said_only_to_those_who_may_read_them() -> None:
    drawing = schematic(BACK, NAMED, 2.0, said={"width": "50 cm"})

    assert "A, Width: 50 cm; B, Length;" in drawing.description


@ANY
@given(free_patterns())
def test_whatever_the_sheet_every_dimension_has_one_letter(pattern: Pattern) -> None:
    found = [
        group.kind.split("dim-")[1]
        for drawing in drawn(pattern)
        for group in drawing.marks
        if isinstance(group, Group)
    ]
    words = [leaf.words for drawing in drawn(pattern) for leaf in drawing.leaves() if isinstance(leaf, Text)]

    assert sorted(found) == sorted(dimension.key for dimension in pattern.dimensions)
    assert sorted(words) == sorted(letters(len(pattern.dimensions)))


@ANY
@given(free_patterns())
def test_whatever_the_sheet_letters_do_not_overlap_and_all_is_inside_the_box(pattern: Pattern) -> None:
    for drawing in drawn(pattern):
        left, top, right, foot = bounds(drawing)

        assert 0 <= left <= right <= drawing.width
        assert 0 <= top <= foot <= drawing.height
        for one, other in itertools.combinations(discs(drawing), 2):
            assert math.dist(one.centre, other.centre) >= one.radius + other.radius


@ANY
@given(rounds())
def test_whatever_the_round_each_testers_garment_is_drawn_whole(round_: Round) -> None:
    for tester in round_.testers:
        pieces = worksheet(round_, tester).pieces
        letter = lettered(pieces)
        named = {key: (letter[key], key) for key in letter}
        drawings = [schematic(piece, named, scale_of(pieces)) for piece in pieces]

        assert sorted(letter) == sorted(dimension.key for dimension in round_.pattern.dimensions)
        for drawing in drawings:
            left, top, right, foot = bounds(drawing)
            assert 0 <= left <= right <= drawing.width
            assert 0 <= top <= foot <= drawing.height
            for one, other in itertools.combinations(discs(drawing), 2):
                assert math.dist(one.centre, other.centre) >= one.radius + other.radius


@ANY
@given(free_patterns())
def test_whatever_the_sheet_it_is_well_formed_on_a_page_and_on_paper(pattern: Pattern) -> None:
    for drawing in drawn(pattern):
        ET.fromstring(svg(drawing))  # noqa: S314 (our own text)
        assert len(paper(drawing).contents) == len(list(drawing.leaves()))


# -- at another gauge --------------------------------------------------------------------------------------


def effect(key: str, label: str, target: float, own: float, tolerance: float) -> SwatchEffect:
    return SwatchEffect(key, label, target, own, own - target, tolerance)


def test_what_would_come_out_lies_dashed_over_what_is_meant_on_the_same_edge() -> None:
    made = Piece(
        "Back",
        ((0, 52), (40, 52), (40, 31), (62, 31)),
        (Mark("width", True, 52, 20), Mark("length", False, 62, 0)),
    )
    effects = {
        "width": effect("width", "Width", 50, 52, 3),
        "length": effect("length", "Length", 56, 62, 2.5),
    }

    drawing = compared(BACK, made, effects, 2.0)

    outlines = {
        mark.look: mark for mark in drawing.marks if isinstance(mark, Polygon) and mark.look != "band"
    }
    foot = {look: max(y for _, y in mark.points) for look, mark in outlines.items()}
    top = {look: min(y for _, y in mark.points) for look, mark in outlines.items()}
    assert foot["target"] == pytest.approx(foot["band-edge"])
    assert top["target"] - top["band-edge"] == pytest.approx(12)  # 6 cm taller, at 2 to the centimetre
    words = [leaf.words for leaf in drawing.leaves() if isinstance(leaf, Text)]
    assert words == ["↔ 52 cm (+2 cm)", "↕ 62 cm (+6 cm)"]
    assert drawing.description == (
        "Back to scale, full line as it should be, dashed as it would come out. "
        "Width: 52 cm, 2 cm more than 50 cm; within the 3 cm that are fine. "
        "Length: 62 cm, 6 cm more than 56 cm; beyond the 2.5 cm that are fine."
    )


@pytest.mark.parametrize(
    ("own", "units", "sentence"),
    [
        (50.0, "cm", "50 cm, as it should be."),
        (48.0, "cm", "48 cm, 2 cm less than 50 cm; within the 3 cm that are fine."),
        (53.04, "cm", "53 cm, just over 3 cm more than 50 cm; beyond the 3 cm that are fine."),
        # 50 cm is 19.69 in, 55.08 cm is 21.69 in and 5.08 cm is 2 in; 3 cm is 1.18 in: to the eighth.
        (55.08, "in", "21 5/8 in, 2 in more than 19 5/8 in; beyond the 1 1/8 in that are fine."),
    ],
)
def test_a_difference_is_said_in_words_and_in_the_readers_unit(own: float, units: str, sentence: str) -> None:
    assert said(effect("width", "Width", 50, own, 3), units) == sentence  # type: ignore[arg-type]
