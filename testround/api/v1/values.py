"""A sheet's values by size as the files of spreadsheet programs, out and in, and what one would change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpResponse
from drf_spectacular.utils import OpenApiRequest
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.etags import etag_of
from testround.api.parsing import BytesParser
from testround.api.problems import CONFLICT, Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.editions import TAG, OfPattern
from testround.api.v1.examples import patterns as examples
from testround.api.v1.sheets import DeskCheckOut, checked
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import plain
from testround.patterns.access import Right
from testround.patterns.changes import Change, changes_between
from testround.patterns.compiled import compiled
from testround.patterns.fields import Scale
from testround.patterns.models import Edition
from testround.patterns.services import SheetFrozen, edition_save
from testround.patterns.spreadsheets import MOST_BYTES, FileRefused, Value, csv_of, grid_of, xlsx_of
from testround.patterns.states import FROM_FILE
from testround.patterns.values_table import pattern_with, table_of

CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
# As all that the API gives; a file that says "in" in its column Unit is read in inches.
_SCALE = Scale(units="cm")
_TEXT = {"type": "string"}
_BINARY = {"type": "string", "format": "binary"}


class CsvParser(BytesParser):
    media_type = CSV
    most_bytes = MOST_BYTES


class XlsxParser(BytesParser):
    media_type = XLSX
    most_bytes = MOST_BYTES


class ValueChange(serializers.Serializer):
    """One value that a file has otherwise than the sheet."""

    key = serializers.CharField(help_text="Of the measure, number or dimension.")
    name = serializers.CharField()
    size = serializers.CharField()
    was = serializers.FloatField(allow_null=True, help_text="Lengths in cm; null where nothing stands.")
    now = serializers.FloatField(allow_null=True, help_text="Null where the file takes it away.")


class ValuesTriedOut(serializers.Serializer):
    """What a file would change, and what the desk check says of the sheet with it."""

    changes = ValueChange(many=True)
    check = DeskCheckOut()


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file: its media type, its schema, what reads it, and how it is written."""

    name: str
    called: str
    media: str
    schema: dict[str, str]
    parser: type[BytesParser]
    written: Callable[[list[list[Value]]], bytes]


KINDS = (
    Kind("csv", "a CSV file", CSV, _TEXT, CsvParser, csv_of),
    Kind("xlsx", "an XLSX workbook", XLSX, _BINARY, XlsxParser, lambda table: xlsx_of(table, title="Values")),
)


class OfValues(OfPattern):
    """An address of the values by size of an edition; one made to measure has none."""

    def graded(self, code: str, id: int, right: Right = Right.SEE) -> Edition:
        edition: Edition = self.edition(code, id, right)
        if not edition.document.is_graded:
            raise Http404
        return edition

    def following(self, edition: Edition) -> SheetDocument:
        """The sheet with what was sent in place of its own values. Raises with each cell that is to be mended."""
        # Without a body nothing was parsed, and the reader says that it is empty.
        data = self.request.data if isinstance(self.request.data, bytes) else b""
        try:
            return pattern_with(grid_of(data), edition.document, _SCALE)
        except FileRefused as refused:
            # A cell of a spreadsheet is no place in a JSON body: it is said in the sentence.
            raise invalid(*(Fault(str(problem)) for problem in refused.problems)) from refused


def changes_in(edition: Edition, following: SheetDocument) -> list[Change]:
    return changes_between(plain(edition.document), plain(following))


class ValuesTried(OfValues):
    parser_classes = [kind.parser for kind in KINDS]

    @operation(
        "values_try",
        "What a file of values would change",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        bodies={kind.media: OpenApiRequest(kind.schema) for kind in KINDS},
        answers=ValuesTriedOut,
        example={"changes": [examples.VALUE_CHANGE], "check": examples.CHECK},
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Look at what a CSV or XLSX file of values by size would change, before it is kept. Nothing is stored.

        Begin from a file that was read here, or taken out on the page of the sheet: its first row says which column
        is which. An empty cell takes a printed value away; rows and sizes that are left out stay as they are.
        """
        edition = self.graded(code, id)
        following = self.following(edition)
        changes = [
            {"key": one.key, "name": one.where, "size": one.size, "was": one.was, "now": one.now}
            for one in changes_in(edition, following)
        ]
        tried = {"changes": changes, "check": checked(compiled(plain(following)))}
        return self.shown(ValuesTriedOut(tried).data)


def file_endpoint(kind: Kind) -> type[OfValues]:
    """The address of the values by size as one kind of file."""

    def representation(edition: Edition) -> dict[str, Any]:
        return {"file": kind.name, "table": table_of(edition.document, _SCALE)}

    def as_file(edition: Edition) -> HttpResponse:
        # Of the table: a workbook has the time in it at which it was written.
        shown = representation(edition)
        headers = {
            "ETag": etag_of(shown),
            "Content-Disposition": f'attachment; filename="values.{kind.name}"',
        }
        return HttpResponse(kind.written(shown["table"]), content_type=kind.media, headers=headers)

    class ValuesFile(OfValues):
        parser_classes = [kind.parser]

        @operation(
            f"values_{kind.name}",
            f"The values by size as {kind.called}",
            tag=TAG,
            scope=Scope.PATTERNS_READ,
            answers=kind.schema,
            answers_media=kind.media,
            description="The values by size of a graded sheet: body measurements, printed numbers and printed "
            f"finished measurements, as {kind.called} for a spreadsheet program. Lengths are in cm.",
        )
        def get(self, request: Request, code: str, id: int) -> HttpResponse:
            return as_file(self.graded(code, id))

        @operation(
            f"values_keep_{kind.name}",
            f"Keep the values of {kind.called}",
            tag=TAG,
            scope=Scope.PATTERNS_WRITE,
            takes=kind.schema,
            media=kind.media,
            answers=kind.schema,
            answers_media=kind.media,
            refusals=[CONFLICT],
            description=f"Put the values of {kind.called} in place of the sheet’s own, until it is frozen. An empty cell takes "
            "a printed value away; rows and sizes that are left out stay as they are. What it would change is told by "
            "`values_try`; going back to the state before undoes it.",
        )
        def put(self, request: Request, code: str, id: int) -> HttpResponse:
            edition = self.graded(code, id, Right.EDIT)
            self.hold_against(representation(edition))
            if edition.is_frozen:
                raise SheetFrozen(edition)
            following = self.following(edition)
            if changes_in(edition, following):
                edition = edition_save(
                    edition=edition,
                    document=following,
                    revision=edition.revision,
                    by=self.user,
                    way=FROM_FILE,
                )
            return as_file(edition)

    return ValuesFile


FILES = {kind.name: file_endpoint(kind) for kind in KINDS}
