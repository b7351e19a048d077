"""What a finding rests on: a check by hand on one tester, and the figures for a technical editor.

A check is written so that a designer without statistics can redo it with a pocket calculator: every sum shown
holds as it is shown. It names testers, and is for the designer and a technical editor alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from testround.kernel.analysis import Analysis
from testround.kernel.evidence.amounts import Amounts
from testround.kernel.evidence.base import Evidence, Figures
from testround.kernel.evidence.counts import Counts
from testround.kernel.evidence.gauges import Gauges
from testround.kernel.evidence.printed import Printed
from testround.kernel.evidence.said import Said
from testround.kernel.evidence.sizes import Sizes
from testround.kernel.findings import Finding, FindingKind
from testround.kernel.round import Round
from testround.kernel.units import LengthUnit
from testround.kernel.worked import Step

__all__ = ["Evidence", "Explained", "Figures", "Step", "evidence"]


def evidence(
    analysis: Analysis,
    round: Round,
    finding_id: str,
    units: LengthUnit = "cm",
    called: Mapping[str, str] | None = None,
) -> Evidence:
    """What one finding rests on; see :class:`Explained` for several of one analysis.

    Raises
    ------
    KeyError
        There is no such finding.
    """
    return Explained(analysis, round, units, called).of(finding_id)


class Explained(Printed, Counts, Gauges, Sizes, Amounts, Said):
    """The evidence for the findings of one analysis; made like a :class:`~testround.kernel.evidence.base.Case`."""

    def of(self, finding_id: str) -> Evidence:
        """The evidence for one finding.

        Raises
        ------
        KeyError
            There is no such finding.
        """
        finding = self.by_id[finding_id]
        of_kind: dict[FindingKind, Callable[[Finding], Evidence]] = {
            FindingKind.PRINTED_COUNT: self.printed_count,
            FindingKind.SCHEMATIC: self.schematic,
            FindingKind.WORKED_COUNT: self.worked_count,
            FindingKind.STATED_GAUGE: self.stated_gauge,
            FindingKind.FINISHED_SIZE: self.finished_size,
            FindingKind.YARN: self.amount,
            FindingKind.HOURS: self.amount,
            FindingKind.CLARITY: self.clarity,
            FindingKind.FIT: self.fit,
        }
        return of_kind[finding.kind](finding)

    def all(self) -> dict[str, Evidence]:
        """The evidence for every finding, by its id."""
        return {finding_id: self.of(finding_id) for finding_id in self.by_id}
