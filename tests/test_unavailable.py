"""What is answered while the database is away: come back, nothing is lost, and what was typed is still here."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Place
from tests.served.browser import Page

SignIn = Callable[[User], Client]
WORDS = 'Is it "knit" or <purl>?'


@contextmanager
def database_away() -> Iterator[None]:
    def nothing(*_: Any) -> None:
        raise OperationalError("server closed the connection") from psycopg.OperationalError("closed")

    with connection.execute_wrapper(nothing):
        yield


@pytest.fixture
def as_tester(client: Client, tester: User) -> Client:
    client.force_login(tester)
    client.raise_request_exception = False
    return client


def page_of(response: Any, path: str) -> Page:
    return Page(path, response.status_code, {}, response.content, 0)


def test_a_page_says_that_it_passes_and_when_to_come_back(as_tester: Client, place: Place) -> None:
    path = f"{place.get_absolute_url()}?from=mail"

    with database_away():
        response = as_tester.get(path)

    assert (response.status_code, response["Retry-After"], response["Cache-Control"]) == (
        503,
        "20",
        "no-store",
    )
    assert "<h1>Out of order for a moment</h1>" in response.text
    assert "What you were told had arrived is safe." in response.text
    assert f'href="{path}">Try again</a>' in response.text
    assert response["Content-Security-Policy"].startswith("default-src 'none'")


def test_what_was_typed_is_on_the_page_and_goes_out_by_a_press_once(as_tester: Client, place: Place) -> None:
    path = reverse("reports:remark", args=[place.pk])
    opened = page_of(as_tester.get(path), path)
    fields = {**opened.form("remark").fields, "kind": "unclear", "remark": WORDS}

    with database_away():
        refused = as_tester.post(path, fields)
    kept = page_of(refused, path).form("remark")
    answers = [as_tester.post(kept.action, kept.fields).status_code for _ in range(2)]

    assert refused.status_code == 503
    assert "It is not certain that what you just sent has arrived." in refused.text
    assert (kept.method, kept.action, kept.fields) == ("post", path, fields)
    assert answers == [302, 302]
    assert [remark.text for remark in Remark.objects.all()] == [WORDS]


def test_a_password_is_never_written_into_the_page(db: None) -> None:
    client = Client(raise_request_exception=False)

    with database_away():
        response = client.post(
            "/account/login/", {"login": "fen@example.org", "password": "wool-and-patience"}
        )

    assert response.status_code == 503
    assert "wool-and-patience" not in response.text
    assert "<form" not in response.text
    assert "Go back, wait a moment and send it once more" in response.text


def test_a_script_gets_a_document_that_says_the_same(as_tester: Client, place: Place) -> None:
    with database_away():
        response = as_tester.post(
            reverse("reports:remark", args=[place.pk]),
            {"remark": WORDS},
            headers={"accept": "application/json"},
        )

    assert (response.status_code, response["Retry-After"]) == (503, "20")
    assert response["Content-Type"] == "application/problem+json"
    assert response.json() == {
        "type": "about:blank",
        "title": "Out of order for a moment",
        "status": 503,
        "detail": "The database does not answer just now. Send the same once more in a moment.",
    }


@pytest.mark.parametrize("language", ["en-gb", "de"])
def test_it_speaks_the_language_that_the_browser_asks_for(as_tester: Client, language: str) -> None:
    with database_away():
        response = as_tester.get("/places/", headers={"accept-language": language})

    assert re.search(r'<html lang="([^"]+)"', response.text).group(1) == language  # type: ignore[union-attr]


def test_a_mistake_of_ours_is_no_trouble_that_passes(as_tester: Client, place: Place) -> None:
    def mistaken(*_: Any) -> None:
        raise ValueError("ours")

    with connection.execute_wrapper(mistaken):
        response = as_tester.get(place.get_absolute_url())

    assert (response.status_code, response.has_header("Retry-After")) == (500, False)
    assert "<h1>Our mistake</h1>" in response.text


def test_a_program_at_the_api_is_answered_in_problem_details_of_its_own_kind(db: None) -> None:
    client = Client(raise_request_exception=False)

    with database_away():
        response = client.get("/api/v1/patterns", headers={"authorization": f"Bearer {'x' * 40}"})

    document = response.json()
    assert (response.status_code, response["Retry-After"]) == (503, "20")
    assert response["Content-Type"] == "application/problem+json"
    assert (document["status"], document["title"]) == (503, "Out of order for a moment")
    assert document["type"].endswith("#problem-unavailable")
