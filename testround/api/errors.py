"""What Django itself has to refuse: problem details under the API's addresses, pages everywhere else."""

from __future__ import annotations

import sys
from typing import Any

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views import defaults

from testround import trouble, unavailable
from testround.api.problems import MALFORMED, NOT_FOUND, SERVER, UNAVAILABLE, problem_response
from testround.security import Event, account_of, refused

PREFIX = "/api/v"


def not_found(request: HttpRequest, exception: Exception, **options: Any) -> HttpResponse:
    if request.path.startswith(PREFIX):
        return problem_response(request, NOT_FOUND, _("There is no such address."))
    return defaults.page_not_found(request, exception, **options)


def bad_request(request: HttpRequest, exception: Exception, **options: Any) -> HttpResponse:
    if isinstance(exception, SuspiciousOperation):
        # Another host's name, more fields than are taken, and the like: its class says which, its text whose.
        refused(Event.SUSPICIOUS_REQUEST, account=account_of(request), kind=type(exception).__name__)
    if request.path.startswith(PREFIX):
        return problem_response(request, MALFORMED)
    return defaults.bad_request(request, exception, **options)


def server_error(request: HttpRequest, **options: Any) -> HttpResponse:
    error = sys.exc_info()[1]
    if not request.path.startswith(PREFIX):
        return unavailable.server_error(request)
    if trouble.passes(error):
        said = trouble.no_room_words() if trouble.no_room(error) else ""
        response = problem_response(request, UNAVAILABLE, said)
        response.headers["Retry-After"] = str(trouble.RETRY_AFTER)
    else:
        response = problem_response(
            request,
            SERVER,
            _("This is a fault of the server. Nothing was stored; the same request may be sent again."),
        )
    return response
