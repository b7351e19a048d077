from __future__ import annotations

from typing import Any

from testround.api.v1.examples.patterns import SHEET

ROUND_FILE: dict[str, Any] = {
    "format": "testround/round",
    "version": 1,
    "pattern": SHEET,
    "round": {
        "title": "First test",
        "opens": "2026-03-10",
        "swatches_due": "2026-03-24",
        "closes": "2026-06-01",
    },
    "testers": [
        {
            "id": "t01",
            "name": "Heron",
            "size": "M",
            "swatches": [
                {
                    "gauge": "body",
                    "state": "blocked",
                    "stitches": 33,
                    "width": 15,
                    "rows": 45,
                    "height": 15,
                }
            ],
        }
    ],
}
IMPORTED: dict[str, Any] = {
    "round": "r0undC0de12",
    "pattern": "fEnL1ghtC0d",
    "edition": 7,
    "state": "swatching",
}
