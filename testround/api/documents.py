"""The kernel's documents as components of the OpenAPI document: each schema once, under a name of its own."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from testround.kernel.schemas import DOCUMENTS, schema_of

# What the models of the kernel are called in the API, where their own name is not what is meant there.
NAMES = {"Pattern": "Sheet"}
REF = "#/components/schemas/"


@cache
def components() -> dict[str, Any]:
    """Every schema of the file formats: ``Sheet``, ``RoundFile``, ``FindingsFile``…, and what they are made of."""
    found: dict[str, Any] = {}
    for document in DOCUMENTS:
        schema = schema_of(document)
        parts = schema.pop("$defs", {})
        whole = f"{document.title()}File"
        names = {name: NAMES.get(name, f"File{name}") for name in parts}
        for name, part in parts.items():
            named = _renamed(part, names)
            # Two documents may have parts of one name that are not the same.
            if found.setdefault(names[name], named) != named:
                names[name] = f"{whole}{name}"
        for name, part in parts.items():
            found[names[name]] = _renamed(part, names)
        root = {key: value for key, value in schema.items() if key not in ("$schema", "$id")}
        found[whole] = _renamed(root, names)
    return found


def _renamed(schema: Any, names: dict[str, str]) -> Any:
    text = json.dumps(schema)
    for name, ours in names.items():
        text = text.replace(f'"#/$defs/{name}"', f'"{REF}{ours}"')
    return _untitled(json.loads(text))


def _untitled(schema: Any) -> Any:
    """Without the names of the models: a generator of clients takes a title for the name of a class, twice over."""
    if isinstance(schema, dict):
        return {
            key: _untitled(value)
            for key, value in schema.items()
            # A field that is called so is an object.
            if key != "title" or not isinstance(value, str)
        }
    return [_untitled(value) for value in schema] if isinstance(schema, list) else schema


def refers_to(schema: Any) -> set[str]:
    """The names of the components that a schema, or a whole document, refers to."""
    if isinstance(schema, dict):
        own = {schema["$ref"].removeprefix(REF)} if isinstance(schema.get("$ref"), str) else set()
        return own.union(*(refers_to(inner) for inner in schema.values()))
    if isinstance(schema, list):
        return set().union(*(refers_to(inner) for inner in schema))
    return set()
