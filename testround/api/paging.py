"""Lists a page at a time: by an opaque cursor, so that what is added meanwhile moves nothing."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.response import Response

from testround.api.problems import Fault, invalid

USUAL = 50
MOST = 200
MOST_ID = 2**63 - 1


PARAMETERS = (
    OpenApiParameter(
        "cursor", str, description="Where the page begins, as `next` or `previous` of another says it."
    ),
    OpenApiParameter(
        "page_size",
        {"type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL},
        description="How many entries a page has.",
    ),
)


class Pages(CursorPagination):
    """Newest first, by the row's own number, which never changes and which no two rows share."""

    ordering = "-pk"
    page_size = USUAL
    page_size_query_param = "page_size"
    max_page_size = MOST

    def get_page_size(self, request: Any) -> int:
        asked = request.query_params.get(self.page_size_query_param, "")
        if not asked:
            return self.page_size
        if not asked.isdecimal() or not asked.isascii() or len(asked) > 4 or not 1 <= int(asked) <= MOST:
            raise invalid(
                Fault(_("Ask for 1 to {most} entries a page.").format(most=MOST), parameter="page_size")
            )
        return int(asked)

    def decode_cursor(self, request: Any) -> Cursor | None:
        try:
            cursor: Cursor | None = super().decode_cursor(request)
        except (NotFound, ValueError):
            raise _unknown_cursor() from None
        if cursor is not None and cursor.position is not None:
            position = str(cursor.position)
            if not position.isdecimal() or not position.isascii() or not int(position[:20]) <= MOST_ID:
                raise _unknown_cursor()
        return cursor

    def get_paginated_response(self, data: Any) -> Response:
        ways = {"next": _ours(self.get_next_link()), "previous": _ours(self.get_previous_link())}
        links = ", ".join(f'<{url}>; rel="{way}"' for way, url in ways.items() if url)
        return Response({"results": data, **ways}, headers={"Link": links} if links else None)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        way = {"type": ["string", "null"], "format": "uri", "example": None}
        return {
            "type": "object",
            "required": ["results", "next", "previous"],
            "properties": {"results": schema, "next": dict(way), "previous": dict(way)},
        }


def _unknown_cursor() -> Exception:
    return invalid(Fault(_("This cursor is none that was given out; begin without one."), parameter="cursor"))


def _ours(url: str | None) -> str | None:
    """The address with the site's own name, whatever name the request bore."""
    if url is None:
        return None
    parts = urlsplit(url)
    return f"{settings.SITE_URL}{parts.path}?{parts.query}"
