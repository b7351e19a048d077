from __future__ import annotations

from typing import Any

from testround.api.v1.examples.rounds import TERMS

_SECRET = "kY3vVn0pXw8dRrJt5Qm2LbZs7HcFgUe9AaTxWiNoPyE"  # noqa: S105 -- invented, of no invitation
OPEN: dict[str, Any] = {
    "place": 31,
    "email": "juniper@example.org",
    "created": "2026-03-21T08:05:00Z",
    "expires": "2026-04-20T08:05:00Z",
}
MADE: dict[str, Any] = {
    **OPEN,
    "secret": _SECRET,
    "url": f"https://testround.example/rounds/join/{_SECRET}/",
}
SHOWN: dict[str, Any] = {
    "pattern": "Fenlight Cardigan",
    "edition": "0.9",
    "craft": "knit",
    "round": "First test",
    "designer": "Ada",
    "name": "Juniper",
    "size": "M",
    "yarn": "Hill wool, supplied",
    "opens": "2026-04-01",
    "swatches_due": "2026-04-15",
    "closes": "2026-06-30",
    "purge_on": "2026-12-30",
    "expires": "2026-04-20T08:05:00Z",
    "terms": TERMS,
    "asks_for": [],
}
TAKEN: dict[str, Any] = {"place": 31, "name": "Juniper", "size": "M", "state": "taken"}
JOIN: dict[str, Any] = {
    "name": "Juniper",
    "email": "juniper@example.org",
    "units": "cm",
    "tools": "metric",
    "terms": "us",
    "agree": True,
}
