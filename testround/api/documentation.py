"""The documentation of the API as pages, made of the OpenAPI document: one that explains, and one for each subject."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.text import slugify

from testround.api.documents import REF
from testround.api.openapi import document, operations
from testround.api.problems import MEDIA_TYPE


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a body or answer: its name, what it may be in words, and what it means. ``component`` is its schema."""

    name: str
    kind: str
    needed: bool
    said: str
    component: str


@dataclass(frozen=True, slots=True)
class Body:
    """What is sent, or answered with ``status``, in one media type."""

    status: str
    media: str
    kind: str
    component: str
    fields: tuple[Field, ...]
    example: str


@dataclass(frozen=True, slots=True)
class Told:
    """One operation as its page shows it."""

    name: str
    method: str
    path: str
    summary: str
    paragraphs: tuple[str, ...]
    scope: str
    deprecated: bool
    parameters: tuple[Field, ...]
    sent: tuple[Body, ...]
    answers: tuple[Body, ...]
    problems: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A component that bodies refer to, with its fields."""

    name: str
    said: str
    kind: str
    fields: tuple[Field, ...]


@dataclass(frozen=True, slots=True)
class Subject:
    """The operations of one tag, and the components that they are made of."""

    name: str
    slug: str
    operations: tuple[Told, ...]
    parts: tuple[Part, ...]


@cache
def subjects() -> tuple[Subject, ...]:
    """All subjects, in the order of the document."""
    by_tag: dict[str, list[Told]] = {}
    for path, method, operation in operations(document()):
        by_tag.setdefault(operation["tags"][0], []).append(_told(path, method, operation))
    return tuple(Subject(tag, slugify(tag), tuple(told), tuple(_parts(told))) for tag, told in by_tag.items())


def subject(slug: str) -> Subject | None:
    return next((one for one in subjects() if one.slug == slug), None)


def _set(said: str) -> SafeString:
    """A description with what stands between backticks as code."""
    pieces = enumerate(re.split("`+", said))
    return format_html_join(
        "", "{}", ((format_html("<code>{}</code>", piece) if n % 2 else piece,) for n, piece in pieces)
    )


def _told(path: str, method: str, operation: dict[str, Any]) -> Told:
    scope = next((scope for needed in operation["security"] for scope in needed.get("personalToken", [])), "")
    description = operation["description"].partition("\n\nScope:")[0]
    return Told(
        name=operation["operationId"],
        method=method.upper(),
        path=path,
        summary=operation["summary"],
        paragraphs=tuple(_set(" ".join(text.split())) for text in description.split("\n\n") if text.strip()),
        scope=scope,
        deprecated=operation.get("deprecated", False),
        parameters=tuple(_parameter(one) for one in operation["parameters"]),
        sent=tuple(_bodies("", operation.get("requestBody", {}))),
        answers=tuple(
            body
            for status, answer in operation["responses"].items()
            if status < "300"
            for body in (_bodies(status, answer) if "content" in answer else [_nothing(status)])
        ),
        problems=tuple(
            (status, name)
            for status, answer in operation["responses"].items()
            if MEDIA_TYPE in answer.get("content", {})
            for name in answer["description"].split("`")[1::2]
        ),
    )


def _parameter(one: dict[str, Any]) -> Field:
    kind, component = _kind(one["schema"])
    where = {"path": "in the path", "query": "in the query", "header": "header"}[one["in"]]
    return Field(
        one["name"],
        f"{kind}, {where}",
        one.get("required", False),
        _set(one.get("description", "")),
        component,
    )


def _nothing(status: str) -> Body:
    return Body(status, "", "nothing", "", (), "")


def _bodies(status: str, holder: dict[str, Any]) -> Iterator[Body]:
    for media, content in holder.get("content", {}).items():
        kind, component = _kind(content.get("schema", {}))
        shown = [example["value"] for example in content.get("examples", {}).values()]
        yield Body(
            status,
            media,
            kind,
            component,
            tuple(_fields(_resolved(content.get("schema", {})))),
            json.dumps(shown[0], ensure_ascii=False, indent=2) if shown else "",
        )


def _resolved(schema: dict[str, Any]) -> dict[str, Any]:
    if "$ref" in schema:
        return _component(schema["$ref"].removeprefix(REF))
    return schema


def _component(name: str) -> dict[str, Any]:
    found: dict[str, Any] = document()["components"]["schemas"][name]
    return found


def _fields(schema: dict[str, Any]) -> Iterator[Field]:
    needed = set(schema.get("required", []))
    for name, one in schema.get("properties", {}).items():
        kind, component = _kind(one)
        yield Field(name, kind, name in needed, _set(one.get("description", "")), component)


def _kind(schema: dict[str, Any]) -> tuple[str, str]:
    """What a value may be, in words, and the component that it is or is made of."""
    if "$ref" in schema:
        name = schema["$ref"].removeprefix(REF)
        schema_there = _component(name)
        if "enum" in schema_there:
            return _kind(schema_there)
        return name, name
    for many in ("oneOf", "anyOf", "allOf"):
        if many in schema:
            kinds = [_kind(one) for one in schema[many]]
            words = [kind for kind, _component in kinds if kind]
            return " or ".join(dict.fromkeys(words)), next(
                (component for _kind, component in kinds if component), ""
            )
    if "enum" in schema:
        return "one of " + ", ".join(str(value) for value in schema["enum"] if value is not None), ""
    if "const" in schema:
        return str(schema["const"]), ""
    types = schema.get("type", "anything")
    if isinstance(types, list):
        return " or ".join(_kind({**schema, "type": one})[0] for one in types), ""
    if types == "array":
        kind, component = _kind(schema.get("items", {}))
        return f"list of {kind}", component
    if types == "object" and isinstance(schema.get("additionalProperties"), dict):
        kind, component = _kind(schema["additionalProperties"])
        return f"object of {kind}", component
    bounds = " ".join(f"{word} {schema[key]}" for key, word in _BOUNDS.items() if key in schema)
    kind = _TYPES.get(schema.get("format", ""), _TYPES.get(types, types))
    return f"{kind}, {bounds}" if bounds else kind, ""


_BOUNDS = {"minimum": "from", "maximum": "to", "exclusiveMinimum": "above", "maxLength": "at most"}
_TYPES = {
    "string": "text",
    "integer": "whole number",
    "null": "null",
    "boolean": "true or false",
    "date-time": "time",
    "date": "day",
    "uuid": "UUID",
    "uri": "address",
    "binary": "file",
}


def _parts(told: list[Told]) -> Iterator[Part]:
    """Every component that these operations are made of and that has fields of its own, each once."""
    waiting = [
        component
        for one in told
        for body in (*one.sent, *one.answers)
        for component in (body.component, *(field.component for field in body.fields))
        if component
    ]
    seen: set[str] = set()
    while waiting:
        name = waiting.pop(0)
        if name in seen:
            continue
        seen.add(name)
        schema = _component(name)
        fields = tuple(_fields(schema))
        waiting += [field.component for field in fields if field.component]
        yield Part(name, _set(schema.get("description", "")), _kind(schema)[0], fields)
