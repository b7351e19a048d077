"""A whole served installation on a database and a Redis of its own, every part of which may be broken."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import pytest

from tests.failures.database import Postgres
from tests.failures.disk import Disk
from tests.failures.phones import Crowd, Phone
from tests.served.browser import Browser
from tests.served.conftest import Installation, free_port, installed_in


@dataclass
class RoundOfTesters:
    """A round with so many testers, and their phones."""

    installation: Installation
    round: int
    phones: list[tuple[Phone, str]]

    def crowd(self, words: list[str]) -> Crowd:
        return Crowd(self.phones, words)

    def kept(self) -> list[str]:
        """The remarks of this round that are in the database."""
        rows = self.installation.query(
            "SELECT r.text FROM reports_remark r JOIN rounds_place p ON p.id = r.place_id WHERE p.round_id = %s",
            self.round,
        )
        return sorted(text for (text,) in rows)

    def count(self, what: str) -> int:
        """How many rows of this round another table has that belong to a place."""
        ((n,),) = self.installation.query(
            f"SELECT count(*) FROM {what} t JOIN rounds_place p ON p.id = t.place_id WHERE p.round_id = %s",  # noqa: S608
            self.round,
        )
        return int(n)


@contextmanager
def postgres_running() -> Iterator[Postgres]:
    postgres = Postgres(free_port())
    try:
        postgres.start()
        yield postgres
    finally:
        postgres.close()


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    with postgres_running() as postgres:
        yield postgres


@pytest.fixture(scope="session")
def disk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Disk]:
    """What the installation writes goes there."""
    disk = Disk(tmp_path_factory.mktemp("failures") / "var")
    try:
        yield disk
    finally:
        disk.close()


@pytest.fixture(scope="session")
def installation(disk: Disk, postgres: Postgres) -> Iterator[Installation]:
    redis_server = shutil.which("redis-server")
    assert redis_server is not None
    installed = installed_in(disk.folder.parent, postgres.url, redis_server)
    installed.web.command += ["--keep-alive=5"]
    try:
        installed.start()
        yield installed
    finally:
        installed.stop()


@pytest.fixture
def testers(installation: Installation) -> Iterator[RoundOfTesters]:
    """Eight of them."""
    made = json.loads(installation.python("from tests.failures.testers import testers; testers(8)"))
    phones = [(Phone(installation.address, one["session"]), one["place"]) for one in made["testers"]]
    yield RoundOfTesters(installation, made["round"], phones)
    for phone, _ in phones:
        phone.close()


def with_session_of(installation: Installation, session: str) -> Browser:
    browser = installation.browser()
    browser.put_cookie("sessionid", session)
    return browser
