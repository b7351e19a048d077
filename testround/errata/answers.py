"""Answers of published pages: each has a name that is made of all it rests on, and is kept ready under it.

On a server with many readers an answer that was just found to hold is given for some seconds more without asking the
database (`settings.PUBLISHED_UNASKED_SECONDS`), much shorter than any cache on the way may keep it. What an owner
publishes is there at once.
"""

from __future__ import annotations

import hashlib
import uuid
import zlib
from functools import wraps
from typing import Any
from urllib.parse import parse_qsl

from django.conf import settings
from django.core.cache import cache
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.utils.cache import get_conditional_response
from django.utils.translation import get_language
from django.views.decorators.http import condition

from testround.errata import papers
from testround.errata.choices import Choice
from testround.errata.heard import when_published
from testround.errata.models import Erratum
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
    def asked(request: HttpRequest, code: str, **what: Any) -> HttpResponse:
        name = _named(request, code, **what)
        key = f"published:{name}"
        kept = None if name is None or settings.DEBUG else cache.get(key)
        if kept is not None:
            packed, headers = kept
            # Such as are kept are few: see `_is_plain`.
            request.was_kept = True
            return HttpResponse(zlib.decompress(packed), headers=headers)
        response = view(request, code, **what)
        # Had something been published while it was made, it might be of neither name.
        if name and not settings.DEBUG and _is_plain(request) and _name(request, code, **what) == name:
            packed = zlib.compress(response.content, 1)
            cache.set(key, (packed, dict(response.headers)), KEPT_FOR_SECONDS)
            request.was_kept = True
        return response

    @wraps(view)
    def answered(request: HttpRequest, code: str, **what: Any) -> HttpResponse:
        seconds = 0 if settings.DEBUG else settings.PUBLISHED_UNASKED_SECONDS
        if not seconds:
            return asked(request, code, **what)
        here, turn = f"published-now:{_address(request)}", _turn(code)
        found = cache.get_many([here, turn])
        since = found.get(turn)
        if here in found and found[here][0] == since:
            _since, body, headers = found[here]
            response = HttpResponse(body, headers=headers)
            return get_conditional_response(request, etag=headers["ETag"], response=response)
        response = asked(request, code, **what)
        if response.status_code == 200 and request.method == "GET" and getattr(request, "was_kept", False):
            cache.set(here, (since, response.content, dict(response.headers)), seconds)
        return response

    return answered


@when_published
def _published_anew(erratum: Erratum) -> None:
    """From the commit on, nothing is answered that was found before it."""
    if settings.PUBLISHED_UNASKED_SECONDS:
        turn, longer = _turn(erratum.pattern.code), 2 * settings.PUBLISHED_UNASKED_SECONDS
        transaction.on_commit(lambda: cache.set(turn, uuid.uuid4().hex, longer))


def _turn(code: str) -> str:
    return f"published-turn:{code}"


def _address(request: HttpRequest) -> str:
    """A name for what an address asks for, in the language that is spoken to its reader."""
    asked = repr((settings.SITE_URL, request.path, sorted(request.GET.items()), get_language(), *_program()))
    return hashlib.sha256(asked.encode()).hexdigest()


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
    program = (settings.SITE_URL, *_program())
    return papers.etag([program, request.path, sorted(request.GET.items()), get_language(), state])


def _program() -> tuple[str, ...]:
    return settings.TIME_ZONE, source_digest().hex(), files_name()
