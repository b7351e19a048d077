"""Why somebody has a place, or none, or is next in reserve, or a size is left short: in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from testround.kernel.findings import Reserve, Short
from testround.kernel.offers import OWN, PER_CM, Offers

Seat = tuple[int, int, int]
"""A place by positions: candidate, slot, and supplied yarn or ``OWN``."""

WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def number_word(n: int) -> str:
    return WORDS[n] if n < len(WORDS) else str(n)


def ordinal(n: int) -> str:
    if n < len(ORDINALS):
        return ORDINALS[n]
    ending = "th" if n % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"


def listed(names: Iterable[str], word: str = "and") -> str:
    """Names as a sentence has them: a, b and c."""
    *most, last = names
    return f"{', '.join(most)} {word} {last}" if most else last


def centimetres(cm: float) -> str:
    """A length that is not exceeded, to the tenth above."""
    tenths = math.ceil(round(cm * 10, 5))
    return f"{tenths // 10} cm" if tenths % 10 == 0 else f"{tenths / 10:.1f} cm"


def sentence(*clauses: str) -> str:
    said = "; ".join(clause for clause in clauses if clause)
    return f"{said[:1].upper()}{said[1:]}."


class Reasons:
    """The sentences of one assignment.

    Parameters
    ----------
    offers : Offers
    seats : sequence of Seat
        Who has which place; every candidate at most once.
    """

    def __init__(self, offers: Offers, seats: Sequence[Seat]) -> None:
        self.offers = offers
        self.seats = {i: (j, k) for i, j, k in seats}
        self.got = [0] * len(offers.slots)
        self.used = [0] * len(offers.supplied)
        self.used_in: list[set[int]] = [set() for _ in offers.slots]
        for _, j, k in seats:
            self.got[j] += 1
            if k != OWN:
                self.used[k] += 1
                self.used_in[j].add(k)
        self.unplaced = [i for i in range(len(offers.people)) if i not in self.seats]

    # What a candidate brings

    def fit(self, i: int, j: int) -> str:
        """How near the candidate's measures come to the size: "bust within 1.2 cm of S"."""
        slot = self.offers.slots[j]
        if slot is None:
            return ""
        if not self.offers.compared[i]:
            return f"no measure to compare with {slot}"
        off = [(key.replace("_", " "), abs(float(by[i, j]))) for key, by in self.offers.measures]
        off = [(key, cm) for key, cm in off if not math.isnan(cm)]
        furthest, most = max(off, key=lambda one: one[1])
        if not self.offers.fits[i, j]:
            if len(off) == 1:
                return f"{furthest} {centimetres(most)} from {slot}, beyond the reach"
            together = centimetres(self.offers.misfit[i, j] / PER_CM)
            return f"{together} from {slot} over {len(off)} measures, beyond the reach"
        if centimetres(most) == "0 cm":
            return f"{listed(key for key, _ in off) if len(off) <= 3 else f'{len(off)} measures'} exactly as in {slot}"
        if len(off) <= 3:
            return f"{listed(key for key, _ in off)} within {centimetres(most)} of {slot}"
        return f"{len(off)} measures within {centimetres(most)} of {slot}, {furthest} the furthest off"

    def wish(self, i: int, j: int) -> str:
        wishes, slot = self.offers.people[i].wishes, self.offers.slots[j]
        if not wishes or slot is None:
            return ""
        return f"{ordinal(wishes.index(slot) + 1)} wish" if slot in wishes else "not among their wishes"

    # Places

    def place(self, i: int, j: int) -> str:
        """Why the candidate has a place of that size."""
        offers, slot = self.offers, self.offers.slots[j]
        needed, most = offers.needed(j), offers.most[j]
        pin = offers.pins.get(offers.people[i].id)
        if slot is None:
            last = "made to measure, so any measures do"
        elif pin is not None and pin.size == slot:
            last = "pinned by the designer"
        elif 0 < self.got[j] <= needed:
            last = f"{slot} needed {number_word(needed)}{' more' if offers.held[j] else ''}"
        else:
            last = f"{slot} has room" if most is None else f"{slot} takes up to {number_word(most)}"
        return sentence(self.fit(i, j), self.wish(i, j), last)

    # Those without a place

    def _free_yarns(self, i: int) -> list[int]:
        free = []
        for k in self.offers.yarns[i]:
            makers = None if k == OWN else self.offers.makers(k)
            if makers is None or self.used[k] < makers:
                free.append(k)
        return free

    def _full(self, j: int) -> bool:
        room = self.offers.room(j)
        return room is not None and self.got[j] >= room

    def reserve(self) -> list[Reserve]:
        """Who is next when a place of a size falls free, nobody else being moved: by fit, wishes, then answers."""
        offers = self.offers
        found = []
        free = {i: self._free_yarns(i) for i in self.unplaced}
        for j, slot in enumerate(offers.slots):
            if not self.got[j] and not offers.held[j]:
                continue
            line = []
            for i in self.unplaced:
                if offers.may[i, j] and (free[i] or self._freed_with(i, j)):
                    line.append((int(offers.misfit[i, j]), int(offers.steps[i, j]), i))
            for rank, (_, _, i) in enumerate(sorted(line), 1):
                if self._full(j):
                    state = f"{slot} is full"
                else:
                    state = "every place is taken" if slot is None else f"every place in {slot} is taken"
                    if not free[i]:
                        state = (
                            "there is room but no yarn" if slot is None else f"{slot} has room but no yarn"
                        )
                turn = "next in line" if rank == 1 else f"{ordinal(rank)} in line"
                if not free[i]:
                    keys = [offers.supplied[k].key for k in self._freed_with(i, j)]
                    turn += f" if {listed(keys, 'or')} comes free with the place"
                why = sentence(state, turn, self.fit(i, j), self.wish(i, j))
                found.append(Reserve(candidate=offers.people[i].id, size=slot, rank=rank, why=why))
        return found

    def _freed_with(self, i: int, j: int) -> list[int]:
        """The yarns the candidate named that a place of the size would give back."""
        kinds = self.used_in[j] | {kind for kind in self.offers.held_kinds[j] if isinstance(kind, int)}
        return [k for k in self.offers.yarns[i] if k in kinds]

    def refusal(self, i: int) -> str:
        """Why the candidate has no place."""
        offers, person = self.offers, self.offers.people[i]
        if not offers.may[i].any():
            return self._out_of_reach(i)
        if not offers.yarns[i]:
            return "Has no yarn of their own and named none of those supplied."
        could = [j for j in range(len(offers.slots)) if offers.may[i, j]]
        full = [j for j in could if self._full(j)]
        if not self._free_yarns(i):
            gone = listed((offers.supplied[k].key for k in offers.yarns[i]), "or")
            why = f"no makers are left of {gone}, {'which they' if len(offers.yarns[i]) > 1 else 'the yarn they'} named"
            return sentence(why, self._all_full(full) if len(full) == len(could) else "")
        if len(full) == len(could):
            excluded = [str(offers.slots[j]) for j in np.flatnonzero(offers.excluded[i])]
            if excluded:
                names = [str(offers.slots[j]) for j in full]
                is_ = "is" if len(names) == 1 else "are"
                return sentence(
                    f"{listed(names)} {is_} full", f"excluded from {listed(excluded)} by the designer"
                )
            return sentence(self._all_full(full))
        return f"{person.name} could still have a place; the search was stopped before it was done."

    def _all_full(self, full: Sequence[int]) -> str:
        names = [str(self.offers.slots[j]) for j in full if self.offers.slots[j] is not None]
        if not names:
            return ""
        if len(names) == 1:
            return f"{names[0]} is full, and no other size is within reach or wished for"
        return f"{listed(names)} are full"

    def _out_of_reach(self, i: int) -> str:
        offers = self.offers
        if (offers.fits[i] | offers.wished[i]).any():
            gone = [str(s) for s, out in zip(offers.slots, offers.excluded[i], strict=True) if out and s]
            everywhere = bool(offers.excluded[i].all())
            return f"Excluded {'' if everywhere or not gone else f'from {listed(gone)} '}by the designer."
        if not offers.slots:
            return "The pattern has no sizes yet."
        if not offers.compared[i]:
            return "Gave no measure that the sizes have, and no wish."
        near = int(np.argmin(offers.misfit[i]))
        return (
            f"No size is within {offers.reach:g} cm: the nearest, {offers.slots[near]}, is "
            f"{centimetres(offers.misfit[i, near] / PER_CM)} off."
        )

    # Sizes left short

    def short(self) -> list[Short]:
        """The sizes below their least, and why."""
        found = []
        for j, slot in enumerate(self.offers.slots):
            got = self.offers.held[j] + self.got[j]
            if slot is not None and got < self.offers.least[j]:
                why = self._why_short(j, slot)
                found.append(Short(size=slot, wanted=self.offers.least[j], got=got, why=why))
        return found

    def _why_short(self, j: int, slot: str) -> str:
        offers = self.offers
        if not offers.people:
            return "There are no candidates."
        could = [i for i in range(len(offers.people)) if offers.may[i, j]]
        excluded = int(((offers.fits[:, j] | offers.wished[:, j]) & offers.excluded[:, j]).sum())
        out = f"{excluded} excluded by the designer" if excluded else ""
        if not could:
            measure = (
                f"'s {offers.measures[0][0].replace('_', ' ')} is" if len(offers.measures) == 1 else " is"
            )
            wish = ", and nobody wished for it" if any(person.wishes for person in offers.people) else ""
            if out:
                return sentence(f"everyone who could make {slot} was excluded by the designer")
            return f"No candidate{measure} within {offers.reach:g} cm of {slot}{wish}."
        elsewhere = [i for i in could if i in self.seats and self.seats[i][0] != j]
        without = [i for i in could if i not in self.seats]
        n = len(could)
        clauses = [
            f"{'only ' if n < offers.needed(j) else ''}{number_word(n)} candidate{'' if n == 1 else 's'} "
            f"could make {slot}"
        ]
        if elsewhere:
            names = [str(offers.slots[s]) for s in sorted({self.seats[i][0] for i in elsewhere})]
            clauses.append(
                f"{self._some(len(elsewhere), n, 'is', 'are')} placed in {listed(names)}, "
                f"which would be left short in {'its' if len(names) == 1 else 'their'} turn"
            )
        if without:
            clauses.append(f"no yarn is left that {self._some(len(without), n, 'has', 'have')} named")
        return sentence(*clauses, out)

    def _some(self, part: int, n: int, is_: str, are: str) -> str:
        """Part of those who could: "they are", "one of them is"."""
        if part == n:
            return f"they {are}"
        return f"{number_word(part)} of them {is_ if part == 1 else are}"
