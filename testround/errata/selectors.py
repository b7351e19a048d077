"""What the results, the desk and the public errata pages read."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

import numpy as np
from django.core.cache import cache
from django.db.models import Exists, OuterRef, QuerySet

from testround import kernel
from testround.errata.models import Decision, Erratum
from testround.errata.wording import (
    ChangeTable,
    Named,
    change_table_of,
    change_tables,
    changed_since,
    in_order,
    lengths_in,
    names_of,
    of_size,
)
from testround.kernel.analysis import Analysis, DeviationCell, OwnGauge, PooledGauge, Question, analyse
from testround.kernel.findings import findings_json
from testround.kernel.round import Dimension, StatedGauge
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import Round as KernelRound
from testround.kernel.roundfile import plain
from testround.kernel.sheet import Sheet
from testround.kernel.terms import Terms, translate
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.people.readers import Reader
from testround.reports.bridge import kernel_round
from testround.reports.models import Remark
from testround.rounds.models import Round
from testround.rounds.selectors import rounds_of

CACHED_FOR_SECONDS = 24 * 60 * 60
# Verdicts that ask something of the designer.
PRESSING = ("amend", "look-closer")


# The analysis of a round ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Read:
    """A stored round as the kernel read it, and what the kernel said of it."""

    round: KernelRound
    analysis: Analysis
    input_hash: str
    file: str
    """The findings file, as text."""
    document: dict[str, Any]
    """The findings file, as plain JSON values."""

    @property
    def sheet(self) -> SheetDocument:
        return self.round.pattern


@lru_cache(maxsize=1)
def _program() -> bytes:
    """A digest of the kernel's source: another program may say something else of the same round."""
    digest = hashlib.sha256()
    for path in sorted(Path(kernel.__path__[0]).glob("**/*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.digest()


def hash_of(round: KernelRound) -> str:
    """SHA-256 of a round and of the program that reads it; a database may store an object's keys in any order."""
    document = json.dumps(plain(round), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(_program() + document.encode()).hexdigest()


def read_round(round: Round) -> Read:
    """Read a round and analyse it, or take the analysis of the same input from the cache."""
    read = kernel_round(round)
    input_hash = hash_of(read)
    key = f"analysis:{input_hash}"
    analysis = cache.get(key)
    if not isinstance(analysis, Analysis):
        analysis = analyse(read)
        cache.set(key, analysis, CACHED_FOR_SECONDS)
    file = findings_json(analysis.findings)
    return Read(round=read, analysis=analysis, input_hash=input_hash, file=file, document=json.loads(file))


# Who may see what -----------------------------------------------------------------------------------------


def judged_by(user: User) -> QuerySet[Round]:
    """Rounds whose results a person may read and decide on: the designer's own."""
    return rounds_of(user).select_related("edition__pattern")


def drafts_of(round: Round) -> QuerySet[Erratum]:
    return Erratum.objects.drafts().filter(round=round)


# The results ----------------------------------------------------------------------------------------------


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
    question: Question | None

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
    asked = {question.tester: question for question in read.analysis.questions if question.subject == key}
    order = {size: index for index, size in enumerate(read.sheet.sizes)}
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


@dataclass(frozen=True, slots=True)
class GaugeResult:
    """One gauge of the sheet: stated, pooled over testers, and every tester's own."""

    gauge: StatedGauge
    stitches: PooledGauge | None
    rows: PooledGauge | None
    own: tuple[tuple[str, OwnGauge], ...]


@dataclass(frozen=True, slots=True)
class GaugesResult:
    read: Read
    names: Mapping[str, Named]
    gauges: tuple[GaugeResult, ...]
    findings: tuple[Mapping[str, Any], ...]


def gauges_result(round: Round) -> GaugesResult:
    read = read_round(round)
    called = {tester.id: tester.name for tester in read.round.testers}
    pooled = {(gauge.gauge, gauge.axis): gauge for gauge in read.analysis.gauges}
    return GaugesResult(
        read=read,
        names=names_of(read.sheet),
        gauges=tuple(
            GaugeResult(
                gauge=gauge,
                stitches=pooled.get((gauge.key, "st")),
                rows=pooled.get((gauge.key, "row")),
                own=tuple(
                    (called[own.tester], own) for own in read.analysis.own_gauges if own.gauge == gauge.key
                ),
            )
            for gauge in read.sheet.gauges
        ),
        findings=tuple(
            finding
            for finding in read.document["findings"]
            if finding["kind"] == "stated-gauge" and finding["verdict"] in PRESSING
        ),
    )


def stands_in(sheet: SheetDocument) -> dict[str, dict[str, float]]:
    """What a maker following the edition finds, by number or dimension and size: printed, else computed."""
    compiled = Sheet(sheet)
    if not sheet.sizes:
        return {}
    inputs = compiled.stated()
    computed = compiled.numbers(inputs)
    standing: dict[str, dict[str, float]] = {}
    for printed, worked in (
        (compiled.printed_numbers(), computed),
        (compiled.printed_dimensions(), compiled.dimensions(inputs, computed)),
    ):
        for key, values in worked.items():
            shown = np.where(np.isnan(printed[key]), values, printed[key])
            standing[key] = {
                size: float(value)
                for size, value in zip(sheet.sizes, shown, strict=True)
                if np.isfinite(value)
            }
    return standing


# The desk -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DeskFinding:
    """A finding on the desk: as it is, and what was decided of it as it was."""

    finding: Mapping[str, Any]
    decision: Decision | None
    changed: str
    gone: bool = False


@dataclass(frozen=True, slots=True)
class RemarkGroup:
    """Remarks about one place in the text."""

    place: str
    remarks: tuple[Remark, ...]


@dataclass(frozen=True, slots=True)
class Desk:
    read: Read
    names: Mapping[str, Named]
    undecided: tuple[DeskFinding, ...]
    quiet: tuple[DeskFinding, ...]
    decided: tuple[DeskFinding, ...]
    groups: tuple[RemarkGroup, ...]
    drafts: tuple[Erratum, ...]
    published: tuple[Erratum, ...]


def desk_of(round: Round) -> Desk:
    """Everything on the errata desk of a round, in a number of queries that does not depend on its size."""
    read = read_round(round)
    errata = list(
        Erratum.objects.filter(round=round)
        .select_related("pattern", "edition")
        .prefetch_related("decisions", "remarks")
    )
    decisions = {
        decision.finding_id: decision for decision in round.decisions.select_related("erratum", "by")
    }
    current = {finding["id"]: finding for finding in read.document["findings"]}

    undecided, quiet, decided = [], [], []
    for key, finding in current.items():
        decision = decisions.get(key)
        if decision is not None:
            decided.append(DeskFinding(finding, decision, changed_since(decision.finding, finding)))
        elif finding["verdict"] in PRESSING:
            undecided.append(DeskFinding(finding, None, ""))
        else:
            quiet.append(DeskFinding(finding, None, ""))
    for key, decision in decisions.items():
        if key not in current:
            decided.append(
                DeskFinding(decision.finding, decision, changed_since(decision.finding, None), gone=True)
            )

    return Desk(
        read=read,
        names=names_of(read.sheet),
        undecided=tuple(undecided),
        quiet=tuple(quiet),
        decided=tuple(decided),
        groups=remark_groups(round, read.sheet),
        drafts=tuple(erratum for erratum in errata if not erratum.is_published),
        published=tuple(erratum for erratum in errata if erratum.is_published),
    )


def remark_groups(round: Round, sheet: SheetDocument) -> tuple[RemarkGroup, ...]:
    """Remarks that stand, by place in the text in the order of the sheet; places it does not know come after."""
    rows = (
        Remark.objects.filter(place__round=round, superseded_at__isnull=True)
        .select_related("place")
        .prefetch_related("errata")
    )
    by_place: dict[str, list[Remark]] = {}
    for remark in rows:
        by_place.setdefault(remark.where or "", []).append(remark)
    order = {number.place: index for index, number in enumerate(sheet.numbers) if number.place}
    places = sorted(by_place, key=lambda place: (place == "", order.get(place, len(order)), place))
    return tuple(RemarkGroup(place, tuple(by_place[place])) for place in places)


# The public pages -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PublicErrata:
    """What anyone may know of a pattern's errata."""

    pattern: Pattern
    editions: tuple[Edition, ...]
    errata: tuple[Erratum, ...]

    def sizes(self, edition: Edition | None) -> tuple[str, ...]:
        """The sizes of one public edition, or of all of them, in wearing order."""
        editions = self.editions if edition is None else (edition,)
        return tuple(dict.fromkeys(size for each in editions for size in each.sheet.get("sizes", ())))

    def affecting(self, edition: Edition | None, size: str) -> tuple[Erratum, ...]:
        return tuple(
            erratum
            for erratum in self.errata
            if (edition is None or erratum.edition_id == edition.pk)
            and (not size or not erratum.sizes or size in erratum.sizes)
        )


def public_errata(code: str) -> PublicErrata | None:
    """The published errata of a pattern; None when nothing about the pattern is public.

    A pattern is public once a round of it has opened to others or an erratum is out; of its editions those
    are listed that had either. Drafts are never read here.
    """
    opened = Round.objects.filter(edition=OuterRef("pk")).exclude(state=Round.State.PLANNED)
    published = Erratum.objects.published().filter(edition=OuterRef("pk"))
    editions = list(
        Edition.objects.filter(Exists(opened) | Exists(published), pattern__code=code)
        .select_related("pattern")
        .order_by("created", "pk")
    )
    if not editions:
        return None
    errata = Erratum.objects.published().filter(pattern__code=code).select_related("pattern", "edition")
    return PublicErrata(
        pattern=editions[0].pattern, editions=tuple(editions), errata=tuple(errata.order_by("number"))
    )


@dataclass(frozen=True, slots=True)
class ShownErratum:
    """One erratum in its reader's terms and units."""

    erratum: Erratum
    edition: str
    place: str
    text: str
    why: str
    sizes: str
    changes: tuple[Mapping[str, Any], ...]
    tables: tuple[ChangeTable, ...]


def changes_of(erratum: Erratum) -> list[dict[str, Any]]:
    """An erratum's changes, each with its values in wearing order."""
    sizes = erratum.edition.sheet.get("sizes", [])
    return [
        {**change, "was": in_order(change["was"], sizes), "now": in_order(change["now"], sizes)}
        for change in erratum.changes
    ]


def shown_erratum(erratum: Erratum, reader: Reader, size: str = "") -> ShownErratum:
    """An erratum as this reader sees it; with ``size`` only what that size needs."""

    def told(text: str) -> str:
        return translate(text, source=cast(Terms, erratum.edition.terms), target=reader.terms)

    every = erratum.edition.sheet.get("sizes", [])
    changes = tuple(
        {**change, "label": told(change["label"]), "place": told(change["place"])}
        for change in of_size(changes_of(erratum), size)
    )
    return ShownErratum(
        erratum=erratum,
        edition=erratum.edition.label,
        place=told(erratum.place),
        text=told(erratum.text),
        why=lengths_in(told(erratum.why), reader.units),
        sizes=", ".join(erratum.sizes) if erratum.sizes else "every size" if every else "",
        changes=changes,
        tables=change_table_of(changes, size, reader.units) if size else change_tables(changes, reader.units),
    )


def public_document(public: PublicErrata, address: str) -> dict[str, Any]:
    """The published errata of a pattern as a document for other programs, in the words they were written in.

    Lengths are centimetres, gauges per 10 cm. ``sizes`` is empty where every copy of the edition is affected.
    """
    return {
        "format": "testround/errata",
        "version": 1,
        "pattern": {
            "title": public.pattern.title,
            "address": address,
            "editions": [edition.label for edition in public.editions],
        },
        "errata": [
            {
                "number": erratum.number,
                "address": f"{address}{erratum.number}/",
                "edition": erratum.edition.label,
                "terms": erratum.edition.terms,
                "place": erratum.place,
                "sizes": erratum.sizes,
                "changes": [
                    {key: change[key] for key in ("subject", "label", "place", "unit", "was", "now")}
                    for change in changes_of(erratum)
                ],
                "text": erratum.text,
                "why": erratum.why,
                "published": erratum.published_at.isoformat() if erratum.published_at else None,
            }
            for erratum in public.errata
        ],
    }
