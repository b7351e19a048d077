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
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from testround.rounds.models import Round

HOUR = 60 * 60
# A household or a knitting group behind one address offers more often than one person does.
OFFERS_FROM_A_NETWORK = 20
OFFERS_TO_A_ROUND = 500


def network_of(request: HttpRequest) -> str:
    """The address a request came from, as the number of trusted proxies tells; all that come without one count as one."""
    try:
        return str(get_adapter(request).get_client_ip(request))
    except PermissionDenied:
        # By a socket of the machine's own, or past the proxy: whoever has to be known is refused elsewhere.
        return ""


def counted(what: str, who: str, *, most: int, seconds: int) -> bool:
    """Count one more of this by them. False when that is more than ``most`` within so many seconds."""
    told = hmac.new(settings.SECRET_KEY.encode(), f"{what}\n{who}".encode(), hashlib.sha256).hexdigest()
    key = f"counted:{told}"
    cache.add(key, 0, seconds)
    try:
        return cache.incr(key) <= most
    except ValueError:
        return True


def offer_counted(request: HttpRequest, round: Round) -> bool:
    """Count one more offer to test. False when too many came from this network, or to this round, within an hour."""
    return counted("offer", network_of(request), most=OFFERS_FROM_A_NETWORK, seconds=HOUR) and counted(
        "offers", str(round.pk), most=OFFERS_TO_A_ROUND, seconds=HOUR
    )
