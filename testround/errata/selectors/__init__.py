"""What the results, the desk and the public errata pages read."""

from testround.errata.selectors.amounts import AmountsResult, amounts_result
from testround.errata.selectors.analyses import (
    PRESSING,
    Read,
    drafts_of,
    hash_of,
    judged_by,
    may_correct,
    read_round,
    stands_in,
)
from testround.errata.selectors.compared import (
    ComparedEditions,
    changes_between_sheets,
    compared_editions,
    editions_of,
)
from testround.errata.selectors.credits import Credits, credits_of
from testround.errata.selectors.desk import Askable, Desk, askable, behind, desk_of
from testround.errata.selectors.effects import measurements_kept
from testround.errata.selectors.following import Following, amendments_of, following_of, published_sheet
from testround.errata.selectors.gauges import GaugeResult, GaugesResult, gauges_result
from testround.errata.selectors.public import (
    PublicErrata,
    ShownErratum,
    changes_of,
    frame_origins,
    public_errata,
    public_state,
    shown_erratum,
)
from testround.errata.selectors.report import ReportFacts, report_facts, report_known
from testround.errata.selectors.results import DimensionResult, decisions_of, dimension_result, results_of
from testround.errata.selectors.standing import Standing, standing_of

__all__ = [
    "PRESSING",
    "AmountsResult",
    "Askable",
    "ComparedEditions",
    "Credits",
    "Desk",
    "DimensionResult",
    "Following",
    "GaugeResult",
    "GaugesResult",
    "PublicErrata",
    "Read",
    "ReportFacts",
    "ShownErratum",
    "Standing",
    "amendments_of",
    "amounts_result",
    "askable",
    "behind",
    "changes_between_sheets",
    "changes_of",
    "compared_editions",
    "credits_of",
    "decisions_of",
    "desk_of",
    "dimension_result",
    "drafts_of",
    "editions_of",
    "following_of",
    "frame_origins",
    "gauges_result",
    "hash_of",
    "judged_by",
    "may_correct",
    "measurements_kept",
    "public_errata",
    "public_state",
    "published_sheet",
    "read_round",
    "report_facts",
    "report_known",
    "results_of",
    "shown_erratum",
    "standing_of",
    "stands_in",
]
