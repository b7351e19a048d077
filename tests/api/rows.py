"""Who may do what by the API: a row for each operation, by its operationId. See tests/test_access.py for the roles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from testround.api.v1.examples import files as files_examples
from testround.api.v1.examples import patterns as patterns_examples
from testround.api.v1.values import XLSX
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


def _edition(scene: Scene) -> tuple[Any, ...]:
    return (scene.edition.pattern.code, scene.edition.pk)


def _next_edition(scene: Scene) -> dict[str, Any]:
    return {"after": scene.edition.pk, "label": "9.9"}


def _onlookers(scene: Scene) -> tuple[Any, ...]:
    return (scene.edition.pattern.code, scene.onlookers.pk)


def _round(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code,)


API_TABLE: dict[str, Row] = {
    # patterns
    "patterns_list": row(others=200),
    "patterns_create": row(body={"sheet": patterns_examples.SHEET}, others=201),
    "patterns_retrieve": row(_pattern, designer=200, editor=200),
    "patterns_edit": row(_pattern, {"frame_origins": []}, designer=200, editor=403),
    # The pattern of the scene has rounds.
    "patterns_delete": row(_pattern, designer=409, editor=403),
    # editions and sheets: that of the scene is frozen, as a round was opened on it
    "editions_list": row(_pattern, designer=200, editor=200),
    "editions_create": row(_pattern, _next_edition, designer=201, editor=201),
    "editions_retrieve": row(_edition, designer=200, editor=200),
    "editions_edit": row(_edition, {"terms": "uk"}, designer=409, editor=409),
    "editions_release": row(_edition, {"corrected": []}, designer=200, editor=403),
    "sheets_retrieve": row(_edition, designer=200, editor=200),
    "sheets_replace": row(_edition, patterns_examples.SHEET, designer=409, editor=409),
    "sheets_states": row(_edition, designer=200, editor=200),
    "sheets_state": row(lambda scene: (*_edition(scene), 1), designer=200, editor=200),
    "sheets_go_back": row(_edition, {"revision": 1}, designer=409, editor=409),
    "values_csv": row(_edition, designer=200, editor=200),
    "values_xlsx": row(_edition, designer=200, editor=200),
    "values_try": row(_edition, b"Key,S\n", media="text/csv", designer=200, editor=200),
    "values_keep_csv": row(_edition, b"Key,S\n", media="text/csv", designer=409, editor=409),
    "values_keep_xlsx": row(_edition, b"PK", media=XLSX, designer=409, editor=409),
    "checks_retrieve": row(_edition, designer=200, editor=200),
    "checks_try": row(body=patterns_examples.SHEET, others=200),
    # who has a part: the owner says it, the editor reads it; everybody ends their own
    "memberships_list": row(_pattern, designer=200, editor=200),
    "memberships_invite": row(
        _pattern, {"email": "moss@example.org", "role": "editor"}, designer=201, editor=403
    ),
    "memberships_retrieve": row(_onlookers, designer=200, editor=200, onlooker=200),
    "memberships_end": row(_onlookers, designer=204, editor=403, onlooker=204),
    # mailed to an address that is none of theirs
    "memberships_accept": row(body=lambda scene: {"secret": scene.member_secret}, others=410),
    # round files
    "files_import": row(body=files_examples.ROUND_FILE, others=201),
    "files_export": row(_round, designer=200, editor=200),
    "files_export_zip": row(_round, designer=200, editor=200),
    # rounds
    **ROUND_ROWS,
    # reports
    **REPORT_ROWS,
    # errata
    **ERRATA_ROWS,
    # talk, following
    **TALK_ROWS,
}
