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
    return _for_generators(json.loads(text))


def _for_generators(schema: Any) -> Any:
    """Without what generators of clients trip over, and meaning the same.

    The name of a model as a title is taken for the name of a class, twice over; a constant number is written badly.
    """
    if isinstance(schema, list):
        return [_for_generators(value) for value in schema]
    if not isinstance(schema, dict):
        return schema
    # A field that is called "title" is an object.
    kept = {key: value for key, value in schema.items() if key != "title" or not isinstance(value, str)}
    if isinstance(constant := kept.pop("const", None), int):
        kept["enum"] = [constant]
    elif constant is not None:
        kept["const"] = constant
    return {key: _for_generators(value) for key, value in kept.items()}


def refers_to(schema: Any) -> set[str]:
    """The names of the components that a schema, or a whole document, refers to."""
    if isinstance(schema, dict):
        own = {schema["$ref"].removeprefix(REF)} if isinstance(schema.get("$ref"), str) else set()
        return own.union(*(refers_to(inner) for inner in schema.values()))
    if isinstance(schema, list):
        return set().union(*(refers_to(inner) for inner in schema))
    return set()
