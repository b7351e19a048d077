"""The errata desk of a round: findings and what was decided of them, remarks, drafts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from testround.errata.models import Decision, Erratum
from testround.errata.selectors.analyses import PRESSING, Read, read_round
from testround.errata.wording import (
    Named,
    changed_since,
    names_of,
)
from testround.kernel.round import Pattern as SheetDocument
from testround.reports.models import Remark
from testround.rounds.models import Round


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
