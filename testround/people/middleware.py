from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth.signals import user_logged_out
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_cache_control

# Everything comes from this server; no script or style stands in a page. The admin's own pages keep to it too.
POLICY = "; ".join(
    [
        "default-src 'none'",
        "object-src 'none'",
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


# Of what a browser offers to pages, ours ask for the camera's pictures alone, which a field for files gets without
# it, and for the screen to stay on while somebody counts.
_REFUSED = (
    "accelerometer, ambient-light-sensor, autoplay, bluetooth, browsing-topics, camera, display-capture, "
    "encrypted-media, fullscreen, gamepad, geolocation, gyroscope, hid, idle-detection, local-fonts, magnetometer, "
    "microphone, midi, payment, picture-in-picture, serial, usb, xr-spatial-tracking"
)
PERMISSIONS = ", ".join([*(f"{name}=()" for name in _REFUSED.split(", ")), "screen-wake-lock=(self)"])


class BrowserPolicies:
    """Says to browsers what a page may do, be shown in, and be kept as, on every answer that does not say it itself.

    Photos bring a stricter policy, and what everybody may read says how long it may be kept. Whatever says nothing of
    that is not kept anywhere: most pages are one person's.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # A method that no page has a use for, and by which a server sends back what it was sent.
        response = (
            HttpResponse(status=405, headers={"Allow": "GET, HEAD, POST"})
            if request.method == "TRACE"
            else self.get_response(request)
        )
        headers = response.headers
        headers.setdefault("Content-Security-Policy", POLICY)
        headers.setdefault("Permissions-Policy", PERMISSIONS)
        kept = headers.get("Cache-Control", "private")
        headers.setdefault(
            "Cross-Origin-Resource-Policy", "cross-origin" if "public" in kept else "same-origin"
        )
        # What asks each time whether it still holds has thought of it: a calendar's feed, the worker on a phone.
        if "private" in kept and "max-age" not in kept and "no-cache" not in kept:
            patch_cache_control(response, private=True, no_store=True)
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
