from __future__ import annotations

from typing import Any

WOOL: dict[str, Any] = {
    "key": "hill_wool",
    "label": "Hill wool, supplied",
    "weight": 3,
    "fibre": "wool",
    "metres_per_ball": 200.0,
    "grams_per_ball": 100.0,
    "makers": 6,
}
WOOL_SENT: dict[str, Any] = {key: value for key, value in WOOL.items() if key != "key"}
PLAN: dict[str, Any] = {
    "least": {"XS": 1, "M": 2, "L": 2, "3X": 1},
    "most": {"XS": 2, "M": 3, "L": 3, "3X": 2},
}
TERMS = "Please show nothing of it in public before the pattern is published."
ROUND: dict[str, Any] = {
    "code": "f1rstT3st",
    "title": "First test",
    "state": "planned",
    "pattern": {"code": "fEnL1ghtC0d", "title": "Fenlight Cardigan"},
    "edition": {"id": 7, "label": "0.9"},
    "opens": "2026-04-01",
    "swatches_due": "2026-04-15",
    "closes": "2026-06-30",
    "purge_on": "2026-12-30",
    "purged_at": None,
    "terms": TERMS,
    "places": PLAN,
    "yarns": [WOOL],
    "allow_several": False,
    "shows_standing": True,
    "invite_next": False,
    "offer_days": 7,
    "moved_at": None,
    "created": "2026-03-20T10:00:00Z",
}
ROUND_SENT: dict[str, Any] = {
    "edition": 7,
    "title": "First test",
    "opens": "2026-04-01",
    "swatches_due": "2026-04-15",
    "closes": "2026-06-30",
    "terms": TERMS,
    "places": PLAN,
    "yarns": [WOOL_SENT],
    "shows_standing": True,
}
ENTRY: dict[str, Any] = {
    "id": 12,
    "at": "2026-03-20T10:00:00Z",
    "by": "Ada",
    "place": None,
    "text": "Round opened on edition 0.9; its sheet is now frozen.",
}
STANDING: dict[str, Any] = {
    "round": "f1rstT3st",
    "title": "First test",
    "state": "making",
    "opens": "2026-04-01",
    "swatches_due": "2026-04-15",
    "closes": "2026-06-30",
    "places": 2,
    "finished": 1,
    "rows": [
        {
            "size": "M",
            "places": 2,
            "cells": [
                {"state": "making", "places": 1, "names": []},
                {"state": "measured", "places": 1, "names": ["Juniper"]},
            ],
        }
    ],
    "sent": [{"what": "swatches", "count": 2}],
}
NUDGE: dict[str, Any] = {
    "place": 31,
    "name": "Juniper",
    "why": "swatch",
    "due": "2026-04-15",
    "days": 4,
    "nudged": None,
}
