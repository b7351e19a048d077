"""Where words to the reader of the next page wait: in a cookie, and what is too long for one in the session."""

from __future__ import annotations

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.messages.storage.fallback import FallbackStorage
from django.contrib.messages.storage.session import SessionStorage


class HostCookie(CookieStorage):
    """Named as the other cookies are, so that a neighbouring host cannot put words into it."""

    cookie_name = f"{settings.COOKIE_PREFIX}messages"


class Messages(FallbackStorage):
    storage_classes = (HostCookie, SessionStorage)
