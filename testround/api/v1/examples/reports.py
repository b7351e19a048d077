"""Kelp tests the Fenlight Cardigan in size M, at place 41."""

from __future__ import annotations

from typing import Any

SWATCH_IN: dict[str, Any] = {
    "gauge": "body",
    "state": "blocked",
    "tool_mm": 4,
    "width": 10.2,
    "stitches": 22.5,
    "height": 10,
    "rows": 30,
}
COUNTS_IN: dict[str, Any] = {"counts": {"back_sts": 118}}
FINISHED_IN: dict[str, Any] = {"state": "blocked", "readings": {"back_width": [53.5, 53.8]}}
SITTING_IN: dict[str, Any] = {"part": None, "hours": 2.5, "done": 0.4}
REMARK_IN: dict[str, Any] = {
    "where": "Back, step 1",
    "kind": "unclear",
    "text": "Which side faces me after the cast-on?",
}
FIT_IN: dict[str, Any] = {"says": {"back_width": "right"}}
MEASURES_IN: dict[str, Any] = {"measures": {"bust": 95}}
GUESS_IN: dict[str, Any] = {"hours": 40, "metres": 1200}
YARN_IN: dict[str, Any] = {"metres": 1130, "grams": 452}

_ROW: dict[str, Any] = {
    "id": 812,
    "place": 41,
    "sent": "2026-03-14T18:20:00Z",
    "late": False,
    "superseded_at": None,
}
SWATCH: dict[str, Any] = {**_ROW, **SWATCH_IN, "tool_mm": 4.0, "height": 10.0, "rows": 30.0}
COUNT: dict[str, Any] = {**_ROW, "number": "back_sts", "worked": 118.0}
FINISHED: dict[str, Any] = {**_ROW, "dimension": "back_width", "state": "blocked", "values": [53.5, 53.8]}
SITTING: dict[str, Any] = {**_ROW, **SITTING_IN, "day": "2026-03-14"}
REMARK: dict[str, Any] = {**_ROW, **REMARK_IN}
FIT: dict[str, Any] = {**_ROW, "dimension": "back_width", "says": "right"}
MEASURES: dict[str, Any] = MEASURES_IN
GUESS: dict[str, Any] = GUESS_IN
YARN: dict[str, Any] = YARN_IN

ANSWER: dict[str, Any] = {
    "good": True,
    "measured": True,
    "sentence": "This will do: Back width is hit hardest and would come out 0.2 cm small; up to 1.5 cm is fine.",
    "advice": None,
    "dimensions": [
        {
            "dimension": "back_width",
            "label": "Back width",
            "target": 53.6,
            "at_own_gauge": 53.4,
            "difference": -0.2,
            "tolerance": 1.5,
            "within": True,
        }
    ],
}


def report(kind: str) -> dict[str, Any]:
    return {"id": 305, "place": 41, "kind": kind, "sent": "2026-03-14T18:20:00Z", "late": False}


def receipt(kind: str, **more: Any) -> dict[str, Any]:
    return {"report": report(kind), "state": "making", **more}


FINISH: dict[str, Any] = {"id": 41, "state": "done"}
TIMER: dict[str, Any] = {
    "started_at": "2026-03-14T18:20:00Z",
    "part": None,
}
COUNTER = "8d3cf5b6-6d0c-4f0f-9b38-6d6a4d9d4f11"
COUNTING: dict[str, Any] = {
    "counters": [{"code": COUNTER, "label": "Left front", "goal": 96, "rows": 14}],
    "ticked": ["back_sts"],
}
COUNTING_IN: dict[str, Any] = {
    "events": [{"id": "1f0a1a52-6a43-4d5f-8b0e-5d7b65f0a001", "kind": "rows", "counter": COUNTER, "rows": 2}]
}
COUNTING_TAKEN: dict[str, Any] = {"taken": ["1f0a1a52-6a43-4d5f-8b0e-5d7b65f0a001"], "refused": []}
CONSENTS: dict[str, Any] = {"kinds": ["seen"]}
THANKS: dict[str, Any] = {"thanked_as": "Kelp", "in_report": False}
UNSENT_IN: dict[str, Any] = {"values": {"kind": "unclear", "text": "Which side"}}
UNSENT: dict[str, Any] = {
    "form": "remark",
    **UNSENT_IN,
    "at": "2026-03-14T18:20:00Z",
    "revision": 3,
}
