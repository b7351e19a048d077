from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from reportlab.graphics import shapes

from testround.paper.drawing import (
    LOOKS,
    Circle,
    Drawing,
    Group,
    Line,
    Rect,
    Text,
    diamond,
    hatched,
    paper,
    square,
    svg,
    triangle,
)

SVG = "{http://www.w3.org/2000/svg}"
DRAWN = {f"{SVG}{name}" for name in ("line", "rect", "circle", "path", "text")}


@pytest.fixture
def drawing() -> Drawing:
    """One of every mark, two of them a labelled data point."""
    return Drawing(
        width=200,
        height=100,
        title="Hem & cuff <left>",
        description="A drawing of everything.",
        marks=(
            Line((0, 90), (200, 90), "axis"),
            Rect(10, 20, 30, 40, "band"),
            Group(
                (Circle((50, 50), 4, "solid"), diamond((60, 50), 5, "estimate")),
                "Tester t05: 1.2 cm",
                "point",
            ),
            square((80, 50), 4, "asked"),
            triangle((90, 50), 4, "solid", towards="left"),
            Group((Group(hatched(100, 20, 20, 10), "inner"),), "outer"),
            Text(5, 15, "½ → é", 12),
        ),
    )


def elements(text: str) -> list[ET.Element]:
    return list(ET.fromstring(text).iter())  # noqa: S314 (our own text)


def test_svg_says_what_it_shows_to_those_who_do_not_see_it(drawing: Drawing) -> None:
    root = ET.fromstring(svg(drawing, ident="hem"))  # noqa: S314
    title, description = root[0], root[1]

    assert root.get("role") == "img"
    assert (title.tag, title.text, title.get("id")) == (f"{SVG}title", "Hem & cuff <left>", "hem-title")
    assert (description.tag, description.text, description.get("id")) == (
        f"{SVG}desc",
        "A drawing of everything.",
        "hem-about",
    )
    assert (root.get("aria-labelledby"), root.get("aria-describedby")) == ("hem-title", "hem-about")


def test_every_labelled_group_carries_its_label_as_title(drawing: Drawing) -> None:
    groups = [element for element in elements(svg(drawing)) if element.tag == f"{SVG}g"]

    labels = [group[0].text for group in groups if group[0].tag == f"{SVG}title"]

    assert labels == ["Tester t05: 1.2 cm", "outer", "inner"] == drawing.labels()


def test_svg_has_nothing_that_a_strict_content_policy_refuses(drawing: Drawing) -> None:
    for element in elements(svg(drawing)):
        assert element.tag not in (f"{SVG}style", f"{SVG}script")
        assert "style" not in element.attrib
        assert not [name for name in element.attrib if name.startswith("on")]


def test_both_writers_draw_the_same_marks(drawing: Drawing) -> None:
    # Lines of one look are one path, which begins anew for each.
    on_page = [
        max(element.get("d", "").lower().count("m"), 1)
        for element in elements(svg(drawing))
        if element.tag in DRAWN
    ]
    on_paper = paper(drawing).contents

    assert sum(on_page) == len(on_paper) == len(list(drawing.leaves())) == 13


def test_paper_has_y_upwards_and_scales_everything(drawing: Drawing) -> None:
    sheet = paper(drawing, scale=0.5)
    line, band = sheet.contents[0], sheet.contents[1]
    words = sheet.contents[-1]

    assert (sheet.width, sheet.height) == (100, 50)
    assert (line.x1, line.y1, line.x2, line.y2) == (0, 5, 100, 5)
    assert (band.x, band.y, band.width, band.height) == (5, 20, 15, 20)
    assert (words.text, words.fontSize) == ("½ → é", 6)
    assert isinstance(words, shapes.String)


def test_hatching_stays_inside_its_rectangle() -> None:
    outline, *strokes = hatched(10, 20, 33, 13, step=5)

    assert isinstance(outline, Rect)
    assert len(strokes) == 9  # slanted lines at 5, 10 … 45, the last before 33 + 13
    for stroke in strokes:
        assert isinstance(stroke, Line)
        for x, y in (stroke.start, stroke.end):
            assert 10 <= x <= 43
            assert 20 <= y <= 33
        # 45 degrees: as far left as down
        assert stroke.start[0] - stroke.end[0] == pytest.approx(stroke.end[1] - stroke.start[1])


def test_the_three_fills_of_bars_are_told_apart_without_colour() -> None:
    solid, hollow = LOOKS["solid"], LOOKS["hollow"]

    assert (solid.fill, hollow.fill) == ("ink", "paper")
    assert len(hatched(0, 0, 20, 10)) > 1


def test_signs_that_xml_forbids_do_not_break_the_page() -> None:
    drawing = Drawing(10, 10, "a\x00b", "c\x0bd", (Text(0, 0, "e\x1bf"),))

    assert [element.text for element in elements(svg(drawing))[1:]] == ["a b", "c d", "e f"]
