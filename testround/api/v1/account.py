"""What the server holds about the person whose token it is, to read and to take away."""

from __future__ import annotations

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.scopes import Scope
from testround.api.v1.examples import account as examples
from testround.people.held import held_of, takeaway

TAG = "Account"


class ShelfOut(serializers.Serializer):
    """One kind of thing that is held."""

    key = serializers.CharField(help_text="Names it in the file.")
    title = serializers.CharField()
    seen_by = serializers.CharField(allow_blank=True, help_text="Who sees it besides you.")
    rows = serializers.IntegerField(help_text="How many there are.")


class HeldOut(serializers.Serializer):
    shelves = ShelfOut(many=True)


class Held(Endpoint):
    @operation(
        "held_retrieve",
        "What is held about you",
        tag=TAG,
        scope=Scope.ACCOUNT_READ,
        answers=HeldOut,
        example=examples.HELD,
    )
    def get(self, request: Request) -> Response:
        """What the server holds about you: how much of each, and who sees it."""
        shelves = [
            {"key": one.key, "title": one.title, "seen_by": one.seen_by, "rows": len(one.rows)}
            for one in held_of(self.user)
        ]
        return self.shown({"shelves": shelves})


class HeldFile(Endpoint):
    @operation(
        "held_download",
        "All of it, as a file",
        tag=TAG,
        scope=Scope.ACCOUNT_READ,
        answers=OpenApiTypes.BINARY,
        answers_media="application/zip",
    )
    def get(self, request: Request) -> StreamingHttpResponse:
        """All that the server holds about you, as a ZIP with a JSON document and your photos and mails."""
        return StreamingHttpResponse(
            takeaway(self.user),
            content_type="application/zip",
            headers={
                "Content-Disposition": 'attachment; filename="about-me.zip"',
                "X-Accel-Buffering": "no",
            },
        )
