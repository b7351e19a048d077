"""A tester's own numbers: those of their size as printed, and what their own gauge would need."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import operation
from testround.api.scopes import Scope
from testround.api.v1.examples import places as examples
from testround.api.v1.papers import PAPER, PDF, as_pdf, paper_asked
from testround.api.v1.places import TAG, HeldEndpoint
from testround.kernel.round import Along, Craft
from testround.kernel.worksheet import Worksheet
from testround.people.readers import reader_of
from testround.reports.papers import worksheet_name, worksheet_on_paper
from testround.reports.selectors import desk_of

PER_TEN = "Per 10 cm."


class WorksheetMeasureOut(serializers.Serializer):
    """A body measure."""

    key = serializers.CharField()
    label = serializers.CharField()
    cm = serializers.FloatField(allow_null=True, help_text="What the numbers are worked from, in cm.")
    own = serializers.FloatField(allow_null=True, help_text="Your own, in cm, where it is known.")
    how = serializers.CharField(allow_null=True, help_text="How it is taken.")


class WorksheetGaugeOut(serializers.Serializer):
    """Stated and own gauge."""

    key = serializers.CharField()
    label = serializers.CharField()
    stated_stitches = serializers.FloatField(help_text=PER_TEN)
    stated_rows = serializers.FloatField(help_text=PER_TEN)
    tool_mm = serializers.FloatField(allow_null=True, help_text="Hook or needle, in mm.")
    own_stitches = serializers.FloatField(allow_null=True, help_text=PER_TEN)
    own_rows = serializers.FloatField(allow_null=True, help_text=PER_TEN)


class WorksheetNumberOut(serializers.Serializer):
    """A number to work."""

    key = serializers.CharField()
    label = serializers.CharField()
    unit = serializers.CharField(help_text="st, row, repeat or cm, as the sheet says.")
    value = serializers.FloatField(allow_null=True, help_text="As printed, else as the sheet computes it.")
    printed = serializers.BooleanField(help_text="The edition prints it.")
    at_own_gauge = serializers.FloatField(
        allow_null=True, help_text="What your gauge would need; null where no swatch says it."
    )


class WorksheetShapingOut(serializers.Serializer):
    """A shaping from the numbers."""

    key = serializers.CharField()
    label = serializers.CharField()
    along = serializers.ChoiceField(choices=[(one.value, one.value) for one in Along])
    start = serializers.FloatField(allow_null=True, help_text="Stitches before.")
    end = serializers.FloatField(allow_null=True, help_text="Stitches after.")
    over = serializers.FloatField(allow_null=True, help_text="Rows, rounds or stitches it goes over.")
    words = serializers.CharField(allow_null=True, help_text="Spelled out, in your language.")
    problem = serializers.CharField(allow_null=True, help_text="Why it cannot be worked.")


class WorksheetPlaceOut(serializers.Serializer):
    """A place in the text, with what is worked there."""

    place = serializers.CharField()
    numbers = WorksheetNumberOut(many=True)
    shapings = WorksheetShapingOut(many=True)


class WorksheetDimensionOut(serializers.Serializer):
    """A finished measurement, in cm."""

    key = serializers.CharField()
    label = serializers.CharField()
    target = serializers.FloatField(allow_null=True, help_text="What it should be.")
    tolerance = serializers.FloatField(help_text="How far it may be off.")
    how = serializers.CharField(allow_null=True, help_text="How it is taken.")


class WorksheetOut(serializers.Serializer):
    """Everything on your worksheet."""

    title = serializers.CharField()
    edition = serializers.CharField()
    craft = serializers.ChoiceField(choices=[(one.value, one.value) for one in Craft])
    size = serializers.CharField(allow_null=True)
    measures = WorksheetMeasureOut(many=True)
    gauges = WorksheetGaugeOut(many=True)
    places = WorksheetPlaceOut(many=True)
    dimensions = WorksheetDimensionOut(many=True)
    missing = serializers.ListField(
        child=serializers.CharField(), help_text="What to send so that the empty numbers can be worked out."
    )
    cautions = serializers.ListField(child=serializers.CharField(), help_text="Pointers to safety.")


def represent(worksheet: Worksheet) -> dict[str, Any]:
    fields = ("title", "edition", "craft", "size", "measures", "gauges", "places", "dimensions", "missing")
    found: dict[str, Any] = WorksheetOut(
        {
            **{name: getattr(worksheet, name) for name in fields},
            "cautions": [caution.sentence for caution in worksheet.cautions],
        }
    ).data
    return found


class PlaceWorksheet(HeldEndpoint):
    @operation(
        "worksheets_retrieve",
        "Your own numbers",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=WorksheetOut,
        example=examples.WORKSHEET,
    )
    def get(self, request: Request, id: int) -> Response:
        """The numbers of your size as the edition prints them, or worked from your own measures, and what your
        swatch's gauge would need. In crochet the words are in your dialect."""
        desk = desk_of(self.place(id), reader_of(self.user).terms)
        return self.shown(represent(desk.worksheet))


class WorksheetOnPaper(HeldEndpoint):
    @operation(
        "worksheets_print",
        "Your own numbers as a PDF",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=OpenApiTypes.BINARY,
        answers_media=PDF,
        parameters=[PAPER],
    )
    def get(self, request: Request, id: int) -> HttpResponse:
        """The worksheet to print, in your language, units and terms, with what was answered about its steps."""
        place = self.place(id)
        data = worksheet_on_paper(place, reader_of(self.user), paper=paper_asked(request))
        return as_pdf(data, worksheet_name(place))
