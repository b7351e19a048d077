"""The places of a round, and a person's own."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from testround.people.models import User
from testround.rounds.models import Invitation, Place, Round


def places_of(user: User) -> QuerySet[Place]:
    """The places a person holds as tester and has not given back."""
    return (
        Place.objects.filter(tester=user)
        .exclude(state=Place.State.GIVEN_BACK)
        .select_related("round__edition__pattern__owner")
    )


def places_in(round: Round, *, size: str | None = None, state: str | None = None) -> QuerySet[Place]:
    """The places of a round for its list, with the tester's account and whether a link is open."""
    open_links = Invitation.objects.filter(
        place=OuterRef("pk"), used_at__isnull=True, withdrawn_at__isnull=True, expires__gt=timezone.now()
    )
    places = round.places.select_related("tester").annotate(has_link=Exists(open_links))
    if size:
        places = places.filter(size=size)
    if state:
        places = places.filter(state=state)
    return places


@dataclass(frozen=True, slots=True)
class InvitationPage:
    open: Invitation | None
    earlier: int


def invitation_page(place: Place) -> InvitationPage:
    """The open link of a place, if any, and how many there were before."""
    links = list(place.invitations.all())
    now = timezone.now()
    is_open = next(
        (link for link in links if not link.used_at and not link.withdrawn_at and link.expires > now), None
    )
    return InvitationPage(open=is_open, earlier=len(links) - bool(is_open))
