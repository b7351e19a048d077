"""Who may read findings and decide on errata by the API."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from tests.api.rows_reports import of_round
from tests.api.rows_shape import Row, row

if TYPE_CHECKING:
    from tests.test_access import Scene

MISPRINT = "printed-count:back_sts"


def _draft(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, scene.draft.pk)


def _pattern(scene: Scene) -> tuple[Any, ...]:
    return (scene.edition.pattern.code,)


def _remarks(**more: Any) -> Callable[[Scene], dict[str, Any]]:
    return lambda scene: {"remarks": [scene.place.remark_rows.get().pk], **more}


def judges(at: Any, body: Any = None, status: int = 200, editor: int | None = None) -> Row:
    """Who owns or edits the pattern; what is the owner's alone says what an editor gets."""
    return row(at, body, designer=status, editor=status if editor is None else editor)


ERRATA_ROWS: dict[str, Row] = {
    "analysis_retrieve": judges(of_round),
    "analysis_run": judges(of_round),
    "analysis_report": judges(of_round),
    "amounts_retrieve": judges(of_round),
    "gauges_retrieve": judges(of_round),
    "findings_retrieve": judges(of_round),
    "desk_retrieve": judges(of_round),
    "findings_accept": judges(of_round, {"findings": [MISPRINT]}, 201),
    "findings_decline": judges(of_round, {"finding": MISPRINT, "reason": "It is meant so."}),
    "findings_wait": judges(of_round, {"finding": MISPRINT}),
    # Nothing is decided yet.
    "findings_undo": judges(of_round, {"finding": MISPRINT}, 422),
    "findings_ask": judges(
        of_round,
        lambda scene: {
            "finding": "finished-size:body_length",
            "places": [scene.place.pk],
            "text": "How many?",
        },
        editor=403,
    ),
    "remarks_draft": judges(of_round, _remarks(), 201),
    "remarks_decline": judges(of_round, _remarks(reason="It is said above.")),
    "remarks_wait": judges(of_round, _remarks()),
    "remarks_undo": judges(of_round, _remarks(), 422),
    "remarks_ask": judges(
        of_round,
        lambda scene: {**_remarks()(scene), "places": [scene.place.pk], "text": "Which side?"},
        editor=403,
    ),
    "drafts_list": judges(of_round),
    # There is one draft alone.
    "drafts_merge": judges(of_round, lambda scene: {"drafts": [scene.draft.pk, scene.draft.pk + 1000]}, 422),
    "drafts_retrieve": judges(_draft),
    "drafts_edit": judges(_draft, {"text": "Work 98 rows."}),
    "drafts_discard": judges(_draft, status=204),
    "drafts_complete": judges(_draft),
    "drafts_preview": judges(_draft),
    "drafts_publish": judges(_draft, editor=403),
    "editions_correct": judges(of_round, {"label": "1.1"}, 201),
    "errata_list": judges(_pattern),
    # There is one edition alone, and none is named.
    "editions_compare": judges(_pattern, status=422),
    "editions_draft": judges(_pattern, lambda scene: {"old": scene.edition.pk, "new": scene.edition.pk}, 422),
}
