"""Pictures for the page of a call: the designer's page, and the pictures themselves."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import patch_cache_control
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from testround.patterns.access import Right
from testround.reports.call_pictures import picture_add, picture_remove, pictures_visible_to
from testround.reports.forms import PictureForm
from testround.reports.models import Photo
from testround.reports.photos import PhotoRefused
from testround.rounds.forms.fields import add_refusal
from testround.rounds.refusals import Refused
from testround.rounds.selectors import round_for

# As for photos: nothing at a picture's address may run, load or frame anything.
PICTURE_POLICY = "default-src 'none'; sandbox"


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def call_pictures(request: HttpRequest, code: str) -> HttpResponse:
    round = round_for(request.user, code, Right.EDIT)
    posted: Any = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = PictureForm(*posted)
    if form.is_valid():
        try:
            picture_add(
                round=round,
                data=form.cleaned_data["photo"],
                shows=form.cleaned_data["shows"],
                key=form.cleaned_data.get("key"),
                by=request.user,
            )
        except PhotoRefused as refused:
            form.add_error("photo", refused.sentence)
        except Refused as refused:
            add_refusal(form, refused)
        else:
            messages.success(
                request,
                _("The picture has arrived. Where and when it was taken is being removed from it."),
            )
            return redirect("reports:call_pictures", code)
    pictures = list(round.call_pictures.all())
    shown = sum(picture.state == Photo.State.READY for picture in pictures)
    context = {"round": round, "form": form, "pictures": pictures, "shown": shown}
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "reports/call_pictures.html", context, status=status)


@require_POST
@login_required
def call_picture_gone(request: HttpRequest, code: str, picture: uuid.UUID) -> HttpResponse:
    round = round_for(request.user, code, Right.EDIT)
    found = get_object_or_404(round.call_pictures.select_related("round__edition__pattern"), code=picture)
    picture_remove(picture=found, by=request.user)
    messages.success(request, _("The picture is off the page."))
    return redirect("reports:call_pictures", code)


@require_safe
def call_picture(request: HttpRequest, picture: uuid.UUID) -> HttpResponse:
    found = get_object_or_404(pictures_visible_to(request.user), code=picture)
    try:
        with found.file.open("rb") as file:
            response = HttpResponse(file.read(), content_type="image/jpeg")
    except FileNotFoundError as error:
        raise Http404 from error
    response.headers["Content-Security-Policy"] = PICTURE_POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    response.headers["Content-Disposition"] = f'inline; filename="{found.code.hex}.jpg"'
    patch_cache_control(response, private=True, max_age=3600)
    return response
