"""Answers as JSON."""

from __future__ import annotations

from typing import Any

from rest_framework.renderers import JSONRenderer


class JsonRenderer(JSONRenderer):
    """JSON in UTF-8, always as dense: the bytes that an ETag is made of do not depend on how they are asked for."""

    def __init__(self, media_type: str = "application/json") -> None:
        self.media_type = media_type

    def get_indent(self, accepted_media_type: str, renderer_context: Any) -> None:
        return None


def rendered(data: Any) -> bytes:
    """The bytes that this is sent as."""
    made: bytes = JsonRenderer().render(data)
    return made
