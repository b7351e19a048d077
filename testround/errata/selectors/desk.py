"""The errata desk of a round: findings and what was decided of them, remarks, drafts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import F
from django.utils import timezone

from testround.errata.models import Asked, Decision, Erratum, RemarkDecision
from testround.errata.selectors.analyses import PRESSING, Read, read_round
from testround.errata.wording import (
    Named,
    changed_since,
    names_of,
)
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import LengthUnit
from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.models import Remark
from testround.rounds.models import Place, Round
from testround.talk.models import Word


@dataclass(frozen=True, slots=True)
class AskedTester:
    """That a tester was asked, and the first word they wrote since; what was said is only for the two it is between."""

    asked: Asked
    question: str
    answer: Word | None
    text: str


@dataclass(frozen=True, slots=True)
class DeskFinding:
    """A finding on the desk: as it is, and what was decided of it as it was."""

    finding: Mapping[str, Any]
    decision: Decision | None
    changed: str
    gone: bool = False
    asked: tuple[AskedTester, ...] = ()


@dataclass(frozen=True, slots=True)
class DeskRemark:
    """A remark that is yet to be decided, or what became of it."""

    remark: Remark
    decision: RemarkDecision | None
    asked: tuple[AskedTester, ...]
    again: bool = False
    """It waited, and somebody has remarked on the same place since."""

    @property
    def is_open(self) -> bool:
        return not self.remark.errata.all() and (self.decision is None or self.again)


@dataclass(frozen=True, slots=True)
class RemarkGroup:
    """Remarks about one place in the text."""

    place: str
    remarks: tuple[DeskRemark, ...]


@dataclass(frozen=True, slots=True)
class Desk:
    """``undecided`` has what is new first, then what waited and has changed; ``waiting`` what waits still."""

    read: Read
    names: Mapping[str, Named]
    undecided: tuple[DeskFinding, ...]
    waiting: tuple[DeskFinding, ...]
    quiet: tuple[DeskFinding, ...]
    decided: tuple[DeskFinding, ...]
    groups: tuple[RemarkGroup, ...]
    settled: tuple[RemarkGroup, ...]
    drafts: tuple[Erratum, ...]
    published: tuple[Erratum, ...]

    @property
    def open_remarks(self) -> int:
        return sum(len(group.remarks) for group in self.groups)

    @property
    def changed(self) -> tuple[DeskFinding, ...]:
        """What was decided, and the analysis says otherwise now."""
        return tuple(entry for entry in self.decided if entry.changed)


def desk_of(round: Round, user: User | None = None, units: LengthUnit = "cm") -> Desk:
    """Everything on the errata desk of a round, in a number of queries that does not depend on its size.

    What testers were asked and answered is told to ``user`` where it is theirs to read.
    """
    read = read_round(round)
    errata = _ERRATA.rows(round=round)
    decisions = {decision.finding_id: decision for decision in _DECISIONS.rows(round=round)}
    by_finding, by_remark = _asked(round, user)
    current = {finding["id"]: finding for finding in read.document["findings"]}

    undecided: list[DeskFinding] = []
    returned: list[DeskFinding] = []
    waiting: list[DeskFinding] = []
    quiet: list[DeskFinding] = []
    decided: list[DeskFinding] = []
    for key, finding in current.items():
        decision = decisions.get(key)
        asked = tuple(by_finding.get(key, ()))
        if decision is None:
            (undecided if finding["verdict"] in PRESSING else quiet).append(
                DeskFinding(finding, None, "", asked=asked)
            )
            continue
        changed = _changed(decision, finding, read, units)
        entry = DeskFinding(finding, decision, changed, asked=asked)
        if decision.choice != Decision.Choice.WAITING:
            decided.append(entry)
        elif changed:
            returned.append(entry)
        else:
            waiting.append(entry)
    for key, decision in decisions.items():
        if key in current:
            continue
        changed = _changed(decision, None, read, units)
        entry = DeskFinding(
            decision.finding, decision, changed, gone=True, asked=tuple(by_finding.get(key, ()))
        )
        (returned if decision.choice == Decision.Choice.WAITING else decided).append(entry)

    groups, settled = remark_groups(round, read.sheet, by_remark)
    return Desk(
        read=read,
        names=names_of(read.sheet),
        undecided=(*undecided, *returned),
        waiting=tuple(waiting),
        quiet=tuple(quiet),
        # What is no longer as it was decided is looked at first.
        decided=tuple(sorted(decided, key=lambda entry: not entry.changed)),
        groups=groups,
        settled=settled,
        drafts=tuple(erratum for erratum in errata if not erratum.is_published),
        published=tuple(erratum for erratum in errata if erratum.is_published),
    )


_ERRATA: Prepared[Erratum] = Prepared(
    lambda round: (
        Erratum.objects.filter(round=round)
        .select_related("pattern", "edition")
        .prefetch_related("decisions", "remarks")
    )
)
_DECISIONS: Prepared[Decision] = Prepared(
    lambda round: Decision.objects.filter(round=round).select_related("erratum", "by")
)
_ASKED: Prepared[Asked] = Prepared(
    lambda round: Asked.objects.filter(round=round).select_related("word__place")
)
_REMARKS: Prepared[Remark] = Prepared(
    lambda round: (
        Remark.objects.filter(place__round=round, superseded_at__isnull=True)
        .select_related("place", "decision__by")
        .prefetch_related("errata")
        .order_by("pk")
    )
)


def _changed(decision: Decision, finding: Mapping[str, Any] | None, read: Read, units: LengthUnit) -> str:
    """What has become of a finding since it was decided; a report that is not analysed yet came today."""
    return changed_since(
        decision.finding,
        finding,
        timezone.localdate(decision.changed_at or timezone.now()),
        read.sheet.sizes,
        units,
        stands=decision.choice != Decision.Choice.WAITING,
    )


def _asked(
    round: Round, user: User | None
) -> tuple[dict[str, list[AskedTester]], dict[int, list[AskedTester]]]:
    """What testers were asked, by finding and by remark, each with the first word they wrote since: two queries."""
    rows = _ASKED.rows(round=round)
    words: dict[int, list[Word]] = {}
    if rows:
        answers = Word.objects.filter(
            place__in={row.word.place_id for row in rows}, by=F("place__tester")
        ).order_by("at", "pk")
        for word in answers:
            words.setdefault(word.place_id, []).append(word)
    by_finding: dict[str, list[AskedTester]] = {}
    by_remark: dict[int, list[AskedTester]] = {}
    for row in rows:
        answer = next((word for word in words.get(row.word.place_id, ()) if word.at > row.word.at), None)
        reads = user is not None and user.pk in (row.word.by_id, row.word.to_id)
        told = AskedTester(
            row, row.word.text if reads else "", answer, answer.text if answer is not None and reads else ""
        )
        if row.remark_id is None:
            by_finding.setdefault(row.finding_id, []).append(told)
        else:
            by_remark.setdefault(row.remark_id, []).append(told)
    return by_finding, by_remark


def remark_groups(
    round: Round, sheet: SheetDocument, asked: Mapping[int, Sequence[AskedTester]]
) -> tuple[tuple[RemarkGroup, ...], tuple[RemarkGroup, ...]]:
    """Remarks that are open, and those that are settled, each by place in the text in the order of the sheet.

    Places that the sheet does not know come after.
    """
    rows = _REMARKS.rows(round=round)
    last: dict[str, Any] = {}
    for remark in rows:
        last[remark.where or ""] = max(last.get(remark.where or "", remark.sent), remark.sent)
    entries = []
    for remark in rows:
        decision = getattr(remark, "decision", None)
        again = (
            decision is not None
            and decision.choice == RemarkDecision.Choice.WAITING
            and last[remark.where or ""] > decision.at
        )
        entries.append(DeskRemark(remark, decision, tuple(asked.get(remark.pk, ())), again))
    order = {number.place: index for index, number in enumerate(sheet.numbers) if number.place}
    return tuple(  # type: ignore[return-value]
        _by_place([entry for entry in entries if entry.is_open is is_open], order)
        for is_open in (True, False)
    )


def _by_place(entries: Sequence[DeskRemark], order: Mapping[str, int]) -> tuple[RemarkGroup, ...]:
    by_place: dict[str, list[DeskRemark]] = {}
    for entry in entries:
        by_place.setdefault(entry.remark.where or "", []).append(entry)
    places = sorted(by_place, key=lambda place: (place == "", order.get(place, len(order)), place))
    return tuple(RemarkGroup(place, tuple(by_place[place])) for place in places)


def behind(read: Read, finding: Mapping[str, Any]) -> tuple[str, ...]:
    """The testers whose reports a finding rests on, by their keys in the round, in the round's order."""
    subject, sizes = finding["subject"], set(finding.get("sizes") or ())
    found = []
    for tester in read.round.testers:
        if sizes and tester.size is not None and tester.size not in sizes:
            continue
        match finding["kind"]:
            case "finished-size" | "schematic":
                sent = any(one.dimension == subject for one in tester.finished)
            case "worked-count" | "printed-count":
                sent = any(one.number == subject for one in tester.counts)
            case "stated-gauge":
                sent = any(one.gauge == subject.rpartition(".")[0] for one in tester.swatches)
            case "yarn":
                sent = tester.yarn_used is not None
            case "hours":
                sent = bool(tester.sittings)
            case "clarity":
                sent = any(one.place == subject for one in tester.remarks)
            case "fit":
                sent = any(one.dimension == subject for one in tester.fit)
            case _:
                sent = False
        if sent:
            found.append(tester.id)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Askable:
    """Whom the desk may ask about a finding or about remarks: the places with a tester who can answer."""

    finding: Mapping[str, Any] | None
    remarks: tuple[Remark, ...]
    places: tuple[Place, ...]

    @property
    def places_in_text(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(remark.where for remark in self.remarks if remark.where))


def askable(round: Round, read: Read, finding_id: str, remark_ids: Sequence[int]) -> Askable | None:
    """Whose reports a finding rests on, or who remarked; None where neither is there.

    Where a finding rests on no report, as one of the desk check, every tester of its sizes can be asked.
    """
    places = round.places.filter(tester__isnull=False).exclude(state=Place.State.GIVEN_BACK).order_by("pk")
    if not finding_id:
        standing = Remark.objects.filter(place__round=round, superseded_at__isnull=True, pk__in=remark_ids)
        remarks = tuple(standing.order_by("pk"))
        if not remarks:
            return None
        return Askable(None, remarks, tuple(places.filter(pk__in={remark.place_id for remark in remarks})))
    finding = next((each for each in read.document["findings"] if each["id"] == finding_id), None)
    if finding is None:
        return None
    keys = behind(read, finding)
    if keys:
        return Askable(finding, (), tuple(places.filter(key__in=keys)))
    sizes = finding.get("sizes")
    return Askable(finding, (), tuple(places.filter(size__in=sizes) if sizes else places))
