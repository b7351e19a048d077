from __future__ import annotations

from typing import Any

HELD: dict[str, Any] = {
    "shelves": [
        {"key": "account", "title": "Your account", "seen_by": "Nobody besides you.", "rows": 1},
        {"key": "swatches", "title": "Swatches", "seen_by": "The designer of the round.", "rows": 2},
    ]
}
PREFERENCES: dict[str, Any] = {
    "name": "Juniper",
    "language": "",
    "units": "cm",
    "tools": "metric",
    "terms": "us",
    "time_zone": "Europe/London",
    "mails": ["reminders", "notes"],
}
CALENDAR: dict[str, Any] = {
    "address": "https://testround.example.org/calendar/hBf2cSxyH1mKq0.ics",
    "made": "2026-03-14T18:20:00Z",
}
DAY: dict[str, Any] = {
    "uid": "place-31-swatch@testround.example.org",
    "day": "2026-04-15",
    "summary": "Swatch due: Fenlight Cardigan, size M",
    "description": "What comes later is taken all the same.",
    "url": "https://testround.example.org/places/31/",
}
