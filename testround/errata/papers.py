"""Plots and PDFs of this app: its selectors' results handed over as the plain data that `paper` draws."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from testround.errata.agreement import agreement, standing
from testround.errata.selectors import (
    DimensionResult,
    GaugeResult,
    GaugesResult,
    Read,
    ReportFacts,
    read_round,
    report_known,
)
from testround.kernel.amounts import Amount, Guesses
from testround.kernel.units import GaugeSpan, LengthUnit
from testround.paper.gauge_data import gauges_of
from testround.paper.plots import (
    DeviationPoint,
    Deviations,
    Parts,
    PartsBar,
    Plot,
    amount_plot,
    deviation_plot,
    gauge_plot,
    parts_bars,
)
from testround.paper.report import Report, amounts_of, names_of_testers, pooled_deviations, report_of
from testround.people.readers import Reader


def deviation_svg(result: DimensionResult, units: LengthUnit) -> Plot | None:
    """Every tester's remainder by size over the tolerance band; None while nobody has measured."""
    if not result.points:
        return None
    data = Deviations(
        title=result.dimension.label,
        tolerance=result.dimension.tolerance,
        sizes=result.read.sheet.sizes,
        points=tuple(
            DeviationPoint(point.name, point.size or None, point.remainder, asked=point.question is not None)
            for point in result.points
        ),
        pooled=pooled_deviations(result.read.analysis, result.dimension.key),
    )
    return deviation_plot(data, units=units)


def parts_svg(result: DimensionResult, units: LengthUnit) -> Plot | None:
    """The discrepancy of each piece that is taken apart, in its three parts; None while nobody has measured."""
    if not result.points:
        return None
    bars = tuple(
        PartsBar(
            point.name,
            point.size or None,
            point.counts,
            point.gauge,
            point.remainder,
            asked=point.question is not None,
        )
        for point in result.pieces
    )
    title = result.dimension.label
    if result.size:
        title = _("{dimension}, size {size}").format(dimension=title, size=result.size)
    return parts_bars(Parts(title, result.dimension.tolerance, bars), units=units)


@dataclass(frozen=True, slots=True)
class DrawnGauge:
    result: GaugeResult
    plot: Plot | None
    says: tuple[str, ...]
    """Whether stitches and rows agree with what is stated, a sentence each."""
    standing: str
    rows: tuple[tuple[tuple[str, ...], str], ...]
    """The figures of every swatch, and the address of its dot within the page."""


def gauges_with_plots(result: GaugesResult, units: LengthUnit) -> list[DrawnGauge]:
    """Every gauge with its plot; without one where no tester has sent a swatch of it."""
    names = names_of_testers(result.read.round)
    over: GaugeSpan = "4in" if units == "in" else "10cm"
    drawn = []
    for index, one in enumerate(result.gauges):
        data = gauges_of(result.read.analysis, result.read.round, one.gauge, names, one.region, over)
        plot = gauge_plot(data, units=units, ident=f"gauge-{index}") if data.points else None
        # The first row is the stated gauge, which is no point.
        rows = plot.table.rows[1:] if plot else ()
        anchors = tuple((row, f"gauge-{index}-{k}") for k, row in enumerate(rows))
        drawn.append(DrawnGauge(one, plot, agreement(one, over), standing(one, result.size), anchors))
    return drawn


@dataclass(frozen=True, slots=True)
class DrawnAmount:
    amount: Amount
    title: str
    guesses: Guesses | None
    plot: Plot


def amounts_with_plots(read: Read) -> list[DrawnAmount]:
    """Yarn and hours of a round, each with its plot."""
    taken, names = read.analysis.taken, names_of_testers(read.round)
    drawn = []
    for amount in taken.amounts:
        data = amounts_of(amount, names)
        drawn.append(
            DrawnAmount(
                amount, data.title, taken.guess(amount.kind), amount_plot(data, ident=f"amount-{amount.kind}")
            )
        )
    return drawn


def report(facts: ReportFacts, reader: Reader) -> Report:
    """The report of a round, for page and paper."""
    read = read_round(facts.round)
    return report_of(read.analysis, read.round, units=reader.units, known=report_known(facts, read, reader))


def etag(state: Sequence[Any]) -> str:
    return f'"{hashlib.sha256(repr(state).encode()).hexdigest()[:32]}"'
