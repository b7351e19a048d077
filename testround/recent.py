"""What this process made last, kept ready: newer than the cache, where everything is taken apart and put together."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock
from typing import Any, Generic, TypeVar
from weakref import WeakSet

Value = TypeVar("Value")
_every: WeakSet[Recent[Any]] = WeakSet()


class Recent(Generic[Value]):
    """The few newest values by a key that names their whole content. They are shared, so nobody changes one."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[str, Value] = OrderedDict()
        self._lock = Lock()
        _every.add(self)

    def get(self, key: str) -> Value | None:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def keep(self, key: str, value: Value) -> None:
        with self._lock:
            self._kept[key] = value
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)

    def get_or_keep(self, key: str, make: Callable[[], Value]) -> Value:
        """What is kept under a key, or what is made now and kept. Two who ask at once may both make it."""
        found = self.get(key)
        if found is None:
            found = make()
            self.keep(key, found)
        return found

    def clear(self) -> None:
        with self._lock:
            self._kept.clear()


def forget_recent() -> None:
    """Let everything go that this process keeps ready, of every kind."""
    for recent in list(_every):
        recent.clear()
