"""The desk check: what the edition prints, against what its own formulas give. It needs no testers.

Two kinds of result are faults, and become findings: a printed count that its formula does not give, and a
printed measurement that the counts do not give at the stated gauge. Everything else is a note: a place to
look at, which may well be meant.

One misprint is one fault. A count that follows from a misprinted one is judged on the computed value of that
one, and a printed measurement is right when it agrees with the printed counts or with the computed ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from testround.kernel.odd_measures import odd_sizes
from testround.kernel.round import Constant, Dimension, Number, Shaping
from testround.kernel.shaping import ShapingError, spelled
from testround.kernel.sheet import FloatArray, GaugeColumns, Inputs, Sheet
from testround.kernel.units import format_count, format_length
from testround.kernel.words import gettext as _

BoolArray = NDArray[np.bool_]

ROUNDING_CM = 2.54 / 4
"""How far a printed measurement may lie off: it may be rounded to the half centimetre or the quarter inch,
up or down as the designer likes, so anything within the larger of the two is rounding and not a fault."""

MOST_EASE_CM = 25.0
"""A width that differs from the body by more was never meant to go round it (common practice)."""

OTHER_BODY = 0.25
"""A step in the body wide enough to drown the rounding to stitch multiples."""

NOISE = 1e-6

NoteKind = Literal[
    "multiple", "measure", "step", "ease", "below-zero", "not-whole", "follows-misprint", "shaping"
]


@dataclass(frozen=True, slots=True)
class PrintedCount:
    """A printed number that its formula does not give."""

    key: str
    size: str
    printed: float
    computed: float
    place: str


@dataclass(frozen=True, slots=True)
class PrintedMeasurement:
    """A printed measurement that the counts do not give at the stated gauge; cm.

    ``follows`` is what they give, misprinted counts taken at their computed value.
    """

    key: str
    size: str
    printed: float
    follows: float
    tolerance: float
    verdict: Literal["amend", "look-closer"]


@dataclass(frozen=True, slots=True)
class Note:
    """Something to look at that may be meant."""

    kind: NoteKind
    key: str
    size: str
    sentence: str


@dataclass(frozen=True, slots=True)
class DeskCheck:
    """Everything a desk check says, in sheet order, then size order."""

    counts: tuple[PrintedCount, ...]
    measurements: tuple[PrintedMeasurement, ...]
    notes: tuple[Note, ...]

    @property
    def clean(self) -> bool:
        """Whether nothing printed is at fault; notes do not count."""
        return not self.counts and not self.measurements


def desk_check(sheet: Sheet, *, notes: bool = True) -> DeskCheck:
    """Compare everything the edition prints with what its formulas give.

    Parameters
    ----------
    sheet : Sheet
        A graded pattern's sheet; a made-to-measure one prints nothing and comes back clean.
    notes : bool
        Whether to look for notes as well; the faults alone take half the time.

    Returns
    -------
    DeskCheck
    """
    if not sheet.pattern.sizes:
        return DeskCheck((), (), ())
    work = _Work(sheet)
    return DeskCheck(
        tuple(work.misprinted_counts()), tuple(work.misprinted_measurements()), tuple(work.notes())
    )


class _Work:
    """The arrays a desk check compares; one entry per size each."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.sizes = sheet.pattern.sizes
        self.stated = sheet.stated()
        self.printed = sheet.printed_numbers()
        self.computed = sheet.numbers(self.stated)
        self.misprints = self.find_misprints()
        self.accepted = {
            key: np.where(self.misprints[key], np.nan, value) for key, value in self.printed.items()
        }
        self.right = sheet.numbers(self.stated, self.accepted)
        """Every number with misprints put right: printed where that is good, else computed."""
        self.printed_dimensions = sheet.printed_dimensions()
        self.from_right = sheet.dimensions(self.stated, self.right)
        self.from_printed = sheet.dimensions(self.stated, sheet.numbers(self.stated, self.printed))
        self.from_computed = sheet.dimensions(self.stated, self.computed)

    # Counts

    def find_misprints(self) -> dict[str, BoolArray]:
        """Which printed counts no reading of their formula gives.

        A formula without rounding gives broken stitches where whole ones are printed, so a count may follow
        from the printed, whole value of another as well as from its broken one. Which values are good depends
        on which others are, so the two are worked in turn until nothing changes.
        """
        misprints = {key: unlike(value, self.computed[key]) for key, value in self.printed.items()}
        for _turn in range(len(self.printed)):
            good = {key: np.where(misprints[key], np.nan, value) for key, value in self.printed.items()}
            worked = self.sheet.numbers(self.stated, good)
            # A number is never judged on its own printed value: each is worked afresh from the others.
            again = {key: misprints[key] & self.unlike_afresh(key, good, worked) for key in misprints}
            if all(np.array_equal(again[key], misprints[key]) for key in misprints):
                break
            misprints = again
        return misprints

    def unlike_afresh(
        self, key: str, good: Mapping[str, FloatArray], worked: Mapping[str, FloatArray]
    ) -> BoolArray:
        # Where a value is a misprint so far, ``good`` has NaN there and ``worked`` is its formula's value.
        return np.isnan(good[key]) & unlike(self.printed[key], worked[key])

    def misprinted_counts(self) -> Iterator[PrintedCount]:
        for number in self.sheet.pattern.numbers:
            for j in np.flatnonzero(self.misprints[number.key]):
                yield PrintedCount(
                    key=number.key,
                    size=self.sizes[j],
                    printed=float(self.printed[number.key][j]),
                    computed=float(self.right[number.key][j]),
                    place=number.place or number.label,
                )

    # Measurements

    def off(self, key: str) -> BoolArray:
        """Where a printed measurement agrees neither with the printed counts nor with the right ones."""
        printed = self.printed_dimensions[key]
        agrees = np.zeros(len(self.sizes), dtype=np.bool_)
        for follows in (self.from_right[key], self.from_printed[key], self.from_computed[key]):
            agrees |= np.abs(printed - follows) <= ROUNDING_CM + NOISE
        return ~np.isnan(printed) & ~np.isnan(self.from_right[key]) & ~agrees

    def misprinted_measurements(self) -> Iterator[PrintedMeasurement]:
        for dimension in self.sheet.pattern.dimensions:
            for j in np.flatnonzero(self.off(dimension.key)):
                printed = float(self.printed_dimensions[dimension.key][j])
                follows = float(self.from_right[dimension.key][j])
                beyond = abs(printed - follows) > dimension.tolerance + NOISE
                yield PrintedMeasurement(
                    key=dimension.key,
                    size=self.sizes[j],
                    printed=printed,
                    follows=follows,
                    tolerance=dimension.tolerance,
                    verdict="amend" if beyond else "look-closer",
                )

    # Notes

    def notes(self) -> Iterator[Note]:
        for number in self.sheet.pattern.numbers:
            yield from self.count_notes(number)
        yield from self.shaping_notes()
        for dimension in self.sheet.pattern.dimensions:
            yield from self.misprint_notes(dimension)
        for one in odd_sizes(self.sheet.pattern):
            yield Note("measure", one.key, one.size or "", one.doubt.sentence)
        yield from self.step_notes()
        for dimension in self.sheet.pattern.dimensions:
            yield from self.ease_notes(dimension)

    def count_notes(self, number: Number) -> Iterator[Note]:
        key = number.key
        printed = self.printed[key]
        rule = self.sheet.multiple_of(key)
        if rule is not None:
            of, plus = rule
            wanted = (
                _("{printed} is printed, and is not a multiple of {of} plus {plus}.")
                if plus
                else _("{printed} is printed, and is not a multiple of {of}.")
            )
            steps = (printed - plus) / of
            for j in np.flatnonzero(np.abs(steps - np.rint(steps)) > NOISE):
                yield self.note(
                    "multiple",
                    number,
                    j,
                    wanted.format(
                        printed=format_count(printed[j]), of=format_count(of), plus=format_count(plus)
                    ),
                )
        else:
            for j in np.flatnonzero(np.abs(printed - np.rint(printed)) > NOISE):
                yield self.note(
                    "not-whole",
                    number,
                    j,
                    _("{printed} is printed, and is not whole.").format(printed=format_count(printed[j])),
                )
        computed = self.computed[key]
        for j in np.flatnonzero(computed < 0):
            said = _("the formula gives {computed}, which nobody can work.").format(
                computed=format_count(computed[j])
            )
            yield self.note("below-zero", number, j, said)

    def shaping_notes(self) -> Iterator[Note]:
        """Shapings that cannot be worked as they stand: a question each, with what might be meant."""
        by_key = self.sheet.shapings(self.stated, self.right)
        craft = self.sheet.pattern.craft
        for shaping in self.sheet.pattern.shapings:
            columns = by_key[shaping.key]
            known = ~np.isnan(columns.start + columns.end + columns.over)
            for j in np.flatnonzero(known):
                start, end, over = (float(c[j]) for c in (columns.start, columns.end, columns.over))
                try:
                    spelled(shaping, start, end, over, craft)
                except ShapingError as refusal:
                    yield self.note("shaping", shaping, j, str(refusal))

    def misprint_notes(self, dimension: Dimension) -> Iterator[Note]:
        key = dimension.key
        printed = self.printed_dimensions[key]
        right = self.from_right[key]
        with_misprint = np.abs(printed - self.from_printed[key]) <= ROUNDING_CM + NOISE
        with_right = np.abs(printed - right) <= ROUNDING_CM + NOISE
        for j in np.flatnonzero(with_misprint & ~with_right & ~np.isnan(printed)):
            said = _(
                "{printed} follows from a count that is misprinted; with that put right it becomes {right}."
            ).format(printed=format_length(printed[j]), right=format_length(right[j]))
            yield self.note("follows-misprint", dimension, j, said)

    def step_notes(self) -> Iterator[Note]:
        """Sizes that break the run of their neighbours: measures first, then counts no measure explains.

        Only counts worked from a measure themselves: in what is worked from other counts, roundings pile up.
        """
        bodies = {measure.key for measure in self.sheet.pattern.measures}
        explained: set[tuple[str, str]] = set()
        odd = {(one.key, one.size) for one in odd_sizes(self.sheet.pattern)}
        for measure in self.sheet.pattern.measures:
            run = self.stated.measures[measure.key]
            for j in _breaks(run, floor=2.0):
                size = self.sizes[j]
                explained.update((follower, size) for follower in self.body_followers[measure.key])
                if (measure.key, size) in odd:
                    continue
                yield Note("step", measure.key, size, self.step_sentence(measure.label, run, j, in_cm=True))
        for number in self.sheet.pattern.numbers:
            if bodies.isdisjoint(self.sheet.uses(number.key)):
                continue
            run = self.right[number.key]
            rule = self.sheet.multiple_of(number.key)
            for j in _breaks(run, floor=2 * max(rule[0] if rule else 1.0, 1.0)):
                size = self.sizes[j]
                if (number.key, size) in explained:
                    continue
                explained.update((follower, size) for follower in self.sheet.follows(number.key))
                yield Note("step", number.key, size, self.step_sentence(number.label, run, j, in_cm=False))

    def step_sentence(self, label: str, run: FloatArray, j: int, *, in_cm: bool) -> str:
        show = format_length if in_cm else format_count
        before, here, after = (show(float(run[i])) for i in (j - 1, j, j + 1))
        return _(
            "{label}, size {size}: {here} breaks the run from {before} ({smaller}) to {after} ({larger})."
        ).format(
            label=label,
            size=self.sizes[j],
            here=here,
            before=before,
            smaller=self.sizes[j - 1],
            after=after,
            larger=self.sizes[j + 1],
        )

    def ease_notes(self, dimension: Dimension) -> Iterator[Note]:
        """A measurement that goes round the body with another ease than the sheet states, or a mixed one."""
        key = dimension.key
        measure = self.goes_round(dimension)
        if measure is None:
            return
        body = self.stated.measures[measure]
        finished = np.where(
            np.isnan(self.printed_dimensions[key]), self.from_right[key], self.printed_dimensions[key]
        )
        ease = finished - body
        # A printed value that is a fault already is not held against the ease as well.
        known = ~np.isnan(ease) & ~self.off(key)
        if not known.any() or abs(float(np.median(ease[known]))) > MOST_EASE_CM:
            return
        stated = [constant for constant in self.eases() if key in self.sheet.follows(constant.key)]
        if len(stated) == 1:
            wanted = stated[0].value
            odd = known & (np.abs(ease - wanted) > dimension.tolerance + NOISE)
            instead = _("the sheet states {wanted}").format(wanted=format_length(wanted, signed=True))
        elif not stated:
            below, above = known & (ease < 0), known & (ease > 0)
            mostly_above = bool(np.sum(above) >= np.sum(below))
            odd = below if mostly_above else above
            if not (below.any() and above.any()):
                return
            instead = (
                _("most sizes have positive ease") if mostly_above else _("most sizes have negative ease")
            )
        else:
            return
        if np.sum(odd) == np.sum(known) > 1:
            # One thing to look at, not one for every size.
            first = int(np.flatnonzero(odd)[0])
            low, high = (format_length(end, signed=True) for end in (np.min(ease[odd]), np.max(ease[odd])))
            span = low if low == high else _("{low} to {high}").format(low=low, high=high)
            said = _("like every other, it has {span} of ease on the body, and {instead}.").format(
                span=span, instead=instead
            )
            yield self.note("ease", dimension, first, said)
            return
        for j in np.flatnonzero(odd):
            said = _("it has {ease} of ease on the body, and {instead}.").format(
                ease=format_length(ease[j], signed=True), instead=instead
            )
            yield self.note("ease", dimension, j, said)

    def note(self, kind: NoteKind, entry: Number | Shaping | Dimension, j: np.intp | int, said: str) -> Note:
        size = self.sizes[int(j)]
        return Note(
            kind,
            entry.key,
            size,
            _("{label}, size {size}: {said}").format(label=entry.label, size=size, said=said),
        )

    def eases(self) -> Iterator[Constant]:
        for constant in self.sheet.pattern.constants:
            if constant.unit == "cm" and "ease" in constant.key.split("_"):
                yield constant

    def goes_round(self, dimension: Dimension) -> str | None:
        """The one measure a width grows with, centimetre for centimetre; None when there is none such.

        A length is left out: it has the depth of a yoke or a hem in it, and nobody calls that ease.
        """
        key = dimension.key
        if any(key in followers for followers in self.row_followers):
            return None
        behind = [measure for measure, followers in self.body_followers.items() if key in followers]
        if len(behind) != 1:
            return None
        body = self.stated.measures[behind[0]]
        smaller, larger = np.split(self.on_other_bodies[key], 2)
        for change, there in ((-OTHER_BODY, smaller), (OTHER_BODY, larger)):
            slope = (there - self.from_computed[key]) / (change * body)
            known = slope[~np.isnan(slope)]
            if len(known) and abs(float(np.median(known)) - 1) < 0.1:
                return behind[0]
        return None

    @cached_property
    def row_followers(self) -> list[tuple[str, ...]]:
        return [self.sheet.follows(f"{gauge.key}.row") for gauge in self.sheet.pattern.gauges]

    @cached_property
    def body_followers(self) -> dict[str, tuple[str, ...]]:
        return {measure.key: self.sheet.follows(measure.key) for measure in self.sheet.pattern.measures}

    @cached_property
    def on_other_bodies(self) -> dict[str, FloatArray]:
        """Every dimension in every size with all measures smaller, then with all measures larger.

        Both ways, because a count that stops growing at some size still goes round the bodies below it.
        """
        bodies = Inputs(
            gauges={
                key: GaugeColumns(np.tile(gauge.st, 2), np.tile(gauge.row, 2))
                for key, gauge in self.stated.gauges.items()
            },
            measures={
                key: np.concatenate([(1 - OTHER_BODY) * body, (1 + OTHER_BODY) * body])
                for key, body in self.stated.measures.items()
            },
        )
        return self.sheet.dimensions(bodies, self.sheet.numbers(bodies))


def put_right(sheet: Sheet) -> dict[str, FloatArray]:
    """Every number of a graded sheet as it should be, by size: printed where that is good, else computed."""
    return _Work(sheet).right


def unlike(printed: FloatArray, computed: FloatArray) -> BoolArray:
    """Where a printed count is not the computed one, nor the whole number nearest to a broken one."""
    whole = np.abs(computed - np.rint(computed)) <= NOISE
    allowed = np.where(whole, NOISE, 0.5 + NOISE)
    return ~np.isnan(printed) & ~np.isnan(computed) & (np.abs(printed - computed) > allowed)


def _breaks(run: FloatArray, *, floor: float) -> list[int]:
    """Positions whose value lies far off the middle of its neighbours, as runs go (common practice).

    Far is more than ``floor``, and either more than three quarters of the usual step and more than four times
    the usual distance, or against a run that otherwise goes one way. At most a third of the run is named.
    """
    n = len(run)
    if n < 4 or np.isnan(run).any():
        return []
    values = run.copy()
    found: list[int] = []
    for _turn in range(n // 3):
        steps = np.diff(values)
        apart = values[1:-1] - (values[:-2] + values[2:]) / 2
        step = float(np.median(np.abs(steps)))
        j = int(np.argmax(np.abs(apart))) + 1
        distance = abs(float(apart[j - 1]))
        # A value that is off moves its neighbours' distances as well; they say nothing about the usual one.
        others = np.delete(np.abs(apart), [i for i in (j - 2, j - 1, j) if 0 <= i < len(apart)])
        usual = float(np.median(others)) if len(others) else 0.0
        against = float(np.median(steps)) * steps[j - 1] < 0 or float(np.median(steps)) * steps[j] < 0
        if distance <= floor or not (against or distance > max(0.75 * step, 4 * usual)):
            break
        found.append(j)
        values[j] = (values[j - 1] + values[j + 1]) / 2
    return sorted(found)
