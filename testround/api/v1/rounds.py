"""Rounds: listed, opened on an edition, read, changed in their plan, moved from state to state; and their diary."""

from __future__ import annotations

from typing import Any

import django_filters as df
from django.db.models import QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.filtering import RowFilter
from testround.api.paging import MOST_ID
from testround.api.problems import Fault, invalid
from testround.api.scopes import Scope
from testround.api.v1.examples import rounds as examples
from testround.api.v1.parts import (
    PLAN_PATHS,
    Day,
    PlanIn,
    PlanOut,
    SuppliedYarnIn,
    SuppliedYarnOut,
    pointing,
    read,
    round_here,
)
from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.patterns.access import Right
from testround.rounds import services
from testround.rounds.forms.places import yarn_key
from testround.rounds.forms.rounds import DEFAULT_TERMS
from testround.rounds.models import DiaryEntry, Round
from testround.rounds.selectors import diary_of, editions_open_to, rounds_of

TAG = "Rounds"
LONGEST_CAUSE = 300
PLANNED = (
    "title",
    "opens",
    "swatches_due",
    "closes",
    "purge_on",
    "terms",
    "places_plan",
    "allow_several",
    "shows_standing",
)
MOST_YARNS = 100
PURGE_SAID = "From this day on names, measurements, photos and words are deleted; left out, half a year after `closes`."


class RoundPattern(serializers.Serializer):
    code = serializers.CharField()
    title = serializers.CharField()


class RoundEdition(serializers.Serializer):
    id = serializers.IntegerField()
    label = serializers.CharField()


class RoundOut(serializers.Serializer):
    """One test of one edition. Its days are those of the pattern's owner."""

    code = serializers.CharField(help_text="Names it in addresses.")
    title = serializers.CharField()
    state = serializers.ChoiceField(choices=Round.State.choices)
    pattern = RoundPattern(source="edition.pattern")
    edition = RoundEdition()
    opens = serializers.DateField(allow_null=True, help_text="From this day swatches can come.")
    swatches_due = serializers.DateField(allow_null=True, help_text="The day after, making begins.")
    closes = serializers.DateField(allow_null=True, help_text="Finished measurements are due.")
    purge_on = serializers.DateField(
        allow_null=True,
        help_text="From this day on names, measurements, photos and words are deleted.",
    )
    purged_at = serializers.DateTimeField(allow_null=True, help_text="When they were.")
    terms = serializers.CharField(help_text="What testers agree to.")
    places = PlanOut(source="places_plan", allow_null=True)
    yarns = SuppliedYarnOut(many=True, help_text="Those that the designer supplies.")
    allow_several = serializers.BooleanField(help_text="One person may hold several places.")
    shows_standing = serializers.BooleanField(help_text="Testers may see how the round stands.")
    invite_next = serializers.BooleanField(
        help_text="When a place falls free, the next in reserve is invited at once; set with the proposal's limits."
    )
    offer_days = serializers.IntegerField(
        help_text="Days that an offer to the next in reserve stands; set with the proposal's limits."
    )
    moved_at = serializers.DateTimeField(allow_null=True, help_text="When its state last changed.")
    created = serializers.DateTimeField()


class RoundChange(Input):
    """What is to be changed of a round's plan; what is left out stays."""

    title = serializers.CharField(max_length=200, required=False)
    opens = Day(required=False, allow_null=True, help_text="From this day swatches can come.")
    swatches_due = Day(required=False, allow_null=True, help_text="The day after, making begins.")
    closes = Day(required=False, allow_null=True, help_text="Finished measurements are due.")
    purge_on = Day(required=False, help_text=PURGE_SAID)
    terms = serializers.CharField(
        max_length=10_000, required=False, allow_blank=True, help_text="What testers agree to."
    )
    places = PlanIn(required=False, allow_null=True)
    allow_several = serializers.BooleanField(required=False, help_text="One person may hold several places.")
    shows_standing = serializers.BooleanField(
        required=False, help_text="Testers may see how the round stands."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "places" in attrs:
            attrs["places_plan"] = attrs.pop("places")
        return attrs


class RoundIn(RoundChange):
    """A round to be opened."""

    edition = serializers.IntegerField(
        min_value=1, max_value=MOST_ID, help_text="Id of the edition; its sheet is frozen by this."
    )
    title = serializers.CharField(max_length=200)
    terms = serializers.CharField(
        max_length=10_000,
        required=False,
        allow_blank=True,
        help_text="What testers agree to; left out, the terms that the page suggests.",
    )
    yarns = SuppliedYarnIn(
        many=True, required=False, max_length=MOST_YARNS, help_text="Those that you supply."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "yarns" in attrs:
            attrs["yarns"] = yarns_read(attrs["yarns"])
        return super().validate(attrs)


class RoundMove(Input):
    """Where a round goes."""

    state = serializers.ChoiceField(choices=Round.State.choices)
    cause = serializers.CharField(
        max_length=LONGEST_CAUSE, required=False, allow_blank=True, help_text="Why, for the diary."
    )


class DiaryEntryOut(serializers.Serializer):
    """One dated change of a round, as it was written."""

    id = serializers.IntegerField()
    at = serializers.DateTimeField()
    by = serializers.SerializerMethodField(help_text="Who did it; null where a date or the program did.")
    place = serializers.IntegerField(
        source="place_id", allow_null=True, help_text="Id of the place that it is about."
    )
    text = serializers.CharField(help_text="In the language of whoever acted.")

    def get_by(self, entry: DiaryEntry) -> str | None:
        return str(entry.by) if entry.by is not None else None


class RoundFilters(df.FilterSet):
    state = df.ChoiceFilter(choices=Round.State.choices, label="Rounds in this state.")
    pattern = df.CharFilter(field_name="edition__pattern__code", label="Rounds of this pattern, by its code.")
    edition = RowFilter(field_name="edition_id", label="Rounds on this edition, by its id.")


class DiaryFilters(df.FilterSet):
    place = RowFilter(field_name="place_id", label="Entries about this place.")
    since = df.IsoDateTimeFilter(field_name="at", lookup_expr="gte", label="Entries from this moment on.")


def yarns_read(sent: list[dict[str, Any]]) -> list[YarnDocument]:
    """The yarns of a body, each with a key."""
    taken = [yarn["key"] for yarn in sent if "key" in yarn]
    found = []
    for at, yarn in enumerate(sent):
        key = yarn.get("key") or yarn_key(yarn["label"], taken)
        taken.append(key)
        found.append(read(YarnDocument, {**yarn, "key": key}, f"yarns[{at}]"))
    return found


def with_all(rounds: QuerySet[Round]) -> QuerySet[Round]:
    """The same rounds with all that `RoundOut` shows: two queries for any number."""
    return rounds.select_related("edition__pattern__owner").defer("edition__sheet").prefetch_related("yarns")


def represent(round: Round) -> dict[str, Any]:
    return RoundOut(round).data


def as_it_is(round: Round) -> dict[str, Any]:
    """The representation of a round as it is stored by now."""
    return represent(with_all(Round.objects.all()).get(pk=round.pk))


class Rounds(Endpoint):
    @operation(
        "rounds_list",
        "Your rounds",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=RoundOut(many=True),
        example=examples.ROUND,
        filters=RoundFilters,
    )
    def get(self, request: Request) -> Response:
        """The rounds of the patterns that you own or edit, newest first."""
        return self.paged(with_all(rounds_of(self.user)), represent, RoundFilters)

    @operation(
        "rounds_open",
        "Open a round",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=RoundIn,
        sends=examples.ROUND_SENT,
        answers=RoundOut,
        example=examples.ROUND,
        status=201,
    )
    def post(self, request: Request) -> Response:
        """Open a round on an edition, whose sheet stays as it is from then on. Owners and editors of the pattern may."""
        sent = self.body(RoundIn)
        named = sent.pop("edition")
        edition = editions_open_to(self.user).filter(pk=named).first()
        if edition is None:
            raise invalid(
                Fault(
                    _("There is no edition {id} that you may open a round on.").format(id=named), "/edition"
                )
            )
        sent.setdefault("terms", str(DEFAULT_TERMS))
        with pointing(**PLAN_PATHS):
            round = services.round_open(edition=edition, by=self.user, **sent)
        return self.made(as_it_is(round), reverse("api:round", args=[round.code]))


class OneRound(Endpoint):
    @operation(
        "rounds_retrieve",
        "One round",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=RoundOut,
        example=examples.ROUND,
    )
    def get(self, request: Request, code: str) -> Response:
        """A round of a pattern that you own or edit."""
        return self.shown(as_it_is(round_here(self, code, Right.SEE)))

    @operation(
        "rounds_edit",
        "Change a round's plan",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=RoundChange,
        sends={"closes": "2026-07-15"},
        answers=RoundOut,
        example={**examples.ROUND, "closes": "2026-07-15"},
    )
    def patch(self, request: Request, code: str) -> Response:
        """Change what is planned of a round; what changed stands in its diary. Owners and editors may.

        Once somebody has said yes to the terms, or offered, `purge_on` can come earlier and not later.
        """
        round = round_here(self, code, Right.EDIT)
        self.hold_against(as_it_is(round))
        sent = self.body(RoundChange)
        now = {name: getattr(round, name) for name in PLANNED}
        with pointing(**PLAN_PATHS):
            services.round_edit(round=round, by=self.user, **{**now, **sent})
        return self.shown(as_it_is(round))


class RoundMoves(Endpoint):
    @operation(
        "rounds_move",
        "Move a round on, or a step back",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=RoundMove,
        sends={"state": "gathering", "cause": "the wool has come"},
        answers=RoundOut,
        example={**examples.ROUND, "state": "gathering", "moved_at": "2026-03-25T09:00:00Z"},
    )
    def post(self, request: Request, code: str) -> Response:
        """Move a round to any later state, or one step back. To the one it is in already is no move.

        Past the gathering, those who offered and have no place are told so. Owners and editors may.
        """
        round = round_here(self, code, Right.EDIT)
        sent = self.body(RoundMove)
        services.round_move(round=round, state=sent["state"], by=self.user, cause=sent.get("cause", ""))
        return self.shown(as_it_is(round))


class Diary(Endpoint):
    @operation(
        "diary_list",
        "A round's diary",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=DiaryEntryOut(many=True),
        example=examples.ENTRY,
        filters=DiaryFilters,
    )
    def get(self, request: Request, code: str) -> Response:
        """Everything that happened in a round, newest first. Entries are written and never changed."""
        round = round_here(self, code, Right.SEE)
        return self.paged(diary_of(round), lambda entry: DiaryEntryOut(entry).data, DiaryFilters)
