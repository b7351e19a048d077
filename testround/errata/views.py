from __future__ import annotations

import json
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import get_template
from django.utils.functional import SimpleLazyObject
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from testround.errata import papers
from testround.errata.checks import checks_of
from testround.errata.forms import DeclineForm, DraftForm, NextEditionForm
from testround.errata.models import Decision, Erratum
from testround.errata.selectors import (
    PRESSING,
    AmountsResult,
    Desk,
    DimensionResult,
    GaugesResult,
    amounts_result,
    decisions_of,
    desk_of,
    dimension_result,
    drafts_of,
    gauges_result,
    judged_by,
    read_round,
    results_of,
    shown_erratum,
)
from testround.errata.services import (
    decision_undo,
    edition_correct,
    errata_merge,
    erratum_discard,
    erratum_from_remarks,
    erratum_publish,
    erratum_reword,
    finding_accept,
    finding_decline,
    problems_before_publishing,
)
from testround.patterns.access import Right, Rights, require, rights_on
from testround.patterns.services import next_label
from testround.people.context import reader_for
from testround.people.kept import Kept, kept, kept_part
from testround.people.models import User
from testround.reports.digest import round_digest
from testround.rounds.models import Round
from testround.rounds.refusals import Refused

# The digits that a row's key has at most, in any database.
LONGEST_KEY = 18


def _user(request: HttpRequest) -> User:
    return cast(User, request.user)


def _judged(request: HttpRequest, code: str) -> Round:
    """A round whose results this person may read and decide on; anybody else gets 404."""
    return get_object_or_404(judged_by(_user(request)), code=code)


def _may(request: HttpRequest, round: Round) -> Rights:
    return rights_on(round.edition.pattern, _user(request))


def _draft(request: HttpRequest, code: str, pk: int) -> tuple[Round, Erratum]:
    round = _judged(request, code)
    return round, get_object_or_404(drafts_of(round).select_related("pattern", "edition", "corrects"), pk=pk)


# Results --------------------------------------------------------------------------------------------------


@require_safe
@login_required
def results(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    decisions = decisions_of(round)
    context = {
        "round": round,
        "results": SimpleLazyObject(lambda: results_of(round, decisions)),
        "kept": _kept(
            request, "results", round, round_digest(round), [_said(decision) for decision in decisions]
        ),
    }
    return render(request, "errata/results.html", context)


def _kept(request: HttpRequest, part: str, round: Round, digest: str, *rests_on: Any) -> Kept:
    """The place of a part that rests on all that is read of a round, by its digest. What it needs is given lazily."""
    edition = round.edition
    said = (round.code, round.title, edition.label, edition.pattern.code, edition.pattern.title)
    return kept(request, part, digest, said, rests_on, holds=lambda: round_digest(round) == digest)


def _said(decision: Decision) -> tuple[Any, ...]:
    """What a page says of a decision beside the finding."""
    erratum = decision.erratum
    said = erratum and (erratum.pk, erratum.number, erratum.is_published)
    return (decision.finding_id, decision.choice, decision.reason, said)


@require_safe
@login_required
def dimension(request: HttpRequest, code: str, dimension: str) -> HttpResponse:
    round = _judged(request, code)
    named = [each["label"] for each in round.edition.sheet.get("dimensions", ()) if each["key"] == dimension]
    if not named:
        raise Http404
    units = reader_for(request).units
    result = cast(DimensionResult, SimpleLazyObject(lambda: dimension_result(round, dimension)))
    context = {
        "round": round,
        "label": named[0],
        "kept": _kept(request, "dimension", round, round_digest(round), dimension),
        "result": result,
        "plot": SimpleLazyObject(lambda: papers.deviation_svg(result, units)),
        "bars": SimpleLazyObject(lambda: papers.parts_svg(result, units)),
        "others": SimpleLazyObject(
            lambda: [finding for finding in result.findings if finding is not result.own]
        ),
        "checks": SimpleLazyObject(
            lambda: checks_of(result.read, [finding["id"] for finding in result.findings], units)
        ),
    }
    return render(request, "errata/dimension.html", context)


@require_safe
@login_required
def gauges(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    size = request.GET.get("size", "")
    units = reader_for(request).units
    result = cast(GaugesResult, SimpleLazyObject(lambda: gauges_result(round, size)))
    context = {
        "round": round,
        "kept": _kept(
            request,
            "gauges",
            round,
            round_digest(round),
            size if size in round.edition.sheet.get("sizes", ()) else "",
        ),
        "result": result,
        "gauges": SimpleLazyObject(lambda: papers.gauges_with_plots(result, units)),
        "checks": SimpleLazyObject(
            lambda: checks_of(
                result.read, [finding["id"] for one in result.gauges for finding in one.findings], units
            )
        ),
    }
    return render(request, "errata/gauges.html", context)


@require_safe
@login_required
def amounts(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    units = reader_for(request).units
    result = cast(AmountsResult, SimpleLazyObject(lambda: amounts_result(round)))
    context = {
        "round": round,
        "kept": _kept(request, "amounts", round, round_digest(round)),
        "result": result,
        "amounts": SimpleLazyObject(lambda: papers.amounts_with_plots(result.read)),
        "checks": SimpleLazyObject(
            lambda: checks_of(result.read, [finding["id"] for finding in result.findings], units)
        ),
    }
    return render(request, "errata/amounts.html", context)


@require_safe
@login_required
def report_pdf(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    data = papers.report(
        read_round(round), reader_for(request).units, letter=request.GET.get("paper") == "letter"
    )
    return _file(data, "application/pdf", f"{_file_name(round)}-report.pdf")


@require_safe
@login_required
def findings(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    return _file(read_round(round).file.encode(), "application/json", f"{_file_name(round)}-findings.json")


def _file_name(round: Round) -> str:
    words = f"{round.edition.pattern.title} {round.edition.label} {round.title}"
    return slugify(words.replace(".", "-")) or "round"


def _file(data: bytes, content_type: str, name: str) -> HttpResponse:
    return HttpResponse(
        data, content_type=content_type, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


# The desk -------------------------------------------------------------------------------------------------


@require_safe
@login_required
def desk(request: HttpRequest, code: str) -> HttpResponse:
    return _desk(request, _judged(request, code))


def _desk(request: HttpRequest, round: Round, *, status: int = 200, **context: Any) -> HttpResponse:
    next_form = NextEditionForm(initial={"label": next_label(round.edition.label)})
    desk = desk_of(round)
    context = {
        "round": round,
        "desk": desk,
        **_evidence(request, round, desk),
        "next_form": next_form,
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

    parts = json.loads(kept_part(_kept(request, "desk", round, desk.read.digest), make))
    return {
        part: {key: mark_safe(said) for key, said in by_finding.items()}  # noqa: S308 - rendered by a template
        for part, by_finding in parts.items()
    }


def _ticked(request: HttpRequest, name: str) -> list[int]:
    """The keys of the rows ticked; what no row has for a key was not typed by this page, and is left out."""
    typed = request.POST.getlist(name)
    return [int(key) for key in typed if key.isascii() and key.isdigit() and len(key) <= LONGEST_KEY]


def _back_to_desk(round: Round) -> HttpResponse:
    return redirect("errata:desk", round.code)


@require_POST
@login_required
def accept(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    try:
        erratum = finding_accept(round=round, finding_ids=request.POST.getlist("finding"), by=_user(request))
    except Refused as refusal:
        return _desk(request, round, status=422, refusal=refusal, ticked=request.POST.getlist("finding"))
    messages.success(request, _("Accepted. Here is the draft: check its words and numbers, then publish it."))
    return redirect("errata:draft", round.code, erratum.pk)


@require_POST
@login_required
def decline(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    form = DeclineForm(request.POST)
    finding_id = request.POST.get("finding", "")
    if not form.is_valid():
        return _desk(request, round, status=422, decline_form=form, declining=finding_id)
    try:
        finding_decline(
            round=round, finding_id=finding_id, reason=form.cleaned_data["reason"], by=_user(request)
        )
    except Refused as refusal:
        return _desk(request, round, status=422, refusal=refusal, decline_form=form, declining=finding_id)
    messages.success(request, _("Declined, with your reason kept. You can undo it below."))
    return _back_to_desk(round)


@require_POST
@login_required
def undo(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    try:
        draft = decision_undo(round=round, finding_id=request.POST.get("finding", ""), by=_user(request))
    except Refused as refusal:
        return _desk(request, round, status=422, refusal=refusal)
    if draft is not None:
        messages.warning(request, _("Taken back. The draft it was part of stays: read its wording again."))
    else:
        messages.success(request, _("Taken back; the finding is undecided again."))
    return _back_to_desk(round)


@require_POST
@login_required
def from_remarks(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    try:
        erratum = erratum_from_remarks(round=round, remark_ids=_ticked(request, "remark"), by=_user(request))
    except Refused as refusal:
        return _desk(request, round, status=422, refusal=refusal)
    messages.success(request, _("Draft made. Write the correction as a reader should see it."))
    return redirect("errata:draft", round.code, erratum.pk)


@require_POST
@login_required
def merge(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    try:
        erratum = errata_merge(round=round, draft_ids=_ticked(request, "draft"), by=_user(request))
    except Refused as refusal:
        return _desk(request, round, status=422, refusal=refusal)
    messages.success(request, _("Made into one draft. Read its wording as a whole."))
    return redirect("errata:draft", round.code, erratum.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def draft(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, erratum = _draft(request, code, pk)
    units = reader_for(request).units
    status = 200
    if request.method == "POST":
        form = DraftForm(request.POST, erratum=erratum, units=units)
        if request.POST.get("add") and form.is_valid():
            # Another number is wanted: the same form with its fields, and everything typed so far.
            messages.info(
                request, _("The number you added is on the form. Write its values, then save the draft.")
            )
            return _draft_page(request, round, erratum, form)
        if form.is_valid():
            try:
                erratum_reword(erratum=erratum, wording=form.wording(), by=_user(request))
            except Refused as refusal:
                form.refuse(refusal)
            else:
                messages.success(request, _("Draft saved."))
                to = "errata:preview" if "preview" in request.POST else "errata:draft"
                return redirect(to, round.code, erratum.pk)
        status = 422
    else:
        form = DraftForm(erratum=erratum, units=units)
    return _draft_page(request, round, erratum, form, status=status)


def _draft_page(
    request: HttpRequest, round: Round, erratum: Erratum, form: DraftForm, *, status: int = 200
) -> HttpResponse:
    context = {"round": round, "erratum": erratum, "form": form, "decisions": erratum.decisions.all()}
    return render(request, "errata/draft.html", context, status=status)


@require_safe
@login_required
def preview(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, erratum = _draft(request, code, pk)
    return _preview(request, round, erratum)


def _preview(request: HttpRequest, round: Round, erratum: Erratum, *, status: int = 200) -> HttpResponse:
    context = {
        "round": round,
        "erratum": erratum,
        "shown": shown_erratum(erratum, reader_for(request)),
        "problems": problems_before_publishing(erratum),
        "may": _may(request, round),
    }
    return render(request, "errata/preview.html", context, status=status)


@require_POST
@login_required
def publish(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round = _judged(request, code)
    erratum = get_object_or_404(
        Erratum.objects.filter(round=round).select_related("pattern", "edition"), pk=pk
    )
    require(_user(request), Right.PUBLISH, erratum.pattern)
    if erratum.is_published:
        # The form was sent twice: the first one did it.
        return redirect(erratum)
    try:
        erratum = erratum_publish(erratum=erratum, by=_user(request))
    except Refused:
        return _preview(request, round, erratum, status=422)
    said = _("Published as erratum {number}. This is what readers see.")
    messages.success(request, said.format(number=erratum.number))
    return redirect(erratum)


@require_POST
@login_required
def discard(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, erratum = _draft(request, code, pk)
    erratum_discard(erratum=erratum, by=_user(request))
    messages.success(request, _("Draft removed; what it came from is undecided again."))
    return _back_to_desk(round)


@require_POST
@login_required
def next_edition(request: HttpRequest, code: str) -> HttpResponse:
    round = _judged(request, code)
    form = NextEditionForm(request.POST)
    if form.is_valid():
        try:
            edition = edition_correct(round=round, label=form.cleaned_data["label"], by=_user(request))
        except Refused as refusal:
            for problem in refusal.problems:
                form.add_error(
                    "label" if problem.path else None, f"{problem.sentence[:1].upper()}{problem.sentence[1:]}"
                )
        else:
            said = _("Edition {edition} has the corrections. Its desk check shows which formulas to mend.")
            messages.success(request, said.format(edition=edition.label))
            return redirect(edition)
    return _desk(request, round, status=422, next_form=form)
