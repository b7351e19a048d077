from __future__ import annotations

from typing import Any

HELD: dict[str, Any] = {
    "shelves": [
        {"key": "account", "title": "Your account", "seen_by": "Nobody besides you.", "rows": 1},
        {"key": "swatches", "title": "Swatches", "seen_by": "The designer of the round.", "rows": 2},
    ]
}
