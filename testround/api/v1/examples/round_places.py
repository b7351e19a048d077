from __future__ import annotations

from typing import Any

_OWN_YARN: dict[str, Any] = {
    "label": "Hill wool, supplied",
    "weight": 3,
    "fibre": "wool",
    "metres_per_ball": 200.0,
    "grams_per_ball": 100.0,
    "supplied": "hill_wool",
}
PLACE: dict[str, Any] = {
    "id": 31,
    "key": "t01",
    "name": "Juniper",
    "size": "M",
    "state": "offered",
    "is_held": False,
    "measures": {"bust": 96.5},
    "yarn": _OWN_YARN,
    "candidate": None,
    "offered_until": None,
    "agreed_at": None,
    "swatch_until": None,
    "measures_until": None,
    "likely_from": None,
    "likely_until": None,
    "left_at": None,
    "counts": True,
    "created": "2026-03-21T08:00:00Z",
}
PLACE_SENT: dict[str, Any] = {
    "names": ["Juniper"],
    "size": "M",
    "measures": {"bust": 96.5},
    "yarn": {"supplied": "hill_wool"},
}
