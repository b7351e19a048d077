"""The documentation as pages: everything that the document has, in English, without scripts, light enough."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from testround.api.documentation import subjects
from testround.api.openapi import document, operations
from testround.api.problems import KINDS
from testround.api.scopes import Scope

pytestmark = pytest.mark.django_db
HEAVIEST = 150_000


def test_every_scope_and_kind_of_problem_has_its_place_on_the_first_page(client: Client) -> None:
    page = client.get("/api/", headers={"Accept-Language": "de"}).text

    assert re.search('<html lang="en', page)
    assert [kind.name for kind in KINDS if f'id="problem-{kind.name}"' not in page] == []
    assert [scope for scope in Scope if f"<code>{scope}</code>" not in page] == []
    assert [one.name for one in subjects() if f"/api/reference/{one.slug}/" not in page] == []


def test_the_type_of_a_problem_leads_to_its_place(client: Client) -> None:
    kind = client.get("/api/v1/patterns").json()["type"]

    path, _, place = kind.removeprefix("http://127.0.0.1:8000").partition("#")
    assert f'id="{place}"' in client.get(path).text


def test_every_operation_is_on_the_page_of_its_subject(client: Client) -> None:
    pages = {one.slug: client.get(f"/api/reference/{one.slug}/") for one in subjects()}
    text = "".join(page.text for page in pages.values())

    missing = [
        operation["operationId"]
        for path, _method, operation in operations(document())
        if f'id="{operation["operationId"]}"' not in text or path not in text
    ]
    assert missing == []


def test_what_a_body_is_made_of_stands_on_the_same_page(client: Client) -> None:
    for one in subjects():
        page = client.get(f"/api/reference/{one.slug}/").text
        assert set(re.findall(r'href="#([^"]+)"', page)) <= set(re.findall(r'id="([^"]+)"', page))


def test_the_pages_are_light_and_run_nothing(client: Client) -> None:
    for path in ("/api/", *(f"/api/reference/{one.slug}/" for one in subjects())):
        page = client.get(path)
        assert len(page.content) < HEAVIEST, path
        assert "<script" not in page.text


def test_there_is_no_page_of_another_subject(client: Client) -> None:
    assert client.get("/api/reference/no-such-subject/").status_code == 404


def test_what_stands_between_backticks_is_set_as_code(client: Client) -> None:
    page = client.get("/api/reference/patterns/").text

    assert "as <code>next</code> or <code>previous</code> of another says it" in page
    assert "`" not in page
