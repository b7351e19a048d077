"""Second factors of the person who asks: which there are, adding one, and codes to come back in with."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.decorators import reauthentication_required
from allauth.mfa.totp.views import ActivateTOTPView
from allauth.mfa.webauthn.views import AddWebAuthnView
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from testround.people.factors import (
    address_is_confirmed,
    factor_is_missing,
    factors_of,
    passkeys_are_possible,
)
from testround.people.recovery import HOW_MANY, codes_left, codes_make

GROUP = 4
View = Callable[..., HttpResponse]
ask_again = reauthentication_required(app="allauth.mfa")


@require_safe
@login_required
@never_cache
def index(request: HttpRequest) -> HttpResponse:
    """Which second factors there are, and what to do with them."""
    return render(
        request,
        "mfa/index.html",
        {
            "factors": factors_of(request.user),
            "passkeys_possible": passkeys_are_possible(request),
            "demanded": factor_is_missing(request.user),
            "how_many": HOW_MANY,
        },
    )


def confirmed_alone(view: View) -> View:
    """Only who has confirmed their address adds a factor: else it could lock the address's owner out."""

    @wraps(view)
    def asked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.user.is_authenticated and not address_is_confirmed(request.user):
            messages.error(
                request,
                _("Confirm your mail address first, so that nobody can lock you out of your own account."),
            )
            return redirect("account_email")
        return view(request, *args, **kwargs)

    return asked


def _next_after_adding(request: HttpRequest) -> str:
    """Who has no way back in yet is shown codes; who has some, what they have now."""
    return reverse("mfa_index" if codes_left(request.user) else "mfa_recovery_codes")


class AddApp(ActivateTOTPView):
    """Shows the picture and the key, and takes the first code as a sign that the app has them."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context: dict[str, Any] = super().get_context_data(**kwargs)
        key = context["form"].secret
        # Apps take it with spaces, and nobody types so much without them.
        groups = [key[start : start + GROUP] for start in range(0, len(key), GROUP)]
        return context | {"secret": " ".join(groups)}

    def get_success_url(self) -> str:
        return _next_after_adding(self.request)


class AddPasskey(AddWebAuthnView):
    """Has the browser make a passkey, and keeps its public half."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context: dict[str, Any] = super().get_context_data(**kwargs)
        return context | {"passkeys_possible": passkeys_are_possible(self.request)}

    def get_success_url(self) -> str:
        return _next_after_adding(self.request)


add_app = never_cache(login_required(confirmed_alone(AddApp.as_view())))
add_passkey = never_cache(login_required(confirmed_alone(AddPasskey.as_view())))


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@never_cache
@ask_again
def recovery_codes(request: HttpRequest) -> HttpResponse:
    """Make recovery codes, and show them this once: they stand in this answer and nowhere else."""
    user = request.user
    if not factors_of(user):
        messages.error(
            request,
            _(
                "You have no recovery codes: they stand in for a second factor. Add a passkey or an app first."
            ),
        )
        return redirect("mfa_index")
    codes: list[str] = []
    if request.method == "POST":
        codes = codes_make(user=user)
        get_adapter().send_notification_mail("mfa/email/recovery_codes_made", user)
    return render(
        request,
        "mfa/recovery_codes.html",
        {"codes": codes, "left": codes_left(user), "how_many": HOW_MANY},
    )
