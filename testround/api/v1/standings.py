"""How a round stands, for those who look on; and whom a friendly word is due, and sent."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.fields import Input
from testround.api.problems import CONFLICT
from testround.api.scopes import Scope
from testround.api.v1.examples import rounds as examples
from testround.api.v1.parts import pointing, round_here
from testround.api.v1.round_places import PlaceEndpoint
from testround.patterns.access import Right
from testround.rounds import services
from testround.rounds.models import Place, Round
from testround.rounds.selectors.nudges import Nudgeable, nudgeable_in
from testround.rounds.selectors.standing import Standing, standing_of, standings_open_to
from testround.rounds.services.reminders import LONGEST_WORD

TAG = "How a round stands"
WHY = [("swatch", "swatch"), ("progress", "progress"), ("measurements", "measurements")]


class StandingCellOut(serializers.Serializer):
    """Places of one size in one state."""

    state = serializers.ChoiceField(choices=Place.State.choices)
    places = serializers.IntegerField(source="count")
    names = serializers.ListField(child=serializers.CharField(), help_text="Of those who allow it.")


class StandingRowOut(serializers.Serializer):
    size = serializers.CharField(allow_null=True, help_text="Null: made to measure, or without a size yet.")
    places = serializers.IntegerField(source="count")
    cells = StandingCellOut(many=True, help_text="States that somebody is in.")


class StandingSent(serializers.Serializer):
    what = serializers.CharField(help_text="In your language.")
    count = serializers.IntegerField()


class StandingOut(serializers.Serializer):
    """How a round stands: sizes, counts and dates, and nobody's measurements."""

    round = serializers.CharField(help_text="Its code.")
    title = serializers.CharField()
    state = serializers.ChoiceField(choices=Round.State.choices)
    opens = serializers.DateField(allow_null=True)
    swatches_due = serializers.DateField(allow_null=True)
    closes = serializers.DateField(allow_null=True)
    places = serializers.IntegerField(help_text="That are offered or held.")
    finished = serializers.IntegerField(help_text="That are measured or done.")
    rows = StandingRowOut(many=True)
    sent = StandingSent(many=True, help_text="How many of each were sent.")


class NudgeDue(serializers.Serializer):
    """A tester who may need a friendly word."""

    place = serializers.IntegerField(source="place.pk", help_text="Id of the place.")
    name = serializers.CharField(source="place.name")
    why = serializers.ChoiceField(
        choices=WHY, help_text="A swatch or measurements are late, or nothing was heard of the piece."
    )
    due = serializers.DateField(allow_null=True, help_text="The day that counts.")
    days = serializers.IntegerField(help_text="For how long.")
    nudged = serializers.DateField(allow_null=True, help_text="When somebody last wrote.")


class NudgesDue(serializers.Serializer):
    nudges = NudgeDue(many=True, help_text="The longest late first.")


class NudgeIn(Input):
    text = serializers.CharField(
        max_length=LONGEST_WORD, help_text="Plain text; an empty line begins a paragraph."
    )


class NudgeSent(serializers.Serializer):
    """A word that is on its way."""

    place = serializers.IntegerField(source="place_id", help_text="Id of the place.")
    day = serializers.DateField(help_text="The tester's own day: one word a day is sent.")


def represent(standing: Standing) -> dict[str, Any]:
    round = standing.round
    found: dict[str, Any] = StandingOut(
        {
            "round": round.code,
            "title": round.title,
            "state": round.state,
            "opens": round.opens,
            "swatches_due": round.swatches_due,
            "closes": round.closes,
            "places": standing.place_count,
            "finished": standing.finished_count,
            "rows": [
                {"size": row.size, "count": row.count, "cells": [cell for cell in row.cells if cell.count]}
                for row in standing.rows
            ],
            "sent": [{"what": what, "count": count} for what, count in standing.sent],
        }
    ).data
    return found


class RoundStanding(Endpoint):
    @operation(
        "standings_retrieve",
        "How a round stands",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=StandingOut,
        example=examples.STANDING,
    )
    def get(self, request: Request, code: str) -> Response:
        """Sizes by state, for who has any part in the pattern, and for testers where the designer shows it to them."""
        round = get_object_or_404(standings_open_to(self.user), code=code)
        return self.shown(represent(standing_of(round)))


class Nudges(Endpoint):
    @operation(
        "nudges_due",
        "Who may need a friendly word",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=NudgesDue,
        example={"nudges": [examples.NUDGE]},
    )
    def get(self, request: Request, code: str) -> Response:
        """Whose swatch or measurements are late, or of whose piece nothing was heard, in a round that you run."""
        round = round_here(self, code, Right.SEE)
        due: list[Nudgeable] = nudgeable_in([round])
        return self.shown(NudgesDue({"nudges": due}).data)


class Nudge(PlaceEndpoint):
    @operation(
        "nudges_send",
        "Send a friendly word",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        takes=NudgeIn,
        sends={"text": "Hello Juniper,\n\nhow is the cardigan coming along?"},
        answers=NudgeSent,
        example={"place": 31, "day": "2026-05-02"},
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Mail your own words to the tester of a place, once a day at most. Owners and editors may."""
        place = self.place(code, id, Right.EDIT)
        sent = self.body(NudgeIn)
        with pointing():
            nudge = services.nudge_send(place=place, text=sent["text"], by=self.user)
        return self.shown(NudgeSent(nudge).data)
