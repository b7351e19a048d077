"""What changes a round. Each service is one transaction, and every change is written in the diary."""

from testround.rounds.clock import today_for
from testround.rounds.services.assignment import (
    AlreadyAccepted,
    Offered,
    StaleDraft,
    proposal_accept,
    proposal_limits,
    proposal_save,
)
from testround.rounds.services.call import (
    call_address_renew,
    call_close,
    call_edit,
    call_open,
    calls_close_by_date,
)
from testround.rounds.services.dates import likely_days_keep, place_needs_until, rounds_follow_places
from testround.rounds.services.diary import diary_write
from testround.rounds.services.drafts import drafted
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
from testround.rounds.services.offers import (
    offer_change,
    offer_check,
    offer_confirm,
    offer_make,
    offer_of_secret,
    offer_withdraw,
    offers_forget,
)
from testround.rounds.services.places import (
    MOST_PLACES_AT_ONCE,
    place_add,
    place_count,
    place_edit,
    place_give_back,
    place_move,
    place_reach,
    places_add,
)
from testround.rounds.services.reminders import invitations_remind, nudge_send, reminders_send
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
from testround.rounds.services.unanswered import invitations_ended_tell

__all__ = [
    "MOST_PLACES_AT_ONCE",
    "AlreadyAccepted",
    "Offered",
    "StaleDraft",
    "call_address_renew",
    "call_close",
    "call_edit",
    "call_open",
    "calls_close_by_date",
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
    "invitations_ended_tell",
    "invitations_remind",
    "likely_days_keep",
    "nudge_send",
    "offer_change",
    "offer_check",
    "offer_confirm",
    "offer_make",
    "offer_of_secret",
    "offer_withdraw",
    "offers_expire",
    "offers_forget",
    "person_join",
    "person_of_repeated_press",
    "place_add",
    "place_count",
    "place_edit",
    "place_give_back",
    "place_move",
    "place_needs_until",
    "place_reach",
    "places_add",
    "proposal_accept",
    "proposal_limits",
    "proposal_save",
    "reminders_send",
    "reserve_look",
    "round_edit",
    "round_move",
    "round_open",
    "rounds_follow_dates",
    "rounds_follow_places",
    "secret_hash",
    "today_for",
    "vacancy_invite",
    "vacancy_leave",
    "yarn_supply",
    "yarn_withdraw",
]
