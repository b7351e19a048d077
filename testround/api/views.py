from __future__ import annotations

from django.http import Http404, HttpRequest, JsonResponse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from testround.kernel.schemas import DOCUMENTS, schema_of


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
        # A document for programs; what it says to people is in the one language of the format.
        headers={"Content-Language": "en"},
    )
