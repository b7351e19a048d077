"""The OpenAPI document: what the operations say of themselves, and what all of them have in common."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

from django.utils import translation
from drf_spectacular.generators import SchemaGenerator

from testround.api import problems
from testround.api.authentication import SCHEME
from testround.api.documents import components, refers_to
from testround.api.etags import etag_of
from testround.api.once import HEADER
from testround.api.problems import KINDS, Kind

Document = dict[str, Any]

PROBLEM: Document = {
    "type": "object",
    "description": "Problem details (RFC 9457).",
    "required": ["type", "title", "status", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri", "description": "The kind, explained at this address."},
        "title": {"type": "string", "description": "The kind in a few words; always in English."},
        "status": {"type": "integer"},
        "detail": {
            "type": "string",
            "description": "What was wrong this time and how to mend it, for a person.",
        },
        "instance": {"type": "string", "description": "The address that was asked."},
        "scope": {"type": "string", "description": "The scope that lacks, where one does."},
        "errors": {
            "type": "array",
            "description": "Every place that has something to mend.",
            "items": {
                "type": "object",
                "required": ["detail"],
                "properties": {
                    "detail": {"type": "string"},
                    "pointer": {"type": "string", "description": "JSON pointer (RFC 6901) into the body."},
                    "parameter": {"type": "string", "description": "The parameter of the address."},
                },
            },
        },
    },
}
KEY_PARAMETER: Document = {
    "name": HEADER,
    "in": "header",
    "required": True,
    "schema": {"type": "string", "minLength": 1, "maxLength": 255, "pattern": "^[!-~]+$"},
    "description": "A key of your own for this request, as a new UUID: sent again, it is done once.",
}
MATCH_PARAMETER: Document = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "schema": {"type": "string", "minLength": 1},
    "description": "The ETag of what you read, so that nobody's change is overwritten.",
}
HEADERS: Document = {
    "ETag": {
        "schema": {"type": "string"},
        "description": "Names this representation, for If-Match and If-None-Match.",
    },
    "Location": {"schema": {"type": "string"}, "description": "Where what was made is to be read."},
}
_CHANGES = ("put", "patch", "delete")
_METHODS = ("get", "post", *_CHANGES)


@cache
def document() -> Document:
    """The whole document, in English; made once in the life of a process. Served for anybody."""
    with translation.override("en-gb"):
        made: Document = SchemaGenerator(api_version="v1").get_schema(request=None, public=True)
    return made


@cache
def tag() -> str:
    """The entity tag of the document."""
    return etag_of(document())


def operations(of: Document) -> Iterator[tuple[str, str, Document]]:
    """Every operation with its path and method."""
    for path, item in of["paths"].items():
        for method in _METHODS:
            if method in item:
                yield path, method, item[method]


def only_version_1(endpoints: list[tuple[str, str, str, Any]]) -> list[tuple[str, str, str, Any]]:
    """The addresses that the document tells: those of this version that are operations."""
    return [one for one in endpoints if one[0].startswith("/api/v1/") and hasattr(one[3], "cls")]


def complete(result: Document, generator: Any, request: Any, public: bool) -> Document:
    """Add to each operation what follows from its method and scope, and the schemas that are referred to."""
    for path, method, operation in operations(result):
        _complete(operation, path, method)
    schemas: Document = result["components"].setdefault("schemas", {})
    schemas["Problem"] = PROBLEM
    known = components()
    while missing := {name for name in refers_to(result) if name in known and name not in schemas}:
        schemas.update({name: known[name] for name in missing})
    result["components"]["schemas"] = dict(sorted(schemas.items()))
    return result


def _complete(operation: Document, path: str, method: str) -> None:
    scope = operation.pop("x-scope", None)
    refusals = set(operation.pop("x-refusals", []))
    if scope:
        operation["security"] = [{SCHEME: [scope]}]
        operation["description"] = f"{operation['description'].rstrip()}\n\nScope: `{scope}`."
    else:
        operation["security"] = []
    parameters = operation.setdefault("parameters", [])
    if method == "post":
        parameters.append(KEY_PARAMETER)
    if method in _CHANGES:
        parameters.append(MATCH_PARAMETER)
    for status, answer in operation["responses"].items():
        if (status in ("200", "201") and method != "post") or status == "201":
            wanted = ("ETag", "Location") if status == "201" else ("ETag",)
            answer.setdefault("headers", {}).update({name: HEADERS[name] for name in wanted})
    if method == "get":
        operation["responses"]["304"] = {"description": "It is as you know it: If-None-Match named its ETag."}
    for status, kinds in _problems(operation, path, method, scope, refusals).items():
        operation["responses"][status] = {
            "description": "; ".join(f"{kind.title} (`{kind.name}`)" for kind in kinds),
            "content": {problems.MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }


def _problems(
    operation: Document, path: str, method: str, scope: str | None, refusals: set[str]
) -> dict[str, list[Kind]]:
    """The problems of an operation by status, in their order."""
    names = {problems.NOT_ACCEPTABLE, problems.TOO_MANY, problems.SERVER}
    # A token that is not good is refused where none is needed, too.
    names |= {problems.SIGN_IN, problems.SCOPE_MISSING} if scope else {problems.SIGN_IN}
    if "{" in path:
        names |= {problems.NOT_FOUND}
    if "requestBody" in operation:
        names |= {problems.MALFORMED, problems.TOO_LARGE, problems.MEDIA, problems.INVALID}
    if method == "post":
        names |= {problems.KEY_MISSING, problems.KEY_REUSED, problems.MALFORMED, problems.NOT_ALLOWED}
        # A body where none is wanted is read all the same, as the key stands for it.
        names |= {problems.TOO_LARGE, problems.MEDIA}
    if method in _CHANGES:
        names |= {problems.MALFORMED, problems.MATCH_MISSING, problems.CHANGED, problems.NOT_ALLOWED}
    if any(parameter["in"] == "query" for parameter in operation["parameters"]):
        names |= {problems.INVALID}
    names |= {kind for kind in KINDS if kind.name in refusals}
    found: dict[str, list[Kind]] = {}
    for kind in KINDS:
        if kind in names:
            found.setdefault(str(kind.status), []).append(kind)
    return found
