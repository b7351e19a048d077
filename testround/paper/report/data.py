"""From an analysis to the plain data that plots and tables of the report are made of, and how things are called."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from testround.kernel.amounts import PER_M2
from testround.kernel.findings import Cell
from testround.kernel.round import Dimension, Pattern, Round
from testround.kernel.words import commas
from testround.kernel.words import gettext as _
from testround.paper.plots import (
    AmountOfSize,
    AmountPoint,
    Amounts,
    DeviationPoint,
    Deviations,
    Parts,
    PartsBar,
    PooledDeviation,
)

if TYPE_CHECKING:
    from testround.kernel.amounts import Amount
    from testround.kernel.analysis import Analysis


@dataclass(frozen=True, slots=True)
class Deviation:
    """One tester's finished measurement in its parts, with the names a reader knows."""

    cell: Cell
    tester: str
    asked: bool


def names_of_testers(round_: Round) -> dict[str, str]:
    """What to call each tester; two of the same name are told apart by their id."""
    often = Counter(tester.name for tester in round_.testers)
    return {
        tester.id: tester.name if often[tester.name] == 1 else f"{tester.name} ({tester.id})"
        for tester in round_.testers
    }


def deviations_of(
    analysis: Analysis, pattern: Pattern, dimension: Dimension, found: Sequence[Deviation]
) -> Deviations:
    """One dimension's remainders and pooled estimates, for `deviation_plot`."""
    return Deviations(
        title=dimension.label,
        tolerance=dimension.tolerance,
        sizes=pattern.sizes,
        points=tuple(
            DeviationPoint(one.tester, one.cell.size, one.cell.parts.remainder, one.asked) for one in found
        ),
        pooled=pooled_deviations(analysis, dimension.key),
    )


def pooled_deviations(analysis: Analysis, dimension: str) -> tuple[PooledDeviation, ...]:
    """The pattern's own deviations in one dimension, where there is one."""
    return tuple(
        PooledDeviation(cell.size, cell.estimate, cell.low, cell.high, cell.testers, str(cell.verdict))
        for cell in analysis.deviations
        if cell.dimension == dimension
        and cell.estimate is not None
        and cell.low is not None
        and cell.high is not None
    )


def parts_of(pattern: Pattern, dimension: Dimension, found: Sequence[Deviation]) -> Parts:
    """One dimension's discrepancies in their parts, for `parts_bars`."""
    return Parts(
        dimension.label,
        dimension.tolerance,
        tuple(
            PartsBar(
                one.tester,
                one.cell.size,
                one.cell.parts.counts,
                one.cell.parts.gauge,
                one.cell.parts.remainder,
                one.asked,
            )
            for one in found
        ),
    )


def amounts_of(amount: Amount, names: Mapping[str, str]) -> Amounts:
    """Yarn or hours of a round, for `amount_plot`."""
    title = _("Yarn") if amount.kind == "yarn" else _("Hours")
    unit = _("metres") if amount.kind == "yarn" else _("hours")
    if amount.per_m2:
        title, unit = _("Yarn for a square metre"), _("metres for each square metre")
    return Amounts(
        title=title,
        unit=unit,
        sizes=tuple(
            AmountOfSize(
                size=None if amount.per_m2 else size,
                typical=typical,
                least=amount.least[size],
                most=amount.most[size],
                printed=amount.printed.get(size),
                proposed=amount.proposed[size],
                printed_balls=amount.balls(amount.printed[size]) if size in amount.printed else None,
                proposed_balls=amount.balls(amount.proposed[size]),
            )
            for size, typical in amount.typical.items()
        ),
        points=tuple(
            AmountPoint(
                names.get(one.tester, one.tester),
                None if amount.per_m2 else one.size,
                one.value,
                rough=one.share < 1,
            )
            for one in amount.took
        ),
        beyond_half=amount.kind == "yarn",
    )


def needs_by_size(needs: Mapping[str, int]) -> str:
    """How many testers in which sizes."""
    # Translators: how many testers in which size.
    return commas(_("{n} in {size}").format(n=count, size=size) for size, count in needs.items())


def column_name(name: str) -> str:
    """A size as it is called; the directions of a gauge and the square metre are said."""
    said = {"stitches": _("stitches"), "rows": _("rows"), PER_M2: _("per m²")}
    return said.get(name, name)


def labels_of(pattern: Pattern) -> dict[str, str]:
    labels = {"yarn": _("Yarn needed"), "hours": _("Hours needed")}
    for gauge in pattern.gauges:
        labels[gauge.key] = gauge.label
        labels[f"{gauge.key}.st"] = _("{label}, stitches").format(label=gauge.label)
        labels[f"{gauge.key}.row"] = _("{label}, rows").format(label=gauge.label)
    labels |= {measure.key: measure.label for measure in pattern.measures}
    labels |= {constant.key: constant.label for constant in pattern.constants}
    labels |= {number.key: number.label for number in pattern.numbers}
    labels |= {dimension.key: dimension.label for dimension in pattern.dimensions}
    return labels
