"""A Redis cache that the program can do without: when Redis is away, pages are slower and nothing breaks."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from django.core.cache.backends.redis import RedisCache
from redis.backoff import NoBackoff
from redis.exceptions import RedisError
from redis.retry import Retry

logger = logging.getLogger(__name__)

# A page waits no longer than this for what it can compute itself.
CONNECT_SECONDS = 1
ANSWER_SECONDS = 2


class ForgivingRedisCache(RedisCache):
    """Django's Redis cache, which holds nothing and forgets everything while Redis does not answer.

    What counts attempts in the cache (sign-in, sign-up) counts none meanwhile: people who have done nothing
    wrong are not locked out by a server that is down.
    """

    def __init__(self, server: str, params: dict[str, Any]) -> None:
        briefly_and_once = {
            "socket_connect_timeout": CONNECT_SECONDS,
            "socket_timeout": ANSWER_SECONDS,
            "retry": Retry(NoBackoff(), 0),
        }
        super().__init__(server, {**params, "OPTIONS": {**briefly_and_once, **params.get("OPTIONS", {})}})

    def add(self, *args: Any, **kwargs: Any) -> bool:
        # "It was not there": who takes a lock by adding a key must get it, or would wait for nobody.
        return bool(_or(True, super().add, *args, **kwargs))

    def get(self, key: Any, default: Any = None, version: Any = None) -> Any:
        return _or(default, super().get, key, default, version)

    def set(self, *args: Any, **kwargs: Any) -> None:
        _or(None, super().set, *args, **kwargs)

    def touch(self, *args: Any, **kwargs: Any) -> bool:
        return bool(_or(False, super().touch, *args, **kwargs))

    def delete(self, *args: Any, **kwargs: Any) -> bool:
        return bool(_or(False, super().delete, *args, **kwargs))

    def get_many(self, *args: Any, **kwargs: Any) -> dict[Any, Any]:
        found: dict[Any, Any] = _or({}, super().get_many, *args, **kwargs)
        return found

    def has_key(self, *args: Any, **kwargs: Any) -> bool:
        return bool(_or(False, super().has_key, *args, **kwargs))

    def incr(self, key: Any, *args: Any, **kwargs: Any) -> int:
        try:
            return int(super().incr(key, *args, **kwargs))
        except RedisError as error:
            _tell(error)
            # What Django's caches say of a key that is not there.
            raise ValueError(f"Key {key!r} not found") from error

    def set_many(self, data: dict[Any, Any], *args: Any, **kwargs: Any) -> list[Any]:
        failed: list[Any] = _or(list(data), super().set_many, data, *args, **kwargs)
        return failed

    def delete_many(self, *args: Any, **kwargs: Any) -> None:
        _or(None, super().delete_many, *args, **kwargs)

    def clear(self) -> bool:
        return bool(_or(False, super().clear))


def _or(otherwise: Any, ask: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    try:
        return ask(*args, **kwargs)
    except RedisError as error:
        _tell(error)
        return otherwise


def _tell(error: RedisError) -> None:
    logger.warning("The cache does not answer (%s); going on without it", error)
