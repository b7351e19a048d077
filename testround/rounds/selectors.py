"""What the pages of a round read. Every one starts from who may see it."""

from __future__ import annotations

from django.db.models import QuerySet

from testround.people.models import User
from testround.rounds.models import Place, Round


def rounds_of(user: User) -> QuerySet[Round]:
    """The rounds a designer runs: those on editions of her own patterns."""
    return Round.objects.filter(edition__pattern__owner=user).select_related("edition__pattern__owner")


def places_of(user: User) -> QuerySet[Place]:
    """The places a person holds as tester and has not given back."""
    return (
        Place.objects.filter(tester=user)
        .exclude(state=Place.State.GIVEN_BACK)
        .select_related("round__edition__pattern__owner")
    )
