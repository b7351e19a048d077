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
from testround.errata.selectors.credits import Credits, credits_of
from testround.errata.selectors.desk import Desk, desk_of
from testround.errata.selectors.gauges import GaugeResult, GaugesResult, gauges_result
from testround.errata.selectors.public import (
    PublicErrata,
    ShownErratum,
    public_document,
    public_errata,
    public_state,
    shown_erratum,
)
from testround.errata.selectors.results import DimensionResult, decisions_of, dimension_result, results_of

__all__ = [
    "PRESSING",
    "AmountsResult",
    "Credits",
    "Desk",
    "DimensionResult",
    "GaugeResult",
    "GaugesResult",
    "PublicErrata",
    "Read",
    "ShownErratum",
    "amounts_result",
    "credits_of",
    "decisions_of",
    "desk_of",
    "dimension_result",
    "drafts_of",
    "gauges_result",
    "hash_of",
    "judged_by",
    "may_correct",
    "public_document",
    "public_errata",
    "public_state",
    "read_round",
    "results_of",
    "shown_erratum",
    "stands_in",
]
