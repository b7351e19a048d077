"""How an operation is told in the OpenAPI document, where the library cannot know it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema

from testround.api.fields import Input


class EndpointSchema(AutoSchema):
    """Bodies that take no other fields say so; everything else that all operations share is added by `openapi`."""

    def _get_serializer_name(self, serializer: Any, direction: Any, bypass_extensions: bool = False) -> str:
        """``PatternOut`` is the pattern, to whom it is sent."""
        name: str = super()._get_serializer_name(serializer, direction, bypass_extensions)
        return name.removesuffix("Out")

    def get_paginated_name(self, serializer_name: str) -> str:
        return f"{serializer_name}Page"

    def _map_serializer(self, serializer: Any, direction: Any, bypass_extensions: bool = False) -> Any:
        schema = super()._map_serializer(serializer, direction, bypass_extensions)
        if isinstance(serializer, Input):
            return {**schema, "additionalProperties": False} if schema.get("type") == "object" else schema
        return _that_may_be_empty(schema)


def _that_may_be_empty(schema: Any) -> Any:
    """A schema of what is answered: a text may be empty there, whatever would be asked of one that is sent."""
    if isinstance(schema, dict):
        return {
            name: _that_may_be_empty(inner)
            for name, inner in schema.items()
            if not (name == "minLength" and inner == 1)
        }
    return [_that_may_be_empty(inner) for inner in schema] if isinstance(schema, list) else schema
