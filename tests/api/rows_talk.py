"""Who may read and say what in a round, and see to which programs errata are posted, by the API."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tests.api.rows_reports import of_round, place
from tests.api.rows_shape import Row, row

if TYPE_CHECKING:
    from tests.test_access import Scene


def _question(scene: Scene) -> tuple[Any, ...]:
    return (scene.round.code, scene.question.pk)


def _pattern(scene: Scene) -> tuple[Any, ...]:
    return (scene.edition.pattern.code,)


def _hook(scene: Scene) -> tuple[Any, ...]:
    return (*_pattern(scene), scene.delivery.webhook.key)


# All who are in the round hear what is said to all; private words are for two.
HEARD = {"designer": 200, "editor": 200, "tester": 200, "other_tester": 200}
SAID = {"text": "The yarn is on its way."}

TALK_ROWS: dict[str, Row] = {
    "notes_list": row(of_round, **HEARD),
    "notes_write": row(of_round, SAID, designer=201, editor=201),
    "questions_list": row(of_round, **HEARD),
    "questions_retrieve": row(_question, **HEARD),
    "questions_ask": row(place, {**SAID, "where": "Back, step 1"}, tester=201),
    "questions_answer": row(_question, {**SAID, "after": 0}, designer=200, editor=200),
    # It waits for an answer.
    "questions_remark": row(_question, designer=422, editor=422),
    "words_list": row(place, tester=200, designer=200),
    "words_write": row(place, SAID, tester=201, designer=201),
    "following_retrieve": row(_pattern, designer=200, editor=200),
    "webhooks_list": row(_pattern, designer=200, editor=403),
    # A name that never leads anywhere (RFC 6761).
    "webhooks_add": row(_pattern, {"url": "https://other.invalid/"}, designer=201, editor=403),
    "webhooks_retrieve": row(_hook, designer=200),
    "webhooks_remove": row(_hook, designer=204),
    "webhooks_pause": row(_hook, designer=200),
    "webhooks_resume": row(_hook, designer=200),
    "webhooks_renew": row(_hook, designer=200),
    "webhooks_try": row(_hook, designer=200),
    "deliveries_list": row(_hook, designer=200),
    "deliveries_again": row(lambda scene: (*_hook(scene), scene.delivery.pk), designer=200),
    "preferences_retrieve": row(others=200),
    "preferences_edit": row(body={"units": "in"}, others=200),
    "calendar_retrieve": row(others=200),
    "calendar_renew": row(others=200),
    "calendar_withdraw": row(others=204),
    "calendar_days": row(others=200),
    "calendar_file": row(others=200),
    "held_retrieve": row(others=200),
    "held_download": row(others=200),
}
