"""What the server holds about the person who asks: to read, to take away, to erase. Nobody else's, ever."""

from __future__ import annotations

import time
from typing import Any

from allauth.account.authentication import get_authentication_records
from allauth.core import ratelimit
from django import forms
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from testround.people.held import CannotErase, held_of, hindrances_of, person_erase, takeaway
from testround.people.models import User
from testround.security import Event, refused

# How long ago someone without a password may have signed in to be taken for themselves.
JUST_NOW_SECONDS = 15 * 60

# What the program notes beside what a person gives it: the page names it last.
KEPT_ALONG = frozenset(
    {
        "mails",
        "second_factors",
        "sessions",
        "support",
        "saves",
        "reminders",
        "diary",
        "tokens",
        "api_answers",
        "looks",
    }
)


class EraseForm(forms.Form):
    """The password once more, where there is one, and a yes."""

    password = forms.CharField(
        label=gettext_lazy("Your password"),
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={
            "required": gettext_lazy("Write your password, so that nobody else can do this in your name.")
        },
    )
    sure = forms.BooleanField(
        label=gettext_lazy("Yes, erase it all. I know that it cannot be undone"),
        error_messages={
            "required": gettext_lazy("Tick this if you are sure. If you are not, leave the page.")
        },
    )

    def __init__(self, *args: Any, user: User, **options: Any) -> None:
        super().__init__(*args, **options)
        self.user = user
        if not user.has_usable_password():
            del self.fields["password"]

    def clean_password(self) -> str:
        password = str(self.cleaned_data["password"])
        if not self.user.check_password(password):
            refused(Event.REAUTHENTICATION_FAILED, account=self.user.pk, method="password")
            raise forms.ValidationError(
                _("This is not the password of your account. Nothing has been erased.")
            )
        return password


@require_safe
@login_required
@never_cache
def held(request: HttpRequest) -> HttpResponse:
    """What is held about me, how much of each, who sees it; and the ways to take it away and to erase it."""
    shelves = held_of(request.user)
    filled = sorted((shelf for shelf in shelves if shelf.rows), key=lambda shelf: shelf.key in KEPT_ALONG)
    # The kinds of which there is nothing are a list of words.
    empty = [shelf.title for shelf in shelves if not shelf.rows]
    return render(request, "people/held.html", {"shelves": filled, "empty": empty})


@require_safe
@login_required
@never_cache
def held_download(request: HttpRequest) -> StreamingHttpResponse:
    """All of it, as a ZIP that is sent while it is made."""
    name = f"about-me-{timezone.localdate():%Y-%m-%d}.zip"
    return StreamingHttpResponse(
        takeaway(request.user),
        content_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="{name}"', "X-Accel-Buffering": "no"},
    )


@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@never_cache
def erase(request: HttpRequest) -> HttpResponse:
    """Erase oneself: what that means first, then the password and a yes."""
    user = request.user
    recent = user.has_usable_password() or _signed_in_just_now(request)
    hindrances = hindrances_of(user)
    posted = request.method == "POST"
    form = EraseForm(request.POST if posted else None, user=user)
    if posted and recent and not hindrances:
        # Guesses at the password are counted, as on the pages of accounts.
        if not ratelimit.consume(request, action="reauthenticate", user=user):
            refused(Event.THROTTLED, account=user.pk)
            form.add_error(None, _("That was tried too often. Wait a minute, then try again."))
        elif form.is_valid():
            try:
                person_erase(user=user)
            except CannotErase as hindered:
                hindrances = [problem.sentence for problem in hindered.problems]
            else:
                logout(request)
                messages.success(
                    request,
                    _("Everything personal is erased, and you are signed out. Thank you for testing."),
                )
                return redirect("home")
    context = {"form": form, "hindrances": hindrances, "recent": recent}
    return render(request, "people/erase.html", context, status=422 if posted else 200)


def _signed_in_just_now(request: HttpRequest) -> bool:
    records = get_authentication_records(request, request.user)
    return bool(records) and time.time() - records[-1]["at"] < JUST_NOW_SECONDS
