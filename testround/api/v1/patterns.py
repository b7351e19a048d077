"""Patterns: listed, made from a sheet, read, changed in what is the pattern's own, deleted."""

from __future__ import annotations

from typing import Any

import django_filters as df
from django.db.models import Prefetch, QuerySet
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import DocumentField, Input
from testround.api.problems import CONFLICT, means
from testround.api.scopes import Scope
from testround.api.v1.examples import patterns as examples
from testround.kernel.roundfile import pattern_in
from testround.patterns.access import Role
from testround.patterns.models import Edition, Pattern
from testround.patterns.origins import MOST_ORIGINS, OriginRefused, origin_of
from testround.patterns.released import frame_origins_set
from testround.patterns.selectors import patterns_of, with_role
from testround.patterns.services import PatternInUse, pattern_create, pattern_delete
from testround.people.models import User

TAG = "Patterns"
means(CONFLICT, PatternInUse)


class EditionInShort(serializers.Serializer):
    id = serializers.IntegerField(help_text="Names it in the addresses of its pattern.")
    label = serializers.CharField(help_text="As the designer numbers it, such as 0.9.")
    created = serializers.DateTimeField()
    frozen_at = serializers.DateTimeField(allow_null=True, help_text="Since when its sheet stays as it is.")
    released_at = serializers.DateTimeField(allow_null=True, help_text="Since when readers have it.")


class PatternOut(serializers.Serializer):
    """A design. Its numbers are on the sheets of its editions."""

    code = serializers.CharField(help_text="Names it in addresses.")
    title = serializers.CharField()
    role = serializers.ChoiceField(choices=Role.choices, help_text="What you are of it.")
    created = serializers.DateTimeField()
    frame_origins = serializers.ListField(
        child=serializers.CharField(), help_text="Sites that may show its published errata in a frame."
    )
    editions = EditionInShort(many=True, help_text="Newest first.")


class PatternIn(Input):
    """A new pattern, with its first edition."""

    sheet = DocumentField("Sheet", help_text="The `pattern` object of a round file.")
    terms = serializers.ChoiceField(
        choices=Edition.Terms.choices,
        required=False,
        help_text="The dialect of its stitch terms; left out, as its text gives away.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return {**attrs, "sheet": pattern_in(attrs, "sheet")}


class PatternChange(Input):
    """What is the pattern's own. Its title is that of the sheet that was saved last."""

    frame_origins = serializers.ListField(
        child=serializers.CharField(),
        max_length=MOST_ORIGINS,
        required=False,
        help_text="Sites that may show its published errata in a frame, as in https://www.example.org.",
    )

    def validate_frame_origins(self, typed: list[str]) -> list[str]:
        try:
            return [origin_of(one) for one in typed]
        except OriginRefused as refusal:
            raise serializers.ValidationError(str(refusal)) from None


class PatternFilters(df.FilterSet):
    title = df.CharFilter(lookup_expr="icontains", label="Patterns whose title holds these letters.")


def patterns_shown(user: User) -> QuerySet[Pattern]:
    """The patterns a person may read, with all that `PatternOut` shows: three queries for any number."""
    editions = Edition.objects.defer("sheet").order_by("-created", "-pk")
    return with_role(patterns_of(user), user).prefetch_related(Prefetch("editions", queryset=editions))


def represent(pattern: Pattern) -> dict[str, Any]:
    return PatternOut(pattern).data


class Patterns(Endpoint):
    @operation(
        "patterns_list",
        "Your patterns",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=PatternOut(many=True),
        example=examples.PATTERN,
        filters=PatternFilters,
    )
    def get(self, request: Request) -> Response:
        """The patterns that you own or edit, newest first."""
        return self.paged(patterns_shown(self.user), represent, PatternFilters)

    @operation(
        "patterns_create",
        "Make a pattern",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        takes=PatternIn,
        sends={"sheet": examples.SHEET},
        answers=PatternOut,
        example=examples.PATTERN,
        status=201,
    )
    def post(self, request: Request) -> Response:
        """Make a pattern with its first edition from a sheet. It is yours."""
        sent = self.body(PatternIn)
        edition = pattern_create(owner=self.user, document=sent["sheet"], terms=sent.get("terms"))
        made = patterns_shown(self.user).get(pk=edition.pattern_id)
        return self.made(represent(made), reverse("api:pattern", args=[made.code]))


class OnePattern(Endpoint):
    def pattern(self, code: str) -> Any:
        return self.here(patterns_shown(self.user), code=code)

    @operation(
        "patterns_retrieve",
        "One pattern",
        tag=TAG,
        scope=Scope.PATTERNS_READ,
        answers=PatternOut,
        example=examples.PATTERN,
    )
    def get(self, request: Request, code: str) -> Response:
        """A pattern that you own or edit."""
        return self.shown(represent(self.pattern(code)))

    @operation(
        "patterns_edit",
        "Change a pattern",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        takes=PatternChange,
        sends={"frame_origins": ["https://www.example.org"]},
        answers=PatternOut,
        example={**examples.PATTERN, "frame_origins": ["https://www.example.org"]},
    )
    def patch(self, request: Request, code: str) -> Response:
        """Say which sites may show its published errata in a frame. The owner alone may."""
        pattern = self.pattern(code)
        self.hold_against(represent(pattern))
        sent = self.body(PatternChange)
        if "frame_origins" in sent:
            frame_origins_set(pattern=pattern, origins=sent["frame_origins"], by=self.user)
        return self.shown(represent(self.pattern(code)))

    @operation(
        "patterns_delete",
        "Delete a pattern",
        tag=TAG,
        scope=Scope.PATTERNS_WRITE,
        status=204,
        refusals=[CONFLICT],
    )
    def delete(self, request: Request, code: str) -> Response:
        """Delete a pattern on which no round was made. The owner alone may."""
        pattern = self.pattern(code)
        self.hold_against(represent(pattern))
        pattern_delete(pattern=pattern, by=self.user)
        return self.gone()
