"""What a report says, section by section, whatever it is laid out on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from testround.kernel.round import Round
from testround.kernel.units import LengthUnit
from testround.kernel.words import gettext as _
from testround.paper.report import outcome
from testround.paper.report.blocks import Report
from testround.paper.report.case import Case, Known
from testround.paper.report.dimensions import dimensions
from testround.paper.report.findings import findings
from testround.paper.report.gauges import gauges
from testround.paper.report.glance import at_a_glance, who_tested
from testround.paper.report.layout import laid_out

if TYPE_CHECKING:
    from testround.kernel.analysis import Analysis


def report_of(
    analysis: Analysis, round_: Round, *, units: LengthUnit = "cm", known: Known | None = None
) -> Report:
    """The report of a round, in the language that is active now.

    Parameters
    ----------
    analysis : Analysis
        What `testround.kernel.analysis.analyse` says of ``round_``.
    round_ : Round
        The round itself, for the names of things.
    units : {"cm", "in"}
        How lengths are written; gauges are over 10 cm or 4 in accordingly.
    known : Known, optional
        What is known besides. Without it testers are called by their ids.
    """
    case = Case(analysis, round_, units, known or Known())
    pattern = round_.pattern
    return Report(
        title=f"{pattern.title}: {round_.round.title}",
        heading=pattern.title,
        subtitle=_("{round} · edition {edition}").format(round=round_.round.title, edition=pattern.edition),
        subject=_("Report of the test round, edition {edition}").format(edition=pattern.edition),
        running=_("Report of the round"),
        sections=(
            at_a_glance(case),
            who_tested(case),
            *findings(case),
            *outcome.decided(case),
            *outcome.questions(case),
            *gauges(case),
            *dimensions(case),
            *outcome.yarn_and_hours(case),
            *outcome.remarks(case),
            *outcome.open_questions(case),
            *outcome.thanks(case),
            outcome.method(),
        ),
    )


def report_pdf(
    analysis: Analysis,
    round_: Round,
    *,
    paper: str = "A4",
    units: LengthUnit = "cm",
    known: Known | None = None,
) -> bytes:
    """The report of a round as a PDF; see :func:`report_of`.

    Raises
    ------
    PaperError
        A paper that is not known; A4 and Letter are.
    """
    return laid_out(report_of(analysis, round_, units=units, known=known), paper=paper)
