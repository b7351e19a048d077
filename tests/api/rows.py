"""Who may do what by the API: a row for each operation, by its operationId. See tests/test_access.py for the roles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from testround.api.v1.examples import patterns as patterns_examples
from tests.api.rows_errata import ERRATA_ROWS
from tests.api.rows_reports import REPORT_ROWS
from tests.api.rows_rounds import ROUND_ROWS
from tests.api.rows_shape import Row as Row
from tests.api.rows_shape import row
from tests.api.rows_talk import TALK_ROWS

if TYPE_CHECKING:
    from tests.test_access import Scene


def _pattern(scene: Scene) -> tuple[Any, ...]:
    return (scene.edition.pattern.code,)


API_TABLE: dict[str, Row] = {
    # patterns
    "patterns_list": row(others=200),
    "patterns_create": row(body={"sheet": patterns_examples.SHEET}, others=201),
    "patterns_retrieve": row(_pattern, designer=200, editor=200),
    "patterns_edit": row(_pattern, {"frame_origins": []}, designer=200, editor=403),
    # The pattern of the scene has rounds.
    "patterns_delete": row(_pattern, designer=409, editor=403),
    # rounds
    **ROUND_ROWS,
    # reports
    **REPORT_ROWS,
    # errata
    **ERRATA_ROWS,
    # talk, following
    **TALK_ROWS,
}
