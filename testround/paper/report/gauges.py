"""The swatches of a round against every gauge that the pattern states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reportlab.lib.units import mm

from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.gauge_region import GaugeRegion, drawn_region
from testround.kernel.round import StatedGauge
from testround.kernel.words import gettext as _
from testround.paper.gauge_data import gauges_of
from testround.paper.plots import Gauges, Plot, gauge_plot
from testround.paper.plots import Table as Figures
from testround.paper.plots.base import counted
from testround.paper.report.blocks import Block, Grid, Picture, Pictures, Section, Text
from testround.paper.report.case import MOST_NAMED, MOST_TESTERS_SHOWN, Case, shown_of


def gauges(case: Case) -> list[Section]:
    """A section for every gauge that somebody has sent a swatch of."""
    sheet = case.explained.sheet
    sections = []
    for index, stated in enumerate(case.pattern.gauges):
        gauge = stated.model_copy(update={"label": case.told(stated.label)})
        region = drawn_region(sheet, gauge.key)
        data = gauges_of(case.analysis, case.round, gauge, case.names, region, case.over)
        if data.points:
            sections.append(_gauge(case, gauge, index, data, region))
    return sections


def _gauge(case: Case, gauge: StatedGauge, index: int, data: Gauges, region: GaugeRegion | None) -> Section:
    shown = replace(data, points=data.points[:MOST_TESTERS_SHOWN])

    def draw(width: float, ident: str) -> Plot:
        return gauge_plot(shown, units=case.units, width=width, ident=ident)

    plot = draw(430.0, "gauge")
    picture = Picture(draw, lambda width: (draw(width, "gauge"),))
    blocks: list[Block] = [
        Pictures((picture,), "", widest=330.0, ident=f"gauge-{index}"),
        *_region_words(case, plot.notes, region),
    ]
    if plot.summary:
        blocks.append(grid_of(plot.summary))
    said = _verdicts(case, gauge)
    if said:
        blocks.append(Text(said, "small"))
    blocks.append(grid_of(plot.table, fold=_("Every swatch")))
    more = shown_of(len(data.points))
    if more:
        blocks.append(Text(more, "small"))
    title = _("Gauge: {name}").format(name=gauge.label)
    return Section(f"gauge-{index}", case.told(title), tuple(blocks), room=120 * mm)


def grid_of(table: Figures, *, fold: str = "") -> Grid:
    """The table beside a plot. Its columns are as wide as their words need, which `layout` measures."""
    return Grid(table.columns, table.rows, (), caption=table.caption, fold=fold)


def _region_words(case: Case, notes: Sequence[str], region: GaugeRegion | None) -> list[Block]:
    said = [f"{letter}. {words}" for letter, words in zip("ABCD", notes, strict=False)]
    if said:
        said.insert(0, _("In the shaded region every measurement of every size keeps its tolerance."))
    if region and region.beyond:
        out = " ".join(case.said(one.sentence()) for one in region.beyond[:MOST_NAMED])
        left = _("Even at the stated gauge, by the printed numbers, and left out here: {measurements}")
        said.append(left.format(measurements=out))
    return [Text(case.told(words), "small") for words in said]


def _verdicts(case: Case, gauge: StatedGauge) -> str:
    return " ".join(
        (
            _("Stitches: {verdict}, {testers}.") if found.axis == "st" else _("Rows: {verdict}, {testers}.")
        ).format(
            verdict=VERDICT_WORDS.get(str(found.verdict), str(found.verdict)),
            testers=counted(found.testers),
        )
        for found in case.analysis.gauges
        if found.gauge == gauge.key
    )
