from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.cache import patch_cache_control
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from testround.patterns.access import Right, may, rights_on
from testround.people.context import reader_for
from testround.rounds import services
from testround.rounds.clock import local_day
from testround.rounds.forms import (
    GiveBackForm,
    InviteForm,
    JoinForm,
    MoveForm,
    PlaceForm,
    RoundForm,
    SuppliedYarnForm,
    add_refusal,
)
from testround.rounds.models import Place, Round
from testround.rounds.refusals import AddressHasAccount, InvitationEnded, Refused, UnknownInvitation
from testround.rounds.selectors import (
    diary_of,
    editions_open_to,
    invitation_page,
    places_in,
    places_of,
    round_for,
    round_page,
    rounds_with_progress,
)
from testround.rounds.services import today_for
from testround.rounds.states import place_states_after

ROUNDS_A_PAGE = 30
PLACES_A_PAGE = 50
ENTRIES_A_PAGE = 50
BACKEND = "allauth.account.auth_backends.AuthenticationBackend"

form_view = require_http_methods(["GET", "HEAD", "POST"])


def _round(request: HttpRequest, code: str, right: Right = Right.EDIT) -> Round:
    return round_for(request.user, code, right)


def _place(request: HttpRequest, code: str, pk: int, right: Right = Right.EDIT) -> tuple[Round, Place]:
    round = _round(request, code, right)
    return round, get_object_or_404(round.places, pk=pk)


def _page(request: HttpRequest, rows: Any, per_page: int) -> Any:
    return Paginator(rows, per_page).get_page(request.GET.get("page"))


def _one_of(known: list[str], asked: str | None) -> str:
    return asked if asked in known else ""


def _posted(request: HttpRequest) -> Any:
    """What a form is bound to: whatever was posted, be it nothing; None, which leaves it unbound, on a visit."""
    return request.POST if request.method == "POST" else None


def _form_page(request: HttpRequest, template: str, form: Any, **context: Any) -> HttpResponse:
    status = 422 if form.is_bound and form.errors else 200
    return render(request, template, {"form": form, **context}, status=status)


# -- rounds ------------------------------------------------------------------------------------------------


@require_safe
@login_required
def rounds(request: HttpRequest) -> HttpResponse:
    page = _page(request, rounds_with_progress(request.user), ROUNDS_A_PAGE)
    return render(request, "rounds/list.html", {"page": page})


@form_view
@login_required
def new(request: HttpRequest, edition: int) -> HttpResponse:
    chosen = get_object_or_404(editions_open_to(request.user), pk=edition)
    problems = services.edition_problems(chosen)
    if problems:
        return render(request, "rounds/not_yet.html", {"edition": chosen, "problems": problems}, status=422)
    form = RoundForm(_posted(request), document=chosen.document)
    if form.is_valid():
        try:
            round = services.round_open(edition=chosen, by=request.user, **form.values())
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, "The round is planned and its sheet is frozen. Add places next.")
            return redirect(round)
    return _form_page(request, "rounds/new.html", form, edition=chosen)


@require_safe
@login_required
def detail(request: HttpRequest, code: str) -> HttpResponse:
    round = _round(request, code, Right.SEE)
    rights = rights_on(round.edition.pattern, request.user)
    page = round_page(round, today=today_for(round), may_invite=rights.invite)
    return render(request, "rounds/detail.html", {"round": round, "page": page, "may": rights})


@form_view
@login_required
def edit(request: HttpRequest, code: str) -> HttpResponse:
    round = _round(request, code)
    form = RoundForm(_posted(request), document=round.edition.document, round=round)
    if form.is_valid():
        try:
            services.round_edit(round=round, by=request.user, **form.values())
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, "Saved; what changed is in the diary.")
            return redirect(round)
    return _form_page(request, "rounds/edit.html", form, round=round)


@form_view
@login_required
def move(request: HttpRequest, code: str) -> HttpResponse:
    round = _round(request, code)
    form = MoveForm(_posted(request), round=round)
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
            messages.success(request, f"The round is {moved.state}.")
            return redirect(round)
    return _form_page(request, "rounds/move.html", form, round=round)


@require_safe
@login_required
def diary(request: HttpRequest, code: str) -> HttpResponse:
    round = _round(request, code, Right.SEE)
    page = _page(request, diary_of(round), ENTRIES_A_PAGE)
    return render(request, "rounds/diary.html", {"round": round, "page": page})


@form_view
@login_required
def yarns(request: HttpRequest, code: str) -> HttpResponse:
    round = _round(request, code)
    supplied = list(round.yarns.all())
    form = SuppliedYarnForm(_posted(request))
    if form.is_valid():
        yarn = services.yarn_supply(
            round=round, yarn=form.yarn([yarn.key for yarn in supplied]), by=request.user
        )
        messages.success(request, f"{yarn.label} is on the list.")
        return redirect("rounds:yarns", code)
    return _form_page(request, "rounds/yarns.html", form, round=round, yarns=supplied)


@require_POST
@login_required
def yarn_remove(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    yarn = get_object_or_404(_round(request, code).yarns, pk=pk)
    services.yarn_withdraw(yarn=yarn, by=request.user)
    messages.success(request, f"{yarn.label} is off the list. Places that have it keep it.")
    return redirect("rounds:yarns", code)


# -- places ------------------------------------------------------------------------------------------------


@require_safe
@login_required
def places(request: HttpRequest, code: str) -> HttpResponse:
    round = _round(request, code, Right.SEE)
    sizes = round.edition.sheet.get("sizes") or []
    chosen = {
        "size": _one_of(sizes, request.GET.get("size")),
        "state": _one_of(Place.State.values, request.GET.get("state")),
    }
    page = _page(request, places_in(round, size=chosen["size"], state=chosen["state"]), PLACES_A_PAGE)
    context = {
        "round": round,
        "page": page,
        "chosen": chosen,
        "query": f"{urlencode(chosen)}&",
        "sizes": sizes,
        "states": Place.State.values,
        "may": rights_on(round.edition.pattern, request.user),
    }
    return render(request, "rounds/places.html", context)


def _place_form(request: HttpRequest, round: Round, **more: Any) -> PlaceForm:
    return PlaceForm(
        _posted(request),
        document=round.edition.document,
        yarns=list(round.yarns.all()),
        units=request.user.units,
        **more,
    )


@form_view
@login_required
def place_new(request: HttpRequest, code: str) -> HttpResponse:
    round = _round(request, code)
    form = _place_form(request, round, initial={"size": request.GET.get("size", "")})
    if form.is_valid():
        try:
            added = services.places_add(
                round=round,
                names=form.cleaned_data["names"],
                size=form.chosen_size(),
                measures=form.cleaned_data["measures"],
                yarn=form.chosen_yarn(),
                by=request.user,
            )
        except Refused as refused:
            add_refusal(form, refused)
        else:
            if len(added) == 1:
                if not may(request.user, Right.INVITE, round.edition.pattern):
                    messages.success(request, f"{added[0].name}'s place is there. The owner can invite them.")
                    return redirect("rounds:places", code)
                messages.success(request, f"{added[0].name}'s place is there. Invite them now, or later.")
                return redirect("rounds:invite", code, added[0].pk)
            messages.success(request, f"{len(added)} places added. Each needs its own invitation.")
            return redirect("rounds:places", code)
    return _form_page(request, "rounds/place_new.html", form, round=round)


@form_view
@login_required
def place_edit(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, place = _place(request, code, pk)
    form = _place_form(request, round, place=place)
    if form.is_valid():
        try:
            services.place_edit(
                place=place,
                name=form.cleaned_data["names"][0],
                size=form.chosen_size(),
                measures=form.cleaned_data["measures"],
                yarn=form.chosen_yarn(),
                by=request.user,
            )
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, "Saved; what changed is in the diary.")
            return redirect(round)
    can_give_back = Place.State.GIVEN_BACK in place_states_after(place.state)
    return _form_page(
        request,
        "rounds/place_edit.html",
        form,
        round=round,
        place=place,
        can_give_back=can_give_back,
        may=rights_on(round.edition.pattern, request.user),
    )


@form_view
@login_required
def place_give_back(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, place = _place(request, code, pk)
    form = GiveBackForm(_posted(request))
    if form.is_valid():
        try:
            services.place_give_back(place=place, by=request.user, cause=form.cleaned_data["cause"])
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, f"{place.name}'s place is given back. What was sent stays.")
            return redirect(round)
    return _form_page(request, "rounds/place_give_back.html", form, round=round, place=place)


@form_view
@login_required
def give_back(request: HttpRequest, pk: int) -> HttpResponse:
    """A tester gives back the place they hold."""
    place = get_object_or_404(places_of(request.user), pk=pk)
    form = GiveBackForm(_posted(request))
    form.fields["cause"].help_text = "If you like. The designer sees it."
    if form.is_valid():
        try:
            services.place_give_back(place=place, by=request.user, cause=form.cleaned_data["cause"])
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(
                request, f"Your place is given back, and {place.round.edition.pattern.owner} is told."
            )
            return redirect("home")
    return _form_page(request, "rounds/give_back.html", form, place=place)


# -- invitations -------------------------------------------------------------------------------------------


@form_view
@login_required
@sensitive_variables("url")
def invite(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Make the link of a place. It is on the page that answers the press, and nowhere afterwards."""
    round, place = _place(request, code, pk, Right.INVITE)
    email = place.candidate.email if place.candidate else ""
    last = local_day(round, place.offered_until) if place.offered_until else None
    form = InviteForm(_posted(request), ends=last is not None, initial={"email": email, "until": last})
    url = ""
    if form.is_valid():
        try:
            _, url = services.invitation_create(
                place=place,
                email=form.cleaned_data["email"],
                until=form.cleaned_data.get("until"),
                by=request.user,
            )
        except Refused as refused:
            add_refusal(form, refused)
    response = _form_page(
        request, "rounds/invite.html", form, round=round, place=place, url=url, links=invitation_page(place)
    )
    patch_cache_control(response, no_store=True)
    return response


@require_POST
@login_required
def invite_withdraw(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    _, place = _place(request, code, pk, Right.INVITE)
    if services.invitation_withdraw(place=place, by=request.user):
        messages.success(request, f"{place.name}'s link no longer works.")
    else:
        messages.info(request, "There was no open link to withdraw.")
    return redirect("rounds:invite", code, pk)


@form_view
@sensitive_variables("secret")
def join(request: HttpRequest, secret: str) -> HttpResponse:
    """What the invitation is to, the terms, and a yes: all before anything is asked or kept."""
    response = _join(request, secret)
    patch_cache_control(response, no_store=True, private=True)
    # The address of this page is a secret: no other address learns it, this site's own pages included. The bare
    # origin is still sent, because a post without one is refused as forged.
    response.headers["Referrer-Policy"] = "strict-origin"
    response.headers["X-Robots-Tag"] = "noindex"
    return response


@sensitive_variables("secret")
def _join(request: HttpRequest, secret: str) -> HttpResponse:
    try:
        invitation = services.invitation_of_secret(secret)
    except UnknownInvitation:
        raise Http404 from None
    place = invitation.place
    user = request.user
    if invitation.used_at is not None and user.is_authenticated and place.tester_id == user.pk:
        return redirect(place)
    try:
        services.invitation_check(invitation)
    except InvitationEnded as ended:
        return _join_ended(request, secret, ended)
    shown, offer = reader_for(request), place.candidate
    form = JoinForm(
        _posted(request),
        signed_in=user.is_authenticated,
        craft=place.round.edition.document.craft,
        initial={
            "name": user.name if user.is_authenticated else place.name,
            "email": invitation.email,
            # As they measured when they offered.
            "units": offer.units if offer is not None else shown.units,
            "tools": shown.tools,
            "terms": offer.terms if offer is not None else place.round.edition.terms,
        },
    )
    has_account = False
    if form.is_valid():
        answers = form.cleaned_data
        try:
            if user.is_authenticated:
                taken = services.invitation_accept(secret=secret, user=user, name=answers["name"])
            else:
                person, taken = services.person_join(
                    secret=secret,
                    name=answers["name"],
                    email=answers["email"],
                    units=answers["units"],
                    tools=answers["tools"],
                    terms=answers.get("terms") or place.round.edition.terms,
                    form_key=str(answers["key"] or ""),
                )
                login(request, person, backend=BACKEND)
        except AddressHasAccount as refused:
            has_account = True
            add_refusal(form, refused)
        except InvitationEnded as ended:
            return _join_ended(request, secret, ended)
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(request, "The place is yours.")
            return redirect(taken)
    return _form_page(
        request,
        "rounds/join.html",
        form,
        secret=secret,
        place=place,
        round=place.round,
        pattern=place.round.edition.pattern,
        owner=place.round.edition.pattern.owner,
        measures=place.round.edition.document.measures,
        craft=place.round.edition.document.craft,
        has_account=has_account,
        own_round=user.is_authenticated and user.pk == place.round.edition.pattern.owner_id,
        sign_in=_sign_in_address(request),
    )


@sensitive_variables("secret")
def _join_ended(request: HttpRequest, secret: str, ended: InvitationEnded) -> HttpResponse:
    if request.method == "POST":
        person = services.person_of_repeated_press(secret=secret, form_key=request.POST.get("key", ""))
        if person is not None and not request.user.is_authenticated:
            login(request, person, backend=BACKEND)
        if person is not None and request.user == person:
            return redirect(services.invitation_of_secret(secret).place)
    context = {"sentence": ended.sentence, "sign_in": _sign_in_address(request)}
    return render(request, "rounds/join_ended.html", context, status=410)


def _sign_in_address(request: HttpRequest) -> str:
    return f"{reverse('account_login')}?{urlencode({'next': request.path})}"
