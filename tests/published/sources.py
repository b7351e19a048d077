"""Reading the copies of published figures that lie beside these tests, unaltered."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

DATA = Path(__file__).parent / "data"


def load(name: str) -> Any:
    return json.loads((DATA / name).read_text(encoding="utf-8"))


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))
