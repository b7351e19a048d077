"""The findings file and the assignment file, version 1: what the analysis and the assignment say.

The Pydantic models are the single source of both published JSON Schemas and of the documents written.
:func:`findings_json` gives the same bytes for the same document: whole counts are written as integers, and
other numbers carry a fixed number of decimals (four in findings, ten in cells, where the three parts must
add up to within 1e-9).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, WrapValidator

from testround.kernel.round import Identifier, Key, Line, SizeName
from testround.kernel.words import Told, pgettext

FINDING_DECIMALS = 4
CELL_DECIMALS = 10
MISFIT_DECIMALS = 6


class Said(BaseModel):
    """One object of a document this program writes: immutable, and closed to keys it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True)


class FindingKind(StrEnum):
    PRINTED_COUNT = "printed-count"
    SCHEMATIC = "schematic"
    WORKED_COUNT = "worked-count"
    STATED_GAUGE = "stated-gauge"
    FINISHED_SIZE = "finished-size"
    YARN = "yarn"
    HOURS = "hours"
    CLARITY = "clarity"
    FIT = "fit"


class Extent(StrEnum):
    ALL_SIZES = "all-sizes"
    WITH_SIZE = "with-size"
    SOME_SIZES = "some-sizes"


class Verdict(StrEnum):
    AMEND = "amend"
    LOOK_CLOSER = "look-closer"
    HOLDS = "holds"
    OPEN = "open"


VERDICT_ORDER = (Verdict.AMEND, Verdict.LOOK_CLOSER, Verdict.HOLDS, Verdict.OPEN)


class _VerdictWords(Mapping[str, str]):
    """Looked up as they are asked for: their reader's language is known then."""

    def __getitem__(self, verdict: str) -> str:
        return {
            Verdict.AMEND.value: pgettext("verdict", "amend"),
            Verdict.LOOK_CLOSER.value: pgettext("verdict", "look closer"),
            Verdict.HOLDS.value: pgettext("verdict", "holds"),
            Verdict.OPEN.value: pgettext("verdict", "open"),
        }[verdict]

    def __iter__(self) -> Iterator[str]:
        return (verdict.value for verdict in Verdict)

    def __len__(self) -> int:
        return len(Verdict)


VERDICT_WORDS: Mapping[str, str] = _VerdictWords()
"""Every verdict as it is said."""
KIND_ORDER = tuple(FindingKind)

Sentence = Annotated[str, WrapValidator(lambda text, read: text if isinstance(text, Told) else read(text))]
"""English in the file; one that was told can be said again in its reader's language."""
Whole = Annotated[float, Field(ge=0)]
BySize = dict[str, Whole]
AsComputed = dict[str, float]
"""What a formula gives may lie below nought, which nobody can work, and is said as it is."""


class Finding(Said):
    """What the analysis says of one thing."""

    id: str
    """The kind and the subject, as in ``finished-size:body_length``."""
    kind: FindingKind
    subject: str
    """A number, a dimension, ``GAUGE.st`` or ``GAUGE.row``, a place in the text, or ``yarn`` or ``hours``."""
    extent: Extent | None = None
    sizes: tuple[SizeName, ...] | None = None
    verdict: Verdict
    needs: dict[str, Annotated[int, Field(ge=1)]] | None = None
    """How many more testers, by size, would settle it."""
    estimate: float | None = None
    """How far off, in ``unit``: what is found minus what the pattern says; the worst of the sizes."""
    interval: tuple[float, float] | None = None
    """The 95 % interval of ``estimate``."""
    unit: str | None = None
    tolerance: float | None = None
    testers: Annotated[int, Field(ge=0)] = 0
    """How many testers' readings it rests on; 0 for the desk check."""
    now: AsComputed | None = None
    """What is printed (or computed, where nothing is), by size; by axis for a stated gauge."""
    proposed: BySize | None = None
    """The whole numbers to print, by size; by axis for a stated gauge; ``per m²`` for yarn made to measure."""
    proposed_for: Key | None = None
    """The number, or printed dimension, that ``proposed`` belongs to."""
    computed: AsComputed | None = None
    """What the formula gives, beside the count that testers agree on; or where that is no count to print."""
    follows: dict[str, AsComputed] | None = None
    """What every other number becomes: number, then size, then count."""
    why: Sentence

    @property
    def over_tolerance(self) -> float:
        """How many tolerances off; 0 where there is no tolerance or no estimate."""
        if self.estimate is None:
            return 0.0
        return abs(self.estimate) / self.tolerance if self.tolerance else 0.0


class Parts(Said):
    """The three parts of a discrepancy, cm; they sum to measured − target to within 1e-9."""

    counts: float
    gauge: float
    remainder: float


class Cell(Said):
    """One finished measurement of one tester against its target, cm."""

    tester: Identifier
    size: SizeName | None
    dimension: Key
    target: float
    measured: float
    parts: Parts
    uncertainty: Annotated[float, Field(ge=0)]
    """Standard uncertainty of the remainder, from the swatch and the readings."""


class PatternNamed(Said):
    title: Line
    edition: Line


class FindingsDocument(Said):
    """What the analysis of a round says, and the input to the errata desk."""

    format: Literal["testround/findings"] = "testround/findings"
    version: Literal[1] = 1
    pattern: PatternNamed
    findings: tuple[Finding, ...] = ()
    cells: tuple[Cell, ...] = ()

    def finding(self, finding_id: str) -> Finding:
        """The finding of that id; KeyError when there is none."""
        for finding in self.findings:
            if finding.id == finding_id:
                return finding
        raise KeyError(finding_id)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Amend first, then by estimate over tolerance, largest first; ties by kind and subject."""
    return tuple(
        sorted(
            findings,
            key=lambda f: (
                VERDICT_ORDER.index(f.verdict),
                -round(f.over_tolerance, FINDING_DECIMALS),
                KIND_ORDER.index(f.kind),
                f.subject,
                f.id,
            ),
        )
    )


def findings_json(document: FindingsDocument) -> str:
    """The findings file as text, ending in a line break; the same bytes for the same document.

    Keys of a finding that say nothing are left out, but for those every finding has: ``extent`` is null for
    kinds without sizes, and a cell's ``size`` is null for a made-to-measure tester.
    """
    found = {
        "format": document.format,
        "version": document.version,
        "pattern": {"title": document.pattern.title, "edition": document.pattern.edition},
        "findings": [_finding(finding) for finding in document.findings],
        "cells": [_cell(cell) for cell in document.cells],
    }
    return json.dumps(found, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _finding(finding: Finding) -> dict[str, Any]:
    said = finding.model_dump(mode="json")
    kept = {key: value for key, value in said.items() if value is not None or key == "extent"}
    return {key: _plain(value, FINDING_DECIMALS) for key, value in kept.items()}


def _cell(cell: Cell) -> dict[str, Any]:
    parts = cell.parts
    return {
        "tester": cell.tester,
        "size": cell.size,
        "dimension": cell.dimension,
        "target": _number(cell.target, CELL_DECIMALS),
        "measured": _number(cell.measured, CELL_DECIMALS),
        "parts": {
            "counts": _number(parts.counts, CELL_DECIMALS),
            "gauge": _number(parts.gauge, CELL_DECIMALS),
            "remainder": _number(parts.remainder, CELL_DECIMALS),
        },
        "uncertainty": _number(cell.uncertainty, CELL_DECIMALS),
    }


def _number(value: float, decimals: int) -> float | int:
    rounded = round(float(value), decimals)
    if rounded == math.trunc(rounded) and abs(rounded) < 1e15:
        return int(rounded)
    return rounded


def _plain(value: Any, decimals: int) -> Any:
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    if isinstance(value, float):
        return _number(value, decimals)
    if isinstance(value, dict):
        return {key: _plain(inner, decimals) for key, inner in value.items()}
    return [_plain(inner, decimals) for inner in value]


# The assignment file --------------------------------------------------------------------------------------


class Objective(Said):
    """What the assignment comes to, in the order in which it is optimised."""

    shortfall: Annotated[int, Field(ge=0)]
    """Places below the sizes' least, in all."""
    placed: Annotated[int, Field(ge=0)]
    misfit_cm: Annotated[float, Field(ge=0)]
    """Sum of the placed candidates' root-mean-square differences from their sizes."""
    wish_steps: Annotated[int, Field(ge=0)]
    sizes_with_two_yarns: Annotated[int, Field(ge=0)]


class Assigned(Said):
    candidate: Identifier
    size: SizeName | None
    yarn: Key | None = None
    """A supplied yarn; null for the candidate's own."""
    why: Sentence


class Reserve(Said):
    candidate: Identifier
    size: SizeName | None
    rank: Annotated[int, Field(ge=1)]
    why: Sentence


class Short(Said):
    size: SizeName
    wanted: Annotated[int, Field(ge=0)]
    got: Annotated[int, Field(ge=0)]
    why: Sentence


class AssignmentDocument(Said):
    """Who makes which size in which yarn, and why."""

    format: Literal["testround/assignment"] = "testround/assignment"
    version: Literal[1] = 1
    optimal: bool
    gap: Annotated[float, Field(ge=0)]
    objective: Objective
    places: tuple[Assigned, ...] = ()
    reserve: tuple[Reserve, ...] = ()
    short: tuple[Short, ...] = ()


def assignment_json(document: AssignmentDocument) -> str:
    """The assignment file as text, ending in a line break; the same bytes for the same document.

    A misfit carries six decimals, the millionths of a centimetre that it is counted in.
    """
    said = _plain(document.model_dump(mode="json"), MISFIT_DECIMALS)
    return json.dumps(said, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
