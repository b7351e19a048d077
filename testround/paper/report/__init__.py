"""The report of a round: what came out wrong, whose fault it is, and the numbers that would be right."""

from testround.paper.report.blocks import Linked, Report
from testround.paper.report.case import MOST_TESTERS_SHOWN, Decided, Known
from testround.paper.report.content import report_of, report_pdf
from testround.paper.report.data import (
    Deviation,
    amounts_of,
    deviations_of,
    names_of_testers,
    pooled_deviations,
)
from testround.paper.report.layout import laid_out

__all__ = [
    "MOST_TESTERS_SHOWN",
    "Decided",
    "Deviation",
    "Known",
    "Linked",
    "Report",
    "amounts_of",
    "deviations_of",
    "laid_out",
    "names_of_testers",
    "pooled_deviations",
    "report_of",
    "report_pdf",
]
