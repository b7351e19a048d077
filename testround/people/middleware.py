from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth.signals import user_logged_out
from django.dispatch import receiver
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
        "worker-src 'self'",
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


@receiver(user_logged_out)
def _signed_out(request: HttpRequest | None, **_: Any) -> None:
    if request is not None:
        request.signed_out = True


class NothingLeftBehind:
    """Signing out leaves nothing on the phone: drafts, what waited to be sent, and the page kept without network."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if getattr(request, "signed_out", False):
            # https://www.w3.org/TR/clear-site-data/: local storage, caches and service workers of this address.
            response.headers["Clear-Site-Data"] = '"storage"'
        return response
