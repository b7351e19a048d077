"""What changes a round. Each service is one transaction, and every change is written in the diary."""

from testround.rounds.clock import today_for
from testround.rounds.services.assignment import (
    AlreadyAccepted,
    StaleDraft,
    drafted,
    proposal_accept,
    proposal_plan,
    proposal_save,
)
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
from testround.rounds.services.reserve import (
    candidate_take_back,
    invitation_decline,
    offers_expire,
    reserve_look,
    vacancy_invite,
    vacancy_leave,
)
from testround.rounds.services.rounds import (
    edition_problems,
    round_edit,
    round_move,
    round_open,
    rounds_follow_dates,
    yarn_supply,
    yarn_withdraw,
)

__all__ = [
    "MOST_PLACES_AT_ONCE",
    "AlreadyAccepted",
    "StaleDraft",
    "candidate_take_back",
    "diary_write",
    "drafted",
    "edition_problems",
    "invitation_accept",
    "invitation_check",
    "invitation_create",
    "invitation_decline",
    "invitation_of_secret",
    "invitation_withdraw",
    "offers_expire",
    "person_join",
    "person_of_repeated_press",
    "place_add",
    "place_edit",
    "place_give_back",
    "place_move",
    "place_reach",
    "places_add",
    "proposal_accept",
    "proposal_plan",
    "proposal_save",
    "reserve_look",
    "round_edit",
    "round_move",
    "round_open",
    "rounds_follow_dates",
    "secret_hash",
    "today_for",
    "vacancy_invite",
    "vacancy_leave",
    "yarn_supply",
    "yarn_withdraw",
]
