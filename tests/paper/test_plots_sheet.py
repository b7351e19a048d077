"""One number over the sizes, drawn."""

from __future__ import annotations

import re

import pytest
from defusedxml import ElementTree

from testround.paper.drawing import Text
from testround.paper.plots_sheet import BrokenStep, OverSizes, run_plot

SLEEVE = OverSizes(
    title="Sleeve stitches",
    sizes=("XS", "S", "M", "L", "XL"),
    printed=(68, 72, 78, 48, 90),
    computed=(68, 72, 78, 84, 90),
    breaks=(BrokenStep(2, 3, "−30"), BrokenStep(3, 4, "+42")),
    said="From M to L it falls by 30; from L to XL it rises by 42; everywhere else it rises by 4 to 6.",
)


def test_every_point_and_every_broken_step_has_its_words() -> None:
    plot = run_plot(SLEEVE)

    assert plot.drawing.labels() == [
        "From M to L: −30, which breaks the run",
        "From L to XL: +42, which breaks the run",
        "XS: printed 68, computed 68",
        "S: printed 72, computed 72",
        "M: printed 78, computed 78",
        "L: printed 48, computed 84",
        "XL: printed 90, computed 90",
    ]
    assert (plot.drawing.title, plot.drawing.description) == ("Sleeve stitches, over the sizes", SLEEVE.said)


def test_the_same_figures_stand_in_a_table_with_the_steps() -> None:
    table = run_plot(SLEEVE).table

    assert table.columns == ("Size", "Printed", "Computed", "Step from the size before")
    assert table.rows == (
        ("XS", "68", "68", "–"),
        ("S", "72", "72", "+4"),
        ("M", "78", "78", "+6"),
        ("L", "48", "84", "−30"),
        ("XL", "90", "90", "+42"),
    )


def test_a_body_measurement_has_one_line_in_the_readers_unit() -> None:
    plot = run_plot(OverSizes("Full bust", ("S", "M"), (81.28, 91.44), units="in"))

    assert plot.table.columns == ("Size", "Value", "Step from the size before")
    assert plot.table.rows == (("S", "32", "–"), ("M", "36", "+4"))
    assert plot.drawing.labels() == ["S: 32", "M: 36"]


def test_what_is_not_printed_is_taken_as_computed_and_what_is_neither_is_left_out() -> None:
    plot = run_plot(OverSizes("Rows", ("S", "M", "L"), (None, 20.0, None), (18.0, 20.0, None)))

    assert plot.drawing.labels() == ["S: computed 18", "M: printed 20, computed 20"]
    assert [row[-1] for row in plot.table.rows] == ["–", "+2", "–"]


def test_nothing_known_says_so() -> None:
    plot = run_plot(OverSizes("Rows", ("S", "M"), (None, None), (None, None)))

    assert [mark.words for mark in plot.drawing.marks if isinstance(mark, Text)] == ["Nothing to draw yet."]


@pytest.mark.parametrize(
    "run",
    [
        SLEEVE,
        OverSizes("All alike", ("S", "M"), (20.0, 20.0), (20.0, 20.0)),
        OverSizes("One size", ("One",), (0.0,), (0.0,)),
        OverSizes("Vast", tuple(f"S{n}" for n in range(60)), tuple(1e4 * n for n in range(60)), (None,) * 60),
        OverSizes("Far", ("S", "M"), (1.0, 999.0), units="in"),
    ],
    ids=lambda run: run.title,
)
def test_everything_drawn_stays_inside_the_drawing_and_in_order(run: OverSizes) -> None:
    drawing = run_plot(run, ident="p").drawing
    svg = run_plot(run, ident="p").svg

    places = [float(n) for n in re.findall(r'(?:x|x1|x2|cx)="(-?[\d.]+)"', svg)]
    heights = [float(n) for n in re.findall(r'(?:y|y1|y2|cy)="(-?[\d.]+)"', svg)]
    assert all(0 <= place <= drawing.width for place in places)
    assert all(0 <= height <= drawing.height for height in heights)
    assert ElementTree.fromstring(svg).attrib["aria-describedby"] == "p-about"
    assert "style" not in svg
