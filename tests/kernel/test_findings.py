"""The findings document: its order, its bytes, its schema."""

from __future__ import annotations

import json

import jsonschema
import pytest
from pydantic import ValidationError

from testround.kernel.findings import (
    AssignmentDocument,
    Cell,
    Extent,
    Finding,
    FindingKind,
    FindingsDocument,
    Parts,
    PatternNamed,
    Verdict,
    findings_json,
    in_order,
)

LENGTH = Finding(
    id="finished-size:body_length",
    kind=FindingKind.FINISHED_SIZE,
    subject="body_length",
    extent=Extent.ALL_SIZES,
    sizes=("XS", "S", "M"),
    verdict=Verdict.AMEND,
    estimate=3.4,
    interval=(2.6, 4.2),
    unit="cm",
    tolerance=2.0,
    testers=14,
    now={"XS": 96, "S": 96, "M": 96},
    proposed={"XS": 86, "S": 86, "M": 86},
    proposed_for="body_rows",
    why="Fourteen testers' pieces came out 3.4 cm longer than their own gauge explains.",
)
CELL = Cell(
    tester="t01",
    size="S",
    dimension="chest",
    target=94.5454545454,
    measured=93.25,
    parts=Parts(counts=0.0, gauge=-2.1, remainder=0.8045454546),
    uncertainty=1.4,
)
DOCUMENT = FindingsDocument(
    pattern=PatternNamed(title="Fenlight Cardigan", edition="0.9"), findings=(LENGTH,), cells=(CELL,)
)


def finding(verdict: Verdict, estimate: float | None, tolerance: float | None, subject: str) -> Finding:
    return Finding(
        id=f"finished-size:{subject}",
        kind=FindingKind.FINISHED_SIZE,
        subject=subject,
        verdict=verdict,
        estimate=estimate,
        tolerance=tolerance,
        why="Because.",
    )


def test_the_file_reads_as_the_format_shows_it():
    assert json.loads(findings_json(DOCUMENT)) == {
        "format": "testround/findings",
        "version": 1,
        "pattern": {"title": "Fenlight Cardigan", "edition": "0.9"},
        "findings": [
            {
                "id": "finished-size:body_length",
                "kind": "finished-size",
                "subject": "body_length",
                "extent": "all-sizes",
                "sizes": ["XS", "S", "M"],
                "verdict": "amend",
                "estimate": 3.4,
                "interval": [2.6, 4.2],
                "unit": "cm",
                "tolerance": 2,
                "testers": 14,
                "now": {"XS": 96, "S": 96, "M": 96},
                "proposed": {"XS": 86, "S": 86, "M": 86},
                "proposed_for": "body_rows",
                "why": "Fourteen testers' pieces came out 3.4 cm longer than their own gauge explains.",
            }
        ],
        "cells": [
            {
                "tester": "t01",
                "size": "S",
                "dimension": "chest",
                "target": 94.5454545454,
                "measured": 93.25,
                "parts": {"counts": 0, "gauge": -2.1, "remainder": 0.8045454546},
                "uncertainty": 1.4,
            }
        ],
    }


def test_whole_counts_are_written_as_integers():
    assert '"proposed": {\n    "XS": 86,' in findings_json(DOCUMENT)


def test_what_is_written_is_read_back_equal():
    text = findings_json(DOCUMENT)

    assert FindingsDocument.model_validate_json(text) == DOCUMENT
    assert findings_json(FindingsDocument.model_validate_json(text)) == text


def test_amend_comes_first_and_then_what_is_furthest_beyond_its_tolerance():
    given = [
        finding(Verdict.OPEN, 9.0, 1.0, "a"),
        finding(Verdict.AMEND, 3.0, 2.0, "b"),
        finding(Verdict.HOLDS, 0.1, 2.0, "c"),
        finding(Verdict.AMEND, -5.0, 2.0, "d"),
        finding(Verdict.LOOK_CLOSER, 4.0, 2.0, "e"),
        finding(Verdict.AMEND, None, None, "f"),
        finding(Verdict.AMEND, 3.0, 2.0, "a"),
    ]

    assert [one.subject for one in in_order(given)] == ["d", "a", "b", "f", "e", "c", "a"]
    assert in_order(given) == in_order(given[::-1])


def test_a_kind_without_sizes_has_no_extent():
    said = json.loads(
        findings_json(DOCUMENT.model_copy(update={"findings": (finding(Verdict.OPEN, None, None, "a"),)}))
    )

    assert said["findings"][0] == {
        "id": "finished-size:a",
        "kind": "finished-size",
        "subject": "a",
        "extent": None,
        "verdict": "open",
        "testers": 0,
        "why": "Because.",
    }


@pytest.mark.parametrize("document", [FindingsDocument, AssignmentDocument])
def test_the_published_schema_is_valid(document):
    jsonschema.Draft202012Validator.check_schema(document.model_json_schema())


def test_the_file_follows_its_schema_and_unknown_keys_do_not():
    schema = FindingsDocument.model_json_schema()
    said = json.loads(findings_json(DOCUMENT))

    jsonschema.validate(said, schema)
    with pytest.raises(jsonschema.ValidationError, match="colour"):
        jsonschema.validate({**said, "colour": "grey"}, schema)
    with pytest.raises(ValidationError, match="colour"):
        FindingsDocument.model_validate({**said, "colour": "grey"})


def test_a_finding_is_found_by_its_id():
    assert DOCUMENT.finding("finished-size:body_length") == LENGTH
    with pytest.raises(KeyError):
        DOCUMENT.finding("finished-size:cuff")
