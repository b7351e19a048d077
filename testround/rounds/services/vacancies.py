"""A place that fell free: it is noted in the same transaction, and who is next is looked for after it."""

from __future__ import annotations

from testround.outbox.services import work_add
from testround.rounds.models import Candidate, Place, Vacancy

# The work of finding who in reserve is next for the places of a round that fell free.
KIND = "reserve"


def place_fell_free(place: Place) -> None:
    """Note that a place was given back, in a round that people offered to test.

    Whoever had it as a candidate has withdrawn with that, and is not proposed again of themselves.
    """
    if place.candidate_id is not None:
        Candidate.objects.filter(pk=place.candidate_id, state=Candidate.State.PLACED).update(
            state=Candidate.State.WITHDRAWN
        )
    if not place.round.candidates.exists():
        return
    Vacancy.objects.get_or_create(place=place)
    reserve_look_later(place.round_id)


def reserve_look_later(round_id: int) -> None:
    """Look for who is next once this transaction is committed."""
    work_add(kind=KIND, subject={"round": round_id}, once_key=f"round-{round_id}")
