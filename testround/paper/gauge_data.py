"""The gauges of an analysis as the plain data that `gauge_plot` draws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from testround.kernel.gauge import AXES, axis_gauge
from testround.kernel.round import FabricState, Round, StatedGauge, Swatch
from testround.kernel.units import GaugeSpan
from testround.paper.plots import GaugePoint, Gauges, RegionSide

if TYPE_CHECKING:
    from testround.kernel.analysis import Analysis, PooledGauge
    from testround.kernel.gauge_region import GaugeRegion


def gauges_of(
    analysis: Analysis,
    round_: Round,
    gauge: StatedGauge,
    names: Mapping[str, str],
    region: GaugeRegion | None = None,
    over: GaugeSpan = "10cm",
) -> Gauges:
    """The testers' own gauges of one fabric, both readings of who sent both, and the pooled ones, for `gauge_plot`."""
    pooled: dict[str, PooledGauge] = {
        str(found.axis): found for found in analysis.gauges if found.gauge == gauge.key
    }

    def interval(axis: str) -> tuple[float, float, float] | None:
        found = pooled.get(axis)
        if found is None or found.estimate is None or found.low is None or found.high is None:
            return None
        return (found.estimate, found.low, found.high)

    swatches = {tester.id: [s for s in tester.swatches if s.gauge == gauge.key] for tester in round_.testers}
    points: list[GaugePoint] = []
    for own in analysis.own_gauges:
        if own.gauge != gauge.key or str(own.source) == "assumed":
            continue
        name = names.get(own.tester, own.tester)
        if str(own.source) == "blocked":
            points += _as_worked(name, swatches.get(own.tester, ()))
        # The analysis has relative uncertainties; the plot draws them in stitches and rows.
        u_st, u_row = own.st * own.u_st, own.row * own.u_row
        points.append(GaugePoint(name, str(own.source), own.st, own.row, u_st, u_row))
    return Gauges(
        title=gauge.label,
        stated_st=gauge.stitches,
        stated_row=gauge.rows,
        points=tuple(points),
        pooled_st=interval("st"),
        pooled_row=interval("row"),
        region=tuple((edge.st, edge.row) for edge in region.boundary) if region else (),
        sides=tuple(
            RegionSide(edge.st, edge.row, words)
            for edge, words in zip(region.ends, region.sentences(over), strict=True)
        )
        if region
        else (),
    )


def _as_worked(name: str, swatches: Sequence[Swatch]) -> list[GaugePoint]:
    """A tester's gauge before blocking, beside the blocked one; none where no swatch was counted then."""
    st, row = (axis_gauge(swatches, axis, FabricState.WORKED) for axis in AXES)
    if st is None and row is None:
        return []
    return [
        GaugePoint(
            name,
            "worked",
            *(None if found is None else found.per_cm * 10 for found in (st, row)),
            *(None if found is None else found.per_cm * 10 * found.u for found in (st, row)),
        )
    ]
