"""The Fenlight Cardigan prints a wrong cast-on for size M; three testers worked another."""

from __future__ import annotations

from typing import Any

MISPRINT = "printed-count:back_sts"

FINDING: dict[str, Any] = {
    "id": MISPRINT,
    "kind": "printed-count",
    "subject": "back_sts",
    "sizes": ["M"],
    "verdict": "amend",
    "unit": "st",
    "testers": 0,
    "now": {"M": 118},
    "proposed": {"M": 114},
    "proposed_for": "back_sts",
    "why": "The formula gives 114 stitches in size M; 118 is printed.",
}
FINDINGS: dict[str, Any] = {
    "format": "testround/findings",
    "version": 1,
    "pattern": {"title": "Fenlight Cardigan", "edition": "0.9"},
    "findings": [FINDING],
    "cells": [],
}
ANALYSIS: dict[str, Any] = {
    "input_hash": "4c0b1e55b9a44a0b2a4cd6a1f7c1c0d8f9b9e0c1a2d3e4f5061728394a5b6c7d",
    "verdicts": {"amend": 1, "fine": 12},
    "kept_at": "2026-04-20T10:00:00Z",
}
DECISION: dict[str, Any] = {
    "finding": MISPRINT,
    "choice": "declined",
    "reason": "The text was printed before; it is right in the next one.",
    "at": "2026-04-21T09:00:00Z",
    "draft": None,
}
DRAFT: dict[str, Any] = {
    "id": 17,
    "number": None,
    "edition": 7,
    "round": "rOund1C0d3",
    "place": "Back, step 1",
    "sizes": ["M"],
    "changes": [
        {
            "subject": "back_sts",
            "label": "Back, cast on",
            "place": "Back, step 1",
            "unit": "st",
            "was": {"M": 118},
            "now": {"M": 114},
            "finding": MISPRINT,
        }
    ],
    "text": "Back, cast on: 114 stitches in size M, not 118.",
    "why": "",
    "corrects": None,
    "findings": [MISPRINT],
    "remarks": [],
    "created": "2026-04-21T09:00:00Z",
    "published_at": None,
    "address": None,
    "document": None,
}
PUBLISHED: dict[str, Any] = {
    **DRAFT,
    "number": 1,
    "published_at": "2026-04-22T09:00:00Z",
    "address": "https://testround.example.org/errata/fEnL1ghtC0d/1/",
    "document": "https://testround.example.org/errata/fEnL1ghtC0d/errata.json",
}
REMARK: dict[str, Any] = {
    "id": 812,
    "place": 41,
    "where": "Back, step 1",
    "kind": "unclear",
    "text": "Which side faces me after the cast-on?",
    "decision": None,
    "errata": [],
    "again": False,
    "asked": [
        {
            "place": 41,
            "at": "2026-04-21T09:00:00Z",
            "question": "Which cast-on did you use?",
            "answered_at": None,
            "answer": "",
        }
    ],
}
REMARK_DECISION: dict[str, Any] = {
    "remark": 812,
    "choice": "declined",
    "reason": "Said in the abbreviations.",
    "at": "2026-04-21T09:00:00Z",
}
ON_DESK: dict[str, Any] = {
    "finding": FINDING,
    "headline": "Back, cast on: print 114 stitches in size M, not 118.",
    "decision": None,
    "changed": "",
    "gone": False,
    "asked": [],
}
DESK: dict[str, Any] = {
    "undecided": [ON_DESK],
    "waiting": [],
    "quiet": [],
    "decided": [],
    "remarks": [REMARK],
    "settled_remarks": [],
    "drafts": [],
    "published": [],
}
PREVIEW: dict[str, Any] = {
    "problems": [],
    "follows": [{"key": "back_width", "kind": "dimension", "was": {"M": 53.6}, "now": {"M": 51.8}}],
    "to_add": [],
    "together": [],
}
REWORD: dict[str, Any] = {
    "text": "Cast on 114 stitches in size M.",
    "changes": [{"subject": "back_sts", "unit": "st", "now": {"M": 114}}],
}
ASKED: dict[str, Any] = {"places": [41]}
EDITION: dict[str, Any] = {"id": 8, "pattern": "fEnL1ghtC0d", "label": "1.0"}
