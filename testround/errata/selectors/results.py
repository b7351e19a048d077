"""The results of a round: sizes by dimensions, and one dimension."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from testround.errata.models import Decision
from testround.errata.selectors.analyses import PRESSING, Read, read_round
from testround.errata.wording import (
    Named,
    names_of,
)
from testround.kernel.analysis import DeviationCell, Question
from testround.kernel.round import Dimension
from testround.kernel.sheet import Sheet
from testround.rounds.models import Round


@dataclass(frozen=True, slots=True)
class ResultRow:
    """One dimension across the sizes; a cell is None where nobody measured it."""

    key: str
    label: str
    tolerance: float
    cells: tuple[tuple[str, DeviationCell | None], ...]


@dataclass(frozen=True, slots=True)
class Results:
    """What came out wrong, and whose fault is it?"""

    read: Read
    names: Mapping[str, Named]
    columns: tuple[str, ...]
    rows: tuple[ResultRow, ...]
    pressing: tuple[Mapping[str, Any], ...]
    decided: tuple[tuple[Mapping[str, Any], Decision], ...]
    quiet: tuple[Mapping[str, Any], ...]
    questions: tuple[tuple[str, Question], ...]
    testers: int
    measured: int


# The one column of a made-to-measure pattern.
NO_SIZE = "Every piece"


def results_of(round: Round) -> Results:
    read = read_round(round)
    sheet = read.sheet
    columns = tuple(sheet.sizes) or (NO_SIZE,)
    cells = {(cell.dimension, cell.size or NO_SIZE): cell for cell in read.analysis.deviations}
    called = {tester.id: tester.name for tester in read.round.testers}
    decisions = {
        decision.finding_id: decision for decision in round.decisions.select_related("erratum__pattern")
    }
    pressing = [finding for finding in read.document["findings"] if finding["verdict"] in PRESSING]
    return Results(
        read=read,
        names=names_of(sheet),
        columns=columns,
        rows=tuple(
            ResultRow(
                dimension.key,
                dimension.label,
                dimension.tolerance,
                tuple((column, cells.get((dimension.key, column))) for column in columns),
            )
            for dimension in sheet.dimensions
        ),
        pressing=tuple(finding for finding in pressing if finding["id"] not in decisions),
        decided=tuple(
            (finding, decisions[finding["id"]]) for finding in pressing if finding["id"] in decisions
        ),
        quiet=tuple(finding for finding in read.document["findings"] if finding["verdict"] not in PRESSING),
        questions=tuple((called[question.tester], question) for question in read.analysis.questions),
        testers=len(read.round.testers),
        measured=sum(bool(tester.finished) for tester in read.round.testers),
    )


@dataclass(frozen=True, slots=True)
class TesterPoint:
    """One tester's piece in one dimension, in centimetres."""

    name: str
    size: str
    target: float
    measured: float
    counts: float
    gauge: float
    remainder: float
    uncertainty: float
    believed: float | None
    """From 0 to 1, how far it was believed; None where it was set aside."""
    question: Question | None

    @property
    def with_counts(self) -> float:
        """What the counts worked give at the stated gauge."""
        return self.target + self.counts

    @property
    def expected(self) -> float:
        """What they give at the tester's own gauge."""
        return self.with_counts + self.gauge

    @property
    def off(self) -> float:
        return self.measured - self.target


@dataclass(frozen=True, slots=True)
class Effect:
    """What a proposed correction does to a dimension in one size, in centimetres."""

    size: str
    before: float
    change: float

    @property
    def after(self) -> float:
        return self.before + self.change


@dataclass(frozen=True, slots=True)
class DimensionResult:
    read: Read
    names: Mapping[str, Named]
    dimension: Dimension
    cells: tuple[tuple[str, DeviationCell], ...]
    points: tuple[TesterPoint, ...]
    findings: tuple[Mapping[str, Any], ...]
    corrected: str
    """The finding whose correction `effects` works out; empty where there is none."""
    effects: tuple[Effect, ...]
    before: Dimension | None
    after: Dimension | None


def dimension_result(round: Round, key: str) -> DimensionResult | None:
    """One dimension with every tester's point; None when the sheet has no such dimension."""
    read = read_round(round)
    dimensions = read.sheet.dimensions
    at = next((index for index, dimension in enumerate(dimensions) if dimension.key == key), None)
    if at is None:
        return None
    called = {tester.id: tester.name for tester in read.round.testers}
    # What is asked about this dimension alone comes before what is asked about the whole piece.
    asking = sorted(read.analysis.questions, key=lambda question: question.subject == key)
    asked = {question.tester: question for question in asking if key in question.about}
    order = {size: index for index, size in enumerate(read.sheet.sizes)}
    belief = read.analysis.behind.belief()
    points = [
        TesterPoint(
            name=called[cell["tester"]],
            size=cell.get("size") or "",
            target=cell["target"],
            measured=cell["measured"],
            counts=cell["parts"]["counts"],
            gauge=cell["parts"]["gauge"],
            remainder=cell["parts"]["remainder"],
            uncertainty=cell["uncertainty"],
            believed=belief.get((cell["tester"], key)),
            question=asked.get(cell["tester"]),
        )
        for cell in read.document["cells"]
        if cell["dimension"] == key
    ]
    points.sort(key=lambda point: (order.get(point.size, 0), point.name))
    dimension = dimensions[at]
    cells = tuple((cell.size or NO_SIZE, cell) for cell in read.analysis.deviations if cell.dimension == key)
    compiled = Sheet(read.sheet)
    findings = tuple(
        finding
        for finding in read.document["findings"]
        if finding["id"] == f"finished-size:{key}"
        or (
            finding["verdict"] in PRESSING
            and key in (finding["subject"], *compiled.follows(finding["subject"]))
        )
    )
    own = f"finished-size:{key}"
    corrected = next(
        (f for f in findings if f["id"] == own and f.get("proposed") and f.get("proposed_for")), None
    )
    return DimensionResult(
        read=read,
        names=names_of(read.sheet),
        dimension=dimension,
        cells=cells,
        points=tuple(points),
        findings=findings,
        corrected=corrected["id"] if corrected else "",
        effects=effects_of(corrected, compiled, key, cells) if corrected else (),
        before=dimensions[at - 1] if at else None,
        after=dimensions[at + 1] if at + 1 < len(dimensions) else None,
    )


def effects_of(
    finding: Mapping[str, Any], sheet: Sheet, key: str, cells: Sequence[tuple[str, DeviationCell]]
) -> tuple[Effect, ...]:
    """What the numbers a finding proposes would do to a dimension, worked at the stated gauge."""
    sizes = sheet.pattern.sizes
    inputs = sheet.stated()
    printed = sheet.printed_numbers()
    corrected = {number: values.copy() for number, values in printed.items()}
    for number, by_size in {
        finding["proposed_for"]: finding["proposed"],
        **finding.get("follows", {}),
    }.items():
        for index, size in enumerate(sizes):
            if number in corrected and size in by_size:
                corrected[number][index] = by_size[size]
    now, then = (
        sheet.dimensions(inputs, sheet.numbers(inputs, given))[key] for given in (printed, corrected)
    )
    change = dict(zip(sizes, (then - now).tolist(), strict=True))
    return tuple(
        Effect(size, cell.estimate, change[size])
        for size, cell in cells
        if cell.estimate is not None and size in change and size in finding["proposed"]
    )
