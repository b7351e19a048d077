"""A whole round as one file, in and out; with its photos, as a ZIP."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiExample, OpenApiRequest
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import JSON, Endpoint, operation
from testround.api.etags import etag_of_bytes
from testround.api.parsing import BytesParser
from testround.api.scopes import Scope
from testround.api.v1.examples import files as examples
from testround.reports.exchange import round_export, round_import
from testround.rounds.models import Round
from testround.rounds.selectors import rounds_of

TAG = "Round files"
ZIP = "application/zip"
ROUND_FILE = {"$ref": "#/components/schemas/RoundFile"}
ZIPPED = {"type": "string", "format": "binary"}


class RoundFileParser(BytesParser):
    media_type = JSON
    most_bytes = settings.ROUND_FILE_MAX_BYTES


class RoundZipParser(BytesParser):
    media_type = ZIP
    # Of photos as they come from a phone, some hundred.
    most_bytes = 20 * settings.ROUND_FILE_MAX_BYTES


class ImportedOut(serializers.Serializer):
    """Where a round came to stand."""

    round = serializers.CharField(help_text="The round's code.")
    pattern = serializers.CharField(help_text="The pattern's code.")
    edition = serializers.IntegerField(help_text="The edition's id.")
    state = serializers.ChoiceField(choices=Round.State.choices)


class RoundFiles(Endpoint):
    parser_classes = [RoundFileParser, RoundZipParser]

    @operation(
        "files_import",
        "Take a round in",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        bodies={
            JSON: OpenApiRequest(ROUND_FILE, examples=[OpenApiExample("Example", value=examples.ROUND_FILE)]),
            ZIP: OpenApiRequest(ZIPPED),
        },
        answers=ImportedOut,
        example=examples.IMPORTED,
        status=201,
    )
    def post(self, request: Request) -> Response:
        """Store the round of a round file, or of a ZIP with its photos: all of it or nothing. It is yours.

        The pattern is found by its title and edition, or made.
        """
        # Without a body nothing was parsed, and the reader says that it is empty.
        data = request.data if isinstance(request.data, bytes) else b""
        made = round_import(data=data, owner=self.user)
        answer = {
            "round": made.code,
            "pattern": made.edition.pattern.code,
            "edition": made.edition_id,
            "state": made.state,
        }
        return self.made(ImportedOut(answer).data, f"/api/v1/rounds/{made.code}")


class RoundFile(Endpoint):
    def round(self, code: str) -> Any:
        return get_object_or_404(rounds_of(self.user), code=code)

    @operation(
        "files_export",
        "A round as a file",
        tag=TAG,
        scope=Scope.REPORTS_READ,
        answers=ROUND_FILE,
        example=examples.ROUND_FILE,
    )
    def get(self, request: Request, code: str) -> HttpResponse:
        """All of a round as a round file, with what its testers sent. Owner and editors read it."""
        return sent_as(round_export(self.round(code), photos=False), JSON)


class RoundZip(RoundFile):
    @operation(
        "files_export_zip",
        "A round as a ZIP with its photos",
        tag=TAG,
        scope=Scope.REPORTS_READ,
        answers=ZIPPED,
        answers_media=ZIP,
    )
    def get(self, request: Request, code: str) -> HttpResponse:
        """The round file and every photo that it names. Owner and editors read it."""
        return sent_as(round_export(self.round(code), photos=True), ZIP)


def sent_as(data: bytes, media: str) -> HttpResponse:
    return HttpResponse(data, content_type=media, headers={"ETag": etag_of_bytes(data)})
