"""A small invented round with its analysis written out by hand, for the papers to be held against.

The figures are chosen to be told apart in a text: no two are alike where a test looks for one of them.
"""

from __future__ import annotations

import io
import re
from typing import Any

import pypdf

from testround.kernel.analysis import Analysis, DeviationCell, OwnGauge, PooledGauge, Question
from testround.kernel.findings import (
    Cell,
    Extent,
    Finding,
    FindingKind,
    FindingsDocument,
    Parts,
    PatternNamed,
    Verdict,
)
from testround.kernel.round import Round

SIZES = ("XS", "S", "M", "L", "XL", "2X", "3X", "4X", "5X")
TESTERS = {"t01": ("Alder", "XS"), "t02": ("Birch", "M"), "t03": ("Cedar", "M"), "t04": ("Dogwood", "5X")}


def round_document(**pattern: Any) -> dict[str, Any]:
    """A round file as plain values; keyword arguments replace parts of its pattern."""
    return {
        "format": "testround/round",
        "version": 1,
        "pattern": {
            "title": "Fenlight Cardigan",
            "edition": "0.9",
            "craft": "knit",
            "kind": "graded",
            "gauges": [
                {"key": "body", "label": "Stockinette, blocked", "stitches": 22, "rows": 30, "tool_mm": 4.0}
            ],
            "sizes": list(SIZES),
            "measures": [
                {
                    "key": "bust",
                    "label": "Full bust",
                    "values": {size: 76 + 10 * rank for rank, size in enumerate(SIZES)},
                    "how": "Around the fullest part, the tape level.",
                }
            ],
            "constants": [{"key": "ease", "label": "Ease", "value": 8, "unit": "cm"}],
            "numbers": [
                {
                    "key": "back_sts",
                    "label": "Back, cast on",
                    "place": "Back, step 1",
                    "unit": "st",
                    "formula": "multiple((bust + ease) / 2 * body.st, of=2)",
                },
                {
                    "key": "body_rows",
                    "label": "Rows to underarm",
                    "place": "Back, step 3",
                    "unit": "row",
                    "formula": "multiple(32 * body.row, of=2)",
                    "printed": dict.fromkeys(SIZES, 106),
                },
            ],
            "dimensions": [
                {
                    "key": "chest",
                    "label": "Chest circumference",
                    "tolerance": 2.5,
                    "formula": "2 * back_sts / body.st",
                    "how": "Lay flat after blocking; measure straight across, then double.",
                },
                {
                    "key": "body_length",
                    "label": "Hem to underarm",
                    "tolerance": 2,
                    "formula": "body_rows / body.row",
                },
            ],
            **pattern,
        },
        "round": {"title": "First test"},
        "testers": [
            {
                "id": key,
                "name": name,
                "size": size,
                "swatches": [
                    {
                        "gauge": "body",
                        "state": "blocked",
                        "width": 10,
                        "stitches": 22.5,
                        "height": 10,
                        "rows": 31,
                    }
                ],
            }
            for key, (name, size) in TESTERS.items()
        ],
    }


def a_round(**pattern: Any) -> Round:
    return Round.model_validate(round_document(**pattern))


def _cell(tester: str, dimension: str, target: float, counts: float, gauge: float, remainder: float) -> Cell:
    return Cell(
        tester=tester,
        size=TESTERS[tester][1],
        dimension=dimension,
        target=target,
        measured=target + counts + gauge + remainder,
        parts=Parts(counts=counts, gauge=gauge, remainder=remainder),
        uncertainty=0.4,
    )


def an_analysis(why: str = "Pieces came out 3.4 cm longer than the testers' own gauges explain.") -> Analysis:
    """An analysis of that round, its figures made up."""
    return Analysis(
        findings=FindingsDocument(
            pattern=PatternNamed(title="Fenlight Cardigan", edition="0.9"),
            findings=(
                Finding(
                    id="finished-size:body_length",
                    kind=FindingKind.FINISHED_SIZE,
                    subject="body_length",
                    extent=Extent.ALL_SIZES,
                    sizes=SIZES,
                    verdict=Verdict.AMEND,
                    estimate=3.4,
                    interval=(2.6, 4.2),
                    unit="cm",
                    tolerance=2.0,
                    testers=4,
                    now=dict.fromkeys(SIZES, 106),
                    proposed={size: 95 + rank for rank, size in enumerate(SIZES)},
                    proposed_for="body_rows",
                    why=why,
                ),
                Finding(
                    id="stated-gauge:body.row",
                    kind=FindingKind.STATED_GAUGE,
                    subject="body.row",
                    verdict=Verdict.LOOK_CLOSER,
                    needs={"M": 7},
                    estimate=-1.25,
                    interval=(-1.75, -0.5),
                    unit="row",
                    testers=4,
                    now={"rows": 30},
                    proposed={"rows": 28.5},
                    follows={"body_rows": {size: 84 + 2 * rank for rank, size in enumerate(SIZES)}},
                    why="The testers' rows agree among themselves and not with the pattern.",
                ),
                Finding(
                    id="finished-size:chest",
                    kind=FindingKind.FINISHED_SIZE,
                    subject="chest",
                    verdict=Verdict.HOLDS,
                    testers=4,
                    why="The chest comes out as meant.",
                ),
            ),
            cells=(
                _cell("t01", "body_length", 35.3, 0.0, 1.1, 3.3),
                _cell("t02", "body_length", 35.3, 2.7, -0.7, 3.6),
                _cell("t03", "body_length", 35.3, 0.0, 0.4, -17.2),
                _cell("t04", "body_length", 35.3, -1.3, 0.9, 3.1),
                _cell("t02", "chest", 104.0, 0.0, -1.9, 0.6),
            ),
        ),
        deviations=tuple(
            DeviationCell(
                size=size,
                dimension="body_length",
                target=35.3,
                printed=None,
                tolerance=2.0,
                testers=1,
                estimate=3.0 + rank / 10,
                low=1.0 + rank / 10,
                high=5.0 + rank / 10,
                verdict=Verdict.OPEN if size == "4X" else Verdict.AMEND,
                needs=3 if size == "4X" else None,
            )
            for rank, size in enumerate(SIZES)
        ),
        gauges=(
            PooledGauge(
                gauge="body",
                axis="st",
                stated=22.0,
                estimate=22.25,
                low=21.5,
                high=23.0,
                testers=4,
                verdict=Verdict.HOLDS,
                tolerance=0.5,
                worst="chest",
            ),
            PooledGauge(
                gauge="body",
                axis="row",
                stated=30.0,
                estimate=28.75,
                low=28.25,
                high=29.5,
                testers=4,
                verdict=Verdict.LOOK_CLOSER,
                tolerance=1.5,
                worst="body_length",
            ),
        ),
        own_gauges=tuple(
            OwnGauge(
                tester=tester,
                gauge="body",
                st=21.5 + rank / 2,
                row=28.0 + rank / 2,
                u_st=0.02,
                u_row=0.02,
                source="blocked" if rank < 3 else "assumed",
            )
            for rank, tester in enumerate(TESTERS)
        ),
        questions=(
            Question(
                tester="t03",
                subject="body_length",
                value=18.8,
                expected=36.0,
                cause="half",
                told="Is 18.8 cm half of the measurement?",
            ),
        ),
        converged=True,
    )


# Reading a PDF ------------------------------------------------------------------------------------------------


def read(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf))


def text_of(pdf: bytes) -> str:
    """The whole text of a PDF, every run of white space one space."""
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in read(pdf).pages))


def outline_of(pdf: bytes) -> list[tuple[int, str]]:
    """The bookmarks with their level and title, in order."""

    def walk(entries: list[Any], level: int) -> list[tuple[int, str]]:
        found: list[tuple[int, str]] = []
        for entry in entries:
            found += walk(entry, level + 1) if isinstance(entry, list) else [(level, entry.title)]
        return found

    return walk(read(pdf).outline, 0)
