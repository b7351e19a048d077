"""Who can have which size and yarn: candidates against sizes and yarns, before anybody is placed.

A candidate can have a size when the root-mean-square difference between their measures and the size's, over the
measures both have, is at most the reach, or when they wished for that size; a designer's pin goes before both. A
made-to-measure round has no sizes: there everybody can have a place, and it is written with the size ``None``.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from testround.kernel.problems import InputProblems, Problem
from testround.kernel.round import Candidate, Round, SuppliedYarn, Yarn
from testround.kernel.roundfile import plan_and_candidate_problems
from testround.kernel.units import decimal
from testround.kernel.words import commas, listed, ngettext, pgettext
from testround.kernel.words import gettext as _

REACH_CM = 5.0
"""How far off a size may be, unless the designer says otherwise."""

PER_CM = 1_000_000
"""Misfit is counted in whole millionths of a centimetre, so that the least sum of it can be proven."""

OWN = -1
"""Stands for a candidate's own yarn where yarns are counted by their position."""

# A difference of exactly the reach is within it, whatever binary arithmetic makes of 86.3 − 81.3.
NOISE_CM = 1e-9


class AssignmentError(InputProblems):
    """What was asked for cannot be kept; ``problems`` says all that contradicts."""


@dataclass(frozen=True, slots=True)
class Pin:
    """The designer's word that a candidate has a place: in this size or any, in this yarn or any."""

    candidate: str
    size: str | None = None
    yarn: str | None = None


@dataclass(frozen=True, slots=True)
class Exclusion:
    """The designer's word that a candidate has no place of this size, or none at all."""

    candidate: str
    size: str | None = None


class Offers:
    """Candidates in the order of their answers, and what each of them can have.

    Parameters
    ----------
    round_ : Round
    reach : float
        cm; a size further off than that is for those who wished for it.
    exclusions : sequence of Exclusion
        Of people and sizes that are in the round; see :func:`problems`.

    Attributes
    ----------
    people : tuple of Candidate
        Earliest answer first, those without one last; equal answers by id. n of them.
    slots : tuple of str or None
        The sizes, or one nameless slot. m of them.
    misfit : array of int, shape (n, m)
        Root-mean-square difference in millionths of a centimetre, and 0 where ``compared`` says there is
        nothing to compare.
    compared : array of bool, shape (n,)
        Whether the candidate gave any measure that the sizes have.
    steps : array of int, shape (n, m)
        Wish steps: 0 for a first wish; the number of wishes plus 1 for a size not wished for.
    may : array of bool, shape (n, m)
        Whether the candidate can have the size.
    yarns : list of tuple of int
        For each candidate the positions of the yarns they can have; ``(OWN,)`` for their own.
    least, most : list of int, list of int or None
        By slot. ``most`` is None where nothing limits it.
    held, held_yarn : list of int
        Places that testers hold already, by slot and by yarn.
    held_kinds : list of set
        By slot, the yarns of those testers; every own yarn is one of its own.
    """

    def __init__(
        self,
        round_: Round,
        *,
        reach: float = REACH_CM,
        exclusions: Sequence[Exclusion] = (),
    ) -> None:
        self.round = round_
        self.reach = reach
        self.pins: dict[str, Pin] = {}
        self.in_size: Counter[int] = Counter()
        self.in_yarn: Counter[int] = Counter()
        self.slots: tuple[str | None, ...] = round_.pattern.sizes if round_.pattern.is_graded else (None,)
        self.people = tuple(sorted(round_.candidates, key=_by_answer))
        self.at = {person.id: i for i, person in enumerate(self.people)}
        self.slot_at = {slot: j for j, slot in enumerate(self.slots)}
        self.supplied: tuple[SuppliedYarn, ...] = round_.round.yarns
        self.yarn_at = {yarn.key: k for k, yarn in enumerate(self.supplied)}
        self._measure()
        self._wish()
        self._hold()
        self.excluded = np.zeros((len(self.people), len(self.slots)), dtype=bool)
        for exclusion in exclusions:
            i = self.at[exclusion.candidate]
            self.excluded[i, slice(None) if exclusion.size is None else self.slot_at[exclusion.size]] = True
        self.may = (self.fits | self.wished) & ~self.excluded
        self.yarns = [self._yarns_of(person) for person in self.people]
        self.must: NDArray[np.bool_] = np.zeros(len(self.people), dtype=bool)

    def pin(self, pin: Pin) -> None:
        """Keep the designer's word: this candidate has a place, in this size and yarn where they are named."""
        i = self.at[pin.candidate]
        self.pins[pin.candidate] = pin
        self.must[i] = True
        if pin.size is not None:
            self._only(i, self.slot_at[pin.size])
        if pin.yarn is not None:
            self._in_yarn(i, self.yarn_at[pin.yarn])

    def keep(self, i: int, j: int, k: int) -> None:
        """Leave the candidate in the place they have, whatever the limits and wishes say."""
        self.must[i] = True
        self._only(i, j)
        self._in_yarn(i, k)

    def _only(self, i: int, j: int) -> None:
        self.may[i] = False
        self.may[i, j] = True
        self.in_size[j] += 1

    def _in_yarn(self, i: int, k: int) -> None:
        self.yarns[i] = (k,)
        if k != OWN:
            self.in_yarn[k] += 1

    def _yarns_of(self, person: Candidate) -> tuple[int, ...]:
        # An own yarn takes nothing from anybody and is a yarn of its own: no supplied one is ever better.
        if person.own_yarn:
            return (OWN,)
        return tuple(self.yarn_at[key] for key in dict.fromkeys(person.yarns))

    def _measure(self) -> None:
        n, m = len(self.people), len(self.slots)
        total, count = np.zeros((n, m)), np.zeros((n, 1))
        self.measures: list[tuple[str, NDArray[np.float64]]] = []
        for measure in self.round.pattern.measures:
            if not measure.values or not self.round.pattern.is_graded:
                continue
            own = np.array([person.measures.get(measure.key, math.nan) for person in self.people])
            sizes = np.array([measure.values[slot] for slot in self.slots if slot is not None])
            off = own[:, None] - sizes
            given = ~np.isnan(own)[:, None]
            total += np.where(given, off**2, 0.0)
            count += given
            self.measures.append((measure.key, off))
        rms = np.sqrt(total / np.maximum(count, 1))
        self.compared: NDArray[np.bool_] = count[:, 0] > 0
        self.misfit: NDArray[np.int64] = np.rint(rms * PER_CM).astype(np.int64)
        self.fits: NDArray[np.bool_] = (rms <= self.reach + NOISE_CM) & self.compared[:, None]
        if not self.round.pattern.is_graded:
            self.fits[:] = True

    def _wish(self) -> None:
        shape = (len(self.people), len(self.slots))
        self.steps: NDArray[np.int64] = np.zeros(shape, dtype=np.int64)
        self.wished: NDArray[np.bool_] = np.zeros(shape, dtype=bool)
        for i, person in enumerate(self.people):
            if person.wishes:
                self.steps[i] = len(person.wishes) + 1
                for step, size in enumerate(person.wishes):
                    self.steps[i, self.slot_at[size]] = step
                    self.wished[i, self.slot_at[size]] = True

    def _hold(self) -> None:
        places = self.round.round.places
        least: Mapping[str, int] = (places.least if places else None) or {}
        most: Mapping[str, int] = (places.most if places else None) or {}
        self.least = [least.get(slot, 0) if slot is not None else 0 for slot in self.slots]
        self.most = [most.get(slot) if slot is not None else None for slot in self.slots]
        self.held = [0] * len(self.slots)
        self.held_yarn = [0] * len(self.supplied)
        self.held_kinds: list[set[int | str]] = [set() for _ in self.slots]
        for tester in self.round.testers:
            j = self.slot_at.get(tester.size)
            if j is not None:
                self.held[j] += 1
            if tester.yarn is None:
                continue
            k = supplied_yarn(self.round, tester.yarn)
            if k is not None:
                self.held_yarn[k] += 1
            if j is not None:
                self.held_kinds[j].add(f"own {tester.id}" if k is None else k)

    def room(self, j: int) -> int | None:
        """How many more testers the size takes; None where nothing limits it. Those who stay always have room."""
        most = self.most[j]
        if most is None:
            return None
        return max(most - self.held[j], self.in_size[j])

    def makers(self, k: int) -> int | None:
        """How many more testers the yarn can clothe; None where nothing limits it."""
        makers = self.supplied[k].makers
        if makers is None:
            return None
        return max(makers - self.held_yarn[k], self.in_yarn[k])

    def needed(self, j: int) -> int:
        """How many more testers the size needs for its least."""
        return max(self.least[j] - self.held[j], 0)

    def yarn_key(self, k: int) -> str | None:
        """The key of a supplied yarn; None for a candidate's own."""
        return None if k == OWN else self.supplied[k].key


def supplied_yarn(round_: Round, yarn: Yarn) -> int | None:
    """The position of the supplied yarn that a tester has; None when it is their own.

    A tester's yarn has no key: one labelled as a supplied yarn is that yarn.
    """
    label = yarn.label.casefold()
    return next((k for k, one in enumerate(round_.round.yarns) if one.label.casefold() == label), None)


def _by_answer(person: Candidate) -> tuple[bool, float, str]:
    moment = person.answered
    return (moment is None, 0.0 if moment is None else moment.timestamp(), person.id)


# What contradicts -----------------------------------------------------------------------------------------


def problems(
    round_: Round, *, reach: float, pins: Sequence[Pin], exclusions: Sequence[Exclusion]
) -> list[Problem]:
    """All that cannot be kept at once, each with its path: in the round, or in ``pins`` and ``exclusions``."""
    found = list(plan_and_candidate_problems(round_))
    if not math.isfinite(reach) or reach < 0:
        found.append(
            Problem("reach", _("must be a length in cm, 0 or more; got {reach}").format(reach=decimal(reach)))
        )
    known = _Known(round_)
    found += known.of_yarns()
    for i, exclusion in enumerate(exclusions):
        path = f"exclusions[{i}]"
        found += known.of_candidate(exclusion.candidate, path)
        found += known.of_size(exclusion.size, path)
    found += known.of_pins(pins, exclusions)
    return found


class _Known:
    """The names in a round, and how much of everything is taken."""

    def __init__(self, round_: Round) -> None:
        self.round = round_
        self.candidates = {candidate.id: candidate for candidate in round_.candidates}
        self.testers = {tester.id for tester in round_.testers}
        self.yarns = {yarn.key: yarn for yarn in round_.round.yarns}
        held = Counter(supplied_yarn(round_, t.yarn) for t in round_.testers if t.yarn is not None)
        self.held_yarn = {yarn.key: held[k] for k, yarn in enumerate(round_.round.yarns)}
        self.held = Counter(tester.size for tester in round_.testers)

    def of_yarns(self) -> Iterator[Problem]:
        for k, yarn in enumerate(self.round.round.yarns):
            held = self.held_yarn[yarn.key]
            if yarn.makers is not None and yarn.makers < held:
                yield Problem(
                    f"round.yarns[{k}].makers",
                    _(
                        "{makers} is fewer than the {held} testers who already make in {key}; raise it or change "
                        "their yarn"
                    ).format(makers=yarn.makers, held=held, key=yarn.key),
                )

    def of_candidate(self, name: str, path: str) -> Iterator[Problem]:
        if name in self.testers:
            yield Problem(
                f"{path}.candidate", _("{name} already holds a place, and keeps it").format(name=name)
            )
        elif name not in self.candidates:
            yield Problem(
                f"{path}.candidate",
                _("there is no candidate {name}; {known}").format(name=name, known=_listed(self.candidates)),
            )

    def of_size(self, size: str | None, path: str) -> Iterator[Problem]:
        sizes = self.round.pattern.sizes
        if size is not None and size not in sizes:
            yield Problem(
                f"{path}.size",
                _("there is no size {size}; {known}").format(size=size, known=_listed(sizes)),
            )

    def _of_yarn(self, yarn: str | None, path: str) -> Iterator[Problem]:
        if yarn is not None and yarn not in self.yarns:
            yield Problem(
                f"{path}.yarn",
                _("there is no yarn {yarn}; {known}").format(yarn=yarn, known=_listed(self.yarns)),
            )

    def of_pins(self, pins: Sequence[Pin], exclusions: Sequence[Exclusion]) -> Iterator[Problem]:
        excluded = {(exclusion.candidate, exclusion.size) for exclusion in exclusions}
        places = self.round.round.places
        most: Mapping[str, int] = (places.most if places else None) or {}
        in_size: Counter[str] = Counter()
        in_yarn: Counter[str] = Counter()
        seen: set[str] = set()
        for i, pin in enumerate(pins):
            path, who = f"pins[{i}]", pin.candidate
            yield from self.of_candidate(who, path)
            yield from self.of_size(pin.size, path)
            if who in seen:
                yield Problem(f"{path}.candidate", _("{who} is pinned twice; keep one pin").format(who=who))
                yield from self._of_yarn(pin.yarn, path)
                continue
            seen.add(who)
            if who in self.candidates and (who, None) in excluded:
                yield Problem(path, _("{who} is pinned and excluded; drop one of the two").format(who=who))
            elif pin.size is not None and (who, pin.size) in excluded:
                yield Problem(
                    path,
                    _("{who} is pinned to {size} and excluded from it; drop one of the two").format(
                        who=who, size=pin.size
                    ),
                )
            if who in self.candidates and pin.size in self.round.pattern.sizes:
                in_size[pin.size] += 1
                limit, held = most.get(pin.size), self.held[pin.size]
                if limit is not None and in_size[pin.size] + held > limit:
                    yield Problem(
                        f"{path}.size",
                        _(
                            "{size} takes {limit} at most, and this pin would make {in_size}; raise its most or drop "
                            "a pin"
                        ).format(size=pin.size, limit=limit, in_size=in_size[pin.size] + held),
                    )
            yield from self._of_pinned_yarn(pin, path, in_yarn)

    def _of_pinned_yarn(self, pin: Pin, path: str, in_yarn: Counter[str]) -> Iterator[Problem]:
        yield from self._of_yarn(pin.yarn, path)
        person = self.candidates.get(pin.candidate)
        if person is None or pin.yarn not in (None, *self.yarns):
            return
        if pin.yarn is None:
            if not person.own_yarn and not person.yarns:
                yield Problem(
                    path,
                    _(
                        "{id} has no yarn of their own and named none; ask which, or whether they bring one"
                    ).format(id=person.id),
                )
            return
        if pin.yarn not in person.yarns:
            named = listed(person.yarns) if person.yarns else pgettext("of yarns", "none")
            yield Problem(
                f"{path}.yarn",
                _("{id} did not name {yarn}; they named {named}").format(
                    id=person.id, yarn=pin.yarn, named=named
                ),
            )
        in_yarn[pin.yarn] += 1
        limit, held = self.yarns[pin.yarn].makers, self.held_yarn[pin.yarn]
        if limit is not None and held <= limit < in_yarn[pin.yarn] + held:
            yield Problem(
                f"{path}.yarn",
                _(
                    "{yarn} is enough for {limit}, and this pin would make {in_yarn}; raise its makers or "
                    "drop a pin"
                ).format(yarn=pin.yarn, limit=limit, in_yarn=in_yarn[pin.yarn] + held),
            )


def _listed(names: Collection[Any]) -> str:
    if not names:
        return _("there is none")
    shown = commas(list(map(str, names))[:12]) + (" …" if len(names) > 12 else "")
    return ngettext("there is {names}", "there are {names}", len(names)).format(names=shown)
