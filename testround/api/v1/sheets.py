"""Sheets of editions: read, replaced, gone back to, desk-checked."""

from __future__ import annotations

import math
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT, Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.editions import TAG, EditionOut, OfPattern, represent
from testround.api.v1.examples import patterns as examples
from testround.kernel.cautions import cautions_for
from testround.kernel.deskcheck import desk_check
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.roundfile import pattern_in, plain
from testround.kernel.sheet import Sheet
from testround.patterns.access import Right
from testround.patterns.compiled import compiled
from testround.patterns.models import Edition, SheetState
from testround.patterns.services import edition_go_back, edition_save
from testround.patterns.states import states_of

SHEET = {"$ref": "#/components/schemas/Sheet"}


def sheet_of(edition: Edition) -> dict[str, Any]:
    return dict(plain(edition.document))


class EditionSheet(OfPattern):
    @operation(
        "sheets_retrieve",
        "The sheet of an edition",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=SHEET,
        example=examples.SHEET,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """Its numbers: gauges, sizes, measures, formulas, as the `pattern` object of a round file."""
        return self.shown(sheet_of(self.edition(code, id)))

    @operation(
        "sheets_replace",
        "Replace the sheet of an edition",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        takes=SHEET,
        sends=examples.SHEET,
        answers=SHEET,
        example=examples.SHEET,
        refusals=[CONFLICT],
    )
    def put(self, request: Request, code: str, id: int) -> Response:
        """Put a sheet in place of the edition's own, until it is frozen. Title and label follow it."""
        edition = self.edition(code, id, Right.EDIT)
        self.hold_against(sheet_of(edition))
        document = read_sheet(request.data)
        edition_save(edition=edition, document=document, revision=edition.revision, by=self.user)
        return self.shown(sheet_of(self.edition(code, id)))


def read_sheet(sent: Any) -> SheetDocument:
    """The sheet that is the whole body."""
    if not isinstance(sent, dict):
        raise invalid(Fault(_("Send the sheet as one object."), ""))
    return pattern_in(sent)


class SheetStateOut(serializers.Serializer):
    """A sheet as one save left it."""

    revision = serializers.IntegerField()
    way = serializers.ChoiceField(choices=SheetState.Way.choices, help_text="How the values came.")
    saved_by = serializers.CharField(allow_null=True, help_text="The name of who saved it.")
    saved_at = serializers.DateTimeField()


class SheetStatesOut(serializers.Serializer):
    states = SheetStateOut(many=True, help_text="Newest first, the present one among them; at most thirty.")


class SheetGoBack(Input):
    revision = serializers.IntegerField(help_text="The state to go back to.")


class SheetStates(OfPattern):
    @operation(
        "sheets_states",
        "Earlier states of a sheet",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=SheetStatesOut,
        example={"states": [examples.STATE]},
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """The last saves of a sheet that are kept."""
        states = [
            {
                "revision": state.revision,
                "way": state.way,
                "saved_by": str(state.saved_by) if state.saved_by else None,
                "saved_at": state.saved_at,
            }
            for state in states_of(self.edition(code, id))
        ]
        return self.shown(SheetStatesOut({"states": states}).data)

    @operation(
        "sheets_go_back",
        "Go back to an earlier state",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        takes=SheetGoBack,
        sends={"revision": 1},
        answers=EditionOut,
        example={**examples.EDITION, "revision": 3},
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Save the sheet once more as it was; the states in between stay, to be gone back to."""
        edition = self.edition(code, id, Right.EDIT)
        to = self.body(SheetGoBack)["revision"]
        edition_go_back(edition=edition, to=to, revision=edition.revision, by=self.user)
        return self.shown(represent(self.edition(code, id)))


class OneSheetState(OfPattern):
    @operation(
        "sheets_state",
        "A sheet as it was",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=SHEET,
        example=examples.SHEET,
    )
    def get(self, request: Request, code: str, id: int, revision: int) -> Response:
        """The sheet as one of its earlier saves left it, to be held against the present one before going back."""
        state = get_object_or_404(SheetState, edition=self.edition(code, id), revision=revision)
        return self.shown(dict(plain(SheetDocument.model_validate(state.sheet))))


# -- the desk check -------------------------------------------------------------------------------------------


class MisprintedCount(serializers.Serializer):
    key = serializers.CharField()
    size = serializers.CharField()
    printed = serializers.FloatField(allow_null=True)
    computed = serializers.FloatField(allow_null=True, help_text="What its formula gives.")
    place = serializers.CharField(allow_null=True, help_text="Where in the text.")


class MisprintedMeasurement(serializers.Serializer):
    key = serializers.CharField()
    size = serializers.CharField()
    printed = serializers.FloatField(allow_null=True, help_text="cm")
    follows = serializers.FloatField(
        allow_null=True, help_text="What the counts give at the stated gauge, cm."
    )
    tolerance = serializers.FloatField(allow_null=True, help_text="cm")
    verdict = serializers.CharField(help_text="amend or look-closer")


class DeskNote(serializers.Serializer):
    kind = serializers.CharField()
    key = serializers.CharField()
    size = serializers.CharField()
    sentence = serializers.CharField()


class SheetCaution(serializers.Serializer):
    kind = serializers.CharField()
    sentence = serializers.CharField()


class DeskCheckOut(serializers.Serializer):
    """What an edition prints, against what its own formulas give."""

    clean = serializers.BooleanField(help_text="Whether nothing printed is at fault; notes do not count.")
    counts = MisprintedCount(many=True)
    measurements = MisprintedMeasurement(many=True)
    notes = DeskNote(many=True, help_text="Places to look at, which may well be meant.")
    cautions = SheetCaution(many=True, help_text="Safety pointers that the pattern calls for.")


def checked(sheet: Sheet) -> dict[str, Any]:
    found = desk_check(sheet)
    cautions = [{"kind": one.kind, "sentence": one.sentence} for one in cautions_for(sheet.pattern)]
    return DeskCheckOut(
        {
            "clean": found.clean,
            "counts": [_finite(one) for one in found.counts],
            "measurements": [_finite(one) for one in found.measurements],
            "notes": [_finite(one) for one in found.notes],
            "cautions": cautions,
        }
    ).data


def _finite(row: Any) -> dict[str, Any]:
    """The fields of a row; a number that cannot be worked out is null, as JSON has no other."""
    values = {name: getattr(row, name) for name in row.__slots__}
    return {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in values.items()
    }


class EditionCheck(OfPattern):
    @operation(
        "checks_retrieve",
        "The desk check of an edition",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=DeskCheckOut,
        example=examples.CHECK,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """What its sheet prints, against what its formulas give."""
        return self.shown(checked(self.edition(code, id).compiled))


class Checks(Endpoint):
    @operation(
        "checks_try",
        "The desk check of any sheet",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        takes=SHEET,
        sends=examples.SHEET,
        answers=DeskCheckOut,
        example=examples.CHECK,
    )
    def post(self, request: Request) -> Response:
        """Desk-check a sheet without storing it."""
        return self.shown(checked(compiled(plain(read_sheet(request.data)))))
