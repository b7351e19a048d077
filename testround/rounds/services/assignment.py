"""Who makes what: the designer's draft, what it comes to, and the step from it to invitations.

A draft holds what the designer asks for: reach, pins, exclusions, and whom she moved by hand. The answer is worked
out afresh from the round whenever it is read, so a draft never disagrees with who offers today; what she has
looked at has a fingerprint, and nothing else than that is accepted.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.cache import cache
from django.db import transaction
from django.utils import timezone

from testround import __version__
from testround.kernel import round as kernel
from testround.kernel.assignment import Assignment, AssignmentError, Cost, Exclusion, Pin, assign, cost_of
from testround.kernel.assignment import Place as Seat
from testround.kernel.problems import Problem
from testround.kernel.roundfile import plain
from testround.patterns.access import Right, require
from testround.people.models import User
from testround.rounds import letters
from testround.rounds.bridge import seated_round
from testround.rounds.clock import end_of_day, today_for
from testround.rounds.models import Place, Proposal, Round
from testround.rounds.refusals import Refused
from testround.rounds.services.diary import diary_write
from testround.rounds.services.invitations import invitation_create
from testround.rounds.services.places import place_add
from testround.rounds.services.rounds import checked_plan, locked_round
from testround.rounds.services.vacancies import places_fill

# What the solver may take for each of its six objectives before a page shows what it has.
SECONDS = 10.0
# Its reasons hold measures in some form, so they are not kept for long.
CACHED_FOR_SECONDS = 60 * 60
LONGEST_REACH_CM = 50.0
MOST_OFFER_DAYS = 90


class StaleDraft(Refused):
    """The draft, or who offers, is no longer what the page showed."""


class AlreadyAccepted(Refused):
    """This very proposal was accepted a moment ago, by the same press or another tab."""


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
        if self._pattern is None:
            return sentence
        return self._pattern.sub(lambda found: self._names[found[0]], sentence)

    def yarn(self, key: str | None) -> str:
        return self.yarns.get(key, key) if key is not None else "own yarn"


# Reading a draft ------------------------------------------------------------------------------------------


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

    def stands(what: str, key: str, size: str | None, yarn: str | None = None) -> bool:
        if key not in here:
            # They have a place by now or offer no more: nothing is left to be said of them.
            return False
        if size not in sizes:
            lost.append(f"{what} {key}: there is no size {size}, so it is left out.")
        elif yarn not in yarns:
            lost.append(f"{what} {key}: {yarn} is not supplied any more, so it is left out.")
        return size in sizes and yarn in yarns

    pins = tuple(
        Pin(one["candidate"], one.get("size"), one.get("yarn"))
        for one in draft.pins
        if stands("The pin of", one["candidate"], one.get("size"), one.get("yarn"))
    )
    exclusions = tuple(
        Exclusion(one["candidate"], one.get("size"))
        for one in draft.exclusions
        if stands("The exclusion of", one["candidate"], one.get("size"))
    )
    moves: dict[str, Seat | None] = {}
    for key, seat in draft.moves.items():
        if seat is None:
            if key in here:
                moves[key] = None
        elif stands("The place chosen by hand for", key, seat.get("size"), seat.get("yarn")):
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
        plain(read),
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
            "No proposal was found in the time that a page can take. Give fewer pins, or a shorter reach."
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


# Changing a draft -----------------------------------------------------------------------------------------


def proposal_save(
    *,
    round: Round,
    by: User,
    revision: int,
    reach: float | None = None,
    pins: Sequence[Mapping[str, str | None]] | None = None,
    exclusions: Sequence[Mapping[str, str | None]] | None = None,
    moves: Mapping[str, Mapping[str, str | None] | None] | None = None,
) -> Proposal:
    """Save what of the draft is given, if it is the draft that was seen and nothing in it contradicts.

    Raises
    ------
    StaleDraft
        It was saved elsewhere since.
    Refused
        What would be asked contradicts; nothing is saved.
    """
    require(by, Right.EDIT, round.edition.pattern)
    changes = {"reach": reach, "pins": pins, "exclusions": exclusions, "moves": moves}
    given = {field: value for field, value in changes.items() if value is not None}
    if reach is not None and not 0 <= reach <= LONGEST_REACH_CM:
        raise Refused.because(f"The reach is a length from 0 to {LONGEST_REACH_CM:g} cm.", "reach")
    draft = draft_of(round)
    _check_revision(draft, revision)
    for field, value in given.items():
        setattr(draft, field, value)
    # Worked out before anything is locked: it may take its time, and the page asks for the same at once.
    read = seated_round(round)
    best_of(read, asked_of(draft, read))
    with transaction.atomic():
        locked = locked_round(round.pk)
        _check_revision(draft_of(locked), revision)
        draft.revision = revision + 1
        draft.save()
    return draft


def _check_revision(draft: Proposal, revision: int) -> None:
    if draft.revision != revision:
        raise StaleDraft.because(
            "This draft was changed since you opened the page, perhaps in another tab. What you chose is kept "
            "below beside it: look again, and save again."
        )


def proposal_limits(
    *,
    round: Round,
    by: User,
    revision: int,
    reach: float,
    places_plan: Mapping[str, object] | None,
    invite_next: bool,
    offer_days: int,
) -> Proposal:
    """Change what a proposal keeps to: the reach, how many testers each size needs and takes, and what happens
    when a place falls free. All of it or nothing.

    Raises
    ------
    StaleDraft
        The draft was saved elsewhere since.
    Refused
        A size takes fewer than it needs or is none of the pattern's, or a pin cannot be kept any more.
    """
    require(by, Right.EDIT, round.edition.pattern)
    # Worked out before anything is locked, on a round that is not saved; the saving then finds it done.
    ahead = Round.objects.select_related("edition__pattern__owner").get(pk=round.pk)
    ahead.places_plan = checked_plan(places_plan, ahead.edition.document)
    draft, read = draft_of(ahead), seated_round(ahead)
    draft.reach = reach
    best_of(read, asked_of(draft, read))
    with transaction.atomic():
        _plan(round, by, places_plan, invite_next, offer_days)
        return proposal_save(round=locked_round(round.pk), by=by, revision=revision, reach=reach)


def _plan(
    round: Round,
    by: User,
    places_plan: Mapping[str, object] | None,
    invite_next: bool,
    offer_days: int,
) -> None:
    locked = locked_round(round.pk)
    plan = checked_plan(places_plan, locked.edition.document)
    if not 1 <= offer_days <= MOST_OFFER_DAYS:
        raise Refused.because(f"An offer stands for 1 to {MOST_OFFER_DAYS} days.", "offer_days")
    changes = []
    if (locked.places_plan or None) != plan:
        changes.append("how many testers each size needs")
        locked.places_plan = plan
    if locked.invite_next != invite_next:
        # Who may not invite does not have it done by the program either.
        require(by, Right.INVITE, locked.edition.pattern)
        who = "at once" if invite_next else "by the designer"
        changes.append(f"the next in reserve is invited {who}")
        locked.invite_next = invite_next
    if locked.offer_days != offer_days:
        changes.append(f"offers to the next in reserve stand for {offer_days} days")
        locked.offer_days = offer_days
    if changes:
        locked.save(update_fields=["places_plan", "invite_next", "offer_days"])
        diary_write(round=locked, by=by, text=f"Plan changed: {'; '.join(changes)}.")


# Accepting it ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Offered:
    """A place that was offered, with its link; ``mailed`` says whether the link is on its way."""

    place: Place
    url: str
    mailed: bool


def proposal_accept(*, round: Round, by: User, revision: int, seen: str, until: dt.date) -> list[Offered]:
    """Offer every seat of the draft to its candidate until the end of a day, and invite whoever has an address.

    All of it happens or nothing. Whoever has no seat stays in reserve, but for those left out by hand.

    Parameters
    ----------
    seen : str
        The fingerprint of what the designer looked at.

    Raises
    ------
    AlreadyAccepted
        The same press came twice.
    StaleDraft
        The draft, the round or who offers has changed since the designer looked.
    Refused
        A size or a yarn would have more than it takes, the day is past, or nobody has a seat.
    """
    require(by, Right.INVITE, round.edition.pattern)
    _check_not_accepted(round, revision)
    if until < today_for(round):
        raise Refused.because("That day is past: pick today or a later one.", "until")
    shown = drafted(round)
    if shown.draft.revision != revision or shown.seen != seen:
        raise _stale()
    if not shown.seats:
        raise Refused.because("Nobody has a place in this proposal, so there is nobody to invite.")
    with transaction.atomic():
        locked = locked_round(round.pk)
        _check_not_accepted(locked, revision)
        draft = draft_of(locked)
        if draft.revision != revision or plain(seated_round(locked)) != plain(shown.read):
            raise _stale()
        offered = _offer(locked, shown, end_of_day(locked, until), by)
        draft.revision = revision + 1
        draft.accepted_at = timezone.now()
        draft.save()
        places_fill(locked, [one.place for one in offered])
        n, left = len(offered), len(shown.read.candidates) - len(offered)
        diary_write(
            round=locked,
            by=by,
            text=f"Proposal accepted: {n} place{'' if n == 1 else 's'} offered until {letters.day(until)}; "
            f"{left} without a place.",
        )
    return offered


def _offer(round: Round, shown: Drafted, until: dt.datetime, by: User) -> list[Offered]:
    people = {candidate.key: candidate for candidate in round.candidates.filter(key__in=shown.seats)}
    measures = {candidate.id: candidate.measures for candidate in shown.read.candidates}
    yarns = {yarn.key: yarn for yarn in round.yarns.all()}
    sizes = {size: at for at, size in enumerate(shown.read.pattern.sizes)}
    offered = []
    for seat in sorted(shown.seats.values(), key=lambda seat: sizes.get(seat.size or "", 0)):
        person = people[seat.candidate]
        place = place_add(
            round=round,
            name=person.name,
            size=seat.size,
            measures=measures[seat.candidate],
            yarn=yarns[seat.yarn] if seat.yarn is not None else None,
            candidate=person,
            offered_until=until,
            by=by,
        )
        _, url = invitation_create(place=place, email=person.email, by=by)
        offered.append(Offered(place, url, bool(person.email)))
    return offered


def _check_not_accepted(round: Round, revision: int) -> None:
    latest = round.proposals.first()
    if latest is not None and latest.accepted_at is not None and latest.revision == revision + 1:
        raise AlreadyAccepted.because("This proposal has been accepted already; nobody is invited twice.")


def _stale() -> StaleDraft:
    return StaleDraft.because(
        "Since you looked, the draft, the plan or those who offer have changed. Nobody is invited yet: look at "
        "the proposal as it is now, and accept that."
    )
