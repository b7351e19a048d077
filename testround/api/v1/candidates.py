"""Candidates of a round, as who runs it sees them."""

from __future__ import annotations

from typing import Any

import django_filters as df
from django.shortcuts import get_object_or_404
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from testround.api.endpoints import Endpoint, operation
from testround.api.problems import CONFLICT
from testround.api.scopes import Scope
from testround.api.v1.calls import PhotoUses
from testround.api.v1.examples import calls as examples
from testround.api.v1.parts import Measures, pointing, round_here
from testround.patterns.access import Right
from testround.rounds import services
from testround.rounds.models import PHOTO_USES, Candidate

TAG = "Candidates"


class CandidateOut(serializers.Serializer):
    """Somebody who offered to test."""

    id = serializers.IntegerField(help_text="Names them in addresses.")
    key = serializers.CharField(help_text="Names them in the proposal and the round file.")
    name = serializers.CharField()
    state = serializers.ChoiceField(
        choices=Candidate.State.choices, help_text="Those who are confirmed are proposed a place."
    )
    email = serializers.CharField(help_text="Empty where they left none.")
    measures = Measures(help_text="Body measurements in cm.")
    wishes = serializers.ListField(child=serializers.CharField(), help_text="Sizes, the dearest first.")
    yarns = serializers.ListField(child=serializers.CharField(), help_text="Keys of supplied yarns.")
    own_yarn = serializers.BooleanField(help_text="They would bring their own.")
    tests_before = serializers.IntegerField(allow_null=True, help_text="How many patterns they tested.")
    photo_uses = PhotoUses(help_text="What they allow to be done with photos.")
    answered = serializers.DateTimeField(allow_null=True, help_text="When their offer was confirmed.")
    created = serializers.DateTimeField()


class CandidateFilters(df.FilterSet):
    state = df.ChoiceFilter(choices=Candidate.State.choices, label="Candidates in this state.")
    name = df.CharFilter(lookup_expr="icontains", label="Candidates whose name holds these letters.")


def represent(candidate: Candidate) -> dict[str, Any]:
    candidate.photo_uses = [use for use in PHOTO_USES if getattr(candidate, f"photo_{use}")]
    return CandidateOut(candidate).data


class Candidates(Endpoint):
    @operation(
        "candidates_list",
        "The candidates of a round",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=CandidateOut(many=True),
        example=examples.CANDIDATE,
        filters=CandidateFilters,
    )
    def get(self, request: Request, code: str) -> Response:
        """Who offered to test in a round that you run, with body measurements; the last comes first."""
        round = round_here(self, code, Right.SEE)
        return self.paged(round.candidates.all(), represent, CandidateFilters)


class OneCandidate(Endpoint):
    @operation(
        "candidates_retrieve",
        "One candidate",
        tag=TAG,
        scope=Scope.ROUNDS_READ,
        answers=CandidateOut,
        example=examples.CANDIDATE,
    )
    def get(self, request: Request, code: str, id: int) -> Response:
        """Somebody who offered to test in a round that you run."""
        round = round_here(self, code, Right.SEE)
        return self.shown(represent(get_object_or_404(round.candidates, pk=id)))


class CandidateTakenBack(Endpoint):
    @operation(
        "candidates_take_back",
        "Put somebody into reserve again",
        tag=TAG,
        scope=Scope.ROUNDS_WRITE,
        answers=CandidateOut,
        example=examples.CANDIDATE,
        refusals=[CONFLICT],
    )
    def post(self, request: Request, code: str, id: int) -> Response:
        """Put into reserve somebody whose place was given back, or who waited for the call. Owners and editors may."""
        round = round_here(self, code, Right.EDIT)
        candidate = get_object_or_404(round.candidates, pk=id)
        with pointing():
            taken = services.candidate_take_back(candidate=candidate, by=self.user)
        return self.shown(represent(taken))
