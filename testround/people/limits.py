"""How long somebody stays signed in, and who may not go on without a second factor."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.contrib.auth import logout
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from testround.people.factors import factor_is_missing
from testround.people.sessions import has_lasted, is_due, session_note

# Where somebody goes who is asked for a second factor, and what else is theirs to see or to leave by.
STILL_OPEN = ("account_", "mfa_")
STILL_OPEN_ROOM = "people"


class SignedInSoLong:
    """Ends a session that has lasted as long as one may; notes now and then that one is used.

    One that is not used ends by itself: the cookie and its row run out together, and each note makes them new.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # Of a session that nobody is signed in with nothing is noted; without a cookie there is none to look at.
        if request.session.session_key and (has_lasted(request.session) or is_due(request.session)):
            _limit(request)
        return self.get_response(request)


def _limit(request: HttpRequest) -> None:
    if not request.user.is_authenticated:
        return
    if has_lasted(request.session):
        request.session_has_lasted = True
        logout(request)
    else:
        session_note(request)


class SecondFactorDemanded:
    """Leads who needs a second factor, and has none, to where one is made. All else is closed to them until then."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_view: Any) -> HttpResponse | None:
        user = request.user
        if _is_still_open(request) or not user.is_authenticated or not factor_is_missing(user):
            return None
        said = _(
            "Whoever runs this installation asks designers for a second factor when they sign in. Add one, and everything is open to you again."
        )
        if request.method not in ("GET", "HEAD"):
            raise PermissionDenied(said)
        messages.warning(request, said)
        return redirect("mfa_index")


def _is_still_open(request: HttpRequest) -> bool:
    match = request.resolver_match
    return match is not None and (
        match.namespace == STILL_OPEN_ROOM or (match.url_name or "").startswith(STILL_OPEN)
    )
