"""The answer to what broke: our mistake, or trouble that passes, of which it is said when to come back."""

from __future__ import annotations

import sys

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template import loader
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.csrf import requires_csrf_token
from django.views.defaults import server_error as our_mistake

from testround import trouble

# Nothing of the kind is written into a page, whatever its form calls it.
NOT_WRITTEN = ("password", "secret", "code")


@requires_csrf_token
def server_error(request: HttpRequest) -> HttpResponse:
    """503 with Retry-After where what broke passes by itself, with what was posted in a form to send again; else 500.

    It asks neither the database nor the cache for anything: they may be what is out of order.
    """
    error = sys.exc_info()[1]
    if not trouble.passes(error):
        return our_mistake(request)
    with translation.override(_language(request)):
        response = _document(error) if _wants_document(request) else _page(request, error)
    response.headers["Retry-After"] = str(trouble.RETRY_AFTER)
    response.headers["Cache-Control"] = "no-store"
    return response


def _language(request: HttpRequest) -> str:
    """The one that is spoken already, else, where its reader was not known yet, the one their browser asks for."""
    active = translation.get_language()
    if active and active != settings.LANGUAGE_CODE:
        return active
    return translation.get_language_from_request(request)


def _wants_document(request: HttpRequest) -> bool:
    """Whether a script of a page asks; programs at the API are answered in its own way."""
    return request.headers.get("Accept") == "application/json"


def _document(error: BaseException | None) -> HttpResponse:
    """Problem details (RFC 9457)."""
    return JsonResponse(
        {
            "type": "about:blank",
            "title": _("Out of order for a moment"),
            "status": 503,
            "detail": trouble.no_room_words()
            if trouble.no_room(error)
            else _("The database does not answer just now. Send the same once more in a moment."),
        },
        status=503,
        content_type="application/problem+json",
    )


def _page(request: HttpRequest, error: BaseException | None) -> HttpResponse:
    page = loader.get_template("503.html").render(
        {
            "no_room": trouble.no_room_words() if trouble.no_room(error) else "",
            "posted": request.method == "POST",
            "again": _fields(request),
            "address": request.get_full_path(),
        }
    )
    return HttpResponse(page, status=503)


def _fields(request: HttpRequest) -> list[tuple[str, str]]:
    """What was posted, to be sent once more by a press; nothing where it held a file or a secret."""
    if request.method != "POST" or request.FILES:
        return []
    fields = [(name, str(value)) for name, values in request.POST.lists() for value in values]
    if any(word in name.lower() for name, value in fields for word in NOT_WRITTEN):
        return []
    return fields
