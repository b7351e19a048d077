"""Why somebody has a place, or none, or is next in reserve, or a size is left short: in sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from testround.kernel.findings import Reserve, Short
from testround.kernel.offers import OWN, PER_CM, Offers
from testround.kernel.units import decimal
from testround.kernel.words import (
    either,
    gettext_noop,
    listed,
    ngettext,
    number_word,
    ordinal_word,
    spoken,
    tell,
    told,
)
from testround.kernel.words import gettext as _

Seat = tuple[int, int, int]
"""A place by positions: candidate, slot, and supplied yarn or ``OWN``."""


def centimetres(cm: float) -> str:
    """A length that is not exceeded, to the tenth above."""
    tenths = math.ceil(round(cm * 10, 5))
    return f"{tenths // 10} cm" if tenths % 10 == 0 else f"{decimal(tenths / 10, '.1f')} cm"


def sentence(*clauses: str) -> str:
    """Clauses, some of which may be empty, as one sentence."""
    return told(_sentence, *(clause for clause in clauses if clause))


def _sentence(*clauses: str) -> str:
    said = "; ".join(map(spoken, clauses))
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
        for _i, j, k in seats:
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
            return tell(gettext_noop("no measure to compare with {size}"), size=slot)
        off = [(key.replace("_", " "), abs(float(by[i, j]))) for key, by in self.offers.measures]
        off = [(key, cm) for key, cm in off if not math.isnan(cm)]
        furthest, most = max(off, key=lambda one: one[1])
        if not self.offers.fits[i, j]:
            if len(off) == 1:
                return tell(
                    gettext_noop("{measure} {length} from {size}, beyond the reach"),
                    measure=furthest,
                    length=told(centimetres, most),
                    size=slot,
                )
            return tell(
                gettext_noop("{length} from {size} over {n} measures, beyond the reach"),
                length=told(centimetres, float(self.offers.misfit[i, j]) / PER_CM),
                size=slot,
                n=len(off),
            )
        names = told(listed, tuple(key for key, _cm in off))
        if centimetres(most) == "0 cm":
            if len(off) <= 3:
                return tell(gettext_noop("{measures} exactly as in {size}"), measures=names, size=slot)
            return tell(gettext_noop("{n} measures exactly as in {size}"), n=len(off), size=slot)
        within = told(centimetres, most)
        if len(off) <= 3:
            return tell(
                gettext_noop("{measures} within {length} of {size}"), measures=names, length=within, size=slot
            )
        return tell(
            gettext_noop("{n} measures within {length} of {size}, {measure} the furthest off"),
            n=len(off),
            length=within,
            size=slot,
            measure=furthest,
        )

    def wish(self, i: int, j: int) -> str:
        wishes, slot = self.offers.people[i].wishes, self.offers.slots[j]
        if not wishes or slot is None:
            return ""
        if slot not in wishes:
            return tell(gettext_noop("not among their wishes"))
        return tell(gettext_noop("{nth} wish"), nth=told(ordinal_word, wishes.index(slot) + 1))

    # Places

    def place(self, i: int, j: int) -> str:
        """Why the candidate has a place of that size."""
        offers, slot = self.offers, self.offers.slots[j]
        needed, most = offers.needed(j), offers.most[j]
        pin = offers.pins.get(offers.people[i].id)
        if slot is None:
            last = tell(gettext_noop("made to measure, so any measures do"))
        elif pin is not None and pin.size == slot:
            last = tell(gettext_noop("pinned by the designer"))
        elif 0 < self.got[j] <= needed:
            message = (
                gettext_noop("{size} needed {n} more")
                if offers.held[j]
                else gettext_noop("{size} needed {n}")
            )
            last = tell(message, size=slot, n=told(number_word, needed))
        elif most is None:
            last = tell(gettext_noop("{size} has room"), size=slot)
        else:
            last = tell(gettext_noop("{size} takes up to {n}"), size=slot, n=told(number_word, most))
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
            for rank, (_misfit, _steps, i) in enumerate(sorted(line), 1):
                if self._full(j):
                    state = gettext_noop("{size} is full")
                elif slot is None:
                    state = gettext_noop("every place is taken")
                    if not free[i]:
                        state = gettext_noop("there is room but no yarn")
                else:
                    state = gettext_noop("every place in {size} is taken")
                    if not free[i]:
                        state = gettext_noop("{size} has room but no yarn")
                keys = () if free[i] else tuple(offers.supplied[k].key for k in self._freed_with(i, j))
                turn = told(_turn, rank, keys)
                why = sentence(tell(state, size=slot), turn, self.fit(i, j), self.wish(i, j))
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
            return tell(gettext_noop("Has no yarn of their own and named none of those supplied."))
        could = [j for j in range(len(offers.slots)) if offers.may[i, j]]
        full = [j for j in could if self._full(j)]
        if not self._free_yarns(i):
            gone = told(either, tuple(offers.supplied[k].key for k in offers.yarns[i]))
            message = (
                gettext_noop("no makers are left of {yarns}, which they named")
                if len(offers.yarns[i]) > 1
                else gettext_noop("no makers are left of {yarns}, the yarn they named")
            )
            why = tell(message, yarns=gone)
            return sentence(why, self._all_full(full) if len(full) == len(could) else "")
        if len(full) == len(could):
            excluded = [str(offers.slots[j]) for j in np.flatnonzero(offers.excluded[i])]
            if excluded:
                names = [str(offers.slots[j]) for j in full]
                out = tell(
                    gettext_noop("excluded from {sizes} by the designer"), sizes=told(listed, tuple(excluded))
                )
                return sentence(told(_are_full, tuple(names)), out)
            return sentence(self._all_full(full))
        return tell(
            gettext_noop("{name} could still have a place; the search was stopped before it was done."),
            name=person.name,
        )

    def _all_full(self, full: Sequence[int]) -> str:
        names = [str(self.offers.slots[j]) for j in full if self.offers.slots[j] is not None]
        if not names:
            return ""
        if len(names) == 1:
            return tell(
                gettext_noop("{size} is full, and no other size is within reach or wished for"), size=names[0]
            )
        return told(_are_full, tuple(names))

    def _out_of_reach(self, i: int) -> str:
        offers = self.offers
        if (offers.fits[i] | offers.wished[i]).any():
            gone = [str(s) for s, out in zip(offers.slots, offers.excluded[i], strict=True) if out and s]
            everywhere = bool(offers.excluded[i].all())
            if everywhere or not gone:
                return tell(gettext_noop("Excluded by the designer."))
            return tell(
                gettext_noop("Excluded from {sizes} by the designer."), sizes=told(listed, tuple(gone))
            )
        if not offers.slots:
            return tell(gettext_noop("The pattern has no sizes yet."))
        if not offers.compared[i]:
            return tell(gettext_noop("Gave no measure that the sizes have, and no wish."))
        near = int(np.argmin(offers.misfit[i]))
        return tell(
            gettext_noop("No size is within {reach}: the nearest, {size}, is {length} off."),
            reach=told(_reach, offers.reach),
            size=offers.slots[near],
            length=told(centimetres, float(offers.misfit[i, near]) / PER_CM),
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
            return tell(gettext_noop("There are no candidates."))
        could = [i for i in range(len(offers.people)) if offers.may[i, j]]
        excluded = int(((offers.fits[:, j] | offers.wished[:, j]) & offers.excluded[:, j]).sum())
        out = told(_excluded, excluded) if excluded else ""
        if not could:
            if out:
                return tell(
                    gettext_noop("Everyone who could make {size} was excluded by the designer."), size=slot
                )
            wished = any(person.wishes for person in offers.people)
            if len(offers.measures) == 1:
                message = (
                    gettext_noop(
                        "No candidate's {measure} is within {reach} of {size}, and nobody wished for it."
                    )
                    if wished
                    else gettext_noop("No candidate's {measure} is within {reach} of {size}.")
                )
            elif wished:
                message = gettext_noop("No candidate is within {reach} of {size}, and nobody wished for it.")
            else:
                message = gettext_noop("No candidate is within {reach} of {size}.")
            measure = offers.measures[0][0].replace("_", " ") if offers.measures else ""
            return tell(message, measure=measure, reach=told(_reach, offers.reach), size=slot)
        elsewhere = [i for i in could if i in self.seats and self.seats[i][0] != j]
        without = [i for i in could if i not in self.seats]
        n = len(could)
        clauses = [told(_could_make, n, slot, n < offers.needed(j))]
        if elsewhere:
            names = tuple(str(offers.slots[s]) for s in sorted({self.seats[i][0] for i in elsewhere}))
            clauses.append(told(_placed_elsewhere, len(elsewhere), n, names))
        if without:
            clauses.append(told(_without_yarn, len(without), n))
        return sentence(*clauses, out)


# Clauses in which a number decides --------------------------------------------------------------------------


def _reach(cm: float) -> str:
    return f"{decimal(cm)} cm"


def _turn(rank: int, yarns: tuple[str, ...]) -> str:
    if rank == 1 and yarns:
        return _("next in line if {yarns} comes free with the place").format(yarns=either(yarns))
    if rank == 1:
        return _("next in line")
    if yarns:
        return _("{nth} in line if {yarns} comes free with the place").format(
            nth=ordinal_word(rank), yarns=either(yarns)
        )
    return _("{nth} in line").format(nth=ordinal_word(rank))


def _are_full(sizes: tuple[str, ...]) -> str:
    return ngettext("{sizes} is full", "{sizes} are full", len(sizes)).format(sizes=listed(sizes))


def _excluded(n: int) -> str:
    return ngettext("{n} excluded by the designer", "{n} excluded by the designer", n).format(n=n)


def _could_make(n: int, size: str, too_few: bool) -> str:
    if too_few:
        said = ngettext("only {n} candidate could make {size}", "only {n} candidates could make {size}", n)
    else:
        said = ngettext("{n} candidate could make {size}", "{n} candidates could make {size}", n)
    return said.format(n=number_word(n), size=size)


def _placed_elsewhere(part: int, n: int, sizes: tuple[str, ...]) -> str:
    """Where ``part`` of the ``n`` who could are placed."""
    if part == n:
        said = ngettext(
            "they are placed in {sizes}, which would be left short in its turn",
            "they are placed in {sizes}, which would be left short in their turn",
            len(sizes),
        )
    elif part == 1:
        said = ngettext(
            "one of them is placed in {sizes}, which would be left short in its turn",
            "one of them is placed in {sizes}, which would be left short in their turn",
            len(sizes),
        )
    else:
        said = ngettext(
            "{n} of them are placed in {sizes}, which would be left short in its turn",
            "{n} of them are placed in {sizes}, which would be left short in their turn",
            len(sizes),
        )
    return said.format(n=number_word(part), sizes=listed(sizes))


def _without_yarn(part: int, n: int) -> str:
    if part == n:
        return _("no yarn is left that they have named")
    return ngettext(
        "no yarn is left that {n} of them has named", "no yarn is left that {n} of them have named", part
    ).format(n=number_word(part))
