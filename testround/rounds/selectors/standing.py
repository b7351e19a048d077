"""How a round stands, for those who may not see what its testers sent: sizes, counts and dates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet

from testround.patterns.access import Right, patterns_open_to
from testround.people.models import User
from testround.rounds.models import Consent, Place, Round
from testround.rounds.selectors.digests import places_allowed_digest
from testround.rounds.selectors.places import places_of
from testround.rounds.selectors.round_page import FINISHED
from testround.rounds.states import PLACE_ORDER

# What was sent so far, as a label and how many, from the rooms above.
Counter = Callable[[Round], Sequence[tuple[str, int]]]
_counters: list[Counter] = []
_namers: list[Callable[[Round], str]] = []


def counts_sent(counter: Counter) -> Counter:
    """Register what a room above can count of a round; numbers of reports only, in a fixed number of queries."""
    _counters.append(counter)
    return counter


def names_what_is_counted(namer: Callable[[Round], str]) -> Callable[[Round], str]:
    """Register a function that gives a name for everything that is counted of a round."""
    _namers.append(namer)
    return namer


def standing_digest(round: Round) -> str:
    """A name for all that says how a round stands."""
    return " ".join([places_allowed_digest(round), *(namer(round) for namer in _namers)])


def standings_open_to(user: User) -> QuerySet[Round]:
    """Rounds of which a person may see how they stand: by a part in the pattern, or as tester where it is shown."""
    held = places_of(user).values("round_id")
    return Round.objects.filter(
        Q(edition__pattern__in=patterns_open_to(user, Right.LOOK)) | Q(shows_standing=True, pk__in=held)
    ).select_related("edition__pattern__owner")


def rounds_looked_on(user: User) -> QuerySet[Round]:
    """Rounds that a person looks on and does not run."""
    return (
        Round.objects.filter(edition__pattern__in=patterns_open_to(user, Right.LOOK))
        .exclude(edition__pattern__in=patterns_open_to(user, Right.SEE))
        .select_related("edition__pattern__owner")
    )


@dataclass(frozen=True, slots=True)
class StandingCell:
    """How many places of one size are in one state, with the names of those who allow it."""

    state: str
    count: int
    names: tuple[str, ...]

    @property
    def state_said(self) -> str:
        return str(Place.State(self.state).label)


@dataclass(frozen=True, slots=True)
class StandingRow:
    """One size; None for a pattern made to measure, and for places without a size yet."""

    size: str | None
    cells: tuple[StandingCell, ...]
    count: int


@dataclass(frozen=True, slots=True)
class Standing:
    round: Round
    states: tuple[tuple[str, str], ...]
    rows: tuple[StandingRow, ...]
    graded: bool
    place_count: int
    finished_count: int
    sent: tuple[tuple[str, int], ...]


def standing_of(round: Round) -> Standing:
    """How a round stands, in a fixed number of queries; nothing of it is anyone's measurement."""
    allowed = Consent.objects.filter(place=OuterRef("pk"), kind=Consent.Kind.STANDING, withdrawn_at=None)
    places = list(
        round.places.filter(left_at=None)
        .exclude(state=Place.State.GIVEN_BACK)
        .annotate(is_named=Exists(allowed))
        .only("pk", "size", "state", "name", "round_id")
    )
    sizes: list[str | None] = list(round.edition.sheet.get("sizes") or [])
    graded = bool(sizes)
    if not graded or any(place.size is None for place in places):
        sizes.append(None)
    rows = []
    for size in sizes:
        of_size = [place for place in places if place.size == size]
        cells = tuple(
            StandingCell(
                state=state,
                count=sum(place.state == state for place in of_size),
                names=tuple(place.name for place in of_size if place.state == state and place.is_named),
            )
            for state in PLACE_ORDER
        )
        rows.append(StandingRow(size=size, cells=cells, count=len(of_size)))
    return Standing(
        round=round,
        states=tuple((state, str(Place.State(state).label)) for state in PLACE_ORDER),
        rows=tuple(rows),
        graded=graded,
        place_count=len(places),
        finished_count=sum(place.state in FINISHED for place in places),
        sent=tuple(pair for counter in _counters for pair in counter(round)),
    )
