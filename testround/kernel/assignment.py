"""Who makes which size in which yarn: candidates placed by six objectives in strict order, each proven best.

1. least total shortfall below the sizes' least;
2. most candidates placed;
3. least total misfit, in millionths of a centimetre;
4. fewest wish steps;
5. most sizes with testers in at least two yarns, every own yarn being one of its own;
6. earlier answers before later ones: the least sum of the positions of those placed in the order of answers
   (equal answers by id, no answer last).

A candidate passes from one yarn through themselves to one size, so 1 to 4 are flows through a network; 5 couples
yarn and size and is not. What is still equal after the sixth is settled by the order of answers too, because
candidates are put to the solver in it: the order of the file plays no part.

Testers in the round hold their places: they count towards least and most, use up the yarn whose label is theirs,
and are never moved.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from testround.kernel import offers as offered
from testround.kernel.findings import Assigned, AssignmentDocument, Objective
from testround.kernel.offers import OWN, PER_CM, REACH_CM, AssignmentError, Exclusion, Offers, Pin
from testround.kernel.problems import Problem
from testround.kernel.programme import NoAnswer, Programme, Rows, Step
from testround.kernel.reasons import Reasons, Seat
from testround.kernel.round import Round
from testround.kernel.units import decimal
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop, listed, ngettext, spoken, tell, told

__all__ = [
    "Assignment",
    "AssignmentError",
    "Cost",
    "Exclusion",
    "Pin",
    "Place",
    "Refused",
    "Replacement",
    "Value",
    "assign",
    "cost_of",
    "replace",
]


@dataclass(frozen=True, slots=True)
class Place:
    """A candidate's place: a size (None where there are no sizes) and a yarn (None for their own)."""

    candidate: str
    size: str | None
    yarn: str | None = None


class AnyPlace(Protocol):
    """A place, or an entry of the assignment file."""

    @property
    def candidate(self) -> str: ...
    @property
    def size(self) -> str | None: ...
    @property
    def yarn(self) -> str | None: ...


@dataclass(frozen=True, slots=True)
class Value:
    """What an assignment comes to, in the order in which it is judged."""

    shortfall: int
    placed: int
    misfit: int
    """Millionths of a centimetre."""
    wish_steps: int
    sizes_with_two_yarns: int
    lateness: int
    """Sum of the positions of those placed in the order of answers, the first being 0."""

    @property
    def key(self) -> tuple[int, ...]:
        """Smaller is better."""
        return (
            self.shortfall,
            -self.placed,
            self.misfit,
            self.wish_steps,
            -self.sizes_with_two_yarns,
            self.lateness,
        )

    @property
    def objective(self) -> Objective:
        return Objective(
            shortfall=self.shortfall,
            placed=self.placed,
            misfit_cm=self.misfit / PER_CM,
            wish_steps=self.wish_steps,
            sizes_with_two_yarns=self.sizes_with_two_yarns,
        )


@dataclass(frozen=True, slots=True)
class Refused:
    """A candidate without a place, and why."""

    candidate: str
    why: str


@dataclass(frozen=True, slots=True)
class Assignment:
    """The assignment file, and what it has no room for.

    ``steps`` holds the value and the proven bound of each objective, made as small as possible in turn (what
    should be large stands with a minus).
    """

    document: AssignmentDocument
    refused: tuple[Refused, ...]
    value: Value
    steps: tuple[Step, ...]
    reach: float


def assign(
    round_: Round,
    *,
    reach: float = REACH_CM,
    pins: Sequence[Pin] = (),
    exclusions: Sequence[Exclusion] = (),
    seconds: float | None = None,
    free: Assignment | None = None,
) -> Assignment:
    """The best assignment of a round's candidates to its sizes and yarns.

    Parameters
    ----------
    round_ : Round
        Its plan has the places and yarns, its testers hold places already.
    reach : float
        cm; a size may be that far off (root mean square over the measures both have).
    pins, exclusions : sequences of Pin, Exclusion
        The designer's word, kept always.
    seconds : float, optional
        What the solver may take for each objective. Without it, it goes on until all is proven.
    free : Assignment, optional
        The answer to the same round and reach without the designer's word, where it is at hand. Where it keeps to
        that word and is proven, it is the answer to this too, and nothing is solved again.

    Returns
    -------
    Assignment
        ``document.optimal`` says whether every objective is proven best. Otherwise ``gap`` is that of the first
        that is not: how far it may be from the best, as a share of its value. The same input gives the same
        answer, whatever the order of candidates; with a time limit that runs out it may not.

    Raises
    ------
    AssignmentError
        With all that contradicts, each problem with its path.
    TimeoutError
        Not even the pins could be placed in the time allowed.
    """
    found = offered.problems(round_, reach=reach, pins=pins, exclusions=exclusions)
    if seconds is not None and not seconds > 0:
        found.append(Problem("seconds", _("must be above 0; got {n}").format(n=decimal(seconds))))
    if found:
        raise AssignmentError(found)
    offers = Offers(round_, reach=reach, exclusions=exclusions)
    kept = _kept_anyway(offers, pins, free)
    for pin in pins:
        offers.pin(pin)
    if free is not None and kept is not None:
        return _answer(offers, kept, free.steps)
    try:
        return _solved(offers, seconds)
    except NoAnswer:
        raise AssignmentError([Problem("pins", _why_impossible(offers))]) from None


def _kept_anyway(offers: Offers, pins: Sequence[Pin], free: Assignment | None) -> list[Seat] | None:
    """The seats of the answer without the designer's word, if they keep to it: a word only ever takes choices away,
    or names one that such an answer cannot hold."""
    if free is None or not free.document.optimal:
        return None
    seats, broken = _seats_of(offers, free.document.places)
    return None if broken or _broken(offers, seats, pins) else seats


def _why_impossible(offers: Offers) -> str:
    for pin in offers.pins.values():
        i = offers.at[pin.candidate]
        if not offers.may[i].any():
            return _(
                "{candidate} is pinned, and no size is within reach of them or wished for; pin a size"
            ).format(candidate=pin.candidate)
    return _(
        "{candidates} cannot all have a place: the sizes they can have or the yarns they named are not enough for them; "
        "drop a pin, or raise a yarn's makers or a size's most"
    ).format(candidates=listed(offers.pins))


# The programme --------------------------------------------------------------------------------------------


class _Model:
    """The candidates' choices as columns of a programme.

    Columns: candidate × size where they can have it (x), candidate × yarn for those who need a supplied one (z),
    and by size how many of its places below and above the least are filled.
    """

    def __init__(self, offers: Offers, seconds: float | None) -> None:
        self.offers = offers
        able = offers.may & np.array([bool(k) for k in offers.yarns], dtype=bool)[:, None]
        self.person, self.slot = np.nonzero(able)
        self.x = len(self.person)
        yarn_pairs = [(i, k) for i in np.unique(self.person).tolist() for k in offers.yarns[i] if k != OWN]
        self.yarn_pairs = yarn_pairs
        m = len(offers.slots)
        self.columns = self.x + len(yarn_pairs) + 2 * m
        high = np.ones(self.columns, dtype=np.int64)
        below, above = self.columns - 2 * m, self.columns - m
        n = len(offers.people)
        for j in range(m):
            room = offers.room(j)
            needed = offers.needed(j) if room is None else min(offers.needed(j), room)
            high[below + j] = needed
            high[above + j] = n if room is None else room - needed
        self.below, self.above = below, above
        rows = Rows()
        of_person: dict[int, list[int]] = {}
        of_slot: list[list[int]] = [[] for _ in range(m)]
        for column, (i, j) in enumerate(zip(self.person.tolist(), self.slot.tolist(), strict=True)):
            of_person.setdefault(i, []).append(column)
            of_slot[j].append(column)
        of_yarn: list[list[int]] = [[] for _ in offers.supplied]
        yarns_of: dict[int, list[int]] = {}
        for column, (i, k) in enumerate(yarn_pairs, self.x):
            of_yarn[k].append(column)
            yarns_of.setdefault(i, []).append(column)
        for i, columns in of_person.items():
            rows.add(columns, 1, exact=offers.must[i])
        for i, columns in yarns_of.items():
            sizes = of_person[i]
            rows.add(columns + sizes, 0, exact=True, coefficients=[1] * len(columns) + [-1] * len(sizes))
        for j, columns in enumerate(of_slot):
            ends = [below + j, above + j]
            rows.add(columns + ends, 0, exact=True, coefficients=[1] * len(columns) + [-1, -1])
        for k, columns in enumerate(of_yarn):
            makers = offers.makers(k)
            if makers is not None and columns:
                rows.add(columns, makers)
        self.programme = Programme(rows, high, network=True, seconds=seconds)
        if not offers.must.any():
            self.programme.answer = np.zeros(self.columns, dtype=np.int64)
        elif set(np.flatnonzero(offers.must).tolist()) - set(of_person):
            raise NoAnswer

    def _cost(
        self, values: NDArray[np.int64] | int, begin: int = 0, end: int | None = None
    ) -> NDArray[np.int64]:
        cost = np.zeros(len(self.programme.high), dtype=np.int64)
        cost[begin : self.x if end is None else end] = values
        return cost

    def solve(self) -> list[Seat]:
        """Take the objectives in turn; the seats of the answer."""
        offers, programme = self.offers, self.programme
        programme.minimise(self._cost(-1, self.below, self.above))
        programme.minimise(self._cost(-1))
        programme.minimise(self._cost(offers.misfit[self.person, self.slot]))
        programme.minimise(self._cost(offers.steps[self.person, self.slot]))
        begin = len(programme.high)
        self._two_yarns()
        programme.minimise(self._cost(-1, begin + self.links, len(programme.high)))
        programme.minimise(self._cost(self.person))
        return self._seats()

    def _seats(self) -> list[Seat]:
        answer = self.programme.answer
        assert answer is not None  # noqa: S101 — every objective leaves one
        yarn = {i: k for (i, k), taken in zip(self.yarn_pairs, answer[self.x :], strict=False) if taken}
        taken = np.flatnonzero(answer[: self.x])
        return [
            (i, j, yarn.get(i, OWN))
            for i, j in zip(self.person[taken].tolist(), self.slot[taken].tolist(), strict=True)
        ]

    def _two_yarns(self) -> None:
        """Add, for every size that could have testers in two yarns, whether it does.

        Columns: candidate in size and yarn at once (t), yarn in size (u), size in two yarns (w); ``links`` is how
        many of them come before the w.
        """
        offers, programme = self.offers, self.programme
        high, answer, rows = programme.high, programme.answer, programme.rows
        assert answer is not None  # noqa: S101
        yarns_of: dict[int, list[tuple[int, int]]] = {}
        for column, (i, k) in enumerate(self.yarn_pairs, self.x):
            if high[column]:
                yarns_of.setdefault(i, []).append((k, column))
        size_columns: list[list[tuple[int, int]]] = [[] for _ in offers.slots]
        for column, (i, j) in enumerate(zip(self.person.tolist(), self.slot.tolist(), strict=True)):
            if high[column]:
                size_columns[j].append((i, column))
        start = self._of_answer()
        taken_kinds = set(start.values())
        begin = column = len(high)
        more: list[int] = []
        together: list[tuple[list[int], list[int]]] = []
        in_one_yarn: dict[int, list[int]] = {}
        pending: list[tuple[int, list[tuple[int, list[int]]], list[int]]] = []
        for j, columns in enumerate(size_columns):
            kinds = offers.held_kinds[j]
            if len(kinds) >= 2:
                continue
            own = [x for i, x in columns if offers.yarns[i] == (OWN,)]
            by_yarn: dict[int, list[tuple[int, int, int]]] = {}
            for i, x in columns:
                for k, z in yarns_of.get(i, ()):
                    by_yarn.setdefault(k, []).append((i, x, z))
            if len(own) + len(set(by_yarn) | kinds) < 2:
                continue
            yarns: list[tuple[int, list[int]]] = []
            of_size: dict[int, list[int]] = {}
            for k, links in sorted(by_yarn.items()):
                if k in kinds:
                    # Somebody has it in this size already.
                    continue
                mine = []
                for i, x, z in links:
                    more.append(int(start.get(i) == (j, k)))
                    mine.append(column)
                    of_size.setdefault(x, []).append(column)
                    in_one_yarn.setdefault(z, []).append(column)
                    column += 1
                yarns.append((k, mine))
            together += [([x], ts) for x, ts in of_size.items()]
            pending.append((j, yarns, own))
        together += [([z], ts) for z, ts in in_one_yarn.items()]
        for whole, parts in together:
            rows.add(parts + whole, 0, coefficients=[1] * len(parts) + [-1])
        used: list[tuple[int, list[int], list[int]]] = []
        for j, yarns, own in pending:
            us = []
            for k, ts in yarns:
                more.append(int((j, k) in taken_kinds))
                rows.add([column, *ts], 0, coefficients=[1] + [-1] * len(ts))
                us.append(column)
                column += 1
            used.append((j, us, own))
        self.links = column - begin
        for j, us, own in used:
            held = len(offers.held_kinds[j])
            kinds_now = held + sum(more[u - begin] for u in us) + int(answer[own].sum())
            more.append(int(kinds_now >= 2))
            kinds_columns = us + own
            # Two kinds at least; and, tighter, one at least beside any single supplied yarn.
            rows.add([column, *kinds_columns], held, coefficients=[2] + [-1] * len(kinds_columns))
            for u in us:
                others = [v for v in kinds_columns if v != u]
                rows.add([column, *others], held, coefficients=[1] + [-1] * len(others))
            column += 1
        if column == begin:
            return
        added = np.ones(column - begin, dtype=np.int64)
        assert programme.low is not None  # noqa: S101
        programme.high = np.concatenate([high, added])
        programme.low = np.concatenate([programme.low, np.zeros_like(added)])
        programme.answer = np.concatenate([answer, np.array(more, dtype=np.int64)])
        programme.network = False

    def _of_answer(self) -> dict[int, tuple[int, int]]:
        return {i: (j, k) for i, j, k in self._seats()}


def _solved(offers: Offers, seconds: float | None) -> Assignment:
    model = _Model(offers, seconds)
    return _answer(offers, model.solve(), tuple(model.programme.steps))


def _answer(offers: Offers, seats: list[Seat], steps: tuple[Step, ...]) -> Assignment:
    value = worth(offers, seats)
    reasons = Reasons(offers, seats)
    unproven = next((step for step in steps if not step.proven), None)
    by_size = sorted(seats, key=lambda seat: (seat[1], seat[0]))
    document = AssignmentDocument(
        optimal=unproven is None,
        gap=0.0 if unproven is None else unproven.gap,
        objective=value.objective,
        places=tuple(
            Assigned(
                candidate=offers.people[i].id,
                size=offers.slots[j],
                yarn=offers.yarn_key(k),
                why=reasons.place(i, j),
            )
            for i, j, k in by_size
        ),
        reserve=tuple(reasons.reserve()),
        short=tuple(reasons.short()),
    )
    refused = tuple(Refused(offers.people[i].id, reasons.refusal(i)) for i in reasons.unplaced)
    return Assignment(document, refused, value, steps, offers.reach)


def worth(offers: Offers, seats: Iterable[Seat]) -> Value:
    """What the seats come to, added up afresh."""
    seats = list(seats)
    got = [0] * len(offers.slots)
    kinds = [set(held) for held in offers.held_kinds]
    for i, j, k in seats:
        got[j] += 1
        kinds[j].add(f"own {offers.people[i].id}" if k == OWN else k)
    return Value(
        shortfall=sum(max(offers.needed(j) - got[j], 0) for j in range(len(got))),
        placed=len(seats),
        misfit=sum(int(offers.misfit[i, j]) for i, j, _yarn in seats),
        wish_steps=sum(int(offers.steps[i, j]) for i, j, _yarn in seats),
        sizes_with_two_yarns=sum(len(of_size) >= 2 for of_size in kinds),
        lateness=sum(i for i, _slot, _yarn in seats),
    )


# By hand --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cost:
    """What an assignment made by hand comes to, against the best one.

    ``broken`` are the rules it breaks; ``differences`` say in words how it differs from the best, the most
    weighty first.
    """

    value: Value
    best: Value
    broken: tuple[str, ...]
    differences: tuple[str, ...]

    @property
    def as_good(self) -> bool:
        return not self.broken and self.value.key <= self.best.key


def cost_of(
    round_: Round,
    places: Iterable[AnyPlace],
    *,
    reach: float = REACH_CM,
    pins: Sequence[Pin] = (),
    exclusions: Sequence[Exclusion] = (),
    best: Assignment | None = None,
) -> Cost:
    """What places as somebody moved them come to, the rules they break, and what they cost against the best.

    Parameters
    ----------
    round_, reach, pins, exclusions
        As for :func:`assign`.
    places : iterable of places
        Entries of the assignment file will do. Names that lead nowhere are said and left out.
    best : Assignment, optional
        The answer of :func:`assign` to the same input, where it is at hand.

    Raises
    ------
    AssignmentError
        The input itself contradicts.
    """
    if best is None:
        best = assign(round_, reach=reach, pins=pins, exclusions=exclusions)
    offers = Offers(round_, reach=reach, exclusions=exclusions)
    seats, broken = _seats_of(offers, places)
    broken += _broken(offers, seats, pins)
    value = worth(offers, seats)
    return Cost(value, best.value, tuple(broken), tuple(_differences(value, best.value)))


def _seats_of(offers: Offers, places: Iterable[AnyPlace]) -> tuple[list[Seat], list[str]]:
    seats: list[Seat] = []
    broken: list[str] = []
    seen: set[str] = set()
    testers = {tester.id for tester in offers.round.testers}
    for place in places:
        who = place.candidate
        if who in testers:
            broken.append(_("{candidate} already holds a place, and keeps it.").format(candidate=who))
        elif who not in offers.at:
            broken.append(_("There is no candidate {candidate}.").format(candidate=who))
        elif who in seen:
            broken.append(_("{candidate} has two places.").format(candidate=who))
        elif place.size not in offers.slot_at:
            broken.append(
                _("There is no size {size} for {candidate}.").format(size=place.size, candidate=who)
            )
        elif place.yarn is not None and place.yarn not in offers.yarn_at:
            broken.append(
                _("There is no yarn {yarn} for {candidate}.").format(yarn=place.yarn, candidate=who)
            )
        else:
            yarn = OWN if place.yarn is None else offers.yarn_at[place.yarn]
            seats.append((offers.at[who], offers.slot_at[place.size], yarn))
        seen.add(who)
    return seats, broken


def _broken(offers: Offers, seats: Sequence[Seat], pins: Sequence[Pin]) -> list[str]:
    broken: list[str] = []
    reasons = Reasons(offers, seats)
    pinned = {pin.candidate: pin for pin in pins}
    for i, j, k in seats:
        person, slot = offers.people[i], offers.slots[j]
        pin = pinned.get(person.id)
        if offers.excluded[i, j]:
            out = (
                _("{candidate} is excluded from {size}.")
                if slot
                else _("{candidate} is excluded from the round.")
            )
            broken.append(out.format(candidate=person.id, size=slot))
        elif not offers.may[i, j] and not (pin and pin.size == slot):
            broken.append(
                _("{candidate} cannot have {size}: {why}.").format(
                    candidate=person.id, size=slot, why=spoken(reasons.fit(i, j))
                )
            )
        if k == OWN and not person.own_yarn:
            broken.append(_("{candidate} has no yarn of their own.").format(candidate=person.id))
        elif k != OWN and offers.supplied[k].key not in person.yarns:
            broken.append(
                _("{candidate} did not name {yarn}.").format(candidate=person.id, yarn=offers.supplied[k].key)
            )
    at = {offers.people[i].id: (offers.slots[j], offers.yarn_key(k)) for i, j, k in seats}
    for pin in pins:
        size, yarn = at.get(pin.candidate, (None, None))
        if pin.candidate not in at:
            broken.append(_("{candidate} is pinned and has no place.").format(candidate=pin.candidate))
        elif pin.size not in (None, size) or pin.yarn not in (None, yarn):
            meant = _("{candidate} is pinned to {place}.")
            if pin.size and pin.yarn:
                meant = _("{candidate} is pinned to {size} in {yarn}.")
            broken.append(
                meant.format(
                    candidate=pin.candidate, size=pin.size, yarn=pin.yarn, place=pin.size or pin.yarn or ""
                )
            )
    for j, slot in enumerate(offers.slots):
        most, count = offers.most[j], offers.held[j] + reasons.got[j]
        if most is not None and reasons.got[j] and count > most:
            broken.append(_("{size} takes {most} at most and has {n}.").format(size=slot, most=most, n=count))
    for k, supplied in enumerate(offers.supplied):
        count = offers.held_yarn[k] + reasons.used[k]
        if supplied.makers is not None and reasons.used[k] and count > supplied.makers:
            broken.append(
                _("{yarn} is enough for {makers} and is given to {n}.").format(
                    yarn=supplied.key, makers=supplied.makers, n=count
                )
            )
    return broken


def _differences(value: Value, best: Value) -> list[str]:
    said = []

    def difference(n: int, more: str, fewer: str) -> None:
        said.append((more if n > 0 else fewer).format(n=abs(n)))

    if n := value.shortfall - best.shortfall:
        difference(
            n,
            ngettext(
                "{n} place more below what the sizes need at least",
                "{n} places more below what the sizes need at least",
                abs(n),
            ),
            ngettext(
                "{n} place fewer below what the sizes need at least",
                "{n} places fewer below what the sizes need at least",
                abs(n),
            ),
        )
    if n := value.placed - best.placed:
        difference(
            n,
            ngettext("{n} candidate more placed", "{n} candidates more placed", abs(n)),
            ngettext("{n} candidate fewer placed", "{n} candidates fewer placed", abs(n)),
        )
    if n := value.misfit - best.misfit:
        much = _("{length} more misfit in all") if n > 0 else _("{length} less misfit in all")
        said.append(much.format(length=f"{decimal(abs(n) / PER_CM, '.1f')} cm"))
    if n := value.wish_steps - best.wish_steps:
        difference(
            n,
            ngettext("{n} wish step more", "{n} wish steps more", abs(n)),
            ngettext("{n} wish step fewer", "{n} wish steps fewer", abs(n)),
        )
    if n := value.sizes_with_two_yarns - best.sizes_with_two_yarns:
        difference(
            n,
            ngettext(
                "{n} size more with testers in two yarns", "{n} sizes more with testers in two yarns", abs(n)
            ),
            ngettext(
                "{n} size fewer with testers in two yarns",
                "{n} sizes fewer with testers in two yarns",
                abs(n),
            ),
        )
    if n := value.lateness - best.lateness:
        said.append(_("later answers placed") if n > 0 else _("earlier answers placed"))
    return said


# A place given back ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Replacement:
    """Who is proposed when a place falls free: ``proposed`` come in, ``moved`` change size or yarn."""

    proposed: tuple[Assigned, ...]
    moved: tuple[Assigned, ...]
    why: str
    assignment: Assignment


def replace(
    round_: Round,
    places: Iterable[AnyPlace],
    given_back: str,
    *,
    may_move: Collection[str] = (),
    reach: float = REACH_CM,
    exclusions: Sequence[Exclusion] = (),
    seconds: float | None = None,
) -> Replacement:
    """The next in reserve for a place that was given back or timed out.

    Parameters
    ----------
    round_ : Round
    places : iterable of places
        The places as they stand, of candidates; testers of the round hold theirs.
    given_back : str
        Whose place fell free: one of ``places``, or a tester. They are not proposed again.
    may_move : collection of str
        Candidates who have a place and have not started, and may be given another; nobody unless said.
    reach, exclusions, seconds
        As for :func:`assign`.

    Raises
    ------
    AssignmentError
        Nobody of that id has a place, or the places name what is not there.
    """
    places = list(places)
    testers = {tester.id for tester in round_.testers}
    found = offered.problems(round_, reach=reach, pins=(), exclusions=exclusions)
    if given_back not in testers and given_back not in {place.candidate for place in places}:
        found.append(
            Problem("given_back", _("{candidate} has no place to give back").format(candidate=given_back))
        )
    if found:
        raise AssignmentError(found)
    if given_back in testers:
        left = tuple(tester for tester in round_.testers if tester.id != given_back)
        size = round_.tester(given_back).size
        round_ = round_.model_copy(update={"testers": left})
    else:
        size = next(place.size for place in places if place.candidate == given_back)
        exclusions = [*exclusions, Exclusion(given_back)]
    staying = [place for place in places if place.candidate != given_back]
    offers = Offers(round_, reach=reach, exclusions=exclusions)
    seats, broken = _seats_of(offers, staying)
    if broken:
        raise AssignmentError(Problem("places", said) for said in broken)
    for i, j, k in seats:
        if offers.people[i].id in may_move:
            offers.pin(Pin(offers.people[i].id))
        else:
            offers.keep(i, j, k)
    try:
        result = _solved(offers, seconds)
    except NoAnswer:
        raise AssignmentError(
            [Problem("may_move", _("those who may be moved cannot all keep a place"))]
        ) from None
    before = {place.candidate: (place.size, place.yarn) for place in staying}
    proposed = tuple(place for place in result.document.places if place.candidate not in before)
    moved = tuple(
        place
        for place in result.document.places
        if place.candidate in before and before[place.candidate] != (place.size, place.yarn)
    )
    return Replacement(proposed, moved, _why_replaced(size, proposed, moved), result)


def _why_replaced(size: str | None, proposed: Sequence[Assigned], moved: Sequence[Assigned]) -> str:
    came, went = (
        tuple((place.candidate, place.size, place.yarn) for place in places) for places in (proposed, moved)
    )
    if went:
        stays = tell(gettext_noop("{candidates} moved for it"), candidates=told(_named, went))
    else:
        stays = tell(gettext_noop("nobody else is moved"))
    if not came and size is None:
        return tell(
            gettext_noop(
                "Nobody without a place can have one: by reach, wishes and yarn there is no one in reserve; {stays}."
            ),
            stays=stays,
        )
    if not came:
        return tell(
            gettext_noop(
                "Nobody without a place can have one of size {size}: by reach, wishes and yarn there is no one in "
                "reserve; {stays}."
            ),
            size=size,
            stays=stays,
        )
    return told(_next, came, size, stays)


_Named = tuple[tuple[str, str | None, str | None], ...]


def _named(places: _Named) -> str:
    """Candidates with their sizes and yarns."""
    said = []
    for candidate, size, yarn in places:
        one = _("{candidate} ({size} in {yarn})") if size else "{candidate} ({yarn})"
        said.append(one.format(candidate=candidate, size=size, yarn=yarn or _("own yarn")))
    return listed(said)


def _next(places: _Named, size: str | None, stays: str) -> str:
    if size is None:
        said = ngettext(
            "{candidates} is next for the place; {stays}.",
            "{candidates} are next for the place; {stays}.",
            len(places),
        )
    else:
        said = ngettext(
            "{candidates} is next for the place of size {size}; {stays}.",
            "{candidates} are next for the place of size {size}; {stays}.",
            len(places),
        )
    return said.format(candidates=_named(places), size=size, stays=spoken(stays))
