"""The places of a round, as who runs it sees them: added, read, changed, given back, left out of the results."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import django_filters as df
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT
from testround.api.scopes import Scope
from testround.api.v1.examples import round_places as examples
from testround.api.v1.parts import (
    Measures,
    PlaceYarnIn,
    PlaceYarnOut,
    keys_by_label,
    pointing,
    round_here,
    yarn_chosen,
    yarn_of,
)
from testround.kernel.plausible import body_doubt
from testround.kernel.problems import InputProblems, Problem
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import Yarn
from testround.patterns.access import Right
from testround.rounds import services
from testround.rounds.models import Place
from testround.rounds.services import MOST_PLACES_AT_ONCE

TAG = "Places of a round"
LONGEST_NAME = 200
LONGEST_CAUSE = 300
LONGEST_SIZE = 20
# Paths of the services, which are those of the page's fields, as they are in a body.
PATHS = {"measure_": "measures.", "name": "names"}
KEEP_SAID = "Say that measurements which hardly any body has are right; they are asked about otherwise."


class RoundPlaceOut(serializers.Serializer):
    """One seat in a round: a size and a yarn, for one tester."""

    id = serializers.IntegerField(help_text="Names it in addresses.")
    key = serializers.CharField(help_text="Names its tester in the round file.")
    name = serializers.CharField(help_text="How the tester is called in this round.")
    size = serializers.CharField(allow_null=True, help_text="Null for a pattern made to measure.")
    state = serializers.ChoiceField(choices=Place.State.choices)
    is_held = serializers.BooleanField(help_text="Somebody with an account took it.")
    measures = Measures(help_text="Body measurements in cm, by the keys of the sheet's measures.")
    yarn = PlaceYarnOut(allow_null=True)
    candidate = serializers.IntegerField(
        source="candidate_id", allow_null=True, help_text="Id of the offer that it answers."
    )
    offered_until = serializers.DateTimeField(
        allow_null=True, help_text="When it is given back unless somebody takes it."
    )
    agreed_at = serializers.DateTimeField(allow_null=True, help_text="When its tester agreed to the terms.")
    swatch_until = serializers.DateField(
        allow_null=True, help_text="Until when its tester needs for the swatch, beyond the round's date."
    )
    measures_until = serializers.DateField(
        allow_null=True, help_text="Until when its tester needs for the finished measurements."
    )
    likely_from = serializers.DateField(allow_null=True, help_text="Its tester finishes from this day on,")
    likely_until = serializers.DateField(
        allow_null=True, help_text="and until this day, as the pace foretells."
    )
    left_at = serializers.DateTimeField(
        allow_null=True, help_text="When its tester left for good with the piece unmeasured."
    )
    counts = serializers.BooleanField(help_text="What came from it is part of the results.")
    created = serializers.DateTimeField()


class RoundPlacesAdded(serializers.Serializer):
    """The places that were made."""

    places = RoundPlaceOut(many=True)


class RoundPlacesIn(Input):
    """One place, or several of one size and yarn."""

    names = serializers.ListField(
        child=serializers.CharField(max_length=LONGEST_NAME),
        min_length=1,
        max_length=MOST_PLACES_AT_ONCE,
        help_text="How each tester is called; one place is made for each.",
    )
    size = serializers.CharField(
        max_length=LONGEST_SIZE,
        required=False,
        allow_null=True,
        help_text="Of the sheet; none made to measure.",
    )
    measures = Measures(required=False, help_text="Body measurements in cm, of one person.")
    yarn = PlaceYarnIn(required=False, allow_null=True)
    keep = serializers.BooleanField(required=False, help_text=KEEP_SAID)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("measures") and len(attrs["names"]) > 1:
            raise serializers.ValidationError(
                {
                    "names": [
                        _(
                            "Body measurements belong to one person: add this place alone, or leave them empty."
                        )
                    ]
                }
            )
        return attrs


class RoundPlaceChange(Input):
    """What is to be changed of a place; what is left out stays."""

    name = serializers.CharField(max_length=LONGEST_NAME, required=False)
    size = serializers.CharField(
        max_length=LONGEST_SIZE,
        required=False,
        allow_null=True,
        help_text="Fixed once its tester has begun.",
    )
    measures = Measures(required=False, help_text="Body measurements in cm, all of them.")
    yarn = PlaceYarnIn(required=False, allow_null=True)
    keep = serializers.BooleanField(required=False, help_text=KEEP_SAID)


class PlaceCause(Input):
    cause = serializers.CharField(
        max_length=LONGEST_CAUSE, required=False, allow_blank=True, help_text="Why, for the diary."
    )


class RoundPlaceCounts(Input):
    counts = serializers.BooleanField(help_text="False leaves what came from the place out of the results.")


class RoundPlaceFilters(df.FilterSet):
    size = df.CharFilter(label="Places in this size.")
    state = df.ChoiceFilter(choices=Place.State.choices, label="Places in this state.")


def doubts_checked(
    document: SheetDocument,
    measures: Mapping[str, float],
    *,
    keep: bool,
    before: Mapping[str, float] | None = None,
) -> None:
    """Ask about measurements that hardly any body has, unless they were said to be right or stood there before.

    Raises
    ------
    InputProblems
        With a question for each, as the page asks it.
    """
    if keep:
        return
    problems = []
    for measure in document.measures:
        cm = measures.get(measure.key)
        if cm is None or cm == (before or {}).get(measure.key):
            continue
        sizes = tuple((measure.values or {}).values())
        if doubt := body_doubt(measure.key, measure.label, cm, sizes=sizes):
            problems.append(Problem(f"measures.{measure.key}", doubt.sentence))
    if problems:
        raise InputProblems(problems)


def represent(place: Place, supplied: Mapping[str, str]) -> dict[str, Any]:
    """A place; ``supplied`` as `keys_by_label` gives them, once for all of a round."""
    place.is_held = place.tester_id is not None
    place.counts = place.left_out_at is None
    place.yarn = yarn_of(place, supplied)
    return RoundPlaceOut(place).data


class PlaceEndpoint(Endpoint):
    """An address below one place of a round."""

    def place(self, code: str, id: int, right: Right) -> Place:
        """The place, with its round; as `round_here` answers, and 404 where the round has no such place."""
        round = round_here(self, code, right)
        place: Place = get_object_or_404(round.places.all(), pk=id)
        place.round = round
        return place

    def again(self, place: Place) -> dict[str, Any]:
        """How it is by now."""
        return represent(Place.objects.get(pk=place.pk), keys_by_label(place.round))


class RoundPlaces(Endpoint):
    @operation(
        "round_places_list",
        "The places of a round",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=RoundPlaceOut(many=True),
        example=examples.PLACE,
        filters=RoundPlaceFilters,
    )
    def get(self, request: Request, code: str) -> Response:
        """Who makes what in a round that you run, with body measurements; the place made last comes first."""
        round = round_here(self, code, Right.SEE)
        supplied = keys_by_label(round)
        return self.paged(round.places.all(), lambda place: represent(place, supplied), RoundPlaceFilters)

    @operation(
        "round_places_add",
        "Add places",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=RoundPlacesIn,
        sends=examples.PLACE_SENT,
        answers=RoundPlacesAdded,
        example={"places": [examples.PLACE]},
        status=201,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str) -> Response:
        """Offer one seat, or several in one size and yarn: all of them, or none and a sentence why.

        Nobody is invited by this. Owners and editors may.
        """
        round = round_here(self, code, Right.EDIT)
        sent = self.body(RoundPlacesIn)
        measures = sent.get("measures", {})
        doubts_checked(round.edition.document, measures, keep=sent.get("keep", False))
        with pointing(**PATHS):
            added = services.places_add(
                round=round,
                names=sent["names"],
                size=sent.get("size"),
                measures=measures,
                yarn=yarn_chosen(round, sent.get("yarn")),
                by=self.user,
            )
        supplied = keys_by_label(round)
        places = [represent(place, supplied) for place in added]
        where = (
            reverse("api:round_place", args=[code, added[0].pk])
            if len(added) == 1
            else reverse("api:round_places", args=[code])
        )
        return self.made({"places": places}, where)


class OneRoundPlace(PlaceEndpoint):
    @operation(
        "round_places_retrieve",
        "One place of a round",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=RoundPlaceOut,
        example=examples.PLACE,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """A place of a round that you run."""
        return self.shown(self.again(self.place(code, id, Right.SEE)))

    @operation(
        "round_places_edit",
        "Change a place",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=RoundPlaceChange,
        sends={"size": "L"},
        answers=RoundPlaceOut,
        example={**examples.PLACE, "size": "L"},
        refusals=[CONFLICT],
    )
    def patch(self, request: Request, code: str, id: int) -> Response:
        """Change who is meant, the size, the measurements or the yarn. Owners and editors may."""
        place = self.place(code, id, Right.EDIT)
        self.hold_against(self.again(place))
        sent = self.body(RoundPlaceChange)
        measures = sent.get("measures")
        if measures is not None:
            document = place.round.edition.document
            doubts_checked(document, measures, keep=sent.get("keep", False), before=place.measures)
        with pointing(measure_="measures."):
            services.place_edit(
                place=place,
                name=sent.get("name", place.name),
                size=sent.get("size", place.size),
                measures=measures,
                yarn=yarn_chosen(place.round, sent["yarn"]) if "yarn" in sent else _as_it_is(place),
                by=self.user,
            )
        return self.shown(self.again(place))


def _as_it_is(place: Place) -> Yarn | None:
    if not place.yarn_label:
        return None
    # Not read anew: what is stored was in order once and is kept as it is.
    return Yarn.model_construct(
        label=place.yarn_label,
        weight=place.yarn_weight,
        fibre=place.yarn_fibre,
        metres_per_ball=place.metres_per_ball,
        grams_per_ball=place.grams_per_ball,
    )


class RoundPlaceGivenBack(PlaceEndpoint):
    @operation(
        "round_places_give_back",
        "Give a place back",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=PlaceCause,
        sends={"cause": "no time this spring"},
        answers=RoundPlaceOut,
        example={**examples.PLACE, "state": "given back"},
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Give a place back. What its tester sent stays, its link ends, and its size wants somebody else.

        Its tester is told by mail, with the cause. Owners and editors may.
        """
        place = self.place(code, id, Right.EDIT)
        sent = self.body(PlaceCause)
        with pointing(state=""):
            services.place_give_back(place=place, by=self.user, cause=sent.get("cause", ""))
        return self.shown(self.again(place))


class RoundPlaceCounted(PlaceEndpoint):
    @operation(
        "round_places_count",
        "Count a place in the results, or not",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=RoundPlaceCounts,
        sends={"counts": False},
        answers=RoundPlaceOut,
        example={**examples.PLACE, "state": "given back", "counts": False},
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Leave what came from a place that was given back out of the results, or count it again."""
        place = self.place(code, id, Right.EDIT)
        sent = self.body(RoundPlaceCounts)
        with pointing():
            services.place_count(place=place, counts=sent["counts"], by=self.user)
        return self.shown(self.again(place))
