"""Published errata, as anyone reads them: no account, no session, nothing that is not out."""

from __future__ import annotations

import dataclasses

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import get_language
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, conditional_page, require_safe

from testround.errata import papers
from testround.errata.selectors import PublicErrata, public_document, public_errata, shown_erratum
from testround.patterns.models import Edition
from testround.people.context import reader_for
from testround.people.readers import Reader


def _public(code: str) -> PublicErrata:
    found = public_errata(code)
    if found is None:
        raise Http404
    return found


def _reader(request: HttpRequest) -> Reader:
    """The reader, with what the address says first: a link shared in inches opens in inches."""
    reader = reader_for(request)
    units, terms = request.GET.get("units"), request.GET.get("terms")
    if units in ("cm", "in"):
        reader = dataclasses.replace(reader, units=units)
    if terms in ("us", "uk"):
        reader = dataclasses.replace(reader, terms=terms)
    return reader


def _list_address(code: str) -> str:
    """Where the list is kept, for documents that people keep: whatever name this request came in by."""
    return f"{settings.SITE_URL}{reverse('errata:list', args=[code])}"


# Always asked again, so that a new erratum is seen at once; unchanged pages are answered with 304.
_revalidated = cache_control(no_cache=True)


@dataclasses.dataclass(frozen=True, slots=True)
class _Copy:
    """Which copy a reader asks about: edition and size, where the address names ones there are."""

    edition: Edition | None
    size: str

    @classmethod
    def asked(cls, request: HttpRequest, public: PublicErrata) -> _Copy:
        edition = next((e for e in public.editions if str(e.pk) == request.GET.get("edition")), None)
        size = request.GET.get("size", "")
        return cls(edition, size if size in public.sizes(edition) else "")


@require_safe
@_revalidated
@conditional_page
def errata_list(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    reader = _reader(request)
    copy = _Copy.asked(request, public)
    context = {
        "public": public,
        "reader": reader,
        "copy": copy,
        "sizes": public.sizes(copy.edition),
        "errata": [shown_erratum(e, reader, copy.size) for e in public.affecting(copy.edition, copy.size)],
        "query": request.GET.urlencode(),
    }
    return render(request, "errata/public_list.html", context)


@require_safe
@_revalidated
@conditional_page
def erratum(request: HttpRequest, code: str, number: int) -> HttpResponse:
    public = _public(code)
    found = next((each for each in public.errata if each.number == number), None)
    if found is None:
        raise Http404
    reader = _reader(request)
    context = {
        "public": public,
        "reader": reader,
        "erratum": found,
        "shown": shown_erratum(found, reader),
    }
    return render(request, "errata/public_erratum.html", context)


def _public_etag(request: HttpRequest, code: str) -> str:
    public = _public(code)
    last = public.errata[-1].number if public.errata else 0
    reader = _reader(request)
    state = [
        code,
        public.pattern.title,
        last,
        [e.label for e in public.editions],
        reader,
        get_language(),
        request.GET.urlencode(),
    ]
    return papers.etag(state)


@require_safe
@_revalidated
@condition(etag_func=_public_etag)
def pdf(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    reader = _reader(request)
    copy = _Copy.asked(request, public)
    shown = [shown_erratum(e, reader, copy.size) for e in public.affecting(copy.edition, copy.size)]
    url = _list_address(code)
    data = papers.errata(public, shown, url, reader.units, letter=request.GET.get("paper") == "letter")
    name = slugify(f"{public.pattern.title} errata") or "errata"
    return HttpResponse(
        data,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )


@require_safe
@_revalidated
@condition(etag_func=_public_etag)
def document(request: HttpRequest, code: str) -> HttpResponse:
    response = JsonResponse(
        public_document(_public(code), _list_address(code)),
        json_dumps_params={"ensure_ascii": False, "indent": 1},
    )
    # A public document: any page may read it.
    response["Access-Control-Allow-Origin"] = "*"
    return response
