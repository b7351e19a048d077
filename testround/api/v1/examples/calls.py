from __future__ import annotations

from typing import Any

from testround.api.v1.examples.rounds import TERMS, WOOL

ASKED = "Make one piece in the size we agree on. Send a swatch by 15 April."
GIVEN = "The pattern, now and as it is published."
CALL: dict[str, Any] = {
    "code": "c4llF0rUs",
    "url": "https://testround.example/rounds/call/c4llF0rUs/",
    "opens": None,
    "closes": "2026-03-31",
    "closed_at": None,
    "asked": ASKED,
    "given": GIVEN,
    "terms": TERMS,
    "photo_uses": ["pattern", "online"],
    "for_child": False,
    "offers_wanted": None,
}
CALL_SENT: dict[str, Any] = {
    "closes": "2026-03-31",
    "asked": ASKED,
    "given": GIVEN,
    "photo_uses": ["pattern", "online"],
}
STANDING: dict[str, Any] = {
    "state": "open",
    "unconfirmed": 2,
    "confirmed": 11,
    "waiting": 0,
    "withdrawn": 1,
    "wanted": 33,
}
SHOWN: dict[str, Any] = {
    "code": "c4llF0rUs",
    "state": "open",
    "pattern": "Fenlight Cardigan",
    "edition": "0.9",
    "craft": "knit",
    "designer": "Ada",
    "opens": "2026-04-01",
    "swatches_due": "2026-04-15",
    "closes": "2026-06-30",
    "purge_on": "2026-12-30",
    "asked": ASKED,
    "given": GIVEN,
    "terms": TERMS,
    "photo_uses": ["pattern", "online"],
    "for_child": False,
    "sizes": ["XS", "S", "M"],
    "sought": ["XS", "M"],
    "body": [
        {
            "key": "bust",
            "label": "Full bust",
            "how": "Around the fullest part, the tape level.",
            "values": [76.0, 86.0, 96.0],
        }
    ],
    "finished": [
        {
            "label": "Back width",
            "how": "Lay flat after blocking.",
            "values": [42.7, 48.2, 53.6],
        }
    ],
    "yarns": [WOOL],
    "bring": [{"size": "M", "metres": 1150.0}],
    "pictures": [
        {
            "url": "https://testround.example/reports/call-picture/p1ctur3/",
            "width": 1280,
            "height": 960,
            "shows": "The cardigan from the front",
        }
    ],
    "cautions": [],
}
OFFER_ANSWERS: dict[str, Any] = {
    "name": "Wren",
    "measures": {"bust": 92.5},
    "wishes": ["M", "XS"],
    "yarns": ["hill_wool"],
    "own_yarn": True,
    "tests_before": 3,
    "units": "cm",
    "terms": "us",
    "photo_uses": ["pattern"],
}
OFFER_SENT: dict[str, Any] = {"email": "wren@example.org", "adult": True, **OFFER_ANSWERS}
OFFER: dict[str, Any] = {
    "state": "confirmed",
    "pattern": "Fenlight Cardigan",
    "round": "First test",
    **OFFER_ANSWERS,
}
CANDIDATE: dict[str, Any] = {
    "id": 17,
    "key": "c01",
    "name": "Wren",
    "state": "confirmed",
    "email": "wren@example.org",
    "measures": {"bust": 92.5},
    "wishes": ["M", "XS"],
    "yarns": ["hill_wool"],
    "own_yarn": True,
    "tests_before": 3,
    "photo_uses": ["pattern"],
    "answered": "2026-03-22T18:30:00Z",
    "created": "2026-03-22T18:20:00Z",
}
