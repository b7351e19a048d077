"""The page of one's personal tokens: made, listed, revoked."""

from __future__ import annotations

from typing import cast

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from testround.api.forms import TokenForm
from testround.api.selectors import tokens_listed, tokens_of
from testround.api.services import token_make, token_revoke
from testround.people.models import User
from testround.rounds.views.shared import secret_page


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@never_cache
@reauthentication_required(allow_get=True)
def tokens(request: HttpRequest) -> HttpResponse:
    """Who may act for me, and a form that makes a token. Its secret is on the answer, this once."""
    user = cast(User, request.user)
    form = TokenForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        token, secret = token_make(
            user=user,
            name=form.cleaned_data["name"],
            scopes=form.cleaned_data["scopes"],
            expires=form.expires,
        )
        return secret_page(render(request, "api/token_made.html", {"token": token, "secret": secret}))
    context = {"form": form, "tokens": tokens_listed(user), "now": timezone.now()}
    return render(request, "api/tokens.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    token = get_object_or_404(tokens_of(cast(User, request.user)), pk=pk)
    token_revoke(token=token)
    messages.success(request, _("{name} is revoked: it opens nothing any more.").format(name=token.name))
    return redirect("tokens:list")
