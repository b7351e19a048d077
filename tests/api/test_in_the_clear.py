"""The API by HTTP, where the program answers by HTTPS."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.programs import Program

pytestmark = pytest.mark.django_db


def test_a_program_that_came_in_the_clear_is_told_so_and_not_led_on(program: Program, settings: Any) -> None:
    settings.SECURE_SSL_REDIRECT = True

    answer = program.get("/patterns")

    assert (answer.status_code, answer.headers["Content-Type"]) == (403, "application/problem+json")
    assert answer.json()["type"].endswith("/api/#problem-in-the-clear")
    assert "revoke it" in answer.json()["detail"]
    assert "Location" not in answer.headers


def test_by_https_and_where_nobody_has_it_it_is_answered(program: Program, settings: Any) -> None:
    plain = program.get("/patterns")
    settings.SECURE_SSL_REDIRECT = True
    secure = program.client.get("/api/v1/patterns", headers=program.headers, secure=True)

    assert (plain.status_code, secure.status_code) == (200, 200)


def test_people_are_led_on(program: Program, settings: Any) -> None:
    settings.SECURE_SSL_REDIRECT = True

    assert program.client.get("/api/").headers["Location"] == "https://testserver/api/"
