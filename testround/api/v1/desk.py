"""The errata desk of a round: what is decided of findings and of remarks."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.problems import Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1 import errata_shapes as shapes
from testround.api.v1.analysis import Judged
from testround.api.v1.examples import errata as examples
from testround.errata.models import Asked, Erratum, RemarkDecision
from testround.errata.selectors import askable, desk_of, read_round
from testround.errata.selectors.desk import Desk, DeskFinding, RemarkGroup
from testround.errata.services import (
    asking_send,
    decision_undo,
    erratum_from_remarks,
    finding_accept,
    finding_decline,
    finding_wait,
    remark_undo,
    remarks_decide,
)
from testround.errata.wording import headline
from testround.kernel.units import LengthUnit, lengths_in
from testround.patterns.access import Right, require
from testround.people.readers import reader_of
from testround.rounds.models import Round

TAG = "Errata desk"


def erratum_shown(erratum: Erratum) -> dict[str, Any]:
    """An erratum with its pattern, decisions and remarks loaded."""
    published = erratum.is_published
    code = erratum.pattern.code
    told = {
        "findings": [decision.finding_id for decision in erratum.decisions.all()],
        "remarks": [remark.pk for remark in erratum.remarks.all()],
        "address": f"{settings.SITE_URL}{erratum.get_absolute_url()}" if published else None,
        "document": f"{settings.SITE_URL}{reverse('errata:document', args=[code])}" if published else None,
    }
    for name, value in told.items():
        setattr(erratum, f"shown_{name}", value)
    return shapes.ErratumOut(erratum).data


def _finding_shown(entry: DeskFinding, desk: Desk, units: LengthUnit) -> dict[str, Any]:
    finding = dict(entry.finding)
    if "why" in finding:
        finding["why"] = lengths_in(finding["why"], units)
    return {
        "finding": finding,
        "headline": headline(entry.finding, desk.names, desk.read.sheet.sizes, units),
        "decision": entry.decision,
        "changed": entry.changed,
        "gone": entry.gone,
        "asked": entry.asked,
    }


def _remarks_shown(groups: Iterable[RemarkGroup]) -> list[dict[str, Any]]:
    return [
        {
            "remark": entry.remark,
            "decision": entry.decision,
            "errata": [erratum.pk for erratum in entry.remark.errata.all()],
            "again": entry.again,
            "asked": entry.asked,
        }
        for group in groups
        for entry in group.remarks
    ]


class DeskOfRound(Judged):
    @operation(
        "desk_retrieve",
        "The errata desk of a round",
        tag=TAG,
        scope=Scope.ERRATA_READ,
        answers=shapes.DeskOut,
        example=examples.DESK,
    )
    def get(self, request: Request, code: str) -> Response:
        """Findings and remarks with what was decided of them, drafts, and what is published of the round."""
        units = reader_of(self.user).units
        desk = desk_of(self.round(code), self.user, units)
        findings = {
            part: [_finding_shown(entry, desk, units) for entry in getattr(desk, part)]
            for part in ("undecided", "waiting", "quiet", "decided")
        }
        errata = {
            part: [erratum_shown(one) for one in getattr(desk, part)] for part in ("drafts", "published")
        }
        told = shapes.DeskOut(
            {
                **findings,
                "remarks": _remarks_shown(desk.groups),
                "settled_remarks": _remarks_shown(desk.settled),
                "drafts": [],
                "published": [],
            }
        ).data
        return self.shown({**told, **errata})


class Decide(Judged):
    """An address at which something is decided of findings or remarks."""

    def draft_made(self, erratum: Erratum, code: str) -> Response:
        return self.made(erratum_shown(erratum), reverse("api:draft", args=[code, erratum.pk]))


class Accept(Decide):
    @operation(
        "findings_accept",
        "Accept findings",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.FindingsAccept,
        sends={"findings": [examples.MISPRINT]},
        answers=shapes.ErratumOut,
        example=examples.DRAFT,
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Make one draft of an erratum of these findings: what stands, what should, and why."""
        round, sent = self.round(code), self.body(shapes.FindingsAccept)
        return self.draft_made(finding_accept(round=round, finding_ids=sent["findings"], by=self.user), code)


class Decline(Decide):
    @operation(
        "findings_decline",
        "Decline a finding",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.FindingDecline,
        sends={"finding": examples.MISPRINT, "reason": examples.DECISION["reason"]},
        answers=shapes.DecisionOut,
        example=examples.DECISION,
    )
    def post(self, request: Request, code: str) -> Response:
        """Decline a finding, with a reason for whoever asks later."""
        round, sent = self.round(code), self.body(shapes.FindingDecline)
        decision = finding_decline(
            round=round, finding_id=sent["finding"], reason=sent["reason"], by=self.user
        )
        return self.shown(shapes.DecisionOut(decision).data)


class Wait(Decide):
    @operation(
        "findings_wait",
        "Set a finding aside",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.FindingWait,
        sends={"finding": examples.MISPRINT, "reason": "Two more testers are at it."},
        answers=shapes.DecisionOut,
        example={**examples.DECISION, "choice": "waiting", "reason": "Two more testers are at it."},
    )
    def post(self, request: Request, code: str) -> Response:
        """Set a finding aside until something about it changes, or it is taken up again."""
        round, sent = self.round(code), self.body(shapes.FindingWait)
        decision = finding_wait(
            round=round, finding_id=sent["finding"], reason=sent.get("reason", ""), by=self.user
        )
        return self.shown(shapes.DecisionOut(decision).data)


class Undo(Decide):
    @operation(
        "findings_undo",
        "Take a decision back",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.FindingUndo,
        sends={"finding": examples.MISPRINT},
        answers=shapes.UndoneOut,
        example={"draft": None},
    )
    def post(self, request: Request, code: str) -> Response:
        """Take back what was decided of a finding, while its erratum is not published."""
        round, sent = self.round(code), self.body(shapes.FindingUndo)
        draft = decision_undo(round=round, finding_id=sent["finding"], by=self.user)
        return self.shown({"draft": draft and erratum_shown(draft)})


class Asking(Decide):
    def asked(self, round: Round, sent: dict[str, Any], finding_id: str = "") -> Response:
        """Ask as the page does: those alone whose reports it rests on."""
        require(self.user, Right.PUBLISH, round.edition.pattern)
        read = read_round(round)
        remark_ids = sent.get("remarks", ())
        whom = askable(round, read, finding_id, remark_ids)
        if whom is None:
            raise invalid(
                Fault(_("There is no such finding or remark now."), "/finding" if finding_id else "/remarks")
            )
        there = {place.pk for place in whom.places}
        if unknown := [pk for pk in sent["places"] if pk not in there]:
            said = _("Nobody at place {place} can be asked about this.")
            raise invalid(*(Fault(said.format(place=pk), "/places") for pk in unknown))
        asked: list[Asked] = asking_send(
            round=round,
            read=read,
            key=uuid.uuid4(),
            by=self.user,
            text=sent["text"],
            place_ids=sent["places"],
            finding_id=finding_id,
            remark_ids=remark_ids,
        )
        return self.shown({"places": sorted({row.word.place_id for row in asked})})


class AskAboutFinding(Asking):
    @operation(
        "findings_ask",
        "Ask testers about a finding",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.FindingAsk,
        sends={"finding": examples.MISPRINT, "places": [41], "text": "How many did you cast on?"},
        answers=shapes.AskedTestersOut,
        example=examples.ASKED,
    )
    def post(self, request: Request, code: str) -> Response:
        """Ask testers whose reports a finding rests on; each gets a private word and a mail. The owner alone may."""
        round, sent = self.round(code), self.body(shapes.FindingAsk)
        return self.asked(round, sent, sent["finding"])


class AskAboutRemarks(Asking):
    @operation(
        "remarks_ask",
        "Ask testers about their remarks",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.RemarksAsk,
        sends={"remarks": [812], "places": [41], "text": "Which cast-on did you use?"},
        answers=shapes.AskedTestersOut,
        example=examples.ASKED,
    )
    def post(self, request: Request, code: str) -> Response:
        """Ask testers about what they remarked; each gets a private word and a mail. The owner alone may."""
        return self.asked(self.round(code), self.body(shapes.RemarksAsk))


class DraftFromRemarks(Decide):
    @operation(
        "remarks_draft",
        "Make a draft of remarks",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.RemarksDraft,
        sends={"remarks": [812]},
        answers=shapes.ErratumOut,
        example={**examples.DRAFT, "changes": [], "text": "", "findings": [], "remarks": [812]},
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Make a draft of an erratum of remarks; its words are yours to write, as remarks are never published."""
        round, sent = self.round(code), self.body(shapes.RemarksDraft)
        return self.draft_made(
            erratum_from_remarks(round=round, remark_ids=sent["remarks"], by=self.user), code
        )


class DecideRemarks(Decide):
    def decided(self, round: Round, sent: dict[str, Any], choice: str) -> Response:
        made = remarks_decide(
            round=round,
            remark_ids=sent["remarks"],
            choice=choice,
            reason=sent.get("reason", ""),
            by=self.user,
        )
        return self.shown({"decisions": shapes.RemarkDecisionOut(made, many=True).data})


class DeclineRemarks(DecideRemarks):
    @operation(
        "remarks_decline",
        "Decline remarks",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.RemarksDecline,
        sends={"remarks": [812], "reason": "Said in the abbreviations."},
        answers=shapes.RemarksDecided,
        example={"decisions": [examples.REMARK_DECISION]},
    )
    def post(self, request: Request, code: str) -> Response:
        """Decline remarks, with a reason for whoever asks later."""
        return self.decided(
            self.round(code), self.body(shapes.RemarksDecline), str(RemarkDecision.Choice.DECLINED)
        )


class WaitForRemarks(DecideRemarks):
    @operation(
        "remarks_wait",
        "Set remarks aside",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.RemarksWait,
        sends={"remarks": [812]},
        answers=shapes.RemarksDecided,
        example={"decisions": [{**examples.REMARK_DECISION, "choice": "waiting", "reason": ""}]},
    )
    def post(self, request: Request, code: str) -> Response:
        """Set remarks aside until somebody else remarks on the same place."""
        return self.decided(
            self.round(code), self.body(shapes.RemarksWait), str(RemarkDecision.Choice.WAITING)
        )


class UndoRemarks(Decide):
    @operation(
        "remarks_undo",
        "Take up remarks again",
        tag=TAG,
        scope=Scope.ERRATA_WRITE,
        takes=shapes.RemarksDraft,
        sends={"remarks": [812]},
        status=204,
    )
    def post(self, request: Request, code: str) -> Response:
        """Take back what was decided of remarks."""
        round, sent = self.round(code), self.body(shapes.RemarksDraft)
        for pk in sent["remarks"]:
            remark_undo(round=round, remark_id=pk, by=self.user)
        return self.gone()
