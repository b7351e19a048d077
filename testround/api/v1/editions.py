"""Editions of a pattern: listed, made, released."""

from __future__ import annotations

from typing import Any

import django_filters as df
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import DocumentField, Input
from testround.api.problems import CHANGED, CONFLICT, Fault, invalid, means
from testround.api.scopes import Scope
from testround.api.v1.examples import patterns as examples
from testround.errata.selectors.readers import editions_for_owner
from testround.kernel.problems import InputProblems, Problem
from testround.kernel.roundfile import pattern_in
from testround.patterns.access import Right, require
from testround.patterns.models import Edition
from testround.patterns.released import edition_release
from testround.patterns.selectors import editions_of, patterns_of
from testround.patterns.services import (
    NothingBefore,
    SheetChanged,
    SheetFrozen,
    SheetRefused,
    edition_create_next,
    edition_save,
)

TAG = "Editions and sheets"
means(CONFLICT, SheetFrozen, NothingBefore)
means(CHANGED, SheetChanged)


class EditionOut(serializers.Serializer):
    """One numbered version of a pattern's text and numbers; the numbers are its sheet."""

    id = serializers.IntegerField()
    pattern = serializers.CharField(source="pattern.code", help_text="The pattern's code.")
    label = serializers.CharField(help_text="As the designer numbers it.")
    terms = serializers.ChoiceField(
        choices=Edition.Terms.choices, help_text="The dialect of its stitch terms."
    )
    revision = serializers.IntegerField(help_text="Counts the saves of its sheet.")
    created = serializers.DateTimeField()
    frozen_at = serializers.DateTimeField(allow_null=True, help_text="Since when its sheet stays as it is.")
    released_at = serializers.DateTimeField(allow_null=True, help_text="Since when readers have it.")
    corrected = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="Numbers of the errata on other editions whose change of words its text has already.",
    )


class EditionIn(Input):
    """The edition that follows another."""

    after = serializers.IntegerField(help_text="The id of the edition it follows.")
    label = serializers.CharField(max_length=200)
    sheet = DocumentField(
        "Sheet",
        required=False,
        help_text="Its numbers; left out, those of the edition before as published errata have put them right.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return {**attrs, "sheet": pattern_in(attrs, "sheet")} if "sheet" in attrs else attrs


class EditionChange(Input):
    terms = serializers.ChoiceField(
        choices=Edition.Terms.choices, help_text="The dialect of its stitch terms."
    )


class EditionRelease(Input):
    corrected = serializers.ListField(
        child=serializers.IntegerField(min_value=1),
        help_text="Numbers of the errata on other editions whose change of words this one has already.",
    )


class EditionFilters(df.FilterSet):
    label = df.CharFilter(label="The edition that is numbered so.")
    frozen = df.BooleanFilter("frozen_at", "isnull", exclude=True, label="Whether its sheet is frozen.")
    released = df.BooleanFilter("released_at", "isnull", exclude=True, label="Whether readers have it.")


def represent(edition: Edition) -> dict[str, Any]:
    return EditionOut(edition).data


class OfPattern(Endpoint):
    """An address under an edition."""

    def edition(self, code: str, id: int, right: Right = Right.SEE) -> Any:
        return self.here(editions_of(self.user, right), pattern__code=code, pk=id)


class Editions(Endpoint):
    @operation(
        "editions_list",
        "Editions of a pattern",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=EditionOut(many=True),
        example=examples.EDITION,
        filters=EditionFilters,
    )
    def get(self, request: Request, code: str) -> Response:
        """The editions of a pattern that you own or edit, newest first."""
        pattern = get_object_or_404(patterns_of(self.user), code=code)
        rows: QuerySet[Edition] = pattern.editions.select_related("pattern").defer("sheet")
        return self.paged(rows, represent, EditionFilters)

    @operation(
        "editions_create",
        "Make the next edition",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        takes=EditionIn,
        sends={"after": 7, "label": "1.0"},
        answers=EditionOut,
        example={**examples.EDITION, "id": 8, "label": "1.0"},
        status=201,
    )
    def post(self, request: Request, code: str) -> Response:
        """Make the edition that follows another. Owner and editors may."""
        pattern = self.here(patterns_of(self.user, Right.EDIT), code=code)
        sent = self.body(EditionIn)
        before = pattern.editions.filter(pk=sent["after"]).first()
        if before is None:
            raise invalid(Fault(_("This pattern has no edition of that id."), "/after"))
        try:
            made = edition_create_next(
                edition=before, label=sent["label"], document=sent.get("sheet"), by=self.user
            )
        except SheetRefused as refused:
            # What is wrong with a sheet was said by now; what is left is the label.
            raise InputProblems(Problem("label", problem.sentence) for problem in refused.problems) from None
        return self.made(represent(made), reverse("api:edition", args=[code, made.pk]))


class OneEdition(OfPattern):
    @operation(
        "editions_retrieve",
        "One edition",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=EditionOut,
        example=examples.EDITION,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """An edition of a pattern that you own or edit."""
        return self.shown(represent(self.edition(code, id)))

    @operation(
        "editions_edit",
        "Say which terms an edition is in",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        takes=EditionChange,
        sends={"terms": "uk"},
        answers=EditionOut,
        example={**examples.EDITION, "terms": "uk", "revision": 2},
        refusals=[CONFLICT],
    )
    def patch(self, request: Request, code: str, id: int) -> Response:
        """Say in which dialect of stitch terms its text is written, until its sheet is frozen."""
        edition = self.edition(code, id, Right.EDIT)
        self.hold_against(represent(edition))
        terms = self.body(EditionChange)["terms"]
        edition_save(
            edition=edition, document=edition.document, revision=edition.revision, by=self.user, terms=terms
        )
        return self.shown(represent(self.edition(code, id)))


class EditionsRelease(OfPattern):
    @operation(
        "editions_release",
        "Say that readers have an edition",
        tag=TAG,
        scope=Scope.ERRATA_PUBLISH,
        takes=EditionRelease,
        sends={"corrected": []},
        answers=EditionOut,
        example=examples.RELEASED,
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Say, for good, that readers have an edition, and which errata of others its text has already.

        Its sheet is frozen. Said again, it changes which errata the text has. The owner alone may.
        """
        edition = self.edition(code, id)
        require(self.user, Right.PUBLISH, edition.pattern)
        corrected = self.body(EditionRelease)["corrected"]
        (here,) = [one for one in editions_for_owner(edition.pattern) if one.edition.pk == edition.pk]
        known = {erratum.number for erratum in here.words}
        if unknown := sorted(set(corrected) - known):
            said = _("There is no erratum {number} that changes words of another edition.")
            raise invalid(*(Fault(said.format(number=number), "/corrected") for number in unknown))
        edition_release(edition=edition, corrected=corrected, by=self.user)
        return self.shown(represent(self.edition(code, id)))
