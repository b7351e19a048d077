from __future__ import annotations

from django.http import Http404, HttpRequest, JsonResponse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, require_safe

from testround.api.openapi import document as openapi_document
from testround.api.openapi import tag as openapi_tag
from testround.kernel.schemas import DOCUMENTS, schema_of

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


openapi.takes_no_cookies = True
