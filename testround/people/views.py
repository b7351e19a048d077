from __future__ import annotations

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from testround.people.gallery import one_of_everything


@require_safe
def parts(request: HttpRequest) -> HttpResponse:
    """One of every part, for whoever writes a page. There only while developing."""
    if not settings.DEBUG:
        raise Http404
    return render(request, "parts/gallery.html", one_of_everything())
