"""Around every request: its id, a line in the log, and what is counted of it."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import connection
from django.http import HttpRequest, HttpResponse

from testround.logs import following, id_of_header, route_of
from testround.measures import REQUEST_QUERIES, REQUEST_SECONDS, REQUESTS
from testround.operations.security_events import answer_note

logger = logging.getLogger("testround.request")

METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
# Asked every few seconds by machines: in the log for whoever looks for it.
BY_MACHINES = frozenset({"health", "ready", "metrics"})


class Watched:
    """Outermost of all, so that whatever answers is seen."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        begun = time.perf_counter()
        queries = _Queries()
        ours = id_of_header(request.headers.get("X-Request-ID"))
        with following(ours):
            with connection.execute_wrapper(queries):
                response = self.get_response(request)
            response.headers["X-Request-ID"] = ours
            answer_note(request, response)
            _note(request, response, time.perf_counter() - begun, queries.count)
        return response


class _Queries:
    def __init__(self) -> None:
        self.count = 0

    def __call__(self, execute: Callable[..., Any], *args: Any) -> Any:
        self.count += 1
        return execute(*args)


def _note(request: HttpRequest, response: HttpResponse, seconds: float, queries: int) -> None:
    route = "static" if request.path.startswith(settings.STATIC_URL) else route_of(request)
    method = request.method if request.method in METHODS else "other"
    REQUESTS.labels(route, method, response.status_code).inc()
    REQUEST_SECONDS.labels(route, method).observe(seconds)
    REQUEST_QUERIES.labels(route, method).observe(queries)
    logger.log(
        logging.DEBUG if route in BY_MACHINES or route == "static" else logging.INFO,
        "%s %s %s",
        method,
        route,
        response.status_code,
        extra={
            "method": method,
            "route": route,
            "status": response.status_code,
            "milliseconds": round(seconds * 1000, 1),
            "queries": queries,
        },
    )
