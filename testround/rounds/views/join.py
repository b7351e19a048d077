"""The page that an invitation leads to: what it is to, the terms, and a yes."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_variables

from testround.people.context import reader_for
from testround.rounds import services
from testround.rounds.clock import local_day
from testround.rounds.forms.fields import add_refusal
from testround.rounds.forms.join import JoinForm
from testround.rounds.refusals import AddressHasAccount, InvitationEnded, Refused, UnknownInvitation
from testround.rounds.views.shared import form_page, form_view, posted, secret_page

BACKEND = "allauth.account.auth_backends.AuthenticationBackend"


@form_view
@sensitive_variables("secret")
def join(request: HttpRequest, secret: str) -> HttpResponse:
    """What the invitation is to, the terms, and a yes: all before anything is asked or kept."""
    return secret_page(_join(request, secret))


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
        posted(request),
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
            messages.success(request, _("The place is yours."))
            return redirect(taken)
    return form_page(
        request,
        "rounds/join.html",
        form,
        secret=secret,
        place=place,
        answer_by=local_day(place.round, invitation.expires),
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
