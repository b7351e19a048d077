"""The plots of a round: every tester's point against the tolerance, the three parts, the gauges, yarn and hours.

Each function takes plain data in centimetres (gauges per 10 cm) and gives a `Plot`: a drawing for page and paper,
and the same figures as a table, for whoever reads numbers better than pictures.
"""

from testround.paper.plots.amounts import AmountOfSize, AmountPoint, Amounts, amount_plot
from testround.paper.plots.base import PHONE, Plot, Table, ticks
from testround.paper.plots.deviations import DeviationPoint, Deviations, PooledDeviation, deviation_plot
from testround.paper.plots.gauges import GaugePoint, Gauges, gauge_plot, gauge_to_a_tenth
from testround.paper.plots.parts import Parts, PartsBar, parts_bars
from testround.paper.plots.region import RegionSide

__all__ = [
    "PHONE",
    "AmountOfSize",
    "AmountPoint",
    "Amounts",
    "DeviationPoint",
    "Deviations",
    "GaugePoint",
    "Gauges",
    "Parts",
    "PartsBar",
    "Plot",
    "PooledDeviation",
    "RegionSide",
    "Table",
    "amount_plot",
    "deviation_plot",
    "gauge_plot",
    "gauge_to_a_tenth",
    "parts_bars",
    "ticks",
]
