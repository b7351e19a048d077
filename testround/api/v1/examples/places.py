from __future__ import annotations

from typing import Any

from testround.api.v1.examples.rounds import TERMS, WOOL

PLACE: dict[str, Any] = {
    "id": 31,
    "round": {"code": "f1rstT3st", "title": "First test", "state": "swatching"},
    "pattern": "Fenlight Cardigan",
    "edition": "0.9",
    "designer": "Ada",
    "name": "Juniper",
    "size": "M",
    "state": "taken",
    "measures": {"bust": 96.5},
    "yarn": {
        **{key: value for key, value in WOOL.items() if key not in ("key", "makers")},
        "supplied": "hill_wool",
    },
    "opens": "2026-04-01",
    "swatches_due": "2026-04-15",
    "closes": "2026-06-30",
    "purge_on": "2026-12-30",
    "awaits": [
        {"what": "swatch", "due": "2026-04-15", "of_round": "2026-04-15"},
        {"what": "finished measurements", "due": "2026-07-07", "of_round": "2026-06-30"},
    ],
    "agreed_at": "2026-03-22T19:00:00Z",
    "agreed_terms": TERMS,
}
WORKSHEET: dict[str, Any] = {
    "title": "Fenlight Cardigan",
    "edition": "0.9",
    "craft": "knit",
    "size": "M",
    "measures": [
        {
            "key": "bust",
            "label": "Full bust",
            "cm": 96.0,
            "own": 96.5,
            "how": None,
        }
    ],
    "gauges": [
        {
            "key": "body",
            "label": "Stockinette, blocked",
            "stated_stitches": 22.0,
            "stated_rows": 30.0,
            "tool_mm": 4.0,
            "own_stitches": 21.5,
            "own_rows": 29.0,
        }
    ],
    "places": [
        {
            "place": "Back, step 1",
            "numbers": [
                {
                    "key": "back_sts",
                    "label": "Back, cast on",
                    "unit": "st",
                    "value": 118.0,
                    "printed": True,
                    "at_own_gauge": 114.0,
                }
            ],
            "shapings": [],
        }
    ],
    "dimensions": [
        {
            "key": "back_width",
            "label": "Back width",
            "target": 53.6,
            "tolerance": 1.5,
            "how": "Lay flat after blocking; measure straight across under the arms.",
        }
    ],
    "missing": [],
    "cautions": [],
}
TIME: dict[str, Any] = {
    "so_far": 14.5,
    "took": None,
    "guess": 40,
    "share": 0.4,
    "left": {"low": 17, "middle": 21.5, "high": 28},
    "a_week": 3.2,
    "finish": {"earliest": "2026-05-20", "middle": "2026-06-04", "latest": "2026-06-25"},
    "closes": "2026-06-30",
    "prospect": "in time",
    "rests_on": "your own pace so far and the pace of 5 other testers",
}
NEWS: dict[str, Any] = {
    "what": "Answer at Back, step 3",
    "text": "The right side faces you.",
    "at": "2026-04-20T10:00:00Z",
    "is_new": True,
    "url": "https://testround.example.org/rounds/f1rstT3st/questions/12/",
}
