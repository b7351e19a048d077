from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

# Everything comes from this server; no script or style stands in a page. The admin's own pages keep to it too.
POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)


class ContentSecurityPolicy:
    """Adds the policy to every answer that does not bring its own (photos bring a stricter one)."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", "geolocation=(), microphone=(), interest-cohort=()")
        return response
