from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testround.paper.drawing import (
    LOOKS,
    Circle,
    Drawing,
    Group,
    Line,
    Mark,
    Polygon,
    Polyline,
    Rect,
    Text,
    look_css,
)
from testround.paper.fonts import width_of
from testround.paper.plots import (
    AmountOfSize,
    AmountPoint,
    Amounts,
    DeviationPoint,
    Deviations,
    GaugePoint,
    Gauges,
    Parts,
    PartsBar,
    Plot,
    PooledDeviation,
    RegionSide,
    amount_plot,
    deviation_plot,
    gauge_plot,
    parts_bars,
    ticks,
)

SIZES = ("XS", "S", "M")

HEM = Deviations(
    title="Hem to underarm",
    tolerance=2.0,
    sizes=SIZES,
    points=(
        DeviationPoint("t01", "XS", 3.3),
        DeviationPoint("t05", "M", 1.2),
        DeviationPoint("t06", "M", -0.4),
        DeviationPoint("t07", "M", -47.5, asked=True),
    ),
    pooled=(
        PooledDeviation("XS", 3.1, 2.2, 4.0, 1, "look-closer"),
        PooledDeviation("M", 0.4, -0.9, 1.7, 2, "holds"),
    ),
)
HEM_PARTS = Parts(
    "Hem to underarm", 2.0, (PartsBar("t01", "XS", 0.0, 1.1, 3.3), PartsBar("t05", "M", 2.0, -1.5, 1.2))
)
BODY = Gauges(
    title="Stockinette",
    stated_st=22,
    stated_row=30,
    points=(
        GaugePoint("t01", "worked", 22.5, 31.0, 0.3, 0.4),
        GaugePoint("t01", "blocked", 22.0, 28.5, 0.3, 0.4),
        GaugePoint("t02", "blocked", 21.5, None, 0.3, None),
    ),
    pooled_st=(21.75, 21.25, 22.25),
    pooled_row=(28.5, 28.0, 29.0),
)

PLOTS = {
    "deviations": deviation_plot(HEM),
    "deviations in inches": deviation_plot(HEM, units="in"),
    "parts": parts_bars(HEM_PARTS),
    "gauges": gauge_plot(BODY),
    "gauges in inches": gauge_plot(BODY, units="in"),
}


def point_labels(plot: Plot) -> list[str]:
    return [label for label in plot.drawing.labels() if label.startswith("t0")]


@pytest.fixture(params=list(PLOTS.values()), ids=list(PLOTS))
def plot(request: pytest.FixtureRequest) -> Plot:
    return request.param


# Every plot -----------------------------------------------------------------------------------------------


def test_a_plot_is_well_formed_and_writes_itself_into_a_template(plot: Plot) -> None:
    root = ET.fromstring(plot.__html__())  # noqa: S314

    assert root.get("role") == "img"
    # A phone of 360 pixels leaves 328 between its margins: letters are as large there as they are drawn.
    assert root.get("width") == "328"
    assert " style=" not in plot.svg


def test_lettering_is_large_enough_and_nothing_leaves_the_drawing(plot: Plot) -> None:
    for mark in plot.drawing.leaves():
        if isinstance(mark, Text):
            assert mark.size >= 11
            assert 0 <= mark.x <= plot.drawing.width
            assert 0 <= mark.y <= plot.drawing.height


def test_page_and_paper_draw_the_same_number_of_marks(plot: Plot) -> None:
    # Lines of one look are one path, which begins anew for each.
    shapes = re.findall(r'<(?:line|rect|circle|text|path d="([^"]*)") [^>]*class="plot-([a-z-]+)"', plot.svg)
    on_page = [max(way.lower().count("m"), 1) for way, look in shapes if LOOKS[look].on_paper]

    assert sum(on_page) == len(plot.flowable().contents)


def test_the_style_sheet_draws_every_look_as_paper_does() -> None:
    styles = finders.find("css/parts.css")
    assert styles is not None
    rules = dict(re.findall(r"\n\.plot-([a-z-]+) \{\s*(.*?)\s*\}", Path(styles).read_text(), re.DOTALL))

    assert {name: " ".join(rules[name].split()) for name in LOOKS} == {name: look_css(name) for name in LOOKS}


# One dimension --------------------------------------------------------------------------------------------


def test_each_tester_has_a_point_that_says_who_which_size_and_how_far() -> None:
    assert point_labels(PLOTS["deviations"]) == [
        "t01, size XS: +3.3 cm",
        "t07, size M: −47.5 cm, set aside, to be asked",
        "t06, size M: −0.4 cm",
        "t05, size M: +1.2 cm",
    ]


def test_the_table_carries_the_figures_of_the_points() -> None:
    assert PLOTS["deviations"].table.rows == (
        ("XS", "t01", "+3.3 cm", ""),
        ("M", "t05", "+1.2 cm", ""),
        ("M", "t06", "−0.4 cm", ""),
        ("M", "t07", "−47.5 cm", "set aside, to be asked"),
    )


def test_the_summary_carries_the_pooled_figures() -> None:
    summary = PLOTS["deviations"].summary

    assert summary is not None
    assert summary.rows == (
        ("XS", "1", "+3.1 cm", "+2.2 cm to +4 cm", "±2 cm", "look closer"),
        ("M", "2", "+0.4 cm", "−0.9 cm to +1.7 cm", "±2 cm", "holds"),
    )


def test_inches_are_written_in_eighths() -> None:
    assert PLOTS["deviations in inches"].table.rows[0] == ("XS", "t01", "+1 1/4 in", "")


def test_the_description_tells_the_pooled_figures() -> None:
    assert PLOTS["deviations"].drawing.description == (
        "4 testers in 2 of 3 sizes; the tolerance is ±2 cm about the target. "
        "Size XS: +3.1 cm, +2.2 cm to +4 cm, look closer. Size M: +0.4 cm, −0.9 cm to +1.7 cm, holds."
    )


def test_a_size_without_testers_still_has_its_row() -> None:
    words = [mark.words for mark in PLOTS["deviations"].drawing.leaves() if isinstance(mark, Text)]

    assert [word for word in words if word in SIZES] == ["XS", "S", "M"]


def test_the_tolerance_band_lies_between_plus_and_minus_the_tolerance() -> None:
    plot = PLOTS["deviations"]
    band = next(
        mark
        for mark in plot.drawing.leaves()
        if isinstance(mark, Rect) and mark.look == "band" and mark.height > 20
    )
    ticked = {
        mark.words: mark.x
        for mark in plot.drawing.leaves()
        if isinstance(mark, Text) and mark.words in ("−2", "+2")
    }

    assert (band.x, band.x + band.width) == pytest.approx((ticked["−2"], ticked["+2"]))


def test_a_point_beyond_the_axis_becomes_an_arrow_at_its_edge() -> None:
    plot = PLOTS["deviations"]
    group = next(
        mark for mark in plot.drawing.marks if isinstance(mark, Group) and mark.label.startswith("t07")
    )

    (arrow,) = group.marks
    assert isinstance(arrow, Polygon)
    assert len(arrow.points) == 3


def test_points_of_one_size_never_hide_one_another() -> None:
    crowd = replace(
        HEM, points=tuple(DeviationPoint(f"t{k:02d}", "M", 0.01 * k) for k in range(12)), pooled=()
    )

    centres = [
        mark.marks[0].centre  # type: ignore[union-attr]
        for mark in deviation_plot(crowd).drawing.marks
        if isinstance(mark, Group) and mark.kind == "point"
    ]

    assert len(centres) == 12
    for k, (x, y) in enumerate(centres):
        for other_x, other_y in centres[:k]:
            assert abs(x - other_x) >= 9 or abs(y - other_y) >= 9


def test_made_to_measure_is_one_row_without_a_size() -> None:
    plot = deviation_plot(replace(HEM, sizes=(), points=(DeviationPoint("t01", None, 0.5),), pooled=()))

    assert point_labels(plot) == ["t01: +0.5 cm"]
    assert plot.table.rows == (("own", "t01", "+0.5 cm", ""),)
    assert plot.summary is None


# The three parts ------------------------------------------------------------------------------------------


def test_each_bar_says_its_sum_and_its_parts() -> None:
    assert point_labels(PLOTS["parts"]) == [
        "t01, size XS: +4.4 cm: counts 0 cm, gauge +1.1 cm, remainder +3.3 cm",
        "t05, size M: +1.7 cm: counts +2 cm, gauge −1.5 cm, remainder +1.2 cm",
    ]
    assert PLOTS["parts"].table.rows == (
        ("t01", "XS", "+4.4 cm", "0 cm", "+1.1 cm", "+3.3 cm"),
        ("t05", "M", "+1.7 cm", "+2 cm", "−1.5 cm", "+1.2 cm"),
    )


def test_parts_are_as_wide_as_they_are_long() -> None:
    group = [mark for mark in PLOTS["parts"].drawing.marks if isinstance(mark, Group)][1]
    counts, gauge, remainder = (part for part in group.marks if isinstance(part, Rect))

    # 2.0, 1.5 and 1.2 cm; the counts and the remainder end to end to the right, the gauge to the left
    assert gauge.width / counts.width == pytest.approx(1.5 / 2.0)
    assert remainder.width / counts.width == pytest.approx(1.2 / 2.0)
    assert remainder.x == pytest.approx(counts.x + counts.width)
    assert gauge.x + gauge.width == pytest.approx(counts.x)


def test_a_long_name_is_cut_and_its_size_kept() -> None:
    plot = parts_bars(Parts("Hem", 2.0, (PartsBar("A very long name of a tester indeed", "5X", 1, 1, 1),)))

    words = [mark.words for mark in plot.drawing.leaves() if isinstance(mark, Text)]

    assert [word for word in words if word.endswith("… · 5X")]


def test_no_bars_say_so() -> None:
    plot = parts_bars(Parts("Hem", 2.0, ()))

    assert "nothing measured yet" in [m.words for m in plot.drawing.leaves() if isinstance(m, Text)]


# Gauges ---------------------------------------------------------------------------------------------------


def test_each_swatch_says_its_state_and_its_gauge() -> None:
    assert point_labels(PLOTS["gauges"]) == [
        "t01, worked: 22 1/2 × 31",
        "t01, blocked: 22 × 28 1/2",
        "t02, blocked: 21 1/2 × ?",
    ]
    assert PLOTS["gauges"].table.rows == (
        ("stated", "", "22", "30"),
        ("t01", "worked", "22 1/2 ± 0.6", "31 ± 0.8"),
        ("t01", "blocked", "22 ± 0.6", "28 1/2 ± 0.8"),
        ("t02", "blocked", "21 1/2 ± 0.6", "not counted"),
    )


def test_the_pooled_gauge_stands_beside_the_stated_one() -> None:
    summary = PLOTS["gauges"].summary

    assert summary is not None
    assert summary.rows == (
        ("stitches", "22", "21.8", "21.3", "22.3"),
        ("rows", "30", "28.5", "28.0", "29.0"),
    )


def test_gauges_in_inches_are_over_four_inches() -> None:
    # 22 stitches over 10 cm are 22.352 over 10.16 cm, to the quarter 22 1/4.
    assert PLOTS["gauges in inches"].table.caption == "Stockinette: gauges over 4 in"
    assert PLOTS["gauges in inches"].table.rows[0] == ("stated", "", "22 1/4", "30 1/2")


def test_the_worked_and_the_blocked_gauge_of_a_tester_are_joined() -> None:
    joins = [mark for mark in PLOTS["gauges"].drawing.leaves() if mark.look == "join"]

    assert len(joins) == 1


def dots(plot: Plot) -> list[Circle]:
    """The testers' dots, in the order drawn, without those of the legend."""
    points = [mark for mark in plot.drawing.marks if isinstance(mark, Group) and mark.kind == "point"]
    return [part for point in points for part in point.marks if isinstance(part, Circle)]


def test_swatches_counted_alike_stand_side_by_side_about_their_spot() -> None:
    same = tuple(GaugePoint(f"t0{k}", "blocked", 22.0, 28.5) for k in range(6))

    alone = dots(gauge_plot(replace(BODY, points=same[:1])))[0]
    six = dots(gauge_plot(replace(BODY, points=same)))

    assert sum(dot.centre[0] for dot in six[:4]) / 4 == pytest.approx(alone.centre[0])
    assert {round(dot.centre[1] - alone.centre[1], 1) for dot in six} == {-4.5, 4.5}
    for one, other in itertools.combinations(six, 2):
        assert math.dist(one.centre, other.centre) >= 2 * one.radius


def test_how_sure_a_swatch_is_stands_in_the_corner_once_and_at_a_dot_only_where_it_is_less_sure() -> None:
    points = tuple(GaugePoint(f"t0{k}", "blocked", 21.5 + k / 4, 29.0, 0.2, 0.3) for k in range(4))
    unsure = replace(points[3], u_st=0.5)

    plot = gauge_plot(replace(BODY, points=(*points[:3], unsure)))

    looks = {
        mark.label: [part.look for part in mark.marks if isinstance(part, Line)]
        for mark in plot.drawing.marks
        if isinstance(mark, Group) and mark.kind in ("point", "usual")
    }
    assert looks["How sure a swatch usually is, in stitches and rows"] == ["whisker"] * 6
    assert looks["t00, blocked: 21 1/2 × 29"] == ["pointed", "pointed"]
    assert looks["t03, blocked: 22 1/4 × 29"] == ["whisker", "pointed"]


def test_every_row_of_the_table_has_a_dot_to_lead_to() -> None:
    for k in range(len(PLOTS["gauges"].table.rows) - 1):
        assert f'id="gauges-{k}"' in PLOTS["gauges"].svg


REGION = replace(
    BODY,
    region=((21, 28), (23, 28), (23, 32), (21, 32)),
    sides=(
        RegionSide(21, 30, "Too few stitches: Chest in M"),
        RegionSide(23, 30, "Too many stitches: Chest in M"),
        RegionSide(22, 32, "Too many rows: Hem in S"),
    ),
)


def test_the_region_is_a_ground_with_edges_and_letters_that_are_explained() -> None:
    plot = gauge_plot(REGION)

    ground = [mark for mark in plot.drawing.leaves() if isinstance(mark, Polygon) and mark.look == "band"]
    letters = [mark.label for mark in plot.drawing.marks if isinstance(mark, Group) and mark.kind == "side"]
    assert [len(one.points) for one in ground] == [4]
    assert letters == [
        "A. Too few stitches: Chest in M",
        "B. Too many stitches: Chest in M",
        "C. Too many rows: Hem in S",
    ]
    assert plot.notes == tuple(letter[3:] for letter in letters)


def test_a_region_larger_than_the_picture_is_cut_to_its_axes_and_its_far_sides_carry_no_letter() -> None:
    tall = replace(
        REGION,
        region=((21, 15), (23, 15), (23, 60), (21, 60)),
        sides=(*REGION.sides[:2], RegionSide(22, 60, "Too many rows")),
    )

    plot = gauge_plot(tall)

    edges = [mark for mark in plot.drawing.leaves() if isinstance(mark, Polyline)]
    ground = next(m for m in plot.drawing.leaves() if isinstance(m, Polygon) and m.look == "band")
    assert len(edges) == 2  # left and right; the others are out of the picture
    for x, y in [*ground.points, *(point for edge in edges for point in edge.points)]:
        assert 0 <= x <= plot.drawing.width
        assert 0 <= y <= plot.drawing.height
    assert len([m for m in plot.drawing.marks if isinstance(m, Group) and m.kind == "side"]) == 2


# Axes -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (-2.6, 4.1, 6, [-2, 0, 2, 4]),
        (-0.5, 0.5, 6, [Fraction(n, 10) for n in (-4, -2, 0, 2, 4)]),
        (-130, 130, 5, [-100, 0, 100]),
    ],
)
def test_ticks_are_round_numbers(low: float, high: float, most: int, expected: list[Fraction]) -> None:
    steps = [Fraction(n, 10) for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)]

    assert ticks(low, high, steps, most) == expected


finite = st.floats(-1000, 1000, allow_nan=False)
names = st.text(max_size=200)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(
    points=st.lists(st.tuples(names, st.sampled_from(SIZES), finite, st.booleans()), max_size=8),
    tolerance=st.floats(0.01, 1000),
    units=st.sampled_from(["cm", "in"]),
    title=names,
)
def test_any_names_and_any_figures_give_a_well_formed_plot(
    points: list[tuple[str, str, float, bool]], tolerance: float, units: str, title: str
) -> None:
    given_points = tuple(DeviationPoint(*point) for point in points)
    bars = tuple(PartsBar(name, size, value, -value / 3, 0.1) for name, size, value, _ in points)

    deviations = deviation_plot(Deviations(title, tolerance, SIZES, given_points), units=units)  # type: ignore[arg-type]
    parts = parts_bars(Parts(title, tolerance, bars), units=units)  # type: ignore[arg-type]

    for plot in (deviations, parts):
        ET.fromstring(plot.svg)  # noqa: S314
        assert len(plot.table.rows) == len(points)
        assert "nan" not in re.sub(r">[^<]*<", "><", plot.svg)


# Yarn and hours


YARN = Amounts(
    "Yarn",
    "metres",
    (
        AmountOfSize("S", 990, 900, 1090, 900, 1200, 5, 6),
        AmountOfSize("M", 1100, 1000, 1210, None, 1400, None, 7),
    ),
    (AmountPoint("t01", "S", 960), AmountPoint("t02", "S", 962), AmountPoint("t03", "M", 1130, rough=True)),
)


def labels_of(plot: Plot) -> list[str]:
    return [mark.label for mark in plot.drawing.marks if isinstance(mark, Group)]


def test_every_maker_and_every_size_says_its_amount() -> None:
    assert labels_of(amount_plot(YARN)) == [
        "Size S: half of makers 990 metres, eight in ten 900 to 1090, printed 900 metres, 5 balls, "
        "to print 1200 metres, 6 balls",
        "t01, size S: 960 metres",
        "t02, size S: 962 metres",
        "Size M: half of makers 1100 metres, eight in ten 1000 to 1210, to print 1400 metres, 7 balls",
        "t03, size M: 1130 metres, scaled up from a piece not finished",
    ]


def test_the_amounts_are_there_as_tables_too() -> None:
    plot = amount_plot(YARN)

    assert plot.summary.rows == (
        ("S", "900 (5)", "1200 (6)", "990", "900 to 1090"),
        ("M", "nothing", "1400 (7)", "1100", "1000 to 1210"),
    )
    assert plot.table.rows[2] == ("t03", "M", "1130", "scaled up")


def test_makers_who_took_nearly_the_same_do_not_hide_one_another() -> None:
    dots = [
        mark.marks[0].centre
        for mark in amount_plot(YARN).drawing.marks
        if isinstance(mark, Group) and mark.kind == "point"
    ]

    assert abs(dots[0][0] - dots[1][0]) < 9
    assert dots[0][1] != dots[1][1]


def test_what_to_print_is_written_beside_its_triangle_within_the_drawing_and_the_axis_says_its_numbers_twice():
    drawing = amount_plot(YARN).drawing
    texts = [mark for mark in [*drawing.marks, *inside(drawing)] if isinstance(mark, Text)]

    for metres in ("1200", "1400"):
        written = [mark for mark in texts if mark.words == metres and mark.anchor == "start"]
        assert len(written) == 1
        assert written[0].x + width_of(metres, written[0].size) <= drawing.width
    ticks = [mark.words for mark in texts if mark.anchor == "middle" and mark.words.isdigit()]
    assert len(ticks) == 2 * len(set(ticks)) > 2


def inside(drawing: Drawing) -> list[Mark]:
    """What stands in a drawing's groups."""
    return [part for mark in drawing.marks if isinstance(mark, Group) for part in mark.marks]


def test_a_piece_not_finished_and_printed_and_proposed_amounts_are_told_apart_by_shape() -> None:
    legend = [mark.words for mark in amount_plot(YARN).drawing.marks if isinstance(mark, Text)]
    plain = replace(YARN, sizes=YARN.sizes[1:], points=YARN.points[:1], beyond_half=False)

    assert {"a maker", "not finished, scaled up", "printed", "to print"} < set(legend)
    assert not {"not finished, scaled up", "printed", "to print"} & {
        mark.words for mark in amount_plot(plain).drawing.marks if isinstance(mark, Text)
    }


def test_a_misprint_ten_times_off_does_not_squeeze_the_rest() -> None:
    wild = replace(YARN, sizes=(replace(YARN.sizes[0], printed=9000.0), YARN.sizes[1]))
    here, there = (
        [
            mark.marks[0].centre[0]
            for mark in amount_plot(data).drawing.marks
            if isinstance(mark, Group) and mark.kind == "point"
        ]
        for data in (YARN, wild)
    )

    assert there == pytest.approx(here)


@pytest.mark.parametrize("width", [360, 720])
def test_the_amounts_stay_inside_their_drawing(width: int) -> None:
    plot = amount_plot(YARN, width=width)

    for mark in plot.drawing.marks:
        for leaf in mark.marks if isinstance(mark, Group) else (mark,):
            if isinstance(leaf, Rect):
                assert leaf.x >= 0
                assert leaf.x + leaf.width <= width


def test_made_to_measure_has_one_row_for_all() -> None:
    one = replace(YARN, sizes=(replace(YARN.sizes[0], size=None),), points=(AmountPoint("t01", None, 960),))

    assert [label.split(":")[0] for label in labels_of(amount_plot(one))] == ["All", "t01"]
