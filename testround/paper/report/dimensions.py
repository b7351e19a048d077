"""Every dimension with its plot, its verdict, and every tester's piece in the three parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.round import Dimension
from testround.kernel.units import LengthUnit, decimal
from testround.kernel.words import commas, pgettext
from testround.kernel.words import gettext as _
from testround.paper.document import capital
from testround.paper.plots import Deviations, Plot, deviation_plot, parts_bars
from testround.paper.plots.base import own_size
from testround.paper.plots.deviations import pooled_table
from testround.paper.report.blocks import Block, Grid, Picture, Pictures, Section, Text
from testround.paper.report.case import MOST_TESTERS_SHOWN, UNKNOWN, Case, shown_of
from testround.paper.report.data import Deviation, deviations_of, parts_of
from testround.paper.report.findings import in_short
from testround.paper.report.gauges import grid_of

_TALLEST_PLOT = 800.0
_BARS_ABREAST = 28
# About millimetres of A4; the words of the head decide.
_SHARES = (31, 11, *[17] * 4, *[12] * 4, 17)


def dimensions(case: Case) -> list[Section]:
    """A section for every dimension that was measured, and a word on those that were not."""
    sections = []
    without = []
    for stated in case.pattern.dimensions:
        dimension = stated.model_copy(update={"label": case.label(stated.key)})
        found = case.cells.get(dimension.key, [])
        if found:
            sections.append(_dimension(case, dimension, found))
        else:
            without.append(dimension.label)
    if without:
        said = _("Nobody has measured {dimensions} so far.").format(dimensions=commas(without))
        sections.append(Section("not-measured", _("Not measured"), (Text(said),)))
    return sections


def _dimension(case: Case, dimension: Dimension, found: list[Deviation]) -> Section:
    shown = _worst(found)
    data = deviations_of(case.analysis, case.pattern, dimension, shown)
    bars = parts_of(case.pattern, dimension, shown)

    def points(width: float, ident: str) -> Plot:
        return deviation_plot(data, units=case.units, width=width, ident=ident)

    def parts(width: float, ident: str) -> Plot:
        return parts_bars(bars, units=case.units, width=width, ident=ident)

    def split(width: float) -> list[Plot]:
        return [
            parts_bars(
                replace(bars, bars=bars.bars[start : start + _BARS_ABREAST]), units=case.units, width=width
            )
            for start in range(0, len(bars.bars), _BARS_ABREAST)
        ]

    pictures = Pictures(
        (Picture(points, lambda width: _plots(data, case.units, width)), Picture(parts, split)),
        _(
            "Dots: what is left over of each tester's difference after counts and gauge, against the "
            "tolerance. Bars: the difference in its three parts."
        ),
        ident=f"dimension-{dimension.key}",
    )
    blocks: list[Block] = [*_verdict(case, dimension), pictures]
    if data.pooled:
        blocks.append(grid_of(pooled_table(data, case.units)))
    blocks.append(_tester_table(case, dimension, shown))
    more = shown_of(len(found))
    blocks += [Text(said, "small") for said in (more, _facts(case, dimension)) if said]
    title = _("Dimension: {name}").format(name=dimension.label)
    return Section(f"dimension-{dimension.key}", title, tuple(blocks))


def _verdict(case: Case, dimension: Dimension) -> list[Block]:
    """What is said of the dimension as a whole."""
    finding = case.explained.by_id.get(f"finished-size:{dimension.key}")
    if finding is None:
        return []
    words = capital(VERDICT_WORDS[finding.verdict])
    return [Text(f"{words}. {case.said(finding.why)}"), Text(in_short(case, finding), "small")]


def _tester_table(case: Case, dimension: Dimension, found: Sequence[Deviation]) -> Grid:
    belief = case.explained.belief
    rows = []
    for deviation in found:
        cell, parts = deviation.cell, deviation.cell.parts
        after = cell.target + parts.counts
        believed = belief.get((cell.tester, cell.dimension))
        rows.append(
            (
                _("{tester} (to be asked)").format(tester=deviation.tester)
                if deviation.asked
                else deviation.tester,
                own_size(cell.size),
                *(case.bare(cm) for cm in (cell.target, after, after + parts.gauge, cell.measured)),
                *(case.bare(cm, signed=True) for cm in (parts.counts, parts.gauge, parts.remainder)),
                case.bare(cell.uncertainty),
                UNKNOWN if believed is None else decimal(believed, ".2f"),
            )
        )
    return Grid(
        (
            _("Tester"),
            _("Size"),
            pgettext("a column of a piece's figures", "Target"),
            pgettext("a column of a piece's figures", "Worked"),
            pgettext("a column of a piece's figures", "Expected"),
            pgettext("a column of a piece's figures", "Measured"),
            pgettext("a column of a piece's figures", "Counts"),
            pgettext("a column of a piece's figures", "Gauge"),
            pgettext("a column of a piece's figures", "Left"),
            "±",
            pgettext("a column of a piece's figures", "Believed"),
        ),
        tuple(rows),
        tuple(share / sum(_SHARES) for share in _SHARES),
        caption=_(
            "Every tester's piece, in {unit}: measured − target = counts + gauge + left. ± is the standard "
            "uncertainty of what is left; believed, from 0 to 1, is how far it was counted."
        ).format(unit=case.unit),
        right=tuple(range(2, 11)),
        fold=_("Every tester’s piece in its parts"),
    )


def _facts(case: Case, dimension: Dimension) -> str:
    """The figures of the estimate, with what each means said in the method's part."""
    finding = case.explained.by_id.get(f"finished-size:{dimension.key}")
    if finding is None:
        return ""
    return " · ".join(f"{name} {value}" for name, value in case.explained.facts(finding, dimension))


def _worst(found: list[Deviation]) -> list[Deviation]:
    """As reported; of very many, those furthest off the target."""
    if len(found) <= MOST_TESTERS_SHOWN:
        return found
    ranked = sorted(range(len(found)), key=lambda k: -abs(found[k].cell.measured - found[k].cell.target))
    return [found[k] for k in sorted(ranked[:MOST_TESTERS_SHOWN])]


def _plots(data: Deviations, units: LengthUnit, width: float) -> list[Plot]:
    """The plot of one dimension, on as many drawings as its sizes need to fit a page each."""
    plot = deviation_plot(data, units=units, width=width)
    if plot.drawing.height <= _TALLEST_PLOT or len(data.sizes) < 2:
        return [plot]
    middle = len(data.sizes) // 2
    return [
        part
        for sizes in (data.sizes[:middle], data.sizes[middle:])
        for part in _plots(
            replace(
                data,
                sizes=sizes,
                points=tuple(point for point in data.points if point.size in sizes),
                pooled=tuple(pool for pool in data.pooled if pool.size in sizes),
            ),
            units,
            width,
        )
    ]
