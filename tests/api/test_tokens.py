"""The page of one's tokens."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from testround.api.models import Token
from testround.people.models import User
from tests.api.programs import Program, program_of

PAGE = "/me/tokens/"
WANTED = {"name": "Shop", "scopes": ["patterns:read", "errata:read"], "days": "90"}


@pytest.fixture
def at_the_page(client: Client, designer: User) -> Client:
    """A browser in which the designer gave the password just now."""
    client.post("/account/login/", {"login": designer.email, "password": "a-long-password"})
    client.post("/account/reauthenticate/", {"password": "a-long-password"})
    return client


def test_a_token_is_shown_once_and_opens_what_its_scopes_say(at_the_page: Client, designer: User) -> None:
    made = at_the_page.post(PAGE, WANTED)
    (secret,) = re.findall(r'value="(testround_[^"]+)"', made.text)
    again = at_the_page.get(PAGE)

    assert "no-store" in made.headers["Cache-Control"]
    assert Program(secret).get("/patterns").status_code == 200
    assert secret not in again.text
    assert "Shop" in again.text
    token = Token.objects.get()
    assert (token.user, token.scopes) == (designer, ["errata:read", "patterns:read"])
    assert dt.timedelta(days=89) < token.expires - timezone.now() < dt.timedelta(days=91)


def test_who_signed_in_long_ago_gives_the_password_first(client: Client, designer: User) -> None:
    client.force_login(designer)

    answer = client.post(PAGE, WANTED)

    assert (answer.status_code, answer.headers["Location"]) == (
        302,
        "/account/reauthenticate/?next=%2Fme%2Ftokens%2F",
    )
    assert Token.objects.count() == 0
    assert client.get(PAGE).status_code == 200


def test_who_has_no_password_needs_none(client: Client, designer: User) -> None:
    designer.set_unusable_password()
    designer.save()
    client.force_login(designer)

    assert "testround_" in client.post(PAGE, WANTED).text


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"scopes": []}, "Choose what the token may be used for."),
        ({"scopes": ["everything"]}, "everything"),
        ({"name": ""}, "required"),
        ({"days": "3650"}, "3650"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(
    at_the_page: Client, wrong: dict[str, Any], said: str
) -> None:
    answer = at_the_page.post(PAGE, WANTED | wrong)

    assert answer.status_code == 422
    assert said in answer.text
    assert Token.objects.count() == 0


def test_a_token_is_revoked_by_its_person_alone(client: Client, designer: User, tester: User) -> None:
    program = program_of(designer)
    token = Token.objects.get()
    client.force_login(tester)
    assert client.post(f"{PAGE}{token.pk}/revoke/").status_code == 404
    assert program.get("/patterns").status_code == 200

    client.force_login(designer)
    client.post(f"{PAGE}{token.pk}/revoke/")

    assert program.get("/patterns").status_code == 401
    assert "revoked on" in client.get(PAGE).text


def test_the_page_costs_the_same_for_one_token_or_many(
    client: Client, designer: User, django_assert_num_queries: Any
) -> None:
    client.force_login(designer)
    for n in (1, 3):
        for _ in range(n):
            program_of(designer)
        with django_assert_num_queries(3):  # session, user, tokens
            client.get(PAGE)


def test_the_list_says_in_words_what_each_token_opens(at_the_page: Client) -> None:
    at_the_page.post(PAGE, WANTED | {"scopes": ["talk:read"]})

    listed = at_the_page.get(PAGE).text.partition('<ul class="rows">')[2].partition("</ul>")[0]

    assert "Read notes, questions and private words of your rounds <code>talk:read</code>" in listed
