"""Pages that are the same for everybody, so that any cache between here and a reader may keep one for all.

What such a page says depends on its address, on the language that the browser asks for, and on nothing else: not on
who is signed in, nor on what anybody chose earlier. Cookies are taken off the request before anything reads
them, so that this holds whatever a template asks for, and none is set.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import Resolver404, resolve
from django.utils.cache import patch_cache_control
from django.utils.translation import get_language

from testround.people.language import speaking

# Seconds for which a copy may be shown without asking; after that it is asked whether it still holds.
KEPT_FOR_SECONDS = 60

View = Callable[..., HttpResponse]


def for_everybody(view: View) -> View:
    """Marks a view whose answer is the same for everybody at one address; ``?language=`` says its language.

    What there is not, and what is not to be known of, is answered in the same words, in the same frame.
    """

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        with speaking(request.GET.get("language", "")):
            try:
                response = view(request, *args, **kwargs)
            except Http404:
                response = render(request, "404_public.html", status=404)
                patch_cache_control(response, no_cache=True)
            else:
                patch_cache_control(response, public=True, max_age=KEPT_FOR_SECONDS, must_revalidate=True)
            response.headers.setdefault("Content-Language", get_language() or "")
        return response

    answered.is_for_everybody = True  # type: ignore[attr-defined]
    return answered


class ForEverybody:
    """Keeps cookies away from the views marked so, before a session or a person is looked for.

    Also from those marked as ``takes_no_cookies``: who asks an address of the API is known by a token alone.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not _takes_no_cookies(request.path_info, settings.ROOT_URLCONF):
            return self.get_response(request)
        # Before anybody has read them: `request.COOKIES` is made of this when it is first asked for.
        request.META.pop("HTTP_COOKIE", None)
        response = self.get_response(request)
        response.cookies.clear()
        _without_cookie(response)
        return response


@lru_cache(maxsize=2000)
def _takes_no_cookies(path: str, addresses: str) -> bool:
    """Kept for the addresses that are asked for most: Django goes through all there are for each."""
    try:
        view = resolve(path, addresses).func
    except Resolver404:
        return False
    return getattr(view, "is_for_everybody", False) or getattr(view, "takes_no_cookies", False)


def _without_cookie(response: HttpResponse) -> None:
    """The answer varies with the language that is asked for; with cookies it cannot, as there were none."""
    varies = [name.strip() for name in response.headers.get("Vary", "").split(",")]
    kept = [name for name in varies if name and name.lower() != "cookie"]
    if kept:
        response.headers["Vary"] = ", ".join(kept)
    elif response.has_header("Vary"):
        del response.headers["Vary"]
