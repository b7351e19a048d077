"""The cache while Redis is away: as if it held nothing, and at once."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator

import pytest
from django.conf import settings as django_settings

from testround.cache import ANSWER_SECONDS, ForgivingRedisCache


@pytest.fixture
def refusing() -> ForgivingRedisCache:
    """Nothing listens on port 1."""
    return ForgivingRedisCache("redis://127.0.0.1:1/0", {})


@pytest.fixture
def silent() -> Iterator[ForgivingRedisCache]:
    """A server that takes connections and never answers."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        cache = ForgivingRedisCache(f"redis://127.0.0.1:{server.getsockname()[1]}/0", {})
        yield cache


def test_nothing_is_found_and_nothing_breaks(refusing: ForgivingRedisCache) -> None:
    refusing.set("key", 1)

    assert refusing.get("key") is None
    assert refusing.get("key", "otherwise") == "otherwise"
    assert refusing.get_many(["a", "b"]) == {}
    assert refusing.has_key("key") is False
    assert "key" not in refusing
    assert refusing.touch("key") is False
    assert refusing.delete("key") is False
    assert refusing.delete_many(["a"]) is None
    assert refusing.clear() is False


def test_what_could_not_be_kept_is_named(refusing: ForgivingRedisCache) -> None:
    assert refusing.set_many({"a": 1, "b": 2}) == ["a", "b"]


def test_what_has_to_be_computed_is_computed_each_time(refusing: ForgivingRedisCache) -> None:
    assert [refusing.get_or_set("key", lambda: "computed") for _ in range(2)] == ["computed", "computed"]


def test_who_takes_a_lock_gets_it(refusing: ForgivingRedisCache) -> None:
    assert refusing.add("lock", True) is True


def test_a_count_that_cannot_be_kept_is_a_key_that_is_not_there(refusing: ForgivingRedisCache) -> None:
    with pytest.raises(ValueError, match="not found"):
        refusing.incr("count")


def test_a_server_that_never_answers_is_given_up_soon(silent: ForgivingRedisCache) -> None:
    begun = time.monotonic()

    answer = silent.get("key", "otherwise")

    assert answer == "otherwise"
    assert time.monotonic() - begun < 3 * ANSWER_SECONDS


@pytest.mark.redis
def test_with_redis_there_it_is_a_cache_like_any_other() -> None:
    cache = ForgivingRedisCache(django_settings.REDIS_URL, {"KEY_PREFIX": "forgiving"})
    try:
        cache.set("key", {"a": [1.5]})
        cache.set("count", 1)

        assert cache.get("key") == {"a": [1.5]}
        assert cache.incr("count") == 2
        assert (cache.add("key", 2), cache.add("other", 2)) == (False, True)
        assert cache.get_many(["key", "other", "none"]) == {"key": {"a": [1.5]}, "other": 2}
        assert (cache.delete("other"), cache.delete("other")) == (True, False)
    finally:
        cache.delete_many(["key", "count", "other"])
