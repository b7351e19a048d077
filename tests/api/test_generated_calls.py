"""Calls generated from the OpenAPI document: no fault of the server, and no answer outside the schema.

Each operation is called by who may, mostly, and at an address that leads somewhere; before some calls others are
made that change something. A few to each operation run with the suite; more than 20,000 are made, and counted, by

    TESTROUND_API_CALLS=120 uv run pytest tests/api/test_generated_calls.py -q -s

TESTROUND_API_SEED=1, and so on, makes others.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import uuid
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import count
from random import Random
from typing import Any

import hypothesis
import pytest
import schemathesis
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.handlers.wsgi import WSGIHandler
from django.db import transaction
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.core import NotSet
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from testround.api.openapi import document, operations
from testround.api.v1.values import CSV, XLSX
from testround.patterns.models import Edition
from testround.people.models import User
from tests.api.generated_bodies import STRANGE, body_of, damaged, naming
from tests.api.generated_names import addresses, more_is_there, names_at, names_in, names_there
from tests.api.programs import program_of
from tests.api.rows import API_TABLE
from tests.api.test_access import programs
from tests.reports.pictures import phone_jpeg
from tests.test_access import ROLES, Scene

# To each operation that takes a body or is filtered; of the others there is less to try, and a quarter is made.
CALLS = int(os.environ.get("TESTROUND_API_CALLS", "2"))
SEED = int(os.environ.get("TESTROUND_API_SEED", "0"))
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
PAGING = ("cursor", "page_size")
# Bytes like those of any other file, to whoever sends them.
schemathesis.serializer.alias(XLSX, "application/octet-stream")
ZIP = "application/zip"
# What an address and a form can carry.
TEXTS = [str(one) for one in STRANGE if one != "\ud800"]


class Told:
    """An operation as the document tells it, with what its row of the access table says of it."""

    def __init__(self, path: str, method: str, told: dict[str, Any], schema: Any, scene: Scene) -> None:
        self.name, self.path, self.method = told["operationId"], path, method.upper()
        self.subject = self.name.rpartition("_")[0]
        self.operation = schema[path][self.method]
        row = API_TABLE[self.name]
        self.known = {name: str(value) for name, value in zip(names_in(path), row.at(scene), strict=True)}
        self.sent, self.media = row.body(scene), row.media or ZIP
        answers = {role: row.answer(role) for role in ROLES}
        taken = [role for role in ROLES if answers[role] < 300]
        self.is_taken = bool(taken)
        # Who may, or is at least told why not now; where the row is about nothing that is there, the designer.
        self.may = taken or [role for role in ROLES if answers[role] not in (401, 403, 404)] or ["designer"]
        bodies = told.get("requestBody", {}).get("content", {})
        self.of_document = any(
            str(body["schema"].get("$ref")).endswith(("/Sheet", "/RoundFile")) for body in bodies.values()
        )
        self.examples = [
            example["value"] for body in bodies.values() for example in body.get("examples", {}).values()
        ]
        self.filters = {
            one["name"]: one["schema"]
            for one in told["parameters"]
            if one["in"] == "query" and one["name"] not in PAGING
        }
        self.times = CALLS if bodies or self.filters else max(2, CALLS // 4)


class Calls:
    """Makes the calls, counts the answers, and holds each against the document."""

    def __init__(self, scene: Scene) -> None:
        program = program_of(scene.edition.pattern.owner)
        self.persons = {role: one.headers for role, one in programs(scene).items()}
        self.there = names_there(program)
        values = f"/patterns/{scene.edition.pattern.code}/editions/{scene.edition.pk}/values"
        self.files = {
            ZIP: program.get(f"/rounds/{scene.round.code}/file.zip").content,
            CSV: program.get(f"{values}.csv").content,
            XLSX: program.get(f"{values}.xlsx").content,
        }
        self.sheets = [edition.sheet for edition in Edition.objects.order_by("pk")]
        self.changes: list[Told] = []
        self.answered: Counter[int] = Counter()
        self.reached: Counter[str] = Counter()

    def make(self, told: Told, case: Any, rng: Random) -> None:
        """The call of this case, made to reach more than it would, after up to two others that change something."""
        for _ in range(rng.choice((0, 0, 0, 1, 2))):
            near = [one for one in self.changes if one.subject == told.subject]
            before = rng.choice(near if near and rng.random() < 0.6 else self.changes)
            self._send(before, before.operation.Case(path_parameters=dict(before.known)), before.sent, rng)
        if rng.random() < 0.92:
            found = addresses(told.path) if rng.random() < (0.35 if told.is_taken else 0.8) else []
            case.path_parameters = {
                name: str(value) for name, value in (rng.choice(found) if found else told.known).items()
            }
        there = self.there | (names_at(told.path, case.path_parameters) if rng.random() < 0.8 else {})
        body: Any = None
        if case.media_type in self.files:
            body = damaged(self.files[case.media_type], rng)
        elif case.media_type == "multipart/form-data":
            body = _form(told.examples[0], there, rng)
        elif told.examples:
            examples = [*told.examples, *self.sheets] if told.of_document else told.examples
            generated = None if isinstance(case.body, NotSet) else case.body
            body = body_of(told.sent, examples, generated, there, rng, free=not told.of_document)
        for name in told.filters:
            if rng.random() < 0.5 and (there.get(name) or name in case.query):
                case.query[name] = rng.choice(there.get(name) or TEXTS)
        self._send(told, case, body, rng)

    def _send(self, told: Told, case: Any, body: Any, rng: Random) -> None:
        role = rng.choice(told.may if rng.random() < 0.92 else list(self.persons))
        headers = {**self.persons[role]}
        if told.method != "GET":
            headers |= {"If-Match": "*", "Idempotency-Key": str(uuid.UUID(int=rng.getrandbits(128)))}
        more: dict[str, Any] = {}
        if body is not None:
            form = isinstance(body, bytes) and body.startswith(f"--{BOUNDARY}".encode())
            more["data"] = body if isinstance(body, bytes) else json.dumps(body).encode()
            of_file = case.media_type if case.media_type in self.files else told.media
            headers["Content-Type"] = (
                MULTIPART_CONTENT if form else of_file if isinstance(body, bytes) else "application/json"
            )
        response = case.call(headers=headers, **more)
        self.answered[response.status_code] += 1
        self.reached[told.name] += response.status_code < 300
        try:
            case.validate_response(response, checks=CHECKS)
        except BaseException as failure:
            said = body if isinstance(body, bytes) else json.dumps(body)
            raise AssertionError(
                f"{told.method} {case.path_parameters} {case.query} by {role}: {said[:3000]!r}"
            ) from failure


def _form(example: dict[str, Any], there: Mapping[str, Sequence[Any]], rng: Random) -> bytes:
    """A form with a picture, mostly whole, and other fields as in the example, mostly."""
    fields = naming({**example}, "", there, rng)
    for name in list(fields):
        if rng.random() < 0.2:
            fields[name] = rng.choice(TEXTS)
    if rng.random() < 0.9:
        fields["photo"] = SimpleUploadedFile("IMG_1234.jpg", damaged(phone_jpeg(), rng), "image/jpeg")
    return encode_multipart(
        BOUNDARY,
        {
            name: str(value).lower() if isinstance(value, bool) else value
            for name, value in fields.items()
            if value is not None
        },
    )


@cache
def _program() -> WSGIHandler:
    return WSGIHandler()


def _from_here(environ: dict[str, Any], start_response: Any) -> Any:
    """The program, asked from this machine: a server says where a request comes from, and the client here does not."""
    return _program()({**environ, "REMOTE_ADDR": "127.0.0.1"}, start_response)


def test_no_call_is_answered_by_a_fault_or_outside_the_schema(
    scene: Scene, designer: User, tester: User, settings: Any, request: pytest.FixtureRequest
) -> None:
    settings.API_REQUESTS_PER_TOKEN = settings.API_REQUESTS_PER_NETWORK = 10**9
    settings.ALLOWED_HOSTS = ["*"]
    # A line for each of so many requests would hide what is said at the end.
    logging.disable(logging.WARNING)
    more_is_there(scene, designer, tester, program_of(designer))
    calls = Calls(scene)
    # From here on: Django's own client, which was asked until now, takes care of its connection by itself.
    request.getfixturevalue("within_the_test")
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app=_from_here)
    told = [Told(path, method, one, schema, scene) for path, method, one in operations(document())]
    calls.changes = [one for one in told if one.method != "GET"]
    wrong: dict[str, list[str]] = {}

    for one in told:
        numbers = count()

        @hypothesis.seed(SEED)
        @hypothesis.settings(
            max_examples=one.times,
            deadline=None,
            database=None,
            suppress_health_check=list(hypothesis.HealthCheck),
            phases=[hypothesis.Phase.generate],
        )
        # The whole numbers are there alone so that no operation runs out of cases; they are mostly small.
        @hypothesis.given(one.operation.as_strategy(), st.integers(0, 2**64), st.just((one, numbers)))
        def call(case: Any, number: int, of: tuple[Told, Iterator[int]]) -> None:
            which, so_far = of
            # As if it had not been sent, so that the next one finds everything as it was.
            with transaction.atomic():
                try:
                    calls.make(which, case, Random(f"{SEED} {which.name} {next(so_far)}"))
                except Exception as failure:
                    wrong.setdefault(which.name, []).append(f"{failure}\n{failure.__cause__}")
                transaction.set_rollback(True)

        call()

    logging.disable(logging.NOTSET)
    said = f"{sum(calls.answered.values())} calls to {len(told)} operations: {dict(sorted(calls.answered.items()))}"
    never = sorted(name for name in API_TABLE if not calls.reached[name])
    sys.stdout.write(f"\n{said}\nnever taken: {', '.join(never) or 'none'}\n")
    for name, whys in wrong.items():
        sys.stdout.write(f"{name}, {len(whys)} times: {whys[0][:4000]}\n")
    assert sorted(wrong) == []
