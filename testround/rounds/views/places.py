"""Pages of a round's places, and the link to each."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import patch_cache_control
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST, require_safe

from testround.patterns.access import Right, may, rights_on
from testround.rounds import services
from testround.rounds.clock import local_day
from testround.rounds.forms.fields import add_refusal
from testround.rounds.forms.places import GiveBackForm, InviteForm, PlaceForm
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors import invitation_page, places_in, places_of
from testround.rounds.selectors.digests import places_digest
from testround.rounds.selectors.places import place_rows, places_by_state
from testround.rounds.states import place_states_after
from testround.rounds.views.shared import (
    form_page,
    form_view,
    kept_here,
    one_of,
    page_asked,
    page_of,
    place_here,
    posted,
    round_here,
)

PLACES_A_PAGE = 50


@require_safe
@login_required
def places(request: HttpRequest, code: str) -> HttpResponse:
    round = round_here(request, code, Right.SEE)
    sizes = round.edition.sheet.get("sizes") or []
    chosen = {
        "size": one_of(sizes, request.GET.get("size")),
        "state": one_of(Place.State.values, request.GET.get("state")),
    }
    may = rights_on(round.edition.pattern, request.user)
    today = services.today_for(round)

    def needs() -> dict[str, Any]:
        page = page_of(request, places_in(round, size=chosen["size"], state=chosen["state"]), PLACES_A_PAGE)
        return {
            "page": page,
            "rows": place_rows(page.object_list, round, today=today),
            "by_state": places_by_state(round),
            "chosen": chosen,
            "query": f"{urlencode(chosen)}&",
            "sizes": sizes,
            "states": Place.State.choices,
        }

    place = kept_here(
        request, "places", round, places_digest, may, chosen, page_asked(request), today, needs=needs
    )
    return render(request, "rounds/places.html", {"round": round, "may": may, "kept": place})


def _place_form(request: HttpRequest, round: Round, **more: Any) -> PlaceForm:
    return PlaceForm(
        posted(request),
        document=round.edition.document,
        yarns=list(round.yarns.all()),
        units=request.user.units,
        **more,
    )


@form_view
@login_required
def place_new(request: HttpRequest, code: str) -> HttpResponse:
    round = round_here(request, code)
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
                    messages.success(
                        request,
                        _("{name}'s place is there. The owner can invite them.").format(name=added[0].name),
                    )
                    return redirect("rounds:places", code)
                messages.success(
                    request,
                    _("{name}'s place is there. Invite them now, or later.").format(name=added[0].name),
                )
                return redirect("rounds:invite", code, added[0].pk)
            messages.success(
                request,
                ngettext(
                    "{n} place added. Each needs its own invitation.",
                    "{n} places added. Each needs its own invitation.",
                    len(added),
                ).format(n=len(added)),
            )
            return redirect("rounds:places", code)
    return form_page(request, "rounds/place_new.html", form, round=round)


@form_view
@login_required
def place_edit(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, place = place_here(request, code, pk)
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
            messages.success(request, _("Saved; what changed is in the diary."))
            return redirect(round)
    can_give_back = Place.State.GIVEN_BACK in place_states_after(place.state)
    return form_page(
        request,
        "rounds/place_edit.html",
        form,
        round=round,
        place=place,
        link=invitation_page(place).open if place.state == Place.State.OFFERED else None,
        can_give_back=can_give_back,
        may=rights_on(round.edition.pattern, request.user),
    )


@form_view
@login_required
def place_give_back(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    round, place = place_here(request, code, pk)
    form = GiveBackForm(posted(request))
    if place.tester_id is not None:
        form.fields["cause"].help_text = _("Stands in the mail, and in the diary beside your name.")
    if form.is_valid():
        try:
            services.place_give_back(place=place, by=request.user, cause=form.cleaned_data["cause"])
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(
                request, _("{name}’s place is taken back. What was sent stays.").format(name=place.name)
            )
            return redirect(round)
    return form_page(request, "rounds/place_give_back.html", form, round=round, place=place)


@require_POST
@login_required
def place_count(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Leave what came from a place given back out of the results, or count it again."""
    place = place_here(request, code, pk)[1]
    counts = request.POST.get("counts") == "yes"
    try:
        services.place_count(place=place, counts=counts, by=request.user)
    except Refused as refused:
        messages.error(request, refused.sentence)
    else:
        said = _("It counts in the results again.") if counts else _("The results leave it out.")
        messages.success(request, said)
    return redirect("rounds:place_edit", code, pk)


@form_view
@login_required
def give_back(request: HttpRequest, pk: int) -> HttpResponse:
    """A tester gives back the place they hold."""
    place = get_object_or_404(places_of(request.user), pk=pk)
    form = GiveBackForm(posted(request))
    form.fields["cause"].help_text = _("The designer sees it.")
    if form.is_valid():
        try:
            services.place_give_back(place=place, by=request.user, cause=form.cleaned_data["cause"])
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(
                request,
                _("Your place is given back, and {owner} is told.").format(
                    owner=place.round.edition.pattern.owner
                ),
            )
            return redirect("home")
    return form_page(request, "rounds/give_back.html", form, place=place)


@form_view
@login_required
@sensitive_variables("url")
def invite(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Make the link of a place. It is on the page that answers the press, and nowhere afterwards."""
    round, place = place_here(request, code, pk, Right.INVITE)
    links = invitation_page(place)
    email = links.open.email if links.open else ""
    email = email or (place.candidate.email if place.candidate else "")
    last = local_day(round, place.offered_until) if place.offered_until else None
    form = InviteForm(posted(request), ends=last is not None, initial={"email": email, "until": last})
    url = ""
    if form.is_valid():
        try:
            url = services.invitation_create(
                place=place,
                email=form.cleaned_data["email"],
                until=form.cleaned_data.get("until"),
                by=request.user,
            )[1]
        except Refused as refused:
            add_refusal(form, refused)
    response = form_page(
        request,
        "rounds/invite.html",
        form,
        round=round,
        place=place,
        url=url,
        links=invitation_page(place) if url else links,
    )
    patch_cache_control(response, no_store=True)
    return response


@require_POST
@login_required
def invite_withdraw(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    place = place_here(request, code, pk, Right.INVITE)[1]
    if services.invitation_withdraw(place=place, by=request.user):
        messages.success(request, _("{name}'s link no longer works.").format(name=place.name))
    else:
        messages.info(request, _("There was no open link to withdraw."))
    return redirect("rounds:invite", code, pk)
