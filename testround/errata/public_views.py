"""Published errata, as anyone reads them: no account, no session, nothing that is not out."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import get_language
from django.views.decorators.http import condition, require_safe

from testround.errata import papers
from testround.errata.choices import Choice, choice_asked, ways_asked
from testround.errata.models import Erratum
from testround.errata.selectors import (
    PublicErrata,
    ShownErratum,
    public_document,
    public_errata,
    public_state,
    shown_erratum,
)
from testround.people.everybody import for_everybody
from testround.people.kept import source_digest


def _public(code: str) -> PublicErrata:
    found = public_errata(code)
    if found is None:
        raise Http404
    return found


def _list_address(code: str) -> str:
    """Where the list is kept, for documents that people keep: whatever name this request came in by."""
    return f"{settings.SITE_URL}{reverse('errata:list', args=[code])}"


def _etag(request: HttpRequest, code: str, *_: Any, **__: Any) -> str | None:
    """The name of an answer: of all that is public of the pattern, and how the address wants it said.

    Asked in two small queries, so that a page that somebody has already costs no more than that.
    """
    state = public_state(code)
    if state is None:
        return None
    site = (settings.SITE_URL, settings.TIME_ZONE, source_digest().hex())
    return papers.etag([site, request.path, sorted(request.GET.items()), get_language(), state])


def _shown(public: PublicErrata, choice: Choice) -> list[ShownErratum]:
    return [
        shown_erratum(each, choice.reader(each), choice.size)
        for each in public.affecting(choice.edition, choice.size)
    ]


def _found(public: PublicErrata, number: int) -> Erratum:
    found = next((each for each in public.errata if each.number == number), None)
    if found is None:
        raise Http404
    return found


@require_safe
@for_everybody
@condition(etag_func=_etag)
def errata_list(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    choice = choice_asked(request, public)
    context = {
        "public": public,
        "choice": choice,
        "sizes": public.sizes(choice.edition),
        "credits": public.credits(choice.edition),
        "errata": _shown(public, choice),
        "address": _list_address(code) + choice.suffix,
        "languages": settings.LANGUAGES,
    }
    return render(request, "errata/public_list.html", context)


@require_safe
@for_everybody
@condition(etag_func=_etag)
def erratum(request: HttpRequest, code: str, number: int) -> HttpResponse:
    public = _public(code)
    found = _found(public, number)
    choice = ways_asked(request.GET)
    context = {
        "public": public,
        "choice": choice,
        "erratum": found,
        "shown": shown_erratum(found, choice.reader(found)),
        "address": f"{settings.SITE_URL}{found.get_absolute_url()}{choice.suffix}",
        "languages": settings.LANGUAGES,
    }
    return render(request, "errata/public_erratum.html", context)


@require_safe
@for_everybody
@condition(etag_func=_etag)
def pdf(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    choice = choice_asked(request, public)
    data = papers.errata(
        public, _shown(public, choice), _list_address(code), choice.units, letter=choice.letter
    )
    name = slugify(f"{public.pattern.title} errata") or "errata"
    return HttpResponse(
        data,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )


@require_safe
@for_everybody
@condition(etag_func=_etag)
def document(request: HttpRequest, code: str) -> HttpResponse:
    response = JsonResponse(
        public_document(_public(code), _list_address(code)),
        json_dumps_params={"ensure_ascii": False, "indent": 1},
    )
    # A public document: any page may read it.
    response["Access-Control-Allow-Origin"] = "*"
    return response
