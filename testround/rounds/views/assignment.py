"""Pages of candidates and of who makes what, and the "no, thank you" of an invitation."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.cache import patch_cache_control
from django.utils.translation import gettext as _
from django.utils.translation import pgettext_lazy
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST, require_safe

from testround.patterns.access import Right, rights_on
from testround.people.context import reader_for
from testround.rounds import services
from testround.rounds.bridge import seated_round
from testround.rounds.forms.assignment import AcceptForm, DeclineForm, LimitsForm, SeatsForm, WordForm
from testround.rounds.forms.fields import add_refusal
from testround.rounds.models import Candidate, Round
from testround.rounds.refusals import InvitationEnded, Refused, UnknownInvitation
from testround.rounds.selectors import round_for
from testround.rounds.selectors.assignment import (
    SORTS,
    ProposalPage,
    candidate_rows,
    candidates_by_state,
    proposal_page,
    seats_to_offer,
    vacancies_of,
    vacancy_of,
    without_address,
)
from testround.rounds.selectors.digests import assignment_digest, candidates_digest
from testround.rounds.services.assignment import AlreadyAccepted, StaleDraft
from testround.rounds.services.drafts import Drafted, draft_of
from testround.rounds.views.shared import form_view, kept_here, page_asked, posted, secret_page

CANDIDATES_A_PAGE = 50
SEATS_A_PAGE = 50
OFFERS_STAND = dt.timedelta(days=7)


STATES = {
    str(Candidate.State.CONFIRMED): pgettext_lazy("candidates who", "offer"),
    str(Candidate.State.PLACED): pgettext_lazy("candidates who", "have a place"),
    str(Candidate.State.WAITING): pgettext_lazy("candidates who", "wait"),
    str(Candidate.State.WITHDRAWN): pgettext_lazy("candidates who", "have withdrawn"),
    str(Candidate.State.OFFERED): pgettext_lazy("candidates who", "have not confirmed their address"),
}


# -- candidates --------------------------------------------------------------------------------------------


@require_safe
@login_required
def candidates(request: HttpRequest, code: str) -> HttpResponse:
    round = round_for(request.user, code, Right.SEE)
    state = request.GET.get("state", "")
    if state not in STATES:
        state = str(Candidate.State.CONFIRMED)
    sort = request.GET.get("sort", "")
    if sort not in SORTS:
        sort = "answered"
    asked = page_asked(request)
    may = rights_on(round.edition.pattern, request.user)

    def needs() -> dict[str, Any]:
        counts = candidates_by_state(round)
        page = Paginator(candidate_rows(round, state=state, sort=sort), CANDIDATES_A_PAGE).get_page(asked)
        return {
            "page": page,
            "state": state,
            "said": STATES[state],
            "states": [(key, words, counts.get(key, 0)) for key, words in STATES.items()],
            "sort": sort,
            "sorts": [(key, words, urlencode({"state": state, "sort": key})) for key, words in SORTS.items()],
            "query": f"{urlencode({'state': state, 'sort': sort})}&",
            "no_addresses": without_address(page.object_list),
            "total": sum(counts.values()),
        }

    place = kept_here(request, "candidates", round, candidates_digest, may, state, sort, asked, needs=needs)
    return render(request, "rounds/candidates.html", {"round": round, "may": may, "kept": place})


@require_POST
@login_required
def candidate_take_back(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round = round_for(request.user, code, Right.EDIT)
    candidate = get_object_or_404(round.candidates, pk=pk)
    try:
        services.candidate_take_back(candidate=candidate, by=request.user)
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        messages.success(request, _("{name} is in reserve.").format(name=candidate.name))
    return redirect("rounds:candidates", code)


# -- the proposal ------------------------------------------------------------------------------------------


@form_view
@login_required
def proposal(request: HttpRequest, code: str) -> HttpResponse:
    """Who should make what, and by its forms what the designer changes of it."""
    round = round_for(request.user, code, Right.EDIT if request.method == "POST" else Right.SEE)
    if request.method != "POST":
        return _proposal_page(request, round)
    match request.POST.get("action"):
        case "limits":
            return _limits(request, round)
        case "word":
            return _word(request, round)
        case "undo" | "around" as which:
            return _all_moves(request, round, which)
        case "look":
            services.reserve_look(round=round)
            return redirect("rounds:proposal", code)
        case _:
            return _seats(request, round)


def _proposal_page(request: HttpRequest, round: Round, **forms: Any) -> HttpResponse:
    """The page with its forms; those given are bound, and keep what was typed beside what is wrong with it."""
    may = rights_on(round.edition.pattern, request.user)
    context: dict[str, Any] = {"round": round, "may": may}
    if forms:
        context |= _proposal_context(request, round, forms)
    else:
        context["kept"] = kept_here(
            request,
            "proposal",
            round,
            assignment_digest,
            may,
            page_asked(request),
            needs=lambda: _proposal_context(request, round, {}),
        )
    response = render(request, "rounds/proposal.html", context, status=422 if forms else 200)
    patch_cache_control(response, no_store=True, private=True)
    return response


def _proposal_context(request: HttpRequest, round: Round, forms: Mapping[str, Any]) -> dict[str, Any]:
    draft = draft_of(round)
    read = seated_round(round)
    units = reader_for(request).units
    shown: Drafted | None = None
    page: ProposalPage | None = None
    refused: Refused | None = None
    try:
        shown = services.drafted(round, draft, read)
    except Refused as problem:
        refused = problem
    else:
        page = proposal_page(shown, units)
    leaf = None
    seats = forms.get("seats")
    if page is not None and shown is not None:
        leaf = Paginator(page.rows, SEATS_A_PAGE).get_page(page_asked(request))
        seats = seats or SeatsForm(rows=leaf.object_list, read=read, revision=draft.revision)
    return {
        "draft": draft,
        "page": page,
        "leaf": leaf,
        "refused": refused,
        "seats": seats if page is not None else None,
        "limits": forms.get("limits")
        or LimitsForm(round=round, draft=draft, sizes=read.pattern.sizes, units=units),
        "word": forms.get("word") or WordForm(read=read, draft=draft),
        "vacancies": vacancies_of(round, read, units),
        "candidate_count": len(read.candidates),
        "waiting": round.candidates.filter(state=Candidate.State.WAITING).count(),
        "stale": forms.get("stale", ""),
        "open_part": next((name for name in ("limits", "word") if name in forms), ""),
    }


def _back(request: HttpRequest, round: Round) -> HttpResponse:
    page = request.GET.get("page", "")
    response = redirect("rounds:proposal", round.code)
    if page.isdecimal():
        response["Location"] += f"?{urlencode({'page': page})}"
    return response


def _seats(request: HttpRequest, round: Round) -> HttpResponse:
    """Save the moves of the candidates on the page, and show what they cost."""
    try:
        shown = services.drafted(round)
    except Refused:
        # What the draft asks contradicts by now; the page says so before anything else.
        return _back(request, round)
    page = proposal_page(shown, reader_for(request).units)
    posted = [
        row for row in page.rows if f"size_{row.key}" in request.POST or f"yarn_{row.key}" in request.POST
    ]
    form = SeatsForm(request.POST, rows=posted, read=shown.read, revision=shown.draft.revision)
    if not form.is_valid():
        return _proposal_page(request, round, seats=form)
    try:
        services.proposal_save(
            round=round, by=request.user, revision=form.cleaned_data["revision"], **form.changes(shown)
        )
    except StaleDraft as refused:
        again = _afresh(form, draft_of(round).revision)
        return _proposal_page(request, round, seats=again, stale=refused.sentence)
    except Refused as refused:
        add_refusal(form, refused)
        return _proposal_page(request, round, seats=form)
    return _back(request, round)


def _afresh(form: Any, revision: int) -> Any:
    """The same form with all that was chosen, for the draft as it is now."""
    form.data = form.data.copy()
    form.data["revision"] = str(revision)
    return form


def _limits(request: HttpRequest, round: Round) -> HttpResponse:
    draft = draft_of(round)
    form = LimitsForm(
        request.POST,
        round=round,
        draft=draft,
        sizes=round.edition.document.sizes,
        units=reader_for(request).units,
    )
    if not form.is_valid():
        return _proposal_page(request, round, limits=form)
    said = form.cleaned_data
    try:
        services.proposal_limits(
            round=round,
            by=request.user,
            revision=said["revision"],
            reach=said["reach"],
            places_plan=form.plan(),
            invite_next=said["invite_next"],
            offer_days=said["offer_days"],
        )
    except StaleDraft as refused:
        again = _afresh(form, draft.revision)
        return _proposal_page(request, round, limits=again, stale=refused.sentence)
    except Refused as refused:
        add_refusal(form, refused)
        return _proposal_page(request, round, limits=form)
    messages.success(request, _("Saved; the proposal keeps to it."))
    return _back(request, round)


def _word(request: HttpRequest, round: Round) -> HttpResponse:
    draft, read = draft_of(round), seated_round(round)
    form = WordForm(request.POST, read=read, draft=draft)
    if not form.is_valid():
        return _proposal_page(request, round, word=form)
    try:
        services.proposal_save(
            round=round, by=request.user, revision=form.cleaned_data["revision"], **form.changes()
        )
    except StaleDraft as refused:
        return _proposal_page(request, round, word=_afresh(form, draft.revision), stale=refused.sentence)
    except Refused as refused:
        add_refusal(form, refused)
        return _proposal_page(request, round, word=form)
    return _back(request, round)


def _all_moves(request: HttpRequest, round: Round, which: str) -> HttpResponse:
    """Undo every move by hand, or make them the designer's word and have the rest proposed anew around them."""
    draft = draft_of(round)
    posted = request.POST.get("revision", "")
    changes: dict[str, Any] = {"moves": {}}
    if which == "around":
        moved = set(draft.moves)
        pins = [one for one in draft.pins if one["candidate"] not in moved]
        pins += [{"candidate": key, **seat} for key, seat in draft.moves.items() if seat is not None]
        out = [one for one in draft.exclusions if one["candidate"] not in moved or one.get("size")]
        out += [{"candidate": key, "size": None} for key, seat in draft.moves.items() if seat is None]
        changes |= {"pins": pins, "exclusions": out}
    try:
        services.proposal_save(
            round=round,
            by=request.user,
            revision=int(posted) if posted.isdecimal() else -1,
            **changes,
        )
    except Refused as refused:
        messages.error(request, refused.sentence)
    return _back(request, round)


@form_view
@login_required
@sensitive_variables("offered")
def proposal_accept(request: HttpRequest, code: str) -> HttpResponse:
    """Who is about to be invited and until when; then the links of those who left no address, this once."""
    round = round_for(request.user, code, Right.INVITE)
    sent = posted(request)
    form = AcceptForm(sent)
    stale = ""
    if sent is not None and form.is_valid():
        said = form.cleaned_data
        try:
            offered = services.proposal_accept(
                round=round,
                by=request.user,
                revision=said["revision"],
                seen=said["seen"],
                until=said["until"],
            )
        except AlreadyAccepted as refused:
            messages.info(request, refused.sentence)
            return redirect(f"{reverse('rounds:places', args=[code])}?state=offered")
        except StaleDraft as refused:
            stale = refused.sentence
        except Refused as refused:
            add_refusal(form, refused)
        else:
            context = {
                "round": round,
                "mailed": [one for one in offered if one.mailed],
                "by_hand": [one for one in offered if not one.mailed],
                "until": said["until"],
            }
            response = render(request, "rounds/proposal_accepted.html", context)
            patch_cache_control(response, no_store=True, private=True)
            return response
    may = rights_on(round.edition.pattern, request.user)
    context = {"round": round, "may": may, "stale": stale}
    try:
        if sent is None:
            until = services.today_for(round) + OFFERS_STAND
            context["kept"] = kept_here(
                request,
                "accept",
                round,
                assignment_digest,
                may,
                until,
                needs=lambda: _accept_context(
                    request,
                    round,
                    lambda shown: AcceptForm(
                        initial={"revision": shown.draft.revision, "seen": shown.seen, "until": until}
                    ),
                ),
            )
        else:
            context |= _accept_context(request, round, lambda shown: _seen_afresh(form, shown))
        response = render(
            request, "rounds/proposal_accept.html", context, status=422 if sent is not None else 200
        )
    except Refused as refused:
        messages.error(request, refused.sentence)
        return redirect("rounds:proposal", code)
    patch_cache_control(response, no_store=True, private=True)
    return response


def _accept_context(
    request: HttpRequest, round: Round, form_for: Callable[[Drafted], AcceptForm]
) -> dict[str, Any]:
    """Who would be invited. Raises Refused where what the draft asks contradicts."""
    shown = services.drafted(round)
    seats = seats_to_offer(round, shown)
    return {
        "form": form_for(shown),
        "seats": seats,
        "without_address": sum(not seat.email for seat in seats),
        "broken": proposal_page(shown, reader_for(request).units).broken,
    }


def _seen_afresh(form: AcceptForm, shown: Drafted) -> AcceptForm:
    """The same form with what was typed, for the draft as it is shown now."""
    form = _afresh(form, shown.draft.revision)
    form.data["seen"] = shown.seen
    return form


# -- places that fell free ---------------------------------------------------------------------------------


@require_POST
@login_required
@sensitive_variables("url")
def vacancy_invite(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Invite who is next for a place that fell free; without an address, give the link to hand over."""
    round = round_for(request.user, code, Right.INVITE)
    vacancy = vacancy_of(round, pk)
    if vacancy is None:
        raise Http404
    posted = request.POST.get("candidate", "")
    candidate = round.candidates.filter(pk=int(posted)).first() if posted.isdecimal() else None
    try:
        place, url = services.vacancy_invite(vacancy=vacancy, candidate=candidate, by=request.user)
    except Refused as refused:
        services.reserve_look(round=round)
        messages.error(request, refused.sentence)
        return redirect("rounds:proposal", code)
    if url and candidate is not None and not candidate.email:
        offered = services.Offered(place, url, False)
        context = {"round": round, "mailed": [], "by_hand": [offered], "until": None}
        response = render(request, "rounds/proposal_accepted.html", context)
        patch_cache_control(response, no_store=True, private=True)
        return response
    messages.success(request, _("{name} is invited, and has it by mail.").format(name=place.name))
    return redirect("rounds:proposal", code)


@require_POST
@login_required
def vacancy_leave(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round = round_for(request.user, code, Right.INVITE)
    vacancy = vacancy_of(round, pk)
    if vacancy is None:
        raise Http404
    if services.vacancy_leave(vacancy=vacancy, by=request.user):
        messages.success(request, _("{name}'s place stays free.").format(name=vacancy.place.name))
    else:
        messages.info(request, _("That place was settled already."))
    return redirect("rounds:proposal", code)


# -- no, thank you -----------------------------------------------------------------------------------------


@form_view
@sensitive_variables("secret")
def decline(request: HttpRequest, secret: str) -> HttpResponse:
    """Say no to a place by the link of its invitation."""
    return secret_page(_decline(request, secret))


@sensitive_variables("secret")
def _decline(request: HttpRequest, secret: str) -> HttpResponse:
    try:
        invitation = services.invitation_of_secret(secret)
    except UnknownInvitation:
        raise Http404 from None
    form = DeclineForm(posted(request))
    context: dict[str, Any] = {
        "place": invitation.place,
        "round": invitation.place.round,
        "owner": invitation.place.round.edition.pattern.owner,
        "form": form,
        "secret": secret,
    }
    try:
        if request.method == "POST" and form.is_valid():
            services.invitation_decline(secret=secret, cause=form.cleaned_data["cause"])
            return render(request, "rounds/declined.html", context)
        services.invitation_check(invitation)
    except InvitationEnded as ended:
        # The page's own words say where to go from here.
        return render(
            request, "rounds/decline_ended.html", {**context, "sentence": ended.sentence}, status=410
        )
    return render(request, "rounds/decline.html", context, status=422 if form.errors else 200)
