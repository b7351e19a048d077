from __future__ import annotations

import pytest

from testround.rounds.states import place_states_after, round_states_after

ROUND_MOVES = {
    "planned": ["gathering", "swatching", "making", "measuring", "closed"],
    "gathering": ["swatching", "making", "measuring", "closed", "planned"],
    "swatching": ["making", "measuring", "closed", "gathering"],
    "making": ["measuring", "closed", "swatching"],
    "measuring": ["closed", "making"],
    "closed": ["measuring"],
}

PLACE_MOVES = {
    "offered": ["taken", "given back"],
    "taken": ["swatch sent", "gauge agreed", "making", "measured", "done", "given back"],
    "swatch sent": ["gauge agreed", "making", "measured", "done", "taken", "given back"],
    "gauge agreed": ["making", "measured", "done", "swatch sent", "given back"],
    "making": ["measured", "done", "gauge agreed", "given back"],
    "measured": ["done", "making", "given back"],
    "done": ["measured"],
    "given back": [],
}


@pytest.mark.parametrize("state", ROUND_MOVES)
def test_a_round_goes_on_to_any_later_state_or_one_step_back(state: str) -> None:
    assert round_states_after(state) == ROUND_MOVES[state]


@pytest.mark.parametrize("state", PLACE_MOVES)
def test_a_place_is_never_offered_again_and_a_given_back_one_stays_so(state: str) -> None:
    assert place_states_after(state) == PLACE_MOVES[state]
