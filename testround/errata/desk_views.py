"""The errata desk of a round, and what is decided there."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import get_template
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import (
    require_POST,
    require_safe,
)

from testround.errata.checks import checks_of
from testround.errata.doors import judged, kept_of, rights_of, user_of
from testround.errata.forms import DeclineForm, NextEditionForm
from testround.errata.models import RemarkDecision
from testround.errata.selectors import (
    PRESSING,
    Desk,
    desk_of,
)
from testround.errata.services import (
    decision_undo,
    errata_merge,
    erratum_from_remarks,
    finding_accept,
    finding_decline,
    finding_wait,
    remark_undo,
    remarks_decide,
)
from testround.patterns.services import next_label
from testround.people.context import reader_for
from testround.people.kept import kept_part
from testround.rounds.models import Round
from testround.rounds.refusals import Refused

# The digits that a row's key has at most, in any database.
LONGEST_KEY = 18


@require_safe
@login_required
def desk(request: HttpRequest, code: str) -> HttpResponse:
    return desk_page(request, judged(request, code))


def desk_page(request: HttpRequest, round: Round, *, status: int = 200, **context: Any) -> HttpResponse:
    next_form = NextEditionForm(initial={"label": next_label(round.edition.label)})
    desk = desk_of(round, user_of(request), reader_for(request).units)
    context = {
        "round": round,
        "desk": desk,
        **_evidence(request, round, desk),
        "next_form": next_form,
        "may": rights_of(request, round),
        **context,
    }
    return render(request, "errata/desk.html", context, status=status)


def _evidence(request: HttpRequest, round: Round, desk: Desk) -> dict[str, dict[str, SafeString]]:
    """Every finding of a round as evidence, and the grounds it stands on, each by the finding's id.

    The grounds have every tester's figures where the finding asks for something.
    """

    def make() -> str:
        reader = reader_for(request)
        findings = desk.read.document["findings"]
        checks = checks_of(desk.read, [finding["id"] for finding in findings], reader.units)
        of_all = {"names": desk.names, "sizes": desk.read.sheet.sizes, "reader": reader, "round": round}
        return json.dumps(
            {
                part: {
                    finding["id"]: template.render(
                        {
                            **of_all,
                            "finding": finding,
                            "key": number,
                            "check": checks[finding["id"]],
                            "table": finding["verdict"] in PRESSING,
                        }
                    )
                    for number, finding in enumerate(findings, 1)
                }
                for part, template in (
                    ("evidence", get_template("errata/_evidence.html")),
                    ("grounds", get_template("errata/_grounds.html")),
                )
            }
        )

    parts = json.loads(kept_part(kept_of(request, "desk", round, desk.read.digest), make))
    return {
        part: {key: mark_safe(said) for key, said in by_finding.items()}  # noqa: S308 - rendered by a template
        for part, by_finding in parts.items()
    }


def _ticked(request: HttpRequest, name: str) -> list[int]:
    """The keys of the rows ticked; what no row has for a key was not typed by this page, and is left out."""
    typed = request.POST.getlist(name)
    return [int(key) for key in typed if key.isascii() and key.isdigit() and len(key) <= LONGEST_KEY]


def back_to_desk(round: Round) -> HttpResponse:
    return redirect("errata:desk", round.code)


@require_POST
@login_required
def accept(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    try:
        erratum = finding_accept(
            round=round, finding_ids=request.POST.getlist("finding"), by=user_of(request)
        )
    except Refused as refusal:
        return desk_page(request, round, status=422, refusal=refusal, ticked=request.POST.getlist("finding"))
    messages.success(request, _("Accepted. Here is the draft: check its words and numbers, then publish it."))
    return redirect("errata:draft", round.code, erratum.pk)


@require_POST
@login_required
def decline(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    form = DeclineForm(request.POST)
    finding_id = request.POST.get("finding", "")
    if not form.is_valid():
        return desk_page(request, round, status=422, decline_form=form, declining=finding_id)
    try:
        finding_decline(
            round=round, finding_id=finding_id, reason=form.cleaned_data["reason"], by=user_of(request)
        )
    except Refused as refusal:
        return desk_page(request, round, status=422, refusal=refusal, decline_form=form, declining=finding_id)
    messages.success(request, _("Declined, with your reason kept. You can undo it below."))
    return back_to_desk(round)


@require_POST
@login_required
def wait(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    finding_id, reason = request.POST.get("finding", ""), request.POST.get("reason", "")
    try:
        finding_wait(round=round, finding_id=finding_id, reason=reason, by=user_of(request))
    except Refused as refusal:
        return desk_page(request, round, status=422, refusal=refusal, waiting_for=finding_id, reason=reason)
    messages.success(request, _("Set aside. It comes back as soon as something about it changes."))
    return back_to_desk(round)


@require_POST
@login_required
def undo(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    try:
        draft = decision_undo(round=round, finding_id=request.POST.get("finding", ""), by=user_of(request))
    except Refused as refusal:
        return desk_page(request, round, status=422, refusal=refusal)
    if draft is not None:
        messages.warning(request, _("Taken back. The draft it was part of stays: read its wording again."))
    else:
        messages.success(request, _("Taken back; the finding is undecided again."))
    return back_to_desk(round)


@require_POST
@login_required
def from_remarks(request: HttpRequest, code: str) -> HttpResponse:
    """What becomes of the ticked remarks, by the button that was pressed: a draft, unless it says otherwise."""
    round = judged(request, code)
    ticked, reason, by = _ticked(request, "remark"), request.POST.get("reason", ""), user_of(request)
    choice = {"decline": RemarkDecision.Choice.DECLINED, "wait": RemarkDecision.Choice.WAITING}
    try:
        match request.POST.get("do"):
            case "ask" if ticked:
                query = urlencode([("remark", pk) for pk in ticked])
                return redirect(f"{reverse('errata:ask', args=[round.code])}?{query}")
            case ("decline" | "wait") as do:
                made = remarks_decide(round=round, remark_ids=ticked, choice=choice[do], reason=reason, by=by)
            case _:
                erratum = erratum_from_remarks(round=round, remark_ids=ticked, by=by)
                messages.success(request, _("Draft made. Write the correction as a reader should see it."))
                return redirect("errata:draft", round.code, erratum.pk)
    except Refused as refusal:
        return desk_page(
            request, round, status=422, refusal=refusal, remarks_ticked=ticked, remarks_reason=reason
        )
    said = ngettext(
        "{n} remark is dealt with. You can undo it below.",
        "{n} remarks are dealt with. You can undo it below.",
        len(made),
    )
    messages.success(request, said.format(n=len(made)))
    return back_to_desk(round)


@require_POST
@login_required
def undo_remark(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    try:
        for pk in _ticked(request, "remark"):
            remark_undo(round=round, remark_id=pk, by=user_of(request))
    except Refused as refusal:
        return desk_page(request, round, status=422, refusal=refusal)
    messages.success(request, _("Taken back; the remark is undecided again."))
    return back_to_desk(round)


@require_POST
@login_required
def merge(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    try:
        erratum = errata_merge(round=round, draft_ids=_ticked(request, "draft"), by=user_of(request))
    except Refused as refusal:
        return desk_page(request, round, status=422, refusal=refusal)
    messages.success(request, _("Made into one draft. Read its wording as a whole."))
    return redirect("errata:draft", round.code, erratum.pk)
