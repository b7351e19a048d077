"""A designer's draft of who makes what, and what it comes to.

A draft holds what the designer asks for: reach, pins, exclusions, and whom she moved by hand. The answer is worked
out afresh from the round whenever it is read, so a draft never disagrees with who offers today.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.core.cache import cache
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from testround import __version__
from testround.kernel import round as kernel
from testround.kernel.assignment import Assignment, AssignmentError, Cost, Exclusion, Pin, assign, cost_of
from testround.kernel.assignment import Place as Seat
from testround.kernel.problems import Problem
from testround.kernel.roundfile import plain
from testround.kernel.words import spoken
from testround.rounds.bridge import seated_round
from testround.rounds.models import Proposal, Round
from testround.rounds.refusals import Refused

# What the solver may take for each of its six objectives before a page shows what it has.
SECONDS = 10.0
# Its reasons hold measures in some form, so they are not kept for long.
CACHED_FOR_SECONDS = 60 * 60


@dataclass(frozen=True, slots=True)
class Asked:
    """A draft in the kernel's terms. ``lost`` says what of it leads nowhere any more and is left out."""

    reach: float
    pins: tuple[Pin, ...]
    exclusions: tuple[Exclusion, ...]
    moves: Mapping[str, Seat | None]
    lost: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drafted:
    """A draft and what it comes to. ``seats`` are the best answer's with the moves by hand laid over them."""

    draft: Proposal
    read: kernel.Round
    asked: Asked
    best: Assignment
    seats: Mapping[str, Seat]
    cost: Cost | None
    """Against the best; None where nobody was moved."""
    word_cost: Cost | None
    """What the pins and exclusions cost against the best without them; None where there are none."""
    seen: str
    """Fingerprint of the round as it was read and of these seats."""


@dataclass(frozen=True, slots=True)
class Gone:
    """What is said of something asked for whose size, or whose yarn, is there no more; ``key`` is the candidate's."""

    size: str
    yarn: str


PIN = Gone(
    gettext_noop("The pin of {key}: there is no size {size}, so it is left out."),
    gettext_noop("The pin of {key}: {yarn} is not supplied any more, so it is left out."),
)
EXCLUSION = Gone(
    gettext_noop("The exclusion of {key}: there is no size {size}, so it is left out."),
    gettext_noop("The exclusion of {key}: {yarn} is not supplied any more, so it is left out."),
)
BY_HAND = Gone(
    gettext_noop("The place chosen by hand for {key}: there is no size {size}, so it is left out."),
    gettext_noop("The place chosen by hand for {key}: {yarn} is not supplied any more, so it is left out."),
)


class Called:
    """Candidates and yarns as a page calls them, in place of the ids and keys of the kernel's sentences."""

    def __init__(self, read: kernel.Round) -> None:
        times = Counter(candidate.name for candidate in read.candidates)
        self.people = {
            one.id: one.name if times[one.name] == 1 else f"{one.name} ({one.id})" for one in read.candidates
        }
        self.yarns = {yarn.key: yarn.label for yarn in read.round.yarns}
        # A size of the same letters is meant as the size.
        sizes = set(read.pattern.sizes)
        self._names = {key: name for key, name in {**self.yarns, **self.people}.items() if key not in sizes}
        words = "|".join(re.escape(key) for key in sorted(self._names, key=len, reverse=True))
        self._pattern = re.compile(rf"(?<![\w.-])(?:{words})(?![\w-])") if words else None

    def __call__(self, sentence: str) -> str:
        sentence = spoken(sentence)
        if self._pattern is None:
            return sentence
        return self._pattern.sub(lambda found: self._names[found[0]], sentence)

    def yarn(self, key: str | None) -> str:
        return self.yarns.get(key, key) if key is not None else _("own yarn")


def draft_of(round: Round) -> Proposal:
    """The round's draft. Where none is kept yet, one that is not saved and starts from what was accepted last."""
    latest = round.proposals.first()
    if latest is None:
        return Proposal(round=round)
    if latest.accepted_at is None:
        return latest
    # Who was left out by hand stays out; everybody else without a place is in reserve.
    out = [key for key, seat in latest.moves.items() if seat is None]
    known = {(one["candidate"], one.get("size")) for one in latest.exclusions}
    return Proposal(
        round=round,
        reach=latest.reach,
        exclusions=[
            *latest.exclusions,
            *({"candidate": key, "size": None} for key in out if (key, None) not in known),
        ],
        revision=latest.revision,
    )


def asked_of(draft: Proposal, read: kernel.Round) -> Asked:
    """What a draft asks for, as far as the people, sizes and yarns are still there."""
    here = {candidate.id for candidate in read.candidates}
    sizes: set[str | None] = {None, *read.pattern.sizes}
    yarns: set[str | None] = {None, *(yarn.key for yarn in read.round.yarns)}
    lost: list[str] = []

    def stands(gone: Gone, key: str, size: str | None, yarn: str | None = None) -> bool:
        if key not in here:
            # They have a place by now or offer no more: nothing is left to be said of them.
            return False
        if size not in sizes:
            lost.append(_(gone.size).format(key=key, size=size))
        elif yarn not in yarns:
            lost.append(_(gone.yarn).format(key=key, yarn=yarn))
        return size in sizes and yarn in yarns

    pins = tuple(
        Pin(one["candidate"], one.get("size"), one.get("yarn"))
        for one in draft.pins
        if stands(PIN, one["candidate"], one.get("size"), one.get("yarn"))
    )
    exclusions = tuple(
        Exclusion(one["candidate"], one.get("size"))
        for one in draft.exclusions
        if stands(EXCLUSION, one["candidate"], one.get("size"))
    )
    moves: dict[str, Seat | None] = {}
    for key, seat in draft.moves.items():
        if seat is None:
            if key in here:
                moves[key] = None
        elif stands(BY_HAND, key, seat.get("size"), seat.get("yarn")):
            moves[key] = Seat(key, seat.get("size"), seat.get("yarn"))
    return Asked(draft.reach, pins, exclusions, moves, tuple(lost))


def best_of(read: kernel.Round, asked: Asked) -> Assignment:
    """The kernel's answer to a draft, kept for an hour for the same question.

    Raises
    ------
    Refused
        What is asked contradicts, each sentence with people and yarns by their names.
    """
    question = [
        __version__,
        read.model_dump_json(),
        asked.reach,
        [(pin.candidate, pin.size, pin.yarn) for pin in asked.pins],
        [(exclusion.candidate, exclusion.size) for exclusion in asked.exclusions],
    ]
    key = f"assignment:{_fingerprint(question)}"
    found = cache.get(key)
    if isinstance(found, Assignment):
        return found
    try:
        found = assign(
            read,
            reach=asked.reach,
            pins=asked.pins,
            exclusions=asked.exclusions,
            seconds=SECONDS,
            free=_without_word(read, asked),
        )
    except AssignmentError as error:
        called = Called(read)
        raise Refused(
            Problem(problem.path, _as_sentence(called(problem.sentence))) for problem in error.problems
        ) from None
    except TimeoutError:
        raise Refused.because(
            _("No proposal was found in the time that a page can take. Give fewer pins, or a shorter reach.")
        ) from None
    cache.set(key, found, CACHED_FOR_SECONDS)
    return found


def drafted(round: Round, draft: Proposal | None = None, read: kernel.Round | None = None) -> Drafted:
    """A draft with all that it comes to: four queries, whatever the number of candidates.

    Raises
    ------
    Refused
        What it asks contradicts.
    """
    draft = draft or draft_of(round)
    read = read or seated_round(round)
    asked = asked_of(draft, read)
    best = best_of(read, asked)
    by_hand = {
        place.candidate: Seat(place.candidate, place.size, place.yarn) for place in best.document.places
    }
    proposed = dict(by_hand)
    for key, seat in asked.moves.items():
        if seat is None:
            by_hand.pop(key, None)
        else:
            by_hand[key] = seat
    cost = None
    if by_hand != proposed:
        cost = cost_of(
            read,
            by_hand.values(),
            reach=asked.reach,
            pins=asked.pins,
            exclusions=asked.exclusions,
            best=best,
        )
    seats = [(seat.candidate, seat.size, seat.yarn) for seat in by_hand.values()]
    seen = _fingerprint([plain(read), sorted(seats, key=str)])
    return Drafted(draft, read, asked, best, by_hand, cost, _word_cost(read, asked, best), seen)


def _without_word(read: kernel.Round, asked: Asked) -> Assignment | None:
    """The best without the designer's word: None where she gave none, or where it is not found in time."""
    if not asked.pins and not asked.exclusions:
        return None
    try:
        return best_of(read, dataclasses.replace(asked, pins=(), exclusions=()))
    except Refused:
        return None


def _word_cost(read: kernel.Round, asked: Asked, best: Assignment) -> Cost | None:
    """What the designer's word costs."""
    free = _without_word(read, asked)
    return cost_of(read, best.document.places, reach=asked.reach, best=free) if free is not None else None


def _fingerprint(value: Any) -> str:
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _as_sentence(text: str) -> str:
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"
