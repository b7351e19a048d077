"""The call for testers: the page that everybody with its address may open, and the designer's behind it."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_POST, require_safe

from testround.kernel.units import LengthUnit, format_length
from testround.patterns.access import Right, rights_on
from testround.people.context import reader_for
from testround.people.kept import kept
from testround.rounds import services
from testround.rounds.forms.call import CallForm, OfferForm
from testround.rounds.forms.fields import LONGEST_ADDRESS, add_refusal
from testround.rounds.letters.words import in_turn, or_else
from testround.rounds.models import PHOTO_USES, Candidate, OfferLink, Round
from testround.rounds.refusals import OfferEnded, Refused, UnknownOffer
from testround.rounds.selectors import round_for, rounds_of
from testround.rounds.selectors.call import CallPage, call_counts, call_page
from testround.rounds.services.call import CallState, call_state
from testround.rounds.services.offers import MAILS_A_DAY
from testround.rounds.throttle import offer_counted
from testround.rounds.views.shared import form_view, posted, secret_page
from testround.rows import as_loaded

# -- the designer's side -----------------------------------------------------------------------------------


@form_view
@login_required
def call_plan(request: HttpRequest, code: str) -> HttpResponse:
    """What the call says, its dates, its address, and how many have offered."""
    round = round_for(request.user, code, Right.EDIT)
    form = CallForm(posted(request), round=round)
    if form.is_valid():
        try:
            services.call_edit(round=round, by=request.user, **form.cleaned_data)
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, _("Saved; what changed is in the diary."))
            return redirect("rounds:call_plan", code)
    counts = call_counts(round)
    context = {
        "round": round,
        "form": form,
        "counts": counts,
        "state": call_state(round, confirmed=counts.confirmed),
        "address": _address(round),
        "past": round.state not in (Round.State.PLANNED, Round.State.GATHERING, Round.State.SWATCHING),
        "may": rights_on(round.edition.pattern, request.user),
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "rounds/call_plan.html", context, status=status)


def _address(round: Round) -> str:
    return (
        f"{settings.SITE_URL}{reverse('rounds:call', args=[round.call_code])}"
        if round.call_code is not None
        else ""
    )


@require_POST
@login_required
def call_open(request: HttpRequest, code: str) -> HttpResponse:
    return _pressed(request, code, services.call_open, _("The call is open. Share its address."))


@require_POST
@login_required
def call_close(request: HttpRequest, code: str) -> HttpResponse:
    return _pressed(
        request, code, services.call_close, _("The call is closed. Who offers from now on waits.")
    )


@require_POST
@login_required
def call_address(request: HttpRequest, code: str) -> HttpResponse:
    return _pressed(
        request,
        code,
        services.call_address_renew,
        _("The page has a new address; the old one leads nowhere."),
    )


def _pressed(request: HttpRequest, code: str, service: Any, done: str) -> HttpResponse:
    round = round_for(request.user, code, Right.INVITE)
    try:
        service(round=round, by=request.user)
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        messages.success(request, done)
    return redirect("rounds:call_plan", code)


# -- the page of the call ----------------------------------------------------------------------------------


def _called(call: str) -> Round:
    return get_object_or_404(Round.objects.select_related("edition__pattern__owner"), call_code=call)


@form_view
@sensitive_post_parameters()
def call(request: HttpRequest, call: str) -> HttpResponse:
    """The piece, what is asked and given, and the form that offers to test it."""
    round = _called(call)
    page = call_page(round)
    is_preview = page.state == CallState.UNOPENED
    if is_preview and not _is_hers(request, round):
        raise Http404
    if page.state == CallState.ENDED:
        return _quiet(render(request, "rounds/call_ended.html", {"page": page, "round": round}, status=410))
    if is_preview and request.method == "POST":
        raise Http404
    if request.method != "POST" and not is_preview:
        return _quiet(_call_visited(request, page))
    form = _offer_form(request, page)
    status = 200
    if form.is_bound:
        # Before anything is checked: a program is to learn nothing from what it filled in wrongly.
        if form.is_trap_sprung:
            return _to_mail(request, call, request.POST.get("email", "")[:LONGEST_ADDRESS])
        status = 422
        if form.is_valid():
            try:
                status = _offered(request, round, form)
            except OfferEnded:
                return redirect("rounds:call", call)
            except Refused as refused:
                add_refusal(form, refused)
                status = 422
            if status == 302:
                return _to_mail(request, call, form.cleaned_data["email"])
    context = {
        "round": round,
        "page": page,
        "form": form,
        "is_preview": is_preview,
        "owner": round.edition.pattern.owner,
    }
    return _quiet(render(request, "rounds/call.html", context, status=status))


def _call_visited(request: HttpRequest, page: CallPage) -> HttpResponse:
    """The page as everybody opens it: kept for all of them, each with their own token and key."""
    round = page.round
    pattern = round.edition.pattern
    place = kept(
        request,
        "call",
        as_loaded(round, round.edition, pattern, *page.yarns),
        str(pattern.owner),
        (str(page.state), page.sought, page.pictures),
        request.path,
        needs=lambda: {"form": _offer_form(request, page)},
    )
    context = {"round": round, "page": page, "owner": pattern.owner, "kept": place}
    return render(request, "rounds/call.html", context)


def _is_hers(request: HttpRequest, round: Round) -> bool:
    return bool(request.user.is_authenticated) and rounds_of(request.user).filter(pk=round.pk).exists()


def _offer_form(request: HttpRequest, page: CallPage, candidate: Candidate | None = None) -> OfferForm:
    return OfferForm(
        posted(request),
        round=page.round,
        document=page.document,
        yarns=page.yarns,
        reader=reader_for(request),
        candidate=candidate,
    )


def _offered(request: HttpRequest, round: Round, form: OfferForm) -> int:
    """Take the offer in: 302 when the person is to look for a mail, 429 when there were too many."""
    if not offer_counted(request, round):
        form.add_error(
            None,
            _(
                "Too many offers came from here within an hour. Wait a little and press again; your answers "
                "are kept."
            ),
        )
        return 429
    services.offer_make(
        round=round,
        email=form.cleaned_data["email"],
        offer=form.offer(),
        form_key=str(form.cleaned_data.get("key") or ""),
    )
    return 302


def _to_mail(request: HttpRequest, call: str, email: str) -> HttpResponse:
    """The same for everybody: a first offer, a second one, and a program that fell into the trap."""
    messages.success(request, _("A mail is on its way to {email}.").format(email=email))
    return redirect("rounds:call_sent", call)


@require_safe
def call_sent(request: HttpRequest, call: str) -> HttpResponse:
    """Look for a mail."""
    round = _called(call)
    if round.state == Round.State.PLANNED:
        raise Http404
    return _quiet(render(request, "rounds/call_sent.html", {"round": round, "most": MAILS_A_DAY}))


def _quiet(response: HttpResponse) -> HttpResponse:
    """Whoever has the address may open the page; nobody else is to find it."""
    response.headers["X-Robots-Tag"] = "noindex"
    return response


# -- an offer, by the link in the mail ---------------------------------------------------------------------


@form_view
@sensitive_post_parameters()
@sensitive_variables("secret")
def offer(request: HttpRequest, secret: str) -> HttpResponse:
    """What somebody has offered: to be confirmed, changed or taken back."""
    return secret_page(_offer(request, secret))


@sensitive_variables("secret")
def _offer(request: HttpRequest, secret: str) -> HttpResponse:
    try:
        link = services.offer_of_secret(secret)
        if _is_done(link):
            return render(request, "rounds/offer_done.html", _of(link.candidate))
        services.offer_check(link)
        candidate = link.candidate
        page = call_page(candidate.round)
        form = _offer_form(request, page, candidate)
        if form.is_valid():
            try:
                services.offer_change(secret=secret, offer=form.offer())
            except OfferEnded as ended:
                return render(request, "rounds/offer_ended.html", {"sentence": ended.sentence}, status=410)
            except Refused as refused:
                add_refusal(form, refused)
            else:
                messages.success(request, _("Your answers are changed."))
                return redirect("rounds:offer", secret)
    except UnknownOffer:
        return _unknown(request)
    except OfferEnded as ended:
        return render(request, "rounds/offer_ended.html", {"sentence": ended.sentence}, status=410)
    context = {"page": page, "form": form, "secret": secret, **_of(candidate), **_answers(candidate, page)}
    return render(request, "rounds/offer.html", context, status=422 if form.is_bound and form.errors else 200)


def _of(candidate: Candidate) -> dict[str, Any]:
    pattern = candidate.round.edition.pattern
    return {"candidate": candidate, "round": candidate.round, "pattern": pattern, "owner": pattern.owner}


def _answers(candidate: Candidate, page: CallPage) -> dict[str, Any]:
    """What was offered, to be looked over before it is confirmed."""
    labels = {yarn.key: yarn.label for yarn in page.yarns}
    yarns = [labels.get(key, key) for key in candidate.yarns]
    # In the unit they measured in: the page is looked over against the tape, and nobody is signed in.
    units: LengthUnit = "in" if candidate.units == "in" else "cm"
    return {
        "measures": [
            (measure.label, format_length(candidate.measures[measure.key], units))
            for measure in page.document.measures
            if measure.key in candidate.measures
        ],
        "photos_said": [
            str(words) for use, words in PHOTO_USES.items() if getattr(candidate, f"photo_{use}")
        ],
        "wishes_said": in_turn(candidate.wishes),
        "yarns_said": or_else([*yarns, *([_("my own")] if candidate.own_yarn else [])]),
    }


def _is_done(link: OfferLink) -> bool:
    """Whether the link to confirm did so: the mail that came of it has another link, to change the offer by."""
    return (
        link.kind == OfferLink.Kind.CONFIRM
        and link.used_at is not None
        and link.candidate.state in Candidate.HOLDING
    )


def _unknown(request: HttpRequest) -> HttpResponse:
    sentence = _(
        "No offer belongs to this link. Perhaps it was never confirmed and has been deleted, or a "
        "part of the address was lost on the way: copy it from the mail once more."
    )
    return render(request, "rounds/offer_ended.html", {"sentence": sentence}, status=404)


@require_POST
@sensitive_variables("secret")
def offer_confirm(request: HttpRequest, secret: str) -> HttpResponse:
    try:
        url = services.offer_confirm(secret=secret)[1]
    except UnknownOffer:
        return secret_page(_unknown(request))
    except OfferEnded as ended:
        if _is_done(services.offer_of_secret(secret)):
            # The second of two presses: the offer is confirmed, and its page says so.
            return redirect("rounds:offer", secret)
        return secret_page(
            render(request, "rounds/offer_ended.html", {"sentence": ended.sentence}, status=410)
        )
    return redirect(urlsplit(url).path)


@require_POST
@sensitive_variables("secret")
def offer_withdraw(request: HttpRequest, secret: str) -> HttpResponse:
    try:
        candidate = services.offer_withdraw(secret=secret)
    except UnknownOffer:
        return secret_page(_unknown(request))
    except OfferEnded as ended:
        return secret_page(
            render(request, "rounds/offer_ended.html", {"sentence": ended.sentence}, status=410)
        )
    return secret_page(render(request, "rounds/offer_withdrawn.html", _of(candidate)))
