"""A place that fell free: it is noted in the same transaction, and who is next is looked for after it."""

from __future__ import annotations

from collections.abc import Iterable

from testround.outbox.services import work_add
from testround.rounds.models import Candidate, Place, Round, Vacancy

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


def offers_changed(round: Round) -> None:
    """Look again who is next for what fell free, as somebody offers or offers no more."""
    if Vacancy.objects.filter(place__round=round, state=Vacancy.State.OPEN).exists():
        reserve_look_later(round.pk)


def places_fill(round: Round, places: Iterable[Place]) -> None:
    """Let new places fill those of the same size that fell free, the oldest first. The round is locked."""
    free = list(Vacancy.objects.filter(place__round=round, state=Vacancy.State.OPEN).select_related("place"))
    if not free:
        return
    for place in places:
        vacancy = next((one for one in free if one.place.size == place.size), None)
        if vacancy is not None:
            free.remove(vacancy)
            vacancy.state, vacancy.filled_by, vacancy.candidate = Vacancy.State.FILLED, place, None
            vacancy.save(update_fields=["state", "filled_by", "candidate"])
    reserve_look_later(round.pk)
