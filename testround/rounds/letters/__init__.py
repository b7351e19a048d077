"""The words of a round's mails, read on a phone: those about a place by their own names, the others by subject."""

from testround.rounds.letters import call, dates, people
from testround.rounds.letters.places import (
    Letter,
    declined,
    given_back,
    invitation,
    invitation_ends,
    taken_back,
    unanswered,
    welcome,
)
from testround.rounds.letters.words import day, size_of

__all__ = [
    "Letter",
    "call",
    "dates",
    "day",
    "declined",
    "given_back",
    "invitation",
    "invitation_ends",
    "people",
    "size_of",
    "taken_back",
    "unanswered",
    "welcome",
]
