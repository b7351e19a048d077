"""Where the person who asks is signed in: to see, and to end."""

from __future__ import annotations

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from testround.people.sessions import session_end, sessions_end, signed_in_of

# Whoever finds a browser open does not lock its owner out everywhere else.
ask_again = reauthentication_required(app="allauth.account")


@require_safe
@login_required
@never_cache
def signed_in(request: HttpRequest) -> HttpResponse:
    """Every browser in which this person is signed in, and since when."""
    found = signed_in_of(request.user, request.session.session_key)
    return render(
        request,
        "people/signed_in.html",
        {"sessions": found, "others": sum(not one.is_this_one for one in found)},
    )


@require_POST
@login_required
@ask_again
def end_one(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign out one of one's browsers: at its next step it knows nobody."""
    if not session_end(user=request.user, pk=pk):
        raise Http404
    messages.success(request, _("That browser is signed out."))
    return redirect("people:signed_in")


@require_POST
@login_required
@ask_again
def end_others(request: HttpRequest) -> HttpResponse:
    """Sign out everywhere but here."""
    count = sessions_end(user=request.user, but=request.session.session_key)
    messages.success(
        request,
        ngettext(
            "{n} other browser is signed out. You are signed in here alone.",
            "{n} other browsers are signed out. You are signed in here alone.",
            count,
        ).format(n=count),
    )
    return redirect("people:signed_in")


@require_POST
@login_required
@ask_again
def end_all(request: HttpRequest) -> HttpResponse:
    """Sign out everywhere, here too."""
    sessions_end(user=request.user)
    logout(request)
    messages.success(request, _("You are signed out everywhere."))
    return redirect("home")
