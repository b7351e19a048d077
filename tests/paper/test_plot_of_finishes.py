"""The likely days of finishing, drawn against the closing date."""

from __future__ import annotations

import datetime as dt
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from testround.paper.drawing import Group, Line, Polygon, Text
from testround.paper.plots import Plot
from testround.paper.plots.finishes import Finishes, FinishRange, finish_plot


def day(month: int, of_month: int) -> dt.date:
    return dt.date(2027, month, of_month)


VETCH = FinishRange("Vetch", "5X", day(3, 24), day(4, 12), day(5, 16), "likely late")
OAK = FinishRange("Oak", "2X", day(2, 20), day(3, 1), day(3, 15), "may be late")
ELDER = FinishRange("Elder", None, day(2, 1), day(2, 10), day(2, 26), "in time", until=day(3, 20))
LATE_FIRST = Finishes("First test", day(1, 20), day(3, 8), (VETCH, OAK, ELDER))


def groups(plot: Plot) -> list[Group]:
    return [mark for mark in plot.drawing.marks if isinstance(mark, Group)]


def written(plot: Plot) -> list[str]:
    return [mark.words for mark in plot.drawing.leaves() if isinstance(mark, Text)]


def across(plot: Plot, look: str) -> list[float]:
    """Where the lines of a look stand, those that go over the whole plot."""
    lines = [mark for mark in plot.drawing.marks if isinstance(mark, Line) and mark.look == look]
    return [line.start[0] for line in lines if line.end[1] - line.start[1] > 20]


def test_each_piece_says_when_it_will_be_done_and_how_that_stands_in_the_order_given() -> None:
    plot = finish_plot(LATE_FIRST)

    assert [group.label for group in groups(plot)] == [
        "Vetch, 5X: 24 March 2027 to 16 May 2027, likely late",
        "Oak, 2X: 20 February 2027 to 15 March 2027, may be late",
        "Elder: 1 February 2027 to 26 February 2027, in time, asked for until 20 March 2027",
    ]


def test_a_bar_lies_beyond_the_line_of_the_closing_date_just_when_the_piece_is_late() -> None:
    plot = finish_plot(LATE_FIRST)

    (closes,) = across(plot, "target")
    bars = [mark for group in groups(plot) for mark in group.marks if isinstance(mark, Line)]
    vetch, oak, elder = (bar for bar in bars if bar.look == "interval")
    assert closes < vetch.start[0]
    assert oak.start[0] < closes < oak.end[0]
    assert elder.end[0] < closes


def test_how_a_piece_stands_is_told_by_a_shape_of_its_own() -> None:
    signs = [
        (type(mark).__name__, mark.look, len(mark.points) if isinstance(mark, Polygon) else 0)
        for group in groups(finish_plot(LATE_FIRST))
        for mark in group.marks
        if not isinstance(mark, Line)
    ]

    # a filled square, a diamond, a ring
    assert signs == [("Polygon", "solid", 4), ("Polygon", "estimate", 4), ("Circle", "hollow", 0)]


def test_the_table_says_the_same_dates() -> None:
    assert finish_plot(LATE_FIRST).table.rows == (
        ("Vetch", "5X", "24 March 2027", "12 April 2027", "16 May 2027", "likely late"),
        ("Oak", "2X", "20 February 2027", "1 March 2027", "15 March 2027", "may be late"),
        ("Elder", "own", "1 February 2027", "10 February 2027", "26 February 2027", "in time"),
    )


def test_the_description_counts_what_is_late() -> None:
    plot = finish_plot(LATE_FIRST)

    assert plot.drawing.title == "First test: when the pieces in progress will likely be done"
    assert (
        plot.drawing.description == "3 pieces in progress, 1 likely late; the round closes on 8 March 2027."
    )


def test_without_a_closing_date_there_is_no_line_and_nobody_is_late() -> None:
    open_end = replace(LATE_FIRST, closes=None, ranges=(replace(OAK, stands=""),))

    plot = finish_plot(open_end)

    assert across(plot, "target") == []
    assert plot.drawing.description == "1 piece in progress; no closing date is set."
    assert "today" in written(plot)
    assert not any(words.startswith("closes") for words in written(plot))


def test_a_day_far_beyond_the_others_ends_at_the_edge_as_an_arrow() -> None:
    never = replace(VETCH, middle=day(4, 12), latest=dt.date(2031, 1, 1))

    plot = finish_plot(replace(LATE_FIRST, ranges=(never, OAK, ELDER)))

    assert [
        sum(isinstance(mark, Polygon) and len(mark.points) == 3 for mark in g.marks) for g in groups(plot)
    ] == [
        1,
        0,
        0,
    ]
    assert "1 January 2031" in plot.svg


@pytest.mark.parametrize("width", [300.0, 328.0, 720.0])
@pytest.mark.parametrize(
    "data",
    [
        LATE_FIRST,
        replace(LATE_FIRST, closes=None),
        replace(LATE_FIRST, closes=day(1, 2)),
        replace(LATE_FIRST, today=day(3, 8)),
        replace(LATE_FIRST, ranges=(replace(OAK, tester="Somebody with a very long name indeed"),)),
    ],
    ids=["as usual", "no closing date", "past its date", "closes today", "a long name"],
)
def test_it_is_well_formed_legible_and_stays_within_its_edges(data: Finishes, width: float) -> None:
    plot = finish_plot(data, width=width)

    root = ET.fromstring(plot.svg)  # noqa: S314
    assert root.get("role") == "img"
    for mark in plot.drawing.leaves():
        if isinstance(mark, Text):
            assert mark.size >= 11
            assert 0 <= mark.x <= width
            assert 0 <= mark.y <= plot.drawing.height
        if isinstance(mark, Line):
            assert all(0 <= x <= width for x, _ in (mark.start, mark.end))
    on_page = re.findall(r"<(?:line|rect|circle|path|text) ", plot.svg)
    assert len(on_page) == len(plot.flowable().contents)
