"""A process that serves, once it has loaded all that it will need."""

from __future__ import annotations

import gc

from django.urls import get_resolver


def settle() -> None:
    """Load every page's code, and let the garbage collector leave alone what stays for good.

    Python looks now and then through every object there is for those that hang together and are used no more, while
    some reader waits. Of a few hundred thousand that come with the program, none ever goes:
    https://docs.python.org/3/library/gc.html#gc.freeze.
    """
    resolver = get_resolver()
    resolver.url_patterns  # noqa: B018 - read for what it loads
    gc.collect()
    gc.freeze()
