from __future__ import annotations

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import translation
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, require_safe

from testround.api.documentation import subject as subject_named
from testround.api.documentation import subjects
from testround.api.openapi import document as openapi_document
from testround.api.openapi import tag as openapi_tag
from testround.api.problems import KINDS
from testround.api.scopes import OPENS
from testround.kernel.schemas import DOCUMENTS, schema_of
from testround.people.everybody import for_everybody

# Documents for programs; what they say to people is in the one language of the format.
_ENGLISH = {"Content-Language": "en"}


@require_safe
@cache_control(public=True, max_age=3600)
def schema(request: HttpRequest, document: str) -> JsonResponse:
    """The JSON Schema of a published file format, for anyone."""
    if document not in DOCUMENTS:
        raise Http404
    return JsonResponse(
        schema_of(document),
        json_dumps_params={"ensure_ascii": False},
        content_type="application/schema+json",
        headers=_ENGLISH,
    )


@require_safe
@cache_control(public=True, max_age=300)
@condition(etag_func=lambda request: openapi_tag())
def openapi(request: HttpRequest) -> JsonResponse:
    """The OpenAPI document of the API, for anyone; any page may read it."""
    return JsonResponse(
        openapi_document(),
        json_dumps_params={"ensure_ascii": False},
        headers={**_ENGLISH, "Access-Control-Allow-Origin": "*"},
    )


def _in_english(page: HttpResponse) -> HttpResponse:
    page.headers["Content-Language"] = _ENGLISH["Content-Language"]
    return page


@require_safe
@for_everybody
def documentation(request: HttpRequest) -> HttpResponse:
    """What all of the API has in common, and the way to each subject: in English, as its documents are."""
    context = {
        "site": settings.SITE_URL,
        "subjects": subjects(),
        "kinds": KINDS,
        "per_token": settings.API_REQUESTS_PER_TOKEN,
        "per_network": settings.API_REQUESTS_PER_NETWORK,
    }
    with translation.override("en-gb"):
        context["scopes"] = [(str(scope), str(opens)) for scope, opens in OPENS.items()]
        return _in_english(render(request, "api/documentation.html", context))


@require_safe
@for_everybody
def subject(request: HttpRequest, slug: str) -> HttpResponse:
    """The operations of one subject."""
    found = subject_named(slug)
    if found is None:
        raise Http404
    with translation.override("en-gb"):
        return _in_english(render(request, "api/subject.html", {"subject": found}))


openapi.takes_no_cookies = True
