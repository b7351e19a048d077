"""What a load balancer, a supervisor and an operator read at /healthz and /readyz."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client

from testround.operations import readiness
from tests.test_settings import SERVED, started

__all__ = ["started"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def no_database(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OperationalError("the server closed the connection unexpectedly")

    monkeypatch.setattr(connection, "cursor", refuse)


@pytest.fixture
def no_redis(settings: Any) -> None:
    """A Redis that refuses connections: nothing listens on port 1."""
    settings.CACHES = {
        "default": {"BACKEND": "testround.cache.ForgivingRedisCache", "LOCATION": "redis://127.0.0.1:1/0"}
    }


WELL = {"database": "ok", "migrations": "ok", "storage": "ok"}
NO = "no answer"


@pytest.fixture
def parts(settings: Any) -> dict[str, str]:
    """The parts of this installation, all well."""
    return WELL | ({"redis": "ok"} if settings.REDIS_URL else {})


def test_all_is_well_when_every_part_answers(client: Client, parts: dict[str, str]) -> None:
    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (200, parts)


@pytest.mark.usefixtures("no_database")
def test_a_database_that_does_not_answer_is_named(client: Client, parts: dict[str, str]) -> None:
    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (503, parts | {"database": NO, "migrations": NO})


@pytest.mark.usefixtures("no_database", "no_redis")
def test_a_process_lives_whatever_is_away(client: Client) -> None:
    answer = client.get("/healthz")

    assert (answer.status_code, answer.json()) == (200, {"process": "ok"})


def test_a_migration_that_is_not_applied_is_named(client: Client, parts: dict[str, str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'outbox' AND name LIKE '0004%'")

    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (503, parts | {"migrations": "not applied"})


def test_a_migration_of_the_next_version_is_no_hindrance(client: Client, parts: dict[str, str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('outbox', '0999_next', CURRENT_TIMESTAMP)"
        )

    assert client.get("/readyz").json() == parts


def test_a_disk_without_room_for_photos_is_named(
    client: Client, parts: dict[str, str], monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    room = os.statvfs(settings.MEDIA_ROOT.parent)
    values = [*room]
    values[4] = 10  # f_bavail, in blocks
    monkeypatch.setattr(os, "statvfs", lambda _: os.statvfs_result(values))

    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (503, parts | {"storage": "full"})


def test_a_bucket_that_does_not_answer_is_named(
    client: Client, parts: dict[str, str], monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    def refuse(_: str) -> bool:
        raise OSError("no route to host")

    settings.S3_BUCKET = "photos"
    monkeypatch.setattr(readiness, "default_storage", SimpleNamespace(exists=refuse))

    assert client.get("/readyz").json() == parts | {"storage": NO}


@pytest.mark.usefixtures("no_redis")
def test_a_redis_that_does_not_answer_is_named(client: Client) -> None:
    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (503, WELL | {"redis": NO})


@pytest.mark.usefixtures("no_database", "no_redis")
def test_all_are_named_that_do_not_answer(client: Client) -> None:
    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (
        503,
        WELL | {"database": NO, "migrations": NO, "redis": NO},
    )


ASK = """
import django, json; django.setup()
from django.test import Client
answer = Client().get("/readyz", headers={"Host": "testround.example.org"})
print(json.dumps([answer.status_code, answer.json()]))
"""


def test_a_served_installation_says_so_though_nothing_listens_where_its_servers_were(
    started: Callable[..., Any],
) -> None:
    asked = started("-c", ASK, DJANGO_SETTINGS_MODULE="testround.settings", **SERVED)

    assert json.loads(asked.stdout) == [
        503,
        WELL | {"database": NO, "migrations": NO, "redis": NO},
    ]


@pytest.mark.usefixtures("no_database")
def test_it_tells_nothing_of_what_went_wrong_inside(client: Client) -> None:
    assert "closed the connection" not in client.get("/readyz").text


def test_it_is_asked_afresh_each_time_and_leaves_no_cookie(client: Client) -> None:
    answer = client.get("/readyz")

    assert "no-store" in answer.headers["Cache-Control"]
    assert answer.cookies.output() == ""


def test_it_is_read_and_never_sent_to(client: Client) -> None:
    assert (client.head("/readyz").status_code, client.post("/readyz").status_code) == (200, 405)


def test_it_answers_by_http_where_all_else_is_sent_to_https(client: Client, settings: Any) -> None:
    # A health check comes from inside, past the proxy that speaks HTTPS.
    settings.SECURE_SSL_REDIRECT = True

    assert (client.get("/healthz").status_code, client.get("/metrics").status_code) == (200, 200)
    assert (client.get("/readyz").status_code, client.get("/me/preferences/").status_code) == (200, 301)
