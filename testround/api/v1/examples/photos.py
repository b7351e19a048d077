from __future__ import annotations

from typing import Any

PHOTO_IN: dict[str, Any] = {
    "photo": "(the file)",
    "dimension": "back_width",
    "caption": "Back, blocked",
    "seen": True,
}
PHOTO: dict[str, Any] = {
    "code": "5b1d7c3e-94b1-4c1b-a7a7-6f4ad2c0f0b4",
    "place": 41,
    "sent": "2026-04-02T17:00:00Z",
    "caption": "Back, blocked",
    "dimension": "back_width",
    "state": "ready",
    "problem": "",
    "renditions": [{"width": 320, "height": 240}, {"width": 1280, "height": 960}],
}
WAITING: dict[str, Any] = {**PHOTO, "state": "waiting", "renditions": []}
