"""Pages about who has a part in a pattern, and the page of those who only look on."""

from __future__ import annotations

import uuid
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST, require_safe

from testround.patterns.access import Right, Role, require, rights_on
from testround.patterns.models import Membership
from testround.patterns.selectors import patterns_of
from testround.rounds.forms.fields import add_refusal
from testround.rounds.forms.people import MemberForm
from testround.rounds.letters.people import WHAT
from testround.rounds.letters.words import role_word
from testround.rounds.models import Place
from testround.rounds.refusals import InvitationEnded, Refused, UnknownInvitation
from testround.rounds.selectors.members import members_of, memberships_open_to
from testround.rounds.selectors.standing import standing_digest, standing_of, standings_open_to
from testround.rounds.services.people import (
    member_invite,
    membership_accept,
    membership_check,
    membership_end,
    membership_of_secret,
)
from testround.rounds.views.shared import form_view, kept_here, posted, secret_page


@form_view
@login_required
def people(request: HttpRequest, code: str) -> HttpResponse:
    """Who has a part in a pattern; for its owner with a form that invites."""
    pattern = get_object_or_404(patterns_of(request.user).select_related("owner"), code=code)
    form = MemberForm(posted(request))
    if request.method == "POST":
        require(request.user, Right.INVITE, pattern)
        if form.is_valid():
            try:
                membership = member_invite(
                    pattern=pattern,
                    email=form.cleaned_data["email"],
                    role=form.cleaned_data["role"],
                    key=form.cleaned_data["key"] or uuid.uuid4(),
                    by=request.user,
                )
            except Refused as refused:
                add_refusal(form, refused)
            else:
                messages.success(
                    request, _("The invitation is on its way to {email}.").format(email=membership.email)
                )
                return redirect("rounds:people", code)
    context = {
        "pattern": pattern,
        "form": form,
        "page": members_of(pattern),
        "may": rights_on(pattern, request.user),
    }
    return render(request, "rounds/people.html", context, status=422 if form.errors else 200)


@require_POST
@login_required
def person_end(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """End a part: the owner anybody's, everybody their own."""
    membership = get_object_or_404(memberships_open_to(request.user), pattern__code=code, pk=pk)
    own = membership.user_id == request.user.pk
    membership_end(membership=membership, by=request.user)
    if own:
        messages.success(
            request, _("You have no part in {title} any more.").format(title=membership.pattern.title)
        )
        return redirect("home")
    who = membership.user or membership.email
    messages.success(request, _("{name} has no part in it any more.").format(name=who))
    return redirect("rounds:people", code)


@form_view
@sensitive_variables("secret")
def person_join(request: HttpRequest, secret: str) -> HttpResponse:
    """What the link offers, and a yes. Who is not signed in does so first and comes back."""
    return secret_page(_person_join(request, secret))


@sensitive_variables("secret")
def _person_join(request: HttpRequest, secret: str) -> HttpResponse:
    user = request.user if request.user.is_authenticated else None
    back = urlencode({"next": request.path})
    doors = {
        "sign_in": f"{reverse('account_login')}?{back}",
        "sign_up": f"{reverse('account_signup')}?{back}",
    }
    try:
        membership = membership_of_secret(secret)
        if user is not None and membership.user_id == user.pk and membership.ended_at is None:
            return redirect(_whereto(membership))
        if request.method == "POST" and user is not None:
            membership = membership_accept(secret=secret, user=user)
            messages.success(
                request,
                _("You are {role} of {title}.").format(
                    role=role_word(membership.role), title=membership.pattern.title
                ),
            )
            return redirect(_whereto(membership))
        membership_check(membership, user)
    except UnknownInvitation:
        raise Http404 from None
    except InvitationEnded as ended:
        context = {"sentence": ended.sentence, **doors}
        return render(request, "rounds/join_ended.html", context, status=410)
    if request.method == "POST":
        return redirect(doors["sign_in"])
    context = {
        "membership": membership,
        "pattern": membership.pattern,
        "owner": membership.pattern.owner,
        "role": role_word(membership.role),
        "what": WHAT[membership.role],
        **doors,
    }
    return render(request, "rounds/person_join.html", context)


def _whereto(membership: Membership) -> str:
    return reverse("home") if membership.role == Role.ONLOOKER else membership.pattern.get_absolute_url()


@require_safe
@login_required
def standing(request: HttpRequest, code: str) -> HttpResponse:
    """How a round stands, for onlookers, and for testers where the designer shows it."""
    round = get_object_or_404(standings_open_to(request.user), code=code)
    pattern = round.edition.pattern
    own = Membership.objects.filter(
        pattern=pattern, user=request.user, ended_at=None, role=Role.ONLOOKER
    ).first()
    place = round.places.filter(tester=request.user).exclude(state=Place.State.GIVEN_BACK).first()
    kept = kept_here(
        request,
        "standing",
        round,
        standing_digest,
        own and own.pk,
        place and place.pk,
        needs=lambda: {"standing": standing_of(round)},
    )
    may = rights_on(pattern, request.user)
    context = {"round": round, "own_part": own, "place": place, "kept": kept, "may": may}
    return render(request, "rounds/standing.html", context)
