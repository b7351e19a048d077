"""The places of a round, and a person's own."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Case, Count, Exists, OuterRef, QuerySet, SmallIntegerField, When
from django.utils import timezone

from testround.people.models import User
from testround.rounds.due import Due, dues_of
from testround.rounds.models import Invitation, Place, Round


def places_of(user: User) -> QuerySet[Place]:
    """The places a person holds as tester and has not given back."""
    return (
        Place.objects.filter(tester=user)
        .exclude(state=Place.State.GIVEN_BACK)
        .select_related("round__edition__pattern__owner")
    )


def places_in(round: Round, *, size: str | None = None, state: str | None = None) -> QuerySet[Place]:
    """The places of a round for its list, those with the longest way before them first, and whether a link is open."""
    open_links = Invitation.objects.filter(
        place=OuterRef("pk"), used_at__isnull=True, withdrawn_at__isnull=True, expires__gt=timezone.now()
    )
    places = round.places.select_related("tester").annotate(has_link=Exists(open_links))
    if size:
        places = places.filter(size=size)
    if state:
        places = places.filter(state=state)
    order = [When(state=one, then=at) for at, one in enumerate(Place.State.values)]
    return places.order_by(Case(*order, output_field=SmallIntegerField()), "pk")


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """One place of the list, and what is awaited from it next; nothing where that has no date."""

    place: Place
    due: Due | None
    is_late: bool


def place_rows(places: Iterable[Place], round: Round, *, today: dt.date) -> list[PlaceRow]:
    """The places of a page with what each owes next, without a query."""
    rows = []
    for place in places:
        place.round = round
        due = next(iter(dues_of(place)), None)
        rows.append(PlaceRow(place, due, due is not None and due.date < today))
    return rows


@dataclass(frozen=True, slots=True)
class ByState:
    """How many places there are, and in each state that any is in, as its words and the number."""

    total: int
    states: tuple[tuple[str, int], ...]


def places_by_state(round: Round) -> ByState:
    """The places of a round counted, in the order of their way. Those given back are counted as such."""
    counts = dict(round.places.order_by().values_list("state").annotate(n=Count("pk")))
    states = [(str(Place.State(one).label), counts[one]) for one in Place.State.values if one in counts]
    return ByState(sum(counts.values()), tuple(states))


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
