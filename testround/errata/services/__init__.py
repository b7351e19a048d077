"""What changes on the errata desk, and the work that follows a report."""

from testround.errata.services.analysing import KEPT_ANALYSES, analysis_keep
from testround.errata.services.asking import asking_send
from testround.errata.services.deciding import decision_undo, finding_accept, finding_decline, finding_wait
from testround.errata.services.drafting import (
    LONGEST_PLACE,
    LONGEST_TEXT,
    Wording,
    errata_merge,
    erratum_complete,
    erratum_discard,
    erratum_from_remarks,
    erratum_reword,
    remark_undo,
    remarks_decide,
)
from testround.errata.services.editions import corrected_sheet, drafts_from_editions, edition_correct
from testround.errata.services.publishing import erratum_publish, problems_before_publishing
from testround.errata.services.values import check_values, gauge_stands, sentences_of

__all__ = [
    "KEPT_ANALYSES",
    "LONGEST_PLACE",
    "LONGEST_TEXT",
    "Wording",
    "analysis_keep",
    "asking_send",
    "check_values",
    "corrected_sheet",
    "decision_undo",
    "drafts_from_editions",
    "edition_correct",
    "errata_merge",
    "erratum_complete",
    "erratum_discard",
    "erratum_from_remarks",
    "erratum_publish",
    "erratum_reword",
    "finding_accept",
    "finding_decline",
    "finding_wait",
    "gauge_stands",
    "problems_before_publishing",
    "remark_undo",
    "remarks_decide",
    "sentences_of",
]
