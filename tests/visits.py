"""Where every page of the program is: one visit to each that the access table names, as whom, at which address."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.test import Client

from tests.test_access import ROLES, TABLE, Scene

SIGNED_OUT = "signed out"
# The first page is another one to each who opens it.
MANY_SIDED = ("home",)
# A mail as a mail program shows it: where it stands nothing runs, axe neither.
NO_PAGES = ("mail_html",)
# Of those who may open a page, these see all there is to see on it.
READERS = ("tester", "designer")


@dataclass(frozen=True)
class Visit:
    """A page of the access table, opened by one person."""

    name: str
    role: str
    client: Client
    path: str

    def __str__(self) -> str:
        return f"{self.name} ({self.role})"


def readers(name: str) -> list[str]:
    """The roles for whom a page may look different."""
    may = [role for role, answer in zip(ROLES, TABLE[name].get, strict=True) if answer == 200]
    if name in MANY_SIDED:
        return [role for role in may if role in ("signed out", "stranger", *READERS)]
    if SIGNED_OUT in may:
        return [SIGNED_OUT]
    wanted = READERS[:1] if name.startswith(("account_", "mfa_", "people:")) else READERS
    return [role for role in wanted if role in may] or may[:1]


def visits(scenes: Sequence[Scene], *, must_be_there: bool = True) -> Iterator[Visit]:
    """Every page that somebody may read, in the first of the scenes that has it.

    Raises AssertionError where none has, unless they need not have every page.
    """
    addresses = [scene.addresses() for scene in scenes]
    for name in sorted(TABLE.keys() - set(NO_PAGES)):
        for role in readers(name):
            for scene, paths in zip(scenes, addresses, strict=True):
                answer = scene.clients[role].get(paths[name])
                if answer.status_code == 200:
                    if answer.headers["Content-Type"].startswith("text/html"):
                        yield Visit(name, role, scene.clients[role], paths[name])
                    break
            else:
                assert not must_be_there, f"none of the rounds has a page for {name} ({role})"
