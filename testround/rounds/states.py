"""Which state follows which, for rounds and for places."""

from __future__ import annotations

from testround.rounds.models import Place, Round

ROUND_ORDER: list[str] = list(Round.State.values)
# From the measuring on, somebody new would be too late; the designer may still ask them.
TOO_LATE_TO_BEGIN = (Round.State.MEASURING, Round.State.CLOSED)
PLACE_ORDER: list[str] = [state for state in Place.State.values if state != Place.State.GIVEN_BACK]


def round_states_after(state: str) -> list[str]:
    """Where a round may go: to any later state, or one step back when it was moved too soon."""
    at = ROUND_ORDER.index(state)
    return ROUND_ORDER[at + 1 :] + ROUND_ORDER[max(at - 1, 0) : at]


def round_state_next(state: str) -> str | None:
    at = ROUND_ORDER.index(state)
    return ROUND_ORDER[at + 1] if at + 1 < len(ROUND_ORDER) else None


def place_states_after(state: str) -> list[str]:
    """Where a place may go.

    An offered place is taken or given back, nothing else: only its holder can send a swatch. A taken one goes
    to any later state (a tester may start without a swatch) or one step back (a swatch taken back, a
    measurement withdrawn), but never back to offered: what its holder sent would pass for a second person's.
    A given back or done place is not given back again.
    """
    if state == Place.State.GIVEN_BACK:
        return []
    if state == Place.State.OFFERED:
        return [Place.State.TAKEN, Place.State.GIVEN_BACK]
    at = PLACE_ORDER.index(state)
    back = [PLACE_ORDER[at - 1]] if PLACE_ORDER[at - 1] != Place.State.OFFERED else []
    out = [] if state == Place.State.DONE else [Place.State.GIVEN_BACK]
    return PLACE_ORDER[at + 1 :] + back + out


def place_is_behind(state: str, other: str) -> bool:
    """Whether ``state`` comes before ``other`` on a place's way."""
    return state != Place.State.GIVEN_BACK and PLACE_ORDER.index(state) < PLACE_ORDER.index(
        Place.State(other)
    )
