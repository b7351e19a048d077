"""What a load balancer or an operator reads at /healthz."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client

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


def test_all_is_well_when_database_and_cache_answer(client: Client) -> None:
    answer = client.get("/healthz")

    assert (answer.status_code, answer.json()) == (200, {"database": "ok", "cache": "ok"})


@pytest.mark.usefixtures("no_database")
def test_a_database_that_does_not_answer_is_named(client: Client) -> None:
    answer = client.get("/healthz")

    assert (answer.status_code, answer.json()) == (503, {"database": "no answer", "cache": "ok"})


@pytest.mark.usefixtures("no_redis")
def test_a_cache_that_does_not_answer_is_named(client: Client) -> None:
    answer = client.get("/healthz")

    assert (answer.status_code, answer.json()) == (503, {"database": "ok", "cache": "no answer"})


@pytest.mark.usefixtures("no_database", "no_redis")
def test_both_are_named_when_neither_answers(client: Client) -> None:
    answer = client.get("/healthz")

    assert (answer.status_code, answer.json()) == (503, {"database": "no answer", "cache": "no answer"})


ASK = """
import django, json; django.setup()
from django.test import Client
answer = Client().get("/healthz", headers={"Host": "testround.example.org"})
print(json.dumps([answer.status_code, answer.json()]))
"""


def test_a_served_installation_says_so_though_nothing_listens_where_its_servers_were(
    started: Callable[..., Any],
) -> None:
    asked = started("-c", ASK, DJANGO_SETTINGS_MODULE="testround.settings", **SERVED)

    assert json.loads(asked.stdout) == [503, {"database": "no answer", "cache": "no answer"}]


@pytest.mark.usefixtures("no_database")
def test_it_tells_nothing_of_what_went_wrong_inside(client: Client) -> None:
    assert "closed the connection" not in client.get("/healthz").text


def test_it_is_asked_afresh_each_time_and_leaves_no_cookie(client: Client) -> None:
    answer = client.get("/healthz")

    assert "no-store" in answer.headers["Cache-Control"]
    assert answer.cookies.output() == ""


def test_it_is_read_and_never_sent_to(client: Client) -> None:
    assert (client.head("/healthz").status_code, client.post("/healthz").status_code) == (200, 405)


def test_it_answers_by_http_where_all_else_is_sent_to_https(client: Client, settings: Any) -> None:
    # A health check comes from inside, past the proxy that speaks HTTPS.
    settings.SECURE_SSL_REDIRECT = True

    assert (client.get("/healthz").status_code, client.get("/me/preferences/").status_code) == (200, 301)
