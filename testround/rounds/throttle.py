"""How often something may be done from one network, counted in the cache.

Nothing is remembered of the network but a hash of its address, and that for as long as it is counted. Where the
cache is away nothing is counted: what must hold then holds in the database.
"""

from __future__ import annotations

import hashlib
import hmac

from allauth.account.adapter import get_adapter
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest


def network_of(request: HttpRequest) -> str:
    """The address a request came from, as the number of trusted proxies tells."""
    return str(get_adapter(request).get_client_ip(request) or "")


def counted(what: str, who: str, *, most: int, seconds: int) -> bool:
    """Count one more of this by them. False when that is more than ``most`` within so many seconds."""
    told = hmac.new(settings.SECRET_KEY.encode(), f"{what}\n{who}".encode(), hashlib.sha256).hexdigest()
    key = f"counted:{told}"
    cache.add(key, 0, seconds)
    try:
        return cache.incr(key) <= most
    except ValueError:
        return True
