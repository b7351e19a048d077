"""Answers of published pages: each has a name that is made of all it rests on, and is kept ready under it."""

from __future__ import annotations

import zlib
from functools import wraps
from typing import Any
from urllib.parse import parse_qsl

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.utils.translation import get_language
from django.views.decorators.http import condition

from testround.errata import papers
from testround.errata.choices import Choice
from testround.errata.selectors import public_state
from testround.people.everybody import View
from testround.people.kept import source_digest
from testround.static_files import files_name

KEPT_FOR_SECONDS = 60 * 60


def published(view: View) -> View:
    """A view of what is published of a pattern: ``code``, and ``number`` of an erratum or ``pk`` of an edition.

    Who has the answer already is told so at the cost of its name, two small queries; who has not gets the one that was
    made for whoever asked first. The view says by `understood` how it understood the address.
    """

    @condition(etag_func=_named)
    @wraps(view)
    def answered(request: HttpRequest, code: str, **what: Any) -> HttpResponse:
        name = _named(request, code, **what)
        key = f"published:{name}"
        kept = None if name is None or settings.DEBUG else cache.get(key)
        if kept is not None:
            packed, headers = kept
            return HttpResponse(zlib.decompress(packed), headers=headers)
        response = view(request, code, **what)
        # Had something been published while it was made, it might be of neither name.
        if name and not settings.DEBUG and _is_plain(request) and _name(request, code, **what) == name:
            packed = zlib.compress(response.content, 1)
            cache.set(key, (packed, dict(response.headers)), KEPT_FOR_SECONDS)
        return response

    return answered


def understood(request: HttpRequest, choice: Choice) -> Choice:
    """The choice, noted as what an address was understood to ask for."""
    request.understood = choice.query
    return choice


def _is_plain(request: HttpRequest) -> bool:
    """Whether an address asks for nothing but what was understood: there are only so many of those to keep."""
    asked = {(name, value) for name, value in request.GET.items() if value}
    return asked <= set(parse_qsl(getattr(request, "understood", "")))


def _named(request: HttpRequest, code: str, **what: Any) -> str | None:
    """The name of an answer, made out once for a request."""
    if not hasattr(request, "name_of_answer"):
        request.name_of_answer = _name(request, code, **what)
    return request.name_of_answer


def _name(request: HttpRequest, code: str, *, number: int | None = None, pk: int | None = None) -> str | None:
    """Of all that is public of the pattern, and how the address wants it said; None where there is nothing."""
    state = public_state(code)
    if state is None or not state.has(number=number, pk=pk):
        return None
    program = (settings.SITE_URL, settings.TIME_ZONE, source_digest().hex(), files_name())
    return papers.etag([program, request.path, sorted(request.GET.items()), get_language(), state])
