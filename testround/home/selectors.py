from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Q

from testround.patterns.models import Pattern
from testround.people.models import User
from testround.rounds.models import Place, Round


@dataclass(frozen=True, slots=True)
class Today:
    """What the first page shows: a designer's rounds and patterns, a tester's places."""

    rounds: list[Round]
    patterns: list[Pattern]
    places: list[Place]


def today_of(user: User) -> Today:
    rounds = (
        Round.objects.filter(edition__pattern__owner=user)
        .exclude(state=Round.State.CLOSED)
        .select_related("edition__pattern")
        .annotate(
            place_count=Count("places", filter=~Q(places__state=Place.State.GIVEN_BACK)),
            done_count=Count("places", filter=Q(places__state__in=[Place.State.MEASURED, Place.State.DONE])),
        )
    )
    patterns = Pattern.objects.filter(owner=user).prefetch_related("editions")
    places = (
        Place.objects.filter(tester=user)
        .exclude(state=Place.State.GIVEN_BACK)
        .select_related("round__edition__pattern")
    )
    return Today(rounds=list(rounds[:50]), patterns=list(patterns[:50]), places=list(places[:50]))
