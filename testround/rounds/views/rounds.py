"""Pages of a round itself: opening it, its plan, its way, its diary, and the yarns it supplies."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from testround.patterns.access import Right, rights_on
from testround.rounds import services
from testround.rounds.course import standstill
from testround.rounds.forms.fields import add_refusal
from testround.rounds.forms.places import SuppliedYarnForm
from testround.rounds.forms.rounds import MoveForm, RoundForm
from testround.rounds.plots import outlook_plot
from testround.rounds.refusals import Refused
from testround.rounds.selectors import diary_of, editions_open_to, round_page, rounds_of
from testround.rounds.selectors.call import band_words
from testround.rounds.selectors.digests import course_digest
from testround.rounds.selectors.forecasts import forecasts_digest
from testround.rounds.selectors.rounds import move_page, rounds_listed
from testround.rounds.services import today_for
from testround.rounds.views.shared import form_page, form_view, kept_here, page_of, posted, round_here

ROUNDS_A_PAGE = 30
ENTRIES_A_PAGE = 50


@require_safe
@login_required
def rounds(request: HttpRequest) -> HttpResponse:
    page = page_of(request, rounds_listed(request.user, timezone.localdate()), ROUNDS_A_PAGE)
    return render(request, "rounds/list.html", {"page": page})


@form_view
@login_required
def new(request: HttpRequest, edition: int) -> HttpResponse:
    chosen = get_object_or_404(editions_open_to(request.user), pk=edition)
    problems = services.edition_problems(chosen)
    if problems:
        return render(request, "rounds/not_yet.html", {"edition": chosen, "problems": problems}, status=422)
    earlier = rounds_of(request.user).filter(edition__pattern=chosen.pattern).count()
    form = RoundForm(posted(request), document=chosen.document, earlier=earlier)
    if form.is_valid():
        try:
            round = services.round_open(edition=chosen, by=request.user, **form.values())
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, _("The round is planned and its sheet is frozen. Add places next."))
            return redirect(round)
    return form_page(request, "rounds/new.html", form, edition=chosen)


@require_safe
@login_required
def detail(request: HttpRequest, code: str) -> HttpResponse:
    round = round_here(request, code, Right.SEE)
    rights = rights_on(round.edition.pattern, request.user)
    today = today_for(round)

    def needs() -> dict[str, Any]:
        page = round_page(round, today=today, may_invite=rights.invite, may_nudge=rights.edit)
        return {"page": page, "plot": outlook_plot(page.outlook, round, today=today)}

    place = kept_here(
        request,
        "round",
        round,
        lambda round: course_digest(round) + forecasts_digest(round),
        rights,
        today,
        standstill(round, timezone.now()),
        needs=needs,
    )
    return render(request, "rounds/detail.html", {"round": round, "may": rights, "kept": place})


@form_view
@login_required
def edit(request: HttpRequest, code: str) -> HttpResponse:
    round = round_here(request, code)
    form = RoundForm(posted(request), document=round.edition.document, round=round)
    if form.is_valid():
        try:
            services.round_edit(round=round, by=request.user, **form.values())
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, _("Saved; what changed is in the diary."))
            return redirect(round)
    return form_page(request, "rounds/edit.html", form, round=round)


@form_view
@login_required
def move(request: HttpRequest, code: str) -> HttpResponse:
    round = round_here(request, code)
    form = MoveForm(posted(request), round=round)
    if form.is_valid():
        try:
            moved = services.round_move(
                round=round,
                state=form.cleaned_data["state"],
                by=request.user,
                cause=form.cleaned_data["cause"],
            )
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, _("The round is {state}.").format(state=moved.get_state_display()))
            return redirect(round)
    return form_page(request, "rounds/move.html", form, round=round, page=move_page(round))


@require_safe
@login_required
def diary(request: HttpRequest, code: str) -> HttpResponse:
    round = round_here(request, code, Right.SEE)
    page = page_of(request, diary_of(round), ENTRIES_A_PAGE)
    return render(request, "rounds/diary.html", {"round": round, "page": page})


@form_view
@login_required
def yarns(request: HttpRequest, code: str) -> HttpResponse:
    round = round_here(request, code)
    supplied = list(round.yarns.all())
    form = SuppliedYarnForm(posted(request))
    if form.is_valid():
        yarn = services.yarn_supply(
            round=round, yarn=form.yarn([yarn.key for yarn in supplied]), by=request.user
        )
        messages.success(request, _("{yarn} is on the list.").format(yarn=yarn.label))
        return redirect("rounds:yarns", code)
    return form_page(
        request, "rounds/yarns.html", form, round=round, yarns=[(yarn, band_words(yarn)) for yarn in supplied]
    )


@require_POST
@login_required
def yarn_remove(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    yarn = get_object_or_404(round_here(request, code).yarns, pk=pk)
    services.yarn_withdraw(yarn=yarn, by=request.user)
    messages.success(
        request, _("{yarn} is off the list. Places that have it keep it.").format(yarn=yarn.label)
    )
    return redirect("rounds:yarns", code)
