"""A tester's own places: what they are, what is awaited and by when, their numbers, and what their tester allows."""

from __future__ import annotations

from typing import Any

import django_filters as df
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT
from testround.api.scopes import Scope
from testround.api.v1.examples import places as examples
from testround.api.v1.parts import Day, Measures, PlaceYarnOut, keys_by_label, pointing, yarn_of
from testround.api.v1.round_places import PlaceCause
from testround.people.models import User
from testround.rounds import services
from testround.rounds.due import What, dues_of
from testround.rounds.models import Place, Round
from testround.rounds.selectors import places_of

TAG = "Your places"


class PlaceRound(serializers.Serializer):
    code = serializers.CharField()
    title = serializers.CharField()
    state = serializers.ChoiceField(choices=Round.State.choices)


class PlaceAwaits(serializers.Serializer):
    """Something that is awaited from you."""

    what = serializers.ChoiceField(choices=What.choices)
    due = serializers.DateField(
        source="date", help_text="The day that counts: the round's, or a later one that you asked for."
    )
    of_round = serializers.DateField(allow_null=True, help_text="The round's own.")


class PlaceOut(serializers.Serializer):
    """A place that you hold as a tester."""

    id = serializers.IntegerField(help_text="Names it in addresses.")
    round = PlaceRound()
    pattern = serializers.CharField(source="round.edition.pattern.title")
    edition = serializers.CharField(source="round.edition.label")
    designer = serializers.CharField(source="round.edition.pattern.owner")
    name = serializers.CharField(help_text="How you are called in this round.")
    size = serializers.CharField(allow_null=True, help_text="Null for a pattern made to measure.")
    state = serializers.ChoiceField(choices=Place.State.choices)
    measures = Measures(help_text="Your body measurements in cm.")
    yarn = PlaceYarnOut(allow_null=True)
    opens = serializers.DateField(
        source="round.opens", allow_null=True, help_text="From this day swatches can come."
    )
    swatches_due = serializers.DateField(source="round.swatches_due", allow_null=True)
    closes = serializers.DateField(source="round.closes", allow_null=True)
    purge_on = serializers.DateField(
        source="round.purge_on", allow_null=True, help_text="When what is private is deleted."
    )
    awaits = PlaceAwaits(many=True, help_text="What is awaited and has a date, the nearest step first.")
    agreed_at = serializers.DateTimeField(allow_null=True, help_text="When you agreed to the terms.")
    agreed_terms = serializers.CharField(help_text="The terms as they stood then.")


class PlaceUntil(Input):
    """Until when you need."""

    what = serializers.ChoiceField(choices=What.choices, help_text="For which of what is awaited.")
    until = Day()


class PlaceFilters(df.FilterSet):
    state = df.ChoiceFilter(choices=Place.State.choices, label="Places in this state.")
    round = df.CharFilter(field_name="round__code", label="Places of this round, by its code.")


def places_shown(user: User) -> QuerySet[Place]:
    """The places a person holds, with all that `PlaceOut` shows: two queries for any number."""
    return (
        places_of(user)
        .defer("round__edition__sheet")
        .select_related("tester")
        .prefetch_related("round__yarns")
    )


def represent(place: Place) -> dict[str, Any]:
    place.yarn = yarn_of(place, keys_by_label(place.round))
    place.awaits = dues_of(place)
    return PlaceOut(place).data


class HeldEndpoint(Endpoint):
    """An address of one place, for the tester who holds it."""

    def place(self, id: int) -> Place:
        """The place, or 404; its row is locked where what it names is changed."""
        if self.request.method == "PUT":
            self.here(places_of(self.user), pk=id)
        return get_object_or_404(places_shown(self.user), pk=id)


class Places(Endpoint):
    @operation(
        "places_list",
        "Your places",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=PlaceOut(many=True),
        example=examples.PLACE,
        filters=PlaceFilters,
    )
    def get(self, request: Request) -> Response:
        """The places that you hold as a tester and have not given back; the one made last comes first."""
        return self.paged(places_shown(self.user), represent, PlaceFilters)


class OnePlace(HeldEndpoint):
    @operation(
        "places_retrieve",
        "One of your places",
        tag=TAG,
        scope=Scope.PLACES_READ,
        answers=PlaceOut,
        example=examples.PLACE,
    )
    def get(self, request: Request, id: int) -> Response:
        """A place that you hold as a tester: its dates, what is awaited and by when, and the terms."""
        return self.shown(represent(self.place(id)))


class PlaceGivenBack(HeldEndpoint):
    @operation(
        "places_give_back",
        "Give your place back",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=PlaceCause,
        sends={"cause": "no time this spring"},
        answers=PlaceOut,
        example={**examples.PLACE, "state": "given back", "awaits": []},
        refusals=[CONFLICT],
    )
    def post(self, request: Request, id: int) -> Response:
        """Give back the place that you hold; the designer is told. What you sent stays."""
        place = self.place(id)
        sent = self.body(PlaceCause)
        with pointing(state=""):
            services.place_give_back(place=place, by=self.user, cause=sent.get("cause", ""))
        place.state = Place.State.GIVEN_BACK
        return self.shown(represent(place))


class PlaceNeedsUntil(HeldEndpoint):
    @operation(
        "places_need_until",
        "Say until when you need",
        tag=TAG,
        scope=Scope.PLACES_WRITE,
        takes=PlaceUntil,
        sends={"what": "finished measurements", "until": "2026-07-07"},
        answers=PlaceOut,
        example=examples.PLACE,
    )
    def post(self, request: Request, id: int) -> Response:
        """Ask for a later day than the round's for the swatch or the finished measurements: it counts at once."""
        place = self.place(id)
        sent = self.body(PlaceUntil)
        services.place_needs_until(place=place, what=sent["what"], until=sent["until"], by=self.user)
        return self.shown(represent(self.place(id)))
