"""How many requests are taken: by token, and by network of who has none, counted in the cache a minute at a time.

Told in the headers of draft-ietf-httpapi-ratelimit-headers. Where the cache is away nothing is counted or told.
"""

from __future__ import annotations

import hashlib
import hmac
import time
from dataclasses import dataclass

from django.conf import settings
from django.core.cache import cache
from django.utils.translation import ngettext

from testround.api.problems import TOO_MANY, ApiProblem

WINDOW_SECONDS = 60


@dataclass(frozen=True, slots=True)
class Counted:
    """How a limit stands after a request: of ``most`` in a minute ``left``, and anew in ``seconds``."""

    policy: str
    most: int
    left: int
    seconds: int

    @property
    def headers(self) -> dict[str, str]:
        return {
            "RateLimit-Policy": f'"{self.policy}";q={self.most};w={WINDOW_SECONDS}',
            "RateLimit": f'"{self.policy}";r={max(self.left, 0)};t={self.seconds}',
        }


def count(policy: str, who: str, *, now: float | None = None) -> Counted | None:
    """Count a request of a token or a network. None where the cache counts nothing.

    ``policy`` is "token" or "network"; nothing is remembered of ``who`` but a keyed hash, for a minute.
    """
    now = time.time() if now is None else now
    most = {"token": settings.API_REQUESTS_PER_TOKEN, "network": settings.API_REQUESTS_PER_NETWORK}[policy]
    window, passed = divmod(now, WINDOW_SECONDS)
    told = hmac.new(settings.SECRET_KEY.encode(), f"{policy}\n{who}".encode(), hashlib.sha256).hexdigest()
    key = f"api-limit:{told}:{int(window)}"
    cache.add(key, 0, 2 * WINDOW_SECONDS)
    try:
        so_far = cache.incr(key)
    except ValueError:
        return None
    return Counted(policy, most, most - so_far, max(1, round(WINDOW_SECONDS - passed)))


def refuse_beyond(counted: Counted | None) -> None:
    """Raises the problem where a limit is passed."""
    if counted is not None and counted.left < 0:
        raise ApiProblem(
            TOO_MANY,
            ngettext(
                "More than {most} requests in a minute. Ask again in {n} second.",
                "More than {most} requests in a minute. Ask again in {n} seconds.",
                counted.seconds,
            ).format(most=counted.most, n=counted.seconds),
            headers={"Retry-After": str(counted.seconds)},
        )
