"""What the pieces of the Fenlight Cardigan took, and the gauges at which it works."""

from __future__ import annotations

from typing import Any

AMOUNTS: dict[str, Any] = {
    "amounts": [
        {
            "kind": "yarn",
            "unit": "m",
            "makers": 6,
            "ball": 220,
            "sizes": [
                {
                    "size": "M",
                    "printed": 1100,
                    "enough_for": 0.72,
                    "typical": 1052,
                    "low": 1011,
                    "high": 1095,
                    "least": 954,
                    "most": 1160,
                    "proposed": 1320,
                    "balls": 6,
                }
            ],
            "took": [{"tester": "t01", "size": "M", "share": 1, "whole": 1074}],
            "guesses": {"testers": 5, "over": 3, "ratio": 1.08, "low": 0.94, "high": 1.24},
        }
    ]
}
_LIMIT: dict[str, Any] = {"dimension": "back_width", "size": "5X", "too_large": True}
_FEW: dict[str, Any] = {"st": 21.2, "row": 30, "limit": _LIMIT}
_MANY: dict[str, Any] = {"st": 22.9, "row": 30, "limit": {**_LIMIT, "too_large": False}}
GAUGES: dict[str, Any] = {
    "gauges": [
        {
            "key": "body",
            "label": "Stockinette, blocked",
            "stated": {"st": 22, "row": 30},
            "own": [{"tester": "t01", "source": "blocked", "st": 21.8, "row": 30.5}],
            "region": {
                "boundary": [_FEW, _MANY],
                "few_st": _FEW,
                "many_st": _MANY,
                "few_row": None,
                "many_row": None,
                "beyond": [],
            },
            "standing": {"swatches": 6, "own": 6, "every": 5},
        }
    ]
}
