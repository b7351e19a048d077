"""Calls generated from the OpenAPI document: no fault of the server, and no answer outside the schema.

A few to each operation run with the suite; about 20,000 in all are made, and counted, by

    TESTROUND_API_CALLS=150 uv run pytest tests/api/test_generated_calls.py -q -s
"""

from __future__ import annotations

import os
import sys
from collections import Counter
from typing import Any

import hypothesis
import pytest
import schemathesis
from django.core.handlers.wsgi import WSGIHandler
from django.db import transaction
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from testround.api.openapi import document, operations
from testround.api.v1.values import XLSX
from testround.people.models import User
from tests.api.programs import program_of
from tests.api.rows import API_TABLE
from tests.test_access import Scene

CALLS = int(os.environ.get("TESTROUND_API_CALLS", "2"))
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
# Bytes like those of any other file, to whoever sends them.
schemathesis.serializer.alias(XLSX, "application/octet-stream")


@pytest.mark.usefixtures("within_the_test")
def test_no_call_is_answered_by_a_fault_or_outside_the_schema(
    scene: Scene, designer: User, tester: User, settings: Any
) -> None:
    settings.API_REQUESTS_PER_TOKEN = settings.API_REQUESTS_PER_NETWORK = 10**9
    settings.ALLOWED_HOSTS = ["*"]
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app=WSGIHandler())
    persons = [program_of(person).headers for person in (designer, tester)]
    answered: Counter[int] = Counter()
    wrong: dict[str, str] = {}

    for path, method, operation in operations(document()):
        name = operation["operationId"]
        known = dict(zip(_names_in(path), API_TABLE[name].at(scene), strict=True))
        cases = schema[path][method.upper()].as_strategy()

        @hypothesis.settings(
            max_examples=CALLS,
            deadline=None,
            database=None,
            derandomize=CALLS < 10,
            suppress_health_check=list(hypothesis.HealthCheck),
            phases=[hypothesis.Phase.generate],
        )
        @hypothesis.given(cases, st.sampled_from(persons), st.booleans(), st.just(known))
        def call(case: Any, headers: dict[str, str], there: bool, known: dict[str, Any]) -> None:
            # Made-up names lead nowhere: half of the calls go to what there is.
            if there and known:
                case.path_parameters = {key: str(value) for key, value in known.items()}
            if "If-Match" in case.headers and there:
                case.headers["If-Match"] = "*"
            # As if it had not been sent, so that the next one finds everything as it was.
            with transaction.atomic():
                response = case.call(headers=headers)
                transaction.set_rollback(True)
            answered[response.status_code] += 1
            case.validate_response(response, checks=CHECKS)

        try:
            call()
        except Exception as failure:
            wrong[name] = f"{type(failure).__name__}: {failure}"[:1500]

    said = f"{sum(answered.values())} calls to {len(API_TABLE)} operations: {dict(sorted(answered.items()))}"
    sys.stdout.write(f"\n{said}\n" + "".join(f"{name}: {why}\n" for name, why in wrong.items()))
    assert wrong == {}


def _names_in(path: str) -> list[str]:
    return [part.strip("{}") for part in path.split("/") if part.startswith("{")]
