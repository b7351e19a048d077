from __future__ import annotations

import pytest

from testround.kernel.round import Craft
from testround.paper.drawing import Line, Text
from testround.paper.schematic import bounds
from testround.paper.swatch_drawing import swatch_drawing


def words(drawing_: object) -> list[str]:
    return [leaf.words for leaf in drawing_.leaves() if isinstance(leaf, Text)]  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("stitches", "units", "drawn"), [(22, "cm", 22), (22, "in", 22), (16, "cm", 16), (12.5, "in", 13)]
)
def test_as_many_stitches_are_drawn_over_the_span_as_the_pattern_means(
    stitches: float, units: str, drawn: int
) -> None:
    drawing = swatch_drawing(stitches, Craft.KNIT, units=units)  # type: ignore[arg-type]

    # Two strokes each, slanted; the hatching of the edges is slanted at 45 degrees.
    strokes = [
        leaf
        for leaf in drawing.leaves()
        if isinstance(leaf, Line)
        and leaf.look == "hatch"
        and leaf.end[1] - leaf.start[1] == pytest.approx(12)
        and abs(leaf.start[0] - leaf.end[0]) != pytest.approx(12)
    ]
    assert len(strokes) == 2 * drawn


def test_the_span_is_the_readers() -> None:
    # 22 stitches in 10 cm are 22.35 in 4 in, to the quarter 22 1/4.
    metric, inches = swatch_drawing(22, Craft.KNIT), swatch_drawing(22, Craft.KNIT, units="in")

    assert {"22 stitches", "10 cm"} <= set(words(metric))
    assert {"22 1/4 stitches", "4 in"} <= set(words(inches))


def test_it_is_told_to_those_who_do_not_see_it() -> None:
    drawing = swatch_drawing(16, Craft.CROCHET)

    assert drawing.title == "How a swatch is measured"
    assert "off the hook" in drawing.description
    assert "a ruler lies over its middle" in drawing.description
    assert "the pattern means 16 stitches over 10 cm" in drawing.description
    assert "along all four edges are left out" in drawing.description


@pytest.mark.parametrize("stitches", [0.5, 8, 40, 300])
def test_it_stays_in_its_box_whatever_the_gauge(stitches: float) -> None:
    drawing = swatch_drawing(stitches, Craft.KNIT)
    left, top, right, foot = bounds(drawing)

    assert 0 <= left <= right <= drawing.width
    assert 0 <= top <= foot <= drawing.height
