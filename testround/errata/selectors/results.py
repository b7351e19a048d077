"""The results of a round: sizes by dimensions, and one dimension."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from testround.errata.models import Decision
from testround.errata.selectors.analyses import PRESSING, Read, read_round
from testround.errata.selectors.effects import Effect, Effects, Moved
from testround.errata.wording import (
    Named,
    names_of,
)
from testround.kernel.analysis import DeviationCell, Question
from testround.kernel.round import Dimension
from testround.kernel.sheet import Sheet
from testround.prepared import Prepared
from testround.rounds.models import Round


@dataclass(frozen=True, slots=True)
class ResultRow:
    """One dimension across the sizes; a cell is None where nobody measured it."""

    key: str
    label: str
    tolerance: float
    cells: tuple[tuple[str, DeviationCell | None], ...]

    @property
    def asking(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Verdicts that ask for something, each with its sizes: none named where it is every one."""
        said = []
        for verdict in PRESSING:
            sizes = tuple(column for column, cell in self.cells if cell and cell.verdict == verdict)
            if sizes:
                said.append((verdict, () if len(sizes) == len(self.cells) else sizes))
        return tuple(said)


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


def _no_size() -> str:
    """The one column of a made-to-measure pattern."""
    return _("Every piece")


def decisions_of(round: Round) -> list[Decision]:
    """What was decided of a round's findings, with what became of it."""
    return _DECISIONS.rows(round=round)


_DECISIONS: Prepared[Decision] = Prepared(
    lambda round: Decision.objects.filter(round=round).select_related("erratum__pattern")
)


def results_of(round: Round, made: Sequence[Decision] | None = None) -> Results:
    """The results of a round with what was decided of them, or with the decisions given."""
    read = read_round(round)
    sheet = read.sheet
    columns = tuple(sheet.sizes) or (_no_size(),)
    cells = {(cell.dimension, cell.size or _no_size()): cell for cell in read.analysis.deviations}
    called = {tester.id: tester.name for tester in read.round.testers}
    decisions = {
        decision.finding_id: decision for decision in (decisions_of(round) if made is None else made)
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
class DimensionResult:
    read: Read
    names: Mapping[str, Named]
    dimension: Dimension
    cells: tuple[tuple[str, DeviationCell], ...]
    points: tuple[TesterPoint, ...]
    findings: tuple[Mapping[str, Any], ...]
    """What is said of it first, then what is said of the numbers behind it."""
    corrected: str
    """The finding whose correction `effects` works out; empty where there is none."""
    effects: tuple[Effect, ...]
    moves: tuple[Moved, ...]
    """What else that correction moves."""
    before: Dimension | None
    after: Dimension | None
    size: str = ""
    """The size whose pieces are taken apart one by one; empty for every size."""

    @property
    def pieces(self) -> tuple[TesterPoint, ...]:
        """The pieces that are taken apart one by one."""
        return tuple(point for point in self.points if self.size in ("", point.size))

    @property
    def sizes_apart(self) -> tuple[str, ...]:
        """The sizes to choose from where the pieces are too many to be taken apart in one go."""
        return tuple(dict.fromkeys(point.size for point in self.points)) if self.size else ()

    @property
    def own(self) -> Mapping[str, Any] | None:
        """The finding on this measurement itself."""
        return next((f for f in self.findings if f["id"] == f"finished-size:{self.dimension.key}"), None)

    @property
    def printed(self) -> Mapping[str, Any] | None:
        """The finding on what is printed of this measurement, which may be wrong where every piece is right."""
        return next((f for f in self.findings if f["id"] == f"schematic:{self.dimension.key}"), None)

    @property
    def asked(self) -> tuple[TesterPoint, ...]:
        """Pieces set aside until their testers have answered."""
        return tuple(point for point in self.points if point.question is not None)

    @property
    def open_sizes(self) -> tuple[tuple[str, DeviationCell], ...]:
        """Sizes of which there is something to say."""
        return tuple(
            (size, cell) for size, cell in self.cells if cell.estimate is not None and cell.verdict != "holds"
        )

    @property
    def holding(self) -> tuple[str, ...]:
        return tuple(
            size for size, cell in self.cells if cell.estimate is not None and cell.verdict == "holds"
        )


# Bars that are looked through in one go. Beyond that those of one size are shown at a time.
MOST_PIECES = 48


def _size_apart(size: str, points: Sequence[TesterPoint], cells: Sequence[tuple[str, DeviationCell]]) -> str:
    """The size that was asked for if anybody made it, or the one that is off furthest; empty for every size."""
    made = list(dict.fromkeys(point.size for point in points))
    if len(points) <= MOST_PIECES or len(made) < 2:
        return ""
    if size in made:
        return size
    off = {cell.size: abs(cell.estimate) for _named, cell in cells if cell.estimate is not None}
    return max(made, key=lambda size: off.get(size, 0.0))


def dimension_result(round: Round, key: str, size: str = "") -> DimensionResult | None:
    """One dimension with every tester's point; None when the sheet has no such dimension.

    Where testers are many, their pieces are taken apart one size at a time: ``size``, or the one furthest off.
    """
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
    cells = tuple(
        (cell.size or _no_size(), cell) for cell in read.analysis.deviations if cell.dimension == key
    )
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
    findings = tuple(sorted(findings, key=lambda finding: finding["id"] != own))
    corrected = next(
        (f for f in findings if f["id"] == own and f.get("proposed") and f.get("proposed_for")), None
    )
    effects = Effects(corrected, compiled) if corrected else None
    return DimensionResult(
        read=read,
        names=names_of(read.sheet),
        dimension=dimension,
        cells=cells,
        points=tuple(points),
        findings=findings,
        corrected=corrected["id"] if corrected else "",
        effects=effects.of(key, cells) if effects else (),
        moves=effects.elsewhere(key, read.analysis.deviations) if effects else (),
        before=dimensions[at - 1] if at else None,
        after=dimensions[at + 1] if at + 1 < len(dimensions) else None,
        size=_size_apart(size, points, cells),
    )
