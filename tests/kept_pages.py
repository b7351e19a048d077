"""What a page says while parts of it are kept, held against what it says when nothing is."""

from __future__ import annotations

import re

from django.core.cache import cache
from django.test import Client

from testround.recent import forget_recent

# What every answer has of its own: the token and the key of a form.
_OWN = re.compile(r'(?<= name="csrfmiddlewaretoken" value=")[^"]+|(?<= name="key" value=")[^"]+')


def said(client: Client, path: str) -> str:
    """What a page says, without what every answer has of its own."""
    answer = client.get(path)
    assert answer.status_code == 200, (path, answer.status_code)
    return _OWN.sub("…", answer.content.decode())


def said_now(client: Client, path: str) -> str:
    """What a page says, made sure to be what it would say if nothing of it were kept."""
    kept = [said(client, path), said(client, path)]
    cache.clear()
    forget_recent()
    made = said(client, path)
    assert kept == [made, made]
    return made
