from __future__ import annotations

from typing import Any

SAID: dict[str, Any] = {"text": "The yarn is on its way to everybody."}
NOTE: dict[str, Any] = {"id": 5, "by": "Wren", "at": "2026-03-10T08:00:00Z", **SAID}
WORD: dict[str, Any] = {"id": 9, "own": True, "at": "2026-03-10T08:00:00Z", **SAID}
QUESTION_IN: dict[str, Any] = {
    "where": "Back, step 3",
    "text": "Is the last row a right-side row?",
    "by_name": False,
    "shown": 0,
}
ANSWER: dict[str, Any] = {
    "text": "Yes, end with a right-side row.",
    "at": "2026-03-20T09:00:00Z",
    "is_addition": False,
}
QUESTION: dict[str, Any] = {
    "id": 23,
    "where": "Back, step 3",
    "text": "Is the last row a right-side row?",
    "at": "2026-03-19T20:00:00Z",
    "asked_by": "a tester",
    "to_desk_at": None,
    "answers": [ANSWER],
}
