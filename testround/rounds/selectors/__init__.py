"""What the pages of a round read. Every one starts from who may see it."""

from testround.rounds.selectors.places import InvitationPage, invitation_page, places_in, places_of
from testround.rounds.selectors.round_page import (
    FINISHED,
    Cell,
    Late,
    NextStep,
    RoundPage,
    SizeRow,
    round_page,
)
from testround.rounds.selectors.rounds import (
    diary_of,
    editions_open_to,
    round_for,
    rounds_of,
    rounds_with_progress,
)

__all__ = [
    "FINISHED",
    "Cell",
    "InvitationPage",
    "Late",
    "NextStep",
    "RoundPage",
    "SizeRow",
    "diary_of",
    "editions_open_to",
    "invitation_page",
    "places_in",
    "places_of",
    "round_for",
    "round_page",
    "rounds_of",
    "rounds_with_progress",
]
