"""What changes a round. Each service is one transaction, and every change is written in the diary."""

from testround.rounds.services.diary import diary_write
from testround.rounds.services.invitations import (
    invitation_accept,
    invitation_check,
    invitation_create,
    invitation_of_secret,
    invitation_withdraw,
    person_join,
    person_of_repeated_press,
    secret_hash,
)
from testround.rounds.services.places import (
    MOST_PLACES_AT_ONCE,
    place_add,
    place_edit,
    place_give_back,
    place_move,
    place_reach,
    places_add,
)
from testround.rounds.services.rounds import (
    edition_problems,
    round_edit,
    round_move,
    round_open,
    rounds_follow_dates,
    today_for,
    yarn_supply,
    yarn_withdraw,
)

__all__ = [
    "MOST_PLACES_AT_ONCE",
    "diary_write",
    "edition_problems",
    "invitation_accept",
    "invitation_check",
    "invitation_create",
    "invitation_of_secret",
    "invitation_withdraw",
    "person_join",
    "person_of_repeated_press",
    "place_add",
    "place_edit",
    "place_give_back",
    "place_move",
    "place_reach",
    "places_add",
    "round_edit",
    "round_move",
    "round_open",
    "rounds_follow_dates",
    "secret_hash",
    "today_for",
    "yarn_supply",
    "yarn_withdraw",
]
