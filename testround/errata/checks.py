"""What findings rest on, as the designer and a technical editor see it; it names testers and is never public."""

from __future__ import annotations

from collections.abc import Iterable

from testround.errata.selectors import Read
from testround.kernel.evidence import Evidence, Explained
from testround.kernel.units import LengthUnit
from testround.paper.report import names_of_testers


def checks_of(read: Read, finding_ids: Iterable[str], units: LengthUnit) -> dict[str, Evidence]:
    """The evidence for some findings of a round, by their ids."""
    explained = Explained(read.analysis, read.round, units, names_of_testers(read.round))
    return {finding_id: explained.of(finding_id) for finding_id in finding_ids}
