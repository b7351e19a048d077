"""Drafts of errata: worded, looked at as readers will see them, published; and the edition that follows."""

from __future__ import annotations

import dataclasses
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from testround.errata.desk_views import back_to_desk, desk_page
from testround.errata.doors import draft_of, judged, rights_of, user_of
from testround.errata.forms import DraftForm, NextEditionForm
from testround.errata.models import Erratum
from testround.errata.selectors import (
    following_of,
    shown_erratum,
)
from testround.errata.services import (
    edition_correct,
    erratum_complete,
    erratum_discard,
    erratum_publish,
    erratum_reword,
    problems_before_publishing,
    sentences_of,
)
from testround.patterns.access import Right, require
from testround.people.context import reader_for
from testround.rounds.models import Round
from testround.rounds.refusals import Refused


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def draft(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, erratum = draft_of(request, code, pk)
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
                erratum_reword(erratum=erratum, wording=form.wording(), by=user_of(request))
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
    context = {
        "round": round,
        "erratum": erratum,
        "form": form,
        "decisions": erratum.decisions.all(),
        **_following(request, erratum),
    }
    return render(request, "errata/draft.html", context, status=status)


def _following(request: HttpRequest, erratum: Erratum) -> dict[str, Any]:
    """What follows from a draft's numbers as they are stored, in the reader's unit; nothing for a change of words."""
    if not erratum.changes:
        return {"following": None}
    following = following_of(erratum)
    sheet = erratum.edition.document
    return {
        "following": following,
        "follow_tables": following.tables(reader_for(request).units),
        "lacking": sentences_of(following.found, sheet),
        "notes": following.found.notes,
        "together": sentences_of(following.together, sheet) if following.together else [],
    }


@require_POST
@login_required
def complete(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, erratum = draft_of(request, code, pk)
    try:
        erratum = erratum_complete(erratum=erratum, by=user_of(request))
    except Refused as refusal:
        for problem in refusal.problems:
            messages.info(request, problem.sentence)
    else:
        messages.success(
            request, _("Added. Look over the numbers, and say in words what a reader has to know of them.")
        )
    return redirect("errata:draft", round.code, erratum.pk)


@require_safe
@login_required
def preview(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, erratum = draft_of(request, code, pk)
    return _preview(request, round, erratum)


def _preview(request: HttpRequest, round: Round, erratum: Erratum, *, status: int = 200) -> HttpResponse:
    reader = reader_for(request)
    # Half of the readers read it so: in the other unit and the other terms.
    other = dataclasses.replace(
        reader, units="cm" if reader.units == "in" else "in", terms="us" if reader.terms == "uk" else "uk"
    )
    problems = problems_before_publishing(erratum)
    following = _following(request, erratum)
    said = {problem.sentence for problem in following.get("lacking", ())}
    context = {
        "round": round,
        "erratum": erratum,
        "shown": shown_erratum(erratum, reader),
        "other": shown_erratum(erratum, other),
        "other_reader": other,
        "may_not_yet": bool(problems),
        "problems": [problem for problem in problems if problem.sentence not in said],
        **following,
        "may": rights_of(request, round),
    }
    return render(request, "errata/preview.html", context, status=status)


@require_POST
@login_required
def publish(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round = judged(request, code)
    erratum = get_object_or_404(
        Erratum.objects.filter(round=round).select_related("pattern", "edition"), pk=pk
    )
    require(user_of(request), Right.PUBLISH, erratum.pattern)
    if erratum.is_published:
        # The form was sent twice: the first one did it.
        return redirect("errata:desk", round.code)
    try:
        erratum = erratum_publish(erratum=erratum, by=user_of(request))
    except Refused:
        return _preview(request, round, erratum, status=422)
    said = _(
        "Published as erratum {number}, at an address that stays; the list of what is published leads there."
    )
    messages.success(request, said.format(number=erratum.number))
    return redirect("errata:desk", round.code)


@require_POST
@login_required
def discard(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, erratum = draft_of(request, code, pk)
    erratum_discard(erratum=erratum, by=user_of(request))
    messages.success(request, _("Draft removed; what it came from is undecided again."))
    return back_to_desk(round)


@require_POST
@login_required
def next_edition(request: HttpRequest, code: str) -> HttpResponse:
    round = judged(request, code)
    form = NextEditionForm(request.POST)
    if form.is_valid():
        try:
            edition = edition_correct(round=round, label=form.cleaned_data["label"], by=user_of(request))
        except Refused as refusal:
            for problem in refusal.problems:
                form.add_error(
                    "label" if problem.path else None, f"{problem.sentence[:1].upper()}{problem.sentence[1:]}"
                )
        else:
            said = _(
                "Edition {edition} has the corrections, and its formulas give them. Look over those that were mended."
            )
            messages.success(request, said.format(edition=edition.label))
            return redirect(edition)
    return desk_page(request, round, status=422, next_form=form)
