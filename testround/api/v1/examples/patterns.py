from __future__ import annotations

from typing import Any

SIZES = ["XS", "S", "M", "L", "XL", "2X", "3X", "4X", "5X"]
_BUST = [76, 86, 96, 106, 117, 127, 137, 147, 157]
_CAST_ON = [94, 106, 118, 126, 138, 150, 162, 174, 182]

SHEET: dict[str, Any] = {
    "title": "Fenlight Cardigan",
    "edition": "0.9",
    "craft": "knit",
    "kind": "graded",
    "gauges": [
        {
            "key": "body",
            "label": "Stockinette, blocked",
            "stitches": 22,
            "rows": 30,
            "tool_mm": 4,
            "yarn_weight": 3,
        }
    ],
    "sizes": SIZES,
    "measures": [{"key": "bust", "label": "Full bust", "values": dict(zip(SIZES, _BUST, strict=True))}],
    "constants": [{"key": "ease", "label": "Ease at bust", "value": 10, "unit": "cm"}],
    "numbers": [
        {
            "key": "back_sts",
            "label": "Back, cast on",
            "place": "Back, step 1",
            "unit": "st",
            "formula": "multiple((bust + ease) / 2 * body.st, of=4, plus=2)",
            "printed": dict(zip(SIZES, _CAST_ON, strict=True)),
        }
    ],
    "dimensions": [
        {
            "key": "back_width",
            "label": "Back width",
            "tolerance": 1.5,
            "formula": "back_sts / body.st",
            "how": "Lay flat after blocking; measure straight across under the arms.",
        }
    ],
}
PATTERN: dict[str, Any] = {
    "code": "fEnL1ghtC0d",
    "title": "Fenlight Cardigan",
    "role": "owner",
    "created": "2026-03-02T09:30:00Z",
    "frame_origins": [],
    "editions": [
        {
            "id": 7,
            "label": "0.9",
            "created": "2026-03-02T09:30:00Z",
            "frozen_at": None,
            "released_at": None,
        }
    ],
}
EDITION: dict[str, Any] = {
    "id": 7,
    "pattern": "fEnL1ghtC0d",
    "label": "0.9",
    "terms": "us",
    "revision": 1,
    "created": "2026-03-02T09:30:00Z",
    "frozen_at": None,
    "released_at": None,
    "corrected": [],
}
RELEASED: dict[str, Any] = {
    **EDITION,
    "revision": 2,
    "frozen_at": "2026-06-01T12:00:00Z",
    "released_at": "2026-06-01T12:00:00Z",
}
STATE: dict[str, Any] = {
    "revision": 1,
    "way": "typed",
    "saved_by": "Wren",
    "saved_at": "2026-03-02T09:30:00Z",
}
VALUE_CHANGE: dict[str, Any] = {
    "key": "back_sts",
    "name": "Back, cast on",
    "size": "L",
    "was": 126,
    "now": 128,
}
CHECK: dict[str, Any] = {
    "clean": False,
    "counts": [{"key": "back_sts", "size": "L", "printed": 128, "computed": 126, "place": "Back, step 1"}],
    "measurements": [],
    "notes": [],
    "cautions": [
        {"kind": "steam", "sentence": "Before steam or heat, follow the care symbols on the yarn label."},
    ],
}
