"""What others said, beside a step of a tester's numbers and at the head of the tester's place.

It is kept by a room above this one, which registers the functions that tell.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Model

from testround.rounds.models import Place


@dataclass(frozen=True, slots=True)
class Reply:
    """One thing said in answer: plain text, when, and whether it came later than the answer itself."""

    text: str
    at: dt.datetime
    is_addition: bool


@dataclass(frozen=True, slots=True)
class Aside:
    """A question at a place in the text, with what was answered so far."""

    question: str
    replies: tuple[Reply, ...]
    url: str


@dataclass(frozen=True, slots=True)
class Asides:
    """What stands beside one place in the text: the first few, and how many there are in all."""

    shown: tuple[Aside, ...]
    count: int
    url: str


@dataclass(frozen=True, slots=True)
class News:
    """Something said in the round: what kind it is, its text, and whether the tester has looked at it yet."""

    what: str
    text: str
    at: dt.datetime
    is_new: bool
    url: str


Speaker = Callable[[Place], Mapping[str, Asides]]
Teller = Callable[[Place], Iterable[News]]
Taker = Callable[[Place], Mapping[int, str]]

_speakers: list[Speaker] = []
_tellers: list[Teller] = []
_takers: list[Taker] = []
# The tables that these functions read, and which of their rows, by the key of a place.
SAID: dict[type[Model], str] = {}


def speaks(speaker: Speaker) -> Speaker:
    """Register a function that gives, for a tester's place, what stands beside each place in the text."""
    _speakers.append(speaker)
    return speaker


def tells(teller: Teller) -> Teller:
    """Register a function that gives the news of a round for the tester of a place."""
    _tellers.append(teller)
    return teller


def takes_up(taker: Taker) -> Taker:
    """Register a function that gives, for a tester's place, the remarks that a designer made of what the tester
    asked: by the remark's key, the address of the question."""
    _takers.append(taker)
    return taker


def taken_up_of(place: Place) -> dict[int, str]:
    """Remarks of a place that its tester asked as a question and did not send, with the address of the question."""
    return {pk: url for taker in _takers for pk, url in taker(place).items()}


def asides_of(place: Place) -> dict[str, Asides]:
    """By place in the text, in a number of queries that does not grow with what was said."""
    asides: dict[str, Asides] = {}
    for speaker in _speakers:
        asides.update(speaker(place))
    return asides


def news_of(place: Place) -> list[News]:
    """The newest first."""
    return sorted(
        (news for teller in _tellers for news in teller(place)), key=lambda news: news.at, reverse=True
    )
