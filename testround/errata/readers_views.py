"""What readers of a pattern's errata see and have, for its owner: addresses, editions that are out, and framing."""

from __future__ import annotations

from html import escape
from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from testround.errata.published import Addresses
from testround.errata.readers_forms import FramesForm, ReleaseForm
from testround.errata.selectors.readers import editions_for_owner
from testround.patterns.access import Right, require, rights_on
from testround.patterns.models import Edition, Pattern
from testround.patterns.released import edition_release, frame_origins_set
from testround.patterns.selectors import patterns_of
from testround.people.models import User


def _user(request: HttpRequest) -> User:
    return cast(User, request.user)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def readers(request: HttpRequest, code: str) -> HttpResponse:
    """The page; what is sent to it is the list of sites that may frame the errata."""
    pattern = get_object_or_404(patterns_of(_user(request)), code=code)
    if request.method != "POST":
        return _page(request, pattern, FramesForm.of(pattern))
    require(_user(request), Right.PUBLISH, pattern)
    form = FramesForm(request.POST)
    if not form.is_valid():
        return _page(request, pattern, form, status=422)
    frame_origins_set(pattern=pattern, origins=form.cleaned_data["origins"], by=_user(request))
    messages.success(request, _("Saved. The new list holds within a minute."))
    return redirect("errata:readers", pattern.code)


@require_POST
@login_required
def release(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Say that readers have an edition, and which changes of words it has."""
    pattern = get_object_or_404(patterns_of(_user(request)), code=code)
    require(_user(request), Right.PUBLISH, pattern)
    edition = get_object_or_404(Edition.objects.filter(pattern=pattern), pk=pk)
    (of_owner,) = [each for each in editions_for_owner(pattern) if each.edition.pk == edition.pk]
    form = ReleaseForm(request.POST, words=of_owner.words)
    if not form.is_valid():
        return _page(request, pattern, FramesForm.of(pattern), wrong=(pk, form), status=422)
    edition_release(edition=edition, corrected=form.cleaned_data["corrected"], by=_user(request))
    said = _("Edition {edition} is among the editions that readers choose from.")
    messages.success(request, said.format(edition=edition.label))
    return redirect("errata:readers", pattern.code)


def _snippet(pattern: Pattern) -> str:
    """HTML for the designer's own page, to be copied as it stands."""
    address = escape(Addresses(pattern.code).of("embed"))
    title = escape(_("Errata for {pattern}").format(pattern=pattern.title))
    return f'<iframe src="{address}" title="{title}" width="100%" height="480" loading="lazy"></iframe>'


def _page(
    request: HttpRequest,
    pattern: Pattern,
    frames: FramesForm,
    *,
    wrong: tuple[int, ReleaseForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    of_owner = editions_for_owner(pattern)
    rows = [
        (one, wrong[1] if wrong and wrong[0] == one.edition.pk else ReleaseForm.of(one)) for one in of_owner
    ]
    context = {
        "pattern": pattern,
        "rows": rows,
        "is_public": any(one.is_public for one in of_owner),
        "addresses": Addresses(pattern.code),
        "snippet": _snippet(pattern),
        "frames": frames,
        "may": rights_on(pattern, _user(request)),
    }
    return render(request, "errata/readers.html", context, status=status)
