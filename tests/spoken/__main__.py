"""``python -m tests.spoken``: see the package."""

from __future__ import annotations

import os
import sys
from collections import Counter, deque

import django

from tests.spoken import Said, bracketed, own_words, unspoken


def main(paths: list[str]) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "testround.settings")
    django.setup()
    from django.conf import settings
    from django.test import Client
    from django.urls import Resolver404, resolve

    from testround.people.models import User

    settings.ALLOWED_HOSTS = ["*"]
    own = own_words()
    total: Counter[str] = Counter()
    with bracketed():
        for person in (
            *User.objects.filter(email__in=[f"{n}@example.org" for n in ("designer", "elder", "kelp")]),
            None,
        ):
            client = Client()
            if person:
                client.force_login(person)
            seen: Counter[str] = Counter()
            queue, known = deque(paths or ["/"]), set(paths or ["/"])
            while queue:
                path = queue.popleft()
                try:
                    name = resolve(path.partition("?")[0]).view_name
                except Resolver404:
                    continue
                seen[name] += 1
                if seen[name] > 3 or "logout" in name or name.startswith("admin"):
                    continue
                response = client.get(path)
                if "html" not in response.headers.get("Content-Type", ""):
                    continue
                page = Said()
                page.feed(response.content.decode())
                for piece in unspoken(response.content.decode(), own):
                    if not total[piece]:
                        sys.stdout.write(f"{name}: {piece}\n")
                    total[piece] += 1
                if not paths:
                    new = [link.partition("#")[0] for link in page.links if link.startswith("/")]
                    queue += [link for link in new if link and link not in known]
                    known.update(new)
    sys.stderr.write(f"{len(total)} pieces\n")


if __name__ == "__main__":
    main(sys.argv[1:])
