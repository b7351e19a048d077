"""Published errata, as anyone reads them: no account, no session, nothing that is not out."""

from __future__ import annotations

from collections.abc import Sequence
from functools import wraps
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from testround.errata.answers import published, understood
from testround.errata.choices import Choice, choice_asked, ways_asked
from testround.errata.models import Erratum
from testround.errata.published import Addresses, feed, shown_errata, shown_one, text
from testround.errata.published.document import errata_document
from testround.errata.published.paper import errata_paper
from testround.errata.selectors import PublicErrata, frame_origins, public_errata
from testround.kernel.errata import errata_json
from testround.patterns.models import Edition
from testround.people.everybody import View, for_everybody


def _public(code: str) -> PublicErrata:
    found = public_errata(code)
    if found is None:
        raise Http404
    return found


def _found(public: PublicErrata, number: int) -> Erratum:
    found = next((each for each in public.errata if each.number == number), None)
    if found is None:
        raise Http404
    return found


def _edition(public: PublicErrata, pk: int) -> Edition:
    found = next((each for each in public.editions if each.pk == pk), None)
    if found is None:
        raise Http404
    return found


def _open_to_programs(view: View) -> View:
    """A public document: a script of any page may read it, also when it is told that nothing has changed."""

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = view(request, *args, **kwargs)
        response.headers["Access-Control-Allow-Origin"] = "*"
        return response

    return answered


# Pages ----------------------------------------------------------------------------------------------------


@require_safe
@for_everybody
@published
def errata_list(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    choice = understood(request, choice_asked(request, public))
    return render(request, "errata/public_list.html", _list_context(public, choice))


@require_safe
@for_everybody
@published
def edition(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """The list for the copies of one edition, at an address that can be printed in them."""
    public = _public(code)
    own = _edition(public, pk)
    choice = understood(request, choice_asked(request, public, own))
    return render(request, "errata/public_list.html", _list_context(public, choice, own))


def _list_context(public: PublicErrata, choice: Choice, own: Edition | None = None) -> dict[str, Any]:
    """What the list shows; ``own`` is the edition whose page it stands on."""
    addresses = Addresses(public.pattern.code)
    here = addresses.edition(own) + choice.in_edition.suffix if own else addresses.list + choice.suffix
    errata = public.affecting(choice.edition, choice.size)
    return {
        "public": public,
        "choice": choice,
        "sizes": public.sizes(choice.edition),
        "credits": public.credits(choice.edition),
        "errata": [shown_one(public, each, choice) for each in errata],
        "only": "" if choice.size else public.sizes_of(errata),
        "corrected": public.corrected_in(choice.edition, choice.size),
        "others": public.not_in(choice.edition, choice.size),
        "newer": public.edition_with(errata, choice.edition),
        "own": own,
        "addresses": addresses,
        "address": here,
        "canonical": here.partition("?")[0],
        "languages": settings.LANGUAGES,
    }


@require_safe
@for_everybody
@published
def erratum(request: HttpRequest, code: str, number: int) -> HttpResponse:
    public = _public(code)
    found = _found(public, number)
    choice = understood(request, ways_asked(request.GET))
    addresses = Addresses(code)
    context = {
        "public": public,
        "choice": choice,
        "erratum": found,
        "shown": shown_one(public, found, choice),
        "addresses": addresses,
        "address": addresses.erratum(found) + choice.suffix,
        "canonical": addresses.erratum(found),
        "languages": settings.LANGUAGES,
    }
    return render(request, "errata/public_erratum.html", context)


@require_safe
@for_everybody
def embed(request: HttpRequest, code: str) -> HttpResponse:
    """The list within a page of the designer's own: only sites that they named may frame it, at first none."""
    response = _embed(request, code)
    # Said with every answer: a browser takes over what an answer without a body says of a page that it has.
    return _framed(response, frame_origins(code))


@published
def _embed(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    return render(
        request,
        "errata/embed.html",
        _list_context(public, understood(request, choice_asked(request, public))),
    )


def _framed(response: HttpResponse, by: Sequence[str]) -> HttpResponse:
    """The answer, to be framed by these sites alone. Where there are none, what all pages say forbids it twice."""
    ancestors = " ".join(by) or "'none'"
    response.headers["Content-Security-Policy"] = (
        "default-src 'none'; object-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; "
        f"frame-ancestors {ancestors}"
    )
    # The older header knows no list: where one is said it would forbid what the list allows.
    response.xframe_options_exempt = bool(by)
    return response


# Other forms ----------------------------------------------------------------------------------------------


@require_safe
@for_everybody
@published
def pdf(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    data = errata_paper(public, understood(request, choice_asked(request, public)))
    name = slugify(f"{public.pattern.title} errata") or "errata"
    return HttpResponse(
        data,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )


@require_safe
@for_everybody
@_open_to_programs
@published
def document(request: HttpRequest, code: str) -> HttpResponse:
    """Always of the whole list: it says every thing in each of its ways, and what stands in which edition."""
    understood(request, ways_asked(request.GET))
    schema = f"{settings.SITE_URL}{reverse('api:schema', args=['errata'])}"
    return HttpResponse(
        errata_json(errata_document(_public(code), Addresses(code))),
        content_type="application/json",
        headers={"Link": f'<{schema}>; rel="describedby"; type="application/schema+json"'},
    )


@require_safe
@for_everybody
@_open_to_programs
@published
def atom(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    choice = understood(request, choice_asked(request, public))
    data = feed.errata_feed(public, shown_errata(public, choice), choice, Addresses(code))
    return HttpResponse(data, content_type=feed.CONTENT_TYPE)


@require_safe
@for_everybody
@_open_to_programs
@published
def as_text(request: HttpRequest, code: str) -> HttpResponse:
    public = _public(code)
    choice = understood(request, choice_asked(request, public))
    said = text.errata_text(public, shown_errata(public, choice), choice, Addresses(code))
    return HttpResponse(said, content_type=text.CONTENT_TYPE)


@require_safe
@for_everybody
@_open_to_programs
@published
def erratum_as_text(request: HttpRequest, code: str, number: int) -> HttpResponse:
    public = _public(code)
    choice = understood(request, ways_asked(request.GET))
    shown = shown_one(public, _found(public, number), choice)
    said = text.erratum_text(shown, choice, Addresses(code))
    return HttpResponse(said, content_type=text.CONTENT_TYPE)
