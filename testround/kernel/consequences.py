"""What a correction does to the rest of a sheet, before anybody publishes it.

The whole sheet is worked and desk-checked as it stands and again as corrected. What it prints and no longer follows
then has to be corrected with it; what nobody could work keeps the correction from being published.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from testround.kernel.amended import Amendment, amended
from testround.kernel.deskcheck import NOISE, DeskCheck, Note, desk_check, put_right
from testround.kernel.round import Pattern
from testround.kernel.sheet import Sheet

FloatArray = NDArray[np.float64]

UNSEEN_CM = 0.05
"""A change that no tape shows, in centimetres."""

COUNTED = ("st", "row", "rep")

UNWORKABLE = ("multiple", "not-whole", "below-zero")
"""Notes of a desk check on counts that nobody can work as they stand."""


@dataclass(frozen=True, slots=True)
class Follows:
    """One thing that changes because another was corrected: by size what it was and what it becomes.

    Counts as they are, dimensions in centimetres, parts and the whole in stitches, yarn in metres.
    """

    key: str
    kind: Literal["number", "dimension", "stitches", "yarn"]
    was: dict[str, float]
    now: dict[str, float]


@dataclass(frozen=True, slots=True)
class Consequences:
    """A sheet after a correction, and what that brings with it.

    Attributes
    ----------
    pattern
        The sheet as corrected.
    follows
        What changes beside the corrected values themselves, in sheet order.
    to_add
        Printed counts and measurements that no longer follow, each with what would: they have to be corrected too.
    unworkable
        Counts that the correction makes nobody able to work.
    notes
        What else the desk check would say that it does not say now.
    """

    pattern: Pattern
    follows: tuple[Follows, ...]
    to_add: tuple[Amendment, ...]
    unworkable: tuple[Note, ...]
    notes: tuple[Note, ...]

    @property
    def holds(self) -> bool:
        """Whether the sheet stands as corrected, so that it can be published."""
        return not self.to_add and not self.unworkable


def consequences(pattern: Pattern, amendments: Sequence[Amendment]) -> Consequences:
    """Correct a sheet and say what follows.

    Parameters
    ----------
    pattern : Pattern
        As it stands with all that is published.
    amendments : sequence of Amendment
        What one erratum would print instead.

    Raises
    ------
    SheetError
        The corrected sheet cannot be computed.
    """
    after = amended(pattern, amendments)
    before_sheet, after_sheet = Sheet(pattern), Sheet(after)
    if not pattern.sizes:
        return Consequences(after, (), (), (), ())
    before, then = desk_check(before_sheet), desk_check(after_sheet)
    stood = {(note.kind, note.key, note.size) for note in before.notes}
    new = [note for note in then.notes if (note.kind, note.key, note.size) not in stood]
    return Consequences(
        pattern=after,
        follows=_follows(before_sheet, after_sheet, amendments),
        to_add=_to_add(after, before, then, amendments),
        unworkable=tuple(note for note in new if note.kind in UNWORKABLE),
        notes=tuple(note for note in new if note.kind not in UNWORKABLE),
    )


def completed(pattern: Pattern, amendments: Sequence[Amendment]) -> tuple[Amendment, ...]:
    """These amendments with everything printed that has to follow them, until nothing is left to add."""
    found = list(amendments)
    # Each turn settles at least one number or measurement, and what is settled stays so.
    for _turn in range(len(pattern.numbers) + len(pattern.dimensions)):
        lacking = consequences(pattern, found).to_add
        if not lacking:
            break
        found = _with(found, lacking)
    return tuple(found)


def _with(amendments: Sequence[Amendment], more: Sequence[Amendment]) -> list[Amendment]:
    """In one list, a subject once."""
    joined = {(one.subject, one.unit): one for one in amendments}
    for one in more:
        old = joined.get((one.subject, one.unit))
        joined[one.subject, one.unit] = (
            one if old is None else Amendment(one.subject, one.unit, {**old.now, **one.now}, old.keeps)
        )
    return list(joined.values())


def _to_add(
    after: Pattern, before: DeskCheck, then: DeskCheck, amendments: Sequence[Amendment]
) -> tuple[Amendment, ...]:
    """What is printed and no longer follows. What did not follow before is no matter of this correction.

    Nor is a corrected count held against itself: where its formula could not be mended it stands all the same.
    """
    stood = {(count.key, count.size) for count in before.counts}
    stood |= {(one.subject, size) for one in amendments if one.unit in COUNTED for size in one.now}
    stood |= {(measurement.key, measurement.size) for measurement in before.measurements}
    units = {number.key: str(number.unit) for number in after.numbers}
    found: dict[str, dict[str, float]] = {}
    for count in then.counts:
        if (count.key, count.size) not in stood:
            # A broken result stands for the whole number nearest to it.
            found.setdefault(count.key, {})[count.size] = max(float(np.floor(count.computed + 0.5)), 0.0)
    for measurement in then.measurements:
        if (measurement.key, measurement.size) not in stood:
            found.setdefault(measurement.key, {})[measurement.size] = rounded_for_print(measurement.follows)
    return tuple(Amendment(key, units.get(key, "cm"), now) for key, now in found.items())


def rounded_for_print(cm: float) -> float:
    """A measurement as a pattern prints it, to the half centimetre; smaller ones to the millimetre."""
    half = float(np.floor(cm * 2 + 0.5) / 2)
    return half if half >= 1 else max(round(cm, 1), 0.1)


def _follows(before: Sheet, after: Sheet, amendments: Sequence[Amendment]) -> tuple[Follows, ...]:
    own = {(one.subject, size) for one in amendments for size in one.now}
    were, are = put_right(before), put_right(after)
    measured = [sheet.dimensions(sheet.stated(), right) for sheet, right in ((before, were), (after, are))]
    found = [_moved("number", key, were[key], are[key], after, own, NOISE) for key in after.order]
    by_key = {one.key: one for one in found if one is not None}
    rows = [by_key[number.key] for number in after.pattern.numbers if number.key in by_key]
    for dimension in after.pattern.dimensions:
        key = dimension.key
        moved = _moved("dimension", key, measured[0][key], measured[1][key], after, own, UNSEEN_CM)
        if moved is not None:
            rows.append(moved)
    return (*rows, *_stitches_and_yarn(before, after, were, are, own))


def _stitches_and_yarn(
    before: Sheet,
    after: Sheet,
    were: dict[str, FloatArray],
    are: dict[str, FloatArray],
    own: set[tuple[str, str]],
) -> list[Follows]:
    """How many stitches the piece takes, and what its yarn becomes if it grows with them (common practice)."""
    old, new = (
        sum(sheet.parts(sheet.stated(), right).values(), np.zeros(len(sheet.pattern.sizes)))
        for sheet, right in ((before, were), (after, are))
    )
    rows = [_moved("stitches", "stitches", old, new, after, own, 0.5)]
    printed = after.pattern.yarn
    if printed:
        yarn = np.array([printed.get(size, np.nan) for size in after.pattern.sizes])
        with np.errstate(divide="ignore", invalid="ignore"):
            rows.append(_moved("yarn", "yarn", yarn, yarn * new / old, after, own, 0.5))
    return [row for row in rows if row is not None]


def _moved(
    kind: Literal["number", "dimension", "stitches", "yarn"],
    key: str,
    was: FloatArray,
    now: FloatArray,
    sheet: Sheet,
    own: set[tuple[str, str]],
    least: float,
) -> Follows | None:
    sizes = sheet.pattern.sizes
    changed = [j for j in np.flatnonzero(np.abs(now - was) > least).tolist() if (key, sizes[j]) not in own]
    if not changed:
        return None
    return Follows(
        key, kind, {sizes[j]: float(was[j]) for j in changed}, {sizes[j]: float(now[j]) for j in changed}
    )
