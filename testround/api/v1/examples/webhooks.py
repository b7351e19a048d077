from __future__ import annotations

from typing import Any

FOLLOWING: dict[str, Any] = {"followers": 128}
WEBHOOK: dict[str, Any] = {
    "key": "c2f0c7f4-6a86-4b9b-9c67-0b7d1f1a9e55",
    "url": "https://shop.example/errata",
    "created": "2026-05-02T10:00:00Z",
    "failing_since": None,
    "paused": "",
    "former_until": None,
}
ADDED: dict[str, Any] = {**WEBHOOK, "secret": "whsec_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"}
DELIVERY: dict[str, Any] = {
    "id": 77,
    "message_id": "msg_Zm9yLXRoZS1leGFtcGxl",
    "kind": "erratum.published",
    "erratum": 1,
    "state": "delivered",
    "created": "2026-05-04T10:00:00Z",
    "finished": "2026-05-04T10:00:01Z",
    "attempts": [{"at": "2026-05-04T10:00:01Z", "status": 204, "problem": "", "milliseconds": 140}],
}
