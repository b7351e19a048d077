"""A small round with planted faults, read in through the same import as anyone's file."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache

from testround.errata.selectors import analyses
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.rounds.models import Round

SIZES = ("XS", "S", "M")
TARGET_CHEST = {"XS": 92 * 2 / 2.2, "S": 104 * 2 / 2.2, "M": 114 * 2 / 2.2}
# Readings differ a little from tester to tester, as real ones do.
JITTER = (0.0, 0.4, -0.3, 0.2, -0.4, 0.3, -0.1, 0.1)
REMARKS = {
    0: {"place": "Back, step 3", "kind": "unclear", "text": "Which side faces me?"},
    1: {"place": "Back, step 1", "kind": "wrong-number", "text": "118 is two lines wide <b>bold</b>"},
    3: {"kind": "typo", "text": "“stiches”"},
}


def tester_document(index: int) -> dict[str, Any]:
    """A tester at the stated gauge whose piece came out 4 cm longer than its counts explain."""
    size, off = SIZES[index % 3], JITTER[index % len(JITTER)]
    return {
        "id": f"t{index:03}",
        "name": f"Tester {index:03}",
        "size": size,
        "swatches": [
            {
                "gauge": "body",
                "state": "blocked",
                "tool_mm": 4.0,
                "width": 10,
                "stitches": 22,
                "height": 10,
                "rows": 30,
            }
        ],
        "counts": [
            {"number": "back_sts", "worked": {"XS": 92, "S": 104, "M": 114}[size]},
            {"number": "body_rows", "worked": 96},
        ],
        "finished": [
            {"dimension": "chest", "state": "blocked", "values": [round(TARGET_CHEST[size] + off, 1)]},
            {"dimension": "body_length", "state": "blocked", "values": [round(36 + off, 1)]},
        ],
        "remarks": [REMARKS[index]] if index in REMARKS else [],
    }


def round_document(pattern: dict[str, Any], testers: int) -> dict[str, Any]:
    """The pattern with one misprint, size M's cast-on, and testers as in `tester_document`."""
    pattern = json.loads(json.dumps(pattern))
    pattern["numbers"][0]["printed"]["M"] = 118
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": pattern,
        "round": {"title": "First test"},
        "testers": [tester_document(index) for index in range(testers)],
    }


@pytest.fixture
def round_of(designer: User, little_top: dict[str, Any]) -> Callable[..., Round]:
    """Import a round of that many testers for the designer."""

    def make(testers: int, title: str = "Little top") -> Round:
        document = round_document({**little_top, "title": title}, testers)
        return round_import(data=json.dumps(document).encode(), owner=designer)

    return make


@pytest.fixture
def tested(round_of: Callable[..., Round]) -> Round:
    """A round of nine testers, all measured."""
    return round_of(9)


@pytest.fixture
def nothing_kept() -> None:
    """As in a process that has just begun, beside a cache that holds nothing."""
    cache.clear()
    analyses.recent.clear()
