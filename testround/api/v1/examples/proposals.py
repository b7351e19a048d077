from __future__ import annotations

from typing import Any

from testround.api.v1.examples.round_places import PLACE

_SECRET = "kY3vVn0pXw8dRrJt5Qm2LbZs7HcFgUe9AaTxWiNoPyE"  # noqa: S105 -- invented, of no invitation
PROPOSAL: dict[str, Any] = {
    "revision": 3,
    "reach": 5.0,
    "pins": [{"candidate": "c01", "size": "M", "yarn": None}],
    "exclusions": [{"candidate": "c04", "size": "XS"}],
    "moves": {"c02": {"size": "S", "yarn": "hill_wool"}, "c03": None},
    "contradicts": [],
    "seen": "6b0e8c1f3d2a",
    "answer": "2 of 4 candidates would have a place.",
    "proof": "2 are left out; the reasons are in the table.",
    "seats": [
        {
            "candidate": "c01",
            "name": "Wren",
            "placed": True,
            "size": "M",
            "yarn": None,
            "why": "0.5 cm off M.",
            "by_hand": False,
            "kept": True,
            "reserve": "",
        }
    ],
    "sizes": [{"size": "M", "there": 0, "proposed": 1, "least": 1, "most": 3, "short": ""}],
    "broken": [],
    "costs": [],
    "word_costs": [],
    "lost": [],
}
SAVED: dict[str, Any] = {"revision": 2, "moves": {"c02": {"size": "S", "yarn": "hill_wool"}, "c03": None}}
LIMITS: dict[str, Any] = {"revision": 2, "reach": 6.0, "invite_next": True, "offer_days": 7}
ACCEPT: dict[str, Any] = {"revision": 3, "seen": "6b0e8c1f3d2a", "until": "2026-04-05"}
INVITED: dict[str, Any] = {"place": {**PLACE, "candidate": 17}, "mailed": True, "secret": None, "url": None}
BY_HAND: dict[str, Any] = {
    **INVITED,
    "mailed": False,
    "secret": _SECRET,
    "url": f"https://testround.example/rounds/join/{_SECRET}/",
}
VACANCY: dict[str, Any] = {
    "id": 4,
    "place": 29,
    "name": "Reed",
    "candidate": 19,
    "next": "Hazel",
    "size": "S",
    "yarn": None,
    "why": "1.5 cm off S.",
}
