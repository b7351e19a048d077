"""The OpenAPI document: made without a warning, with an example of everything that is sent and answered."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client
from drf_spectacular.drainage import GENERATOR_STATS
from jsonschema import Draft202012Validator

from testround.api.openapi import document, operations
from testround.api.problems import KINDS
from testround.api.scopes import Scope

OPERATIONS = [(operation["operationId"], operation) for _path, _method, operation in operations(document())]


@pytest.fixture
def public(client: Client, db: None) -> dict[str, Any]:
    return client.get("/api/v1/openapi.json").json()


def test_the_document_is_for_anybody_and_kept_by_its_tag(client: Client, db: None) -> None:
    first = client.get("/api/v1/openapi.json", headers={"Accept-Language": "de"})
    again = client.get("/api/v1/openapi.json", headers={"If-None-Match": first.headers["ETag"]})

    assert (first.status_code, again.status_code) == (200, 304)
    assert first.headers["Content-Language"] == "en"
    assert first.json() == json.loads(json.dumps(document()))


def test_the_document_is_openapi_3_1_and_made_without_a_warning() -> None:
    GENERATOR_STATS.reset()
    document.cache_clear()

    made = document()

    assert made["openapi"] == "3.1.0"
    assert (list(GENERATOR_STATS._warn_cache), list(GENERATOR_STATS._error_cache)) == ([], [])


def test_every_component_that_is_referred_to_is_there_and_a_schema() -> None:
    schemas = document()["components"]["schemas"]
    referred = set(re.findall(r'"#/components/schemas/([^"]+)"', json.dumps(document())))

    assert referred - schemas.keys() == set()
    for schema in schemas.values():
        Draft202012Validator.check_schema(schema)


def test_operations_are_named_by_subject_and_act_each_once() -> None:
    names = [name for name, _operation in OPERATIONS]

    assert [name for name in names if not re.fullmatch(r"[a-z]+(_[a-z]+)+", name)] == []
    assert len(names) == len(set(names))


@pytest.mark.parametrize(("name", "operation"), OPERATIONS, ids=[name for name, _ in OPERATIONS])
def test_what_is_sent_and_answered_has_an_example_that_holds_to_its_schema(
    name: str, operation: dict[str, Any]
) -> None:
    bodies = {"sent": operation.get("requestBody", {}).get("content", {})}
    bodies |= {
        status: answer.get("content", {})
        for status, answer in operation["responses"].items()
        if status < "300"
    }
    wrong = []

    for where, content in bodies.items():
        for media, body in content.items():
            if not media.endswith("json") and media != "multipart/form-data":
                continue
            examples = [example["value"] for example in body.get("examples", {}).values()]
            if not examples:
                wrong.append(f"{where} {media}: no example")
            for example in examples:
                schema = {**body["schema"], "components": document()["components"]}
                validator = Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)
                wrong += [
                    f"{where} {error.json_path}: {error.message}" for error in validator.iter_errors(example)
                ]

    assert wrong == []


@pytest.mark.parametrize(("name", "operation"), OPERATIONS, ids=[name for name, _ in OPERATIONS])
def test_every_operation_says_its_scope_its_subject_and_what_it_does(
    name: str, operation: dict[str, Any]
) -> None:
    scopes = [scope for needed in operation["security"] for scope in needed["personalToken"]]

    assert len(operation["tags"]) == 1
    assert len(operation["summary"]) < 60
    assert operation["description"]
    assert len(scopes) <= 1
    assert set(scopes) <= set(Scope)


def test_every_kind_of_problem_has_a_name_of_its_own_and_is_explained() -> None:
    assert len({kind.name for kind in KINDS}) == len(KINDS)
    assert [kind.name for kind in KINDS if not (kind.title and kind.explained)] == []
