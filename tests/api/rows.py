"""Who may do what by the API: a row for each operation, by its operationId. See tests/test_access.py for the roles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from testround.api.v1.examples import patterns as patterns_examples

if TYPE_CHECKING:
    from tests.test_access import Scene

Args = Callable[["Scene"], tuple[Any, ...]]


@dataclass(frozen=True)
class Row:
    """What an operation answers to each role. ``at`` are the arguments of its address, ``body`` what is sent there."""

    answers: dict[str, int]
    at: Args
    body: Callable[[Scene], Any]

    def answer(self, role: str) -> int:
        return self.answers.get(role, self.answers["others"])


def row(
    at: Args = lambda scene: (), body: Any = None, *, others: int = 404, signed_out: int = 401, **answers: int
) -> Row:
    """A row; roles that are not named are ``others``. ``body`` may be a function of the scene."""
    named = {role.replace("_", " "): status for role, status in answers.items()}
    return Row(
        {"others": others, "signed out": signed_out, **named},
        at,
        body if callable(body) else lambda scene: body,
    )


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
}
