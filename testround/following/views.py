"""Pages of those who follow a pattern by mail; none of them needs an account, a cookie or a script."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_safe

from testround.errata.selectors import public_errata
from testround.following.forms import FollowForm
from testround.following.links import CONFIRM, LEAVE, UnknownLink, follower_of
from testround.following.models import Follower
from testround.following.services import (
    FORGOTTEN_AFTER_DAYS,
    follow_ask,
    follow_confirm,
    follower_leave,
)
from testround.patterns.models import Pattern
from testround.people.language import speaking
from testround.rounds.throttle import counted, network_of
from testround.rounds.views.shared import form_view, posted, secret_page

HOUR = 60 * 60
# A knitting group behind one address asks more often than one person does.
MOST_FROM_A_NETWORK = 20


def _public_pattern(code: str) -> Pattern:
    public = public_errata(code)
    if public is None:
        raise Http404
    return public.pattern


# The form stands on a public page, which is the same for everybody and sets no cookie. It acts in nobody's name: who
# has an account and who has none may type any address, and the mail asks whoever reads it.
@csrf_exempt
@form_view
@sensitive_post_parameters("email")
def follow(request: HttpRequest, code: str) -> HttpResponse:
    """Ask to follow a pattern by mail. The answer is the same whether or not the address does already."""
    # Of the page on which the form stood, which says it by its address and not by who reads.
    with speaking(request.POST.get("language", "")):
        return _follow(request, code)


def _follow(request: HttpRequest, code: str) -> HttpResponse:
    pattern = _public_pattern(code)
    form = FollowForm(posted(request))
    status = 422 if form.is_bound else 200
    if form.is_valid():
        if counted("follow", network_of(request), most=MOST_FROM_A_NETWORK, seconds=HOUR):
            follow_ask(pattern=pattern, address=form.cleaned_data["email"])
            there = reverse("following:asked", args=[code])
            return redirect(f"{there}?{urlencode({'language': get_language()})}")
        form.add_error(
            None,
            _(
                "From your network many addresses were given within the hour. Nothing was sent; try again later."
            ),
        )
        status = 429
    return render(request, "following/follow.html", {"pattern": pattern, "form": form}, status=status)


@require_safe
def asked(request: HttpRequest, code: str) -> HttpResponse:
    context = {"pattern": _public_pattern(code), "days": FORGOTTEN_AFTER_DAYS}
    with speaking(request.GET.get("language", "")):
        return render(request, "following/asked.html", context)


def _follower(token: str, salt: str) -> Follower | None:
    try:
        return follower_of(token, salt)
    except UnknownLink:
        raise Http404 from None


# What programs that look through mails open changes nothing; only the press of the button does. The token alone
# counts, so that it works in whatever a mail program opens pages with.
@csrf_exempt
@form_view
@sensitive_variables("token")
def confirm(request: HttpRequest, token: str) -> HttpResponse:
    """Say yes to following: asked about on the page, done by a post."""
    follower = _follower(token, CONFIRM)
    if follower is None:
        return secret_page(
            render(request, "following/run_out.html", {"days": FORGOTTEN_AFTER_DAYS}, status=410)
        )
    if request.method == "POST":
        follow_confirm(follower=follower)
        follower = get_object_or_404(Follower.objects.select_related("pattern"), pk=follower.pk)
    with speaking(follower.language):
        return secret_page(render(request, "following/confirm.html", {"follower": follower}))


# A mail program posts here by itself, without a cookie and without having seen the page (RFC 8058, section 3.2).
@csrf_exempt
@form_view
@sensitive_variables("token")
def leave(request: HttpRequest, token: str) -> HttpResponse:
    """Leave and be forgotten: asked about on the page, done by a post, with whatever in it."""
    follower = _follower(token, LEAVE)
    if follower is None:
        return secret_page(render(request, "following/leave.html"))
    context = {"follower": follower, "pattern": follower.pattern}
    if request.method == "POST":
        follower_leave(follower=follower)
        context["follower"] = None
    with speaking(follower.language):
        return secret_page(render(request, "following/leave.html", context))
