from __future__ import annotations

from typing import Any

MEMBERSHIP: dict[str, Any] = {
    "id": 3,
    "pattern": "fEnL1ghtC0d",
    "role": "editor",
    "email": "moss@example.org",
    "name": None,
    "invited_at": "2026-03-03T10:00:00Z",
    "expires": "2026-03-17T10:00:00Z",
    "joined_at": None,
    "ended_at": None,
}
HELD: dict[str, Any] = {**MEMBERSHIP, "name": "Moss", "joined_at": "2026-03-04T08:15:00Z"}
