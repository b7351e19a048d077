"""A row of the table of who may do what by the API."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.test_access import Scene

Args = Callable[["Scene"], tuple[Any, ...]]


@dataclass(frozen=True)
class Row:
    """What an operation answers to each role. ``at`` are the arguments of its address, ``body`` what is sent there.

    ``media`` is its kind, where it is neither JSON nor a form of several parts."""

    answers: dict[str, int]
    at: Args
    body: Callable[[Scene], Any]
    media: str = ""

    def answer(self, role: str) -> int:
        return self.answers.get(role, self.answers["others"])


def row(
    at: Args = lambda scene: (),
    body: Any = None,
    *,
    others: int = 404,
    signed_out: int = 401,
    media: str = "",
    **answers: int,
) -> Row:
    """A row; roles that are not named are ``others``. ``body`` may be a function of the scene."""
    named = {role.replace("_", " "): status for role, status in answers.items()}
    return Row(
        {"others": others, "signed out": signed_out, **named},
        at,
        body if callable(body) else lambda scene: body,
        media,
    )
