from __future__ import annotations

from typing import Any

COURSE: dict[str, Any] = {
    "answer": "Not quite: look at M.",
    "next_state": "making",
    "places": 2,
    "held": 1,
    "measured": 0,
    "given_back": 1,
    "left": 0,
    "rows": [
        {
            "size": "M",
            "least": 2,
            "most": 3,
            "held": 1,
            "offered": 1,
            "on_course": False,
            "likely_late": False,
            "sentence": "1 of 2 held; 1 offered, not yet taken",
        }
    ],
    "late": [
        {"place": 31, "name": "Juniper", "what": "swatch", "due": "2026-04-15", "days": 4},
    ],
    "late_count": 1,
    "next_steps": ["Juniper's swatch is 4 days late."],
}
MAIL: dict[str, Any] = {
    "id": 73,
    "subject": "A place for you: Fenlight Cardigan",
    "name": "Juniper",
    "state": "failed",
    "created": "2026-03-21T08:05:00Z",
}
PICTURE_SENT: dict[str, Any] = {"photo": "(the file)", "shows": "The cardigan from the front, buttoned"}
PICTURE: dict[str, Any] = {
    "code": "5b1d7c3e-94b1-4c1b-a7a7-6f4ad2c0f0b5",
    "shows": "The cardigan from the front, buttoned",
    "state": "waiting",
    "problem": "",
    "url": "https://testround.example/calls/pictures/5b1d7c3e-94b1-4c1b-a7a7-6f4ad2c0f0b5/",
    "width": None,
    "height": None,
    "created": "2026-03-10T11:00:00Z",
}
