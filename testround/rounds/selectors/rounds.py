"""The rounds that a person may see, and what is told of each."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet
from django.http import Http404

from testround.kernel.words import commas
from testround.patterns.access import Right, patterns_open_to, require
from testround.patterns.models import Edition
from testround.patterns.selectors import editions_of
from testround.people.models import User
from testround.prepared import Prepared
from testround.rounds.due import FINISHED, places_late, places_likely_late
from testround.rounds.models import Candidate, DiaryEntry, Place, Round


def rounds_of(user: User, right: Right = Right.SEE) -> QuerySet[Round]:
    """The rounds a person runs as owner or editor of their pattern; with a ``right``, those on which they have it."""
    open_to = patterns_open_to(user, right)
    return Round.objects.filter(edition__pattern__in=open_to).select_related("edition__pattern__owner")


def round_for(user: User, code: str, right: Right) -> Round:
    """A round for someone who wants to do this with it.

    Raises
    ------
    Http404
        They do not see it: to them there is no such page.
    PermissionDenied
        They see it and may not do that.
    """
    round = (_LOOKED_ON if right is Right.LOOK else _SEEN).first(user=user, code=code)
    if round is None:
        raise Http404
    require(user, right, round.edition.pattern)
    return round


_LOOKED_ON: Prepared[Round] = Prepared(lambda user, code: rounds_of(user, Right.LOOK).filter(code=code))
_SEEN: Prepared[Round] = Prepared(lambda user, code: rounds_of(user, Right.SEE).filter(code=code))


def editions_open_to(user: User) -> QuerySet[Edition]:
    """The editions a person may open a round on."""
    return editions_of(user, Right.EDIT).select_related("pattern__owner")


def rounds_with_progress(user: User) -> QuerySet[Round]:
    """The list of rounds: each with how many places it has, are held, are measured."""
    kept = ~Q(places__state=Place.State.GIVEN_BACK) & Q(places__left_at=None)
    held = kept & ~Q(places__state=Place.State.OFFERED)
    measured = kept & Q(places__state__in=[Place.State.MEASURED, Place.State.DONE])
    return (
        rounds_of(user)
        .defer("edition__sheet", "terms")
        .annotate(
            place_count=Count("places", filter=kept),
            held_count=Count("places", filter=held),
            measured_count=Count("places", filter=measured),
        )
        # Counting drops the model's own order.
        .order_by("-created", "-pk")
    )


def rounds_listed(user: User, date: dt.date) -> QuerySet[Round]:
    """The list of rounds with progress, and of each how many places are late, and how many more likely will be."""
    late, kept = places_late(date), Q(places__left_at=None)
    return rounds_with_progress(user).annotate(
        late_count=Count("places", filter=kept & late),
        likely_count=Count("places", filter=kept & places_likely_late() & ~late),
    )


NAMES_SHOWN = 8


@dataclass(frozen=True, slots=True)
class MovePage:
    """Whom a move of the round would concern: who has not measured yet, and who offered and has no place."""

    place_count: int
    unmeasured: tuple[str, ...]
    unplaced: int

    @property
    def shown(self) -> str:
        """The first few of them by name."""
        return commas(self.unmeasured[:NAMES_SHOWN])

    @property
    def more(self) -> int:
        return max(len(self.unmeasured) - NAMES_SHOWN, 0)


def move_page(round: Round) -> MovePage:
    """What somebody who moves a round has to know of it, in two queries."""
    places = list(
        round.places.filter(left_at=None).exclude(state=Place.State.GIVEN_BACK).values_list("name", "state")
    )
    return MovePage(
        place_count=len(places),
        unmeasured=tuple(name for name, state in places if state not in FINISHED),
        unplaced=offers_without_place(round).count(),
    )


def offers_without_place(round: Round) -> QuerySet[Candidate]:
    """Those who offered, have no place and have not been told so. One from a round file has no address."""
    staying = [Candidate.State.CONFIRMED, Candidate.State.WAITING]
    return round.candidates.filter(state__in=staying, thanked_at=None).exclude(email="")


def diary_of(round: Round) -> QuerySet[DiaryEntry]:
    return round.diary.select_related("by", "place")
