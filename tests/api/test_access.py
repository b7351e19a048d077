"""Who may do what by the API: every operation, by everybody who might try. The rows are in tests/api/rows.py."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction
from django.test.client import BOUNDARY, MULTIPART_CONTENT
from django.urls import reverse

from testround.people.models import User
from tests.api.programs import Program, operations, program_of, public_operations
from tests.api.rows import API_TABLE, Row
from tests.test_access import HUSHED, ROLES, Scene, everything_stored

WHERE = {name: (address, method) for name, address, method in operations()}
NEEDS_A_TOKEN = sorted(set(WHERE) - public_operations())
TAGS = sorted({name.rpartition("_")[0] for name in WHERE})


def programs(scene: Scene) -> dict[str, Program]:
    """A program for each role, that may do everything its person may."""
    found = {}
    for role in ROLES:
        person = User.objects.filter(pk=scene.clients[role].session.get("_auth_user_id")).first()
        found[role] = program_of(person) if person else Program()
    return found


def call(scene: Scene, program: Program, name: str, row: Row) -> Any:
    address, method = WHERE[name]
    path = reverse(address, args=row.at(scene))
    body = row.body(scene)
    return program.send(
        method.upper(),
        path,
        body,
        **{"If-Match": "*", "Idempotency-Key": "a-key", "Content-Type": row.media or row_media(body)},
    )


def row_media(body: Any) -> str:
    if isinstance(body, bytes) and body.startswith(f"--{BOUNDARY}".encode()):
        return MULTIPART_CONTENT
    return "application/octet-stream" if isinstance(body, bytes) else "application/json"


def test_every_operation_has_its_row() -> None:
    assert sorted(WHERE) == sorted(API_TABLE)


@pytest.mark.parametrize("subject", TAGS)
def test_each_role_is_answered_by_program_as_the_table_says(scene: Scene, subject: str) -> None:
    by_role = programs(scene)
    before = everything_stored()
    rows = {name: row for name, row in API_TABLE.items() if name.rpartition("_")[0] == subject}
    answers: dict[str, dict[str, int]] = {}
    told = []

    for name, row in rows.items():
        for role in ROLES:
            # As if it had not been sent, so that the next one finds everything as it was.
            with transaction.atomic():
                response = call(scene, by_role[role], name, row)
                transaction.set_rollback(True)
            answers.setdefault(name, {})[role] = response.status_code
            if response.status_code >= 400 and HUSHED in response.text:
                told.append((name, role))

    assert answers == {name: {role: row.answer(role) for role in ROLES} for name, row in rows.items()}
    assert told == []
    assert everything_stored() == before


@pytest.mark.parametrize("name", NEEDS_A_TOKEN)
def test_a_token_without_the_scope_opens_nothing(scene: Scene, designer: User, name: str) -> None:
    response = call(scene, program_of(designer, scopes=[]), name, API_TABLE[name])

    assert (response.status_code, response.json()["type"].rpartition("#")[2]) == (
        403,
        "problem-scope-missing",
    )


@pytest.mark.parametrize(
    "name", sorted(name for name in API_TABLE if WHERE[name][1] in ("put", "patch", "delete"))
)
def test_a_change_that_names_no_representation_or_a_stale_one_is_refused(
    scene: Scene, designer: User, tester: User, name: str
) -> None:
    address, method = WHERE[name]
    row = API_TABLE[name]
    person = designer if row.answer("designer") != 404 else tester
    program = program_of(person)
    path = reverse(address, args=row.at(scene))
    before = everything_stored()

    without = program.send(method.upper(), path, row.body(scene))
    stale = program.send(method.upper(), path, row.body(scene), **{"If-Match": '"another"'})

    assert (without.status_code, stale.status_code) == (428, 412)
    assert everything_stored() == before


@pytest.mark.parametrize("name", sorted(name for name in API_TABLE if WHERE[name][1] == "post"))
def test_a_post_without_a_key_is_refused(scene: Scene, designer: User, tester: User, name: str) -> None:
    row = API_TABLE[name]
    before = everything_stored()

    answer = program_of(designer).send("POST", reverse(WHERE[name][0], args=row.at(scene)), row.body(scene))

    assert answer.status_code in (400, 415)
    assert {label: rows for label, rows in everything_stored().items() if label != "api.Token"} == {
        label: rows for label, rows in before.items() if label != "api.Token"
    }
