"""The report of a round: what came out wrong, whose fault it is, and the numbers that would be right."""

from testround.paper.report.data import (
    Deviation,
    amounts_of,
    deviations_of,
    names_of_testers,
    pooled_deviations,
)
from testround.paper.report.story import MOST_TESTERS_SHOWN, report_pdf

__all__ = [
    "MOST_TESTERS_SHOWN",
    "Deviation",
    "amounts_of",
    "deviations_of",
    "names_of_testers",
    "pooled_deviations",
    "report_pdf",
]
