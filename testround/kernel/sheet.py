"""A pattern's sheet, compiled: names, numbers, dimensions and parts, computed for many columns at once.

A column is a size of a graded pattern or one tester. Everything here is a function of its arguments: the
sheet never changes once made.
"""

from __future__ import annotations

import contextlib
import difflib
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from testround.kernel.formula_text import FUNCTIONS, FormulaError, Multiple
from testround.kernel.formulas import (
    CM,
    REP,
    ROW,
    ROW_PER_CM,
    ST,
    ST_PER_CM,
    ST_ROW,
    UNIT_ROUNDOFF,
    UNITS,
    Formula,
    Trouble,
    Unit,
    constant_value,
    parse,
)
from testround.kernel.problems import MOST_TOLD, InputProblems, Problem, and_others, told_of
from testround.kernel.round import Along, Pattern, Shaping, Tester
from testround.kernel.units import decimal
from testround.kernel.words import and_more, commas, ngettext, pgettext
from testround.kernel.words import gettext as _

FloatArray = NDArray[np.float64]

SHAPING_FORMULAS = ("start", "end", "over")
"""The fields of a shaping that are formulas."""
LONGEST_CIRCLE = 14
"""Of a circle of more numbers, so many are named."""


class SheetError(InputProblems):
    """A pattern whose sheet cannot be computed; ``problems`` holds every reason."""


@dataclass(frozen=True, slots=True)
class GaugeColumns:
    """A gauge in stitches and rows per centimetre, one entry per column, NaN where unknown."""

    st: FloatArray
    row: FloatArray


@dataclass(frozen=True, slots=True)
class Inputs:
    """What a sheet is worked from.

    ``gauges`` per centimetre and ``measures`` in centimetres, by key; every array has one entry per column,
    NaN where unknown. ``worked_out`` holds numbers that were worked out from measures since deleted.
    """

    gauges: Mapping[str, GaugeColumns]
    measures: Mapping[str, FloatArray]
    worked_out: Mapping[str, FloatArray] = field(default_factory=dict)

    @property
    def n(self) -> int:
        """How many columns there are."""
        for gauge in self.gauges.values():
            return len(gauge.st)
        for measure in self.measures.values():
            return len(measure)
        return 0


@dataclass(frozen=True, slots=True)
class ShapingColumns:
    """A shaping's stitches before and after, and the rows or stitches it goes over; NaN where unknown."""

    start: FloatArray
    end: FloatArray
    over: FloatArray


@dataclass(frozen=True, slots=True)
class _AsRead:
    """What who makes one size reads, printed or else worked out, and the finished measurements that it makes."""

    numbers: Mapping[str, FloatArray]
    dimensions: Mapping[str, FloatArray]


class Sheet:
    """A pattern's numbers, compiled once: formulas parsed, units checked, numbers in dependency order.

    Parameters
    ----------
    pattern : Pattern
        The edition whose sheet this is.

    Raises
    ------
    SheetError
        The sheet cannot be computed; holds every problem of :func:`check_pattern`.
    """

    def __init__(self, pattern: Pattern) -> None:
        draft = _Draft(pattern)
        problems = draft.problems()
        if problems:
            raise SheetError(problems)
        self.pattern = pattern
        self._constants = draft.constants
        self._numbers = {pattern.numbers[i].key: draft.numbers[i].formula for i in draft.order}
        self._dimensions = {
            dimension.key: read.formula
            for dimension, read in zip(pattern.dimensions, draft.dimensions, strict=True)
        }
        self._parts = {part.key: read.formula for part, read in zip(pattern.parts, draft.parts, strict=True)}
        self._shapings = {
            shaping.key: tuple(read.formula for read in reads)
            for shaping, reads in zip(pattern.shapings, draft.shapings, strict=True)
        }
        self._size_at = {size: j for j, size in enumerate(pattern.sizes)}
        self._as_read: dict[str, _AsRead] = {}

    # What goes in

    def stated(self, sizes: Sequence[str] | None = None) -> Inputs:
        """The pattern's own measures at the stated gauges.

        Parameters
        ----------
        sizes : sequence of str, optional
            A column for each, repeats allowed; every size of the pattern, in order, when left out. A
            made-to-measure pattern has no sizes and gives no columns.

        Raises
        ------
        KeyError
            A size that the pattern does not have.
        """
        chosen = self.pattern.sizes if sizes is None else sizes
        index = np.array([self._size_at[size] for size in chosen], dtype=np.intp)
        n = len(index)
        gauges = {
            gauge.key: GaugeColumns(
                st=np.full(n, gauge.stitches / 10, dtype=np.float64),
                row=np.full(n, gauge.rows / 10, dtype=np.float64),
            )
            for gauge in self.pattern.gauges
        }
        measures = {}
        for measure in self.pattern.measures:
            values = measure.values or {}
            column = np.array([values.get(size, np.nan) for size in self.pattern.sizes], dtype=np.float64)
            measures[measure.key] = column[index] if n else np.empty(0, dtype=np.float64)
        return Inputs(gauges, measures)

    def worked_from(self, measures: Sequence[Mapping[str, float]]) -> Inputs:
        """One column per mapping of measures (cm), at the stated gauges; NaN for a measure not given."""
        n = len(measures)
        return Inputs(
            gauges={
                gauge.key: GaugeColumns(np.full(n, gauge.stitches / 10), np.full(n, gauge.rows / 10))
                for gauge in self.pattern.gauges
            },
            measures={
                measure.key: np.array([own.get(measure.key, np.nan) for own in measures], dtype=np.float64)
                for measure in self.pattern.measures
            },
        )

    def made_for(self, testers: Sequence[Tester]) -> Inputs:
        """One column per made-to-measure tester, at the stated gauges: their measures, or what is left of them."""
        before = [tester.worked_out for tester in testers]
        bodies = self.worked_from([{**tester.worked_out, **tester.measures} for tester in testers])
        return replace(
            bodies,
            worked_out={
                key: np.array([kept.get(key, np.nan) for kept in before], dtype=np.float64)
                for key in self._numbers
                if any(key in kept for kept in before)
            },
        )

    def with_gauges(self, inputs: Inputs, gauges: Mapping[str, GaugeColumns]) -> Inputs:
        """The same inputs, with the gauges named in ``gauges`` in place of their own."""
        return replace(inputs, gauges={**inputs.gauges, **gauges})

    # What comes out

    def numbers(self, inputs: Inputs, given: Mapping[str, FloatArray] | None = None) -> dict[str, FloatArray]:
        """Every number, in sheet order.

        Parameters
        ----------
        inputs : Inputs
            What to work from.
        given : mapping of key to array of float, shape (n,), optional
            Where not NaN, stands in place of the computed value, and what follows from it follows from this. What
            was worked out before (``inputs.worked_out``) stands only where nothing can be computed.

        Returns
        -------
        dict of key to array of float, shape (n,)
            In stitches, rows or repeats; NaN where something needed is unknown.
        """
        values, errors = self._names(inputs)
        for key, formula in self._numbers.items():
            value, error, _ = formula.evaluate_bounded(values, errors)
            column, column_error = _in_columns(value, inputs.n), _in_columns(error, inputs.n)
            before = inputs.worked_out.get(key)
            if before is not None:
                column, column_error = _where_known(
                    np.where(np.isnan(column), before, np.nan), column, column_error
                )
            instead = None if given is None else given.get(key)
            if instead is not None:
                column, column_error = _where_known(instead, column, column_error)
            values[key], errors[key] = column, column_error
        return {number.key: values[number.key] for number in self.pattern.numbers}

    def dimensions(self, inputs: Inputs, numbers: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Every finished measurement in cm, from these numbers; shape (n,) each."""
        return self._follow(self._dimensions, inputs, numbers)

    def parts(self, inputs: Inputs, numbers: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """How many stitches every part takes (stitches times rows), from these numbers; shape (n,) each."""
        return self._follow(self._parts, inputs, numbers)

    def shapings(self, inputs: Inputs, numbers: Mapping[str, FloatArray]) -> dict[str, ShapingColumns]:
        """What every shaping starts with, ends with and is worked over, from these numbers."""
        by_field = [
            self._follow({key: formulas[i] for key, formulas in self._shapings.items()}, inputs, numbers)
            for i in range(len(SHAPING_FORMULAS))
        ]
        return {key: ShapingColumns(*(values[key] for values in by_field)) for key in self._shapings}

    def _follow(
        self, formulas: Mapping[str, Formula], inputs: Inputs, numbers: Mapping[str, FloatArray]
    ) -> dict[str, FloatArray]:
        values, errors = self._names(inputs)
        values.update(numbers)
        return {
            key: _in_columns(formula.evaluate_bounded(values, errors)[0], inputs.n)
            for key, formula in formulas.items()
        }

    def _names(self, inputs: Inputs) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
        return _names(self.pattern, self._constants, inputs)

    # What is printed

    def printed_numbers(self) -> dict[str, FloatArray]:
        """What the edition prints for every number; shape (n_sizes,), NaN where nothing is printed."""
        return {number.key: self._printed(number.printed) for number in self.pattern.numbers}

    def printed_dimensions(self) -> dict[str, FloatArray]:
        """What the edition prints for every dimension, cm; shape (n_sizes,), NaN where nothing is printed."""
        return {dimension.key: self._printed(dimension.printed) for dimension in self.pattern.dimensions}

    def _printed(self, printed: Mapping[str, float] | None) -> FloatArray:
        return np.array([(printed or {}).get(size, np.nan) for size in self.pattern.sizes], dtype=np.float64)

    def printed_or_computed(self, size: str) -> dict[str, FloatArray]:
        """Every number of one size as its maker reads it, printed or else worked out; shape (1,) each.

        Worked out once for a size and shared from then on, so that nobody can change them.

        Raises
        ------
        KeyError
            A size that the pattern does not have.
        """
        return dict(self._of_size(size).numbers)

    def meant(self, size: str) -> dict[str, FloatArray]:
        """Every finished measurement of one size as those numbers make it at the stated gauges, cm; shape (1,) each.

        Kept like the numbers.

        Raises
        ------
        KeyError
            A size that the pattern does not have.
        """
        return dict(self._of_size(size).dimensions)

    def _of_size(self, size: str) -> _AsRead:
        if size not in self._as_read:
            j, stated = self._size_at[size], self.stated([size])
            printed = {key: values[j : j + 1] for key, values in self.printed_numbers().items()}
            numbers = self.numbers(stated, printed)
            made = _AsRead(numbers, self.dimensions(stated, numbers))
            for column in (*made.numbers.values(), *made.dimensions.values()):
                column.flags.writeable = False
            self._as_read[size] = made
        return self._as_read[size]

    # How it hangs together

    @property
    def order(self) -> tuple[str, ...]:
        """Keys of the numbers, each after those that its formula uses."""
        return tuple(self._numbers)

    def has_number(self, key: str) -> bool:
        return key in self._numbers

    def uses(self, key: str) -> tuple[str, ...]:
        """The names that the formula of a number or a dimension uses itself."""
        formula = self._numbers.get(key, self._dimensions.get(key))
        return () if formula is None else formula.names

    def used_by_part(self, key: str) -> tuple[str, ...]:
        """The names that the formula for a part's stitches uses itself."""
        formula = self._parts.get(key)
        return () if formula is None else formula.names

    def follows(self, key: str) -> tuple[str, ...]:
        """Keys of the numbers and dimensions that depend on a name, directly or through other numbers.

        ``key`` is a measure, constant, number, or a gauge as "body.st", "body.row" or, for either, "body".
        Numbers come in dependency order, then dimensions in sheet order.
        """
        gauges = {gauge.key for gauge in self.pattern.gauges}
        reached = {key, f"{key}.st", f"{key}.row"} if key in gauges else {key}
        found: list[str] = []
        for name, formula in (*self._numbers.items(), *self._dimensions.items()):
            if name != key and reached.intersection(formula.names):
                found.append(name)
                if name in self._numbers:
                    reached.add(name)
        return tuple(found)

    def multiple_of(self, key: str) -> tuple[float, float] | None:
        """(of, plus) of a number that is rounded to a multiple.

        None when the outermost part of its formula is not one of the ``multiple`` functions, or when ``of``
        or ``plus`` depend on anything but literals and constants.
        """
        formula = self._numbers.get(key)
        if formula is None or not isinstance(formula.root, Multiple):
            return None
        of = constant_value(formula.root.of, 1.0, self._constants)
        plus = constant_value(formula.root.plus, 0.0, self._constants)
        if of is None or plus is None or of <= 0:
            return None
        return of, plus


def check_pattern(pattern: Pattern) -> list[Problem]:
    """Everything that keeps a pattern's sheet from being computed; empty when nothing does.

    Paths are seen from the pattern, as in ``numbers[2].formula``.
    """
    return _Draft(pattern).problems()


def _shaping_units(shaping: Shaping) -> tuple[Unit, Unit, Unit]:
    return ST, ST, ST if shaping.along is Along.STITCHES else ROW


def _in_columns(value: FloatArray, n: int) -> FloatArray:
    """One entry per column, also where a formula of constants alone gave one for all."""
    return value if value.shape == (n,) else np.full(n, value, dtype=np.float64)


def _where_known(instead: FloatArray, column: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A column and its rounding error, with other values in it where these are known."""
    known = ~np.isnan(instead)
    return np.where(known, instead, column), np.where(known, np.abs(instead) * UNIT_ROUNDOFF, error)


def _names(
    pattern: Pattern, constants: Mapping[str, float], inputs: Inputs
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Values of all names that are not numbers, and the rounding error of those that have been divided."""
    unknown = np.full(inputs.n, np.nan)
    values: dict[str, FloatArray] = {
        key: np.asarray(value, dtype=np.float64) for key, value in constants.items()
    }
    errors: dict[str, FloatArray] = {}
    for measure in pattern.measures:
        values[measure.key] = inputs.measures.get(measure.key, unknown)
    for gauge in pattern.gauges:
        columns = inputs.gauges.get(gauge.key)
        for axis, value in (
            (("st", columns.st), ("row", columns.row)) if columns else (("st", unknown), ("row", unknown))
        ):
            values[f"{gauge.key}.{axis}"] = value
            # A gauge was divided by ten, which rounds once more than a decimal that was only read.
            errors[f"{gauge.key}.{axis}"] = np.abs(value) * (2 * UNIT_ROUNDOFF)
    return values, errors


@dataclass(frozen=True, slots=True)
class _Read:
    """A formula as far as it could be read; one that is refused is a plain zero here, never evaluated."""

    formula: Formula
    good: bool


_NOTHING = parse("0")


class _Enough(Exception):
    """There is as much to mend as is told at once."""


class _Draft:
    """A pattern on its way to a sheet: what could be read of it, and every problem met."""

    def __init__(self, pattern: Pattern) -> None:
        self.pattern = pattern
        self.found: list[Problem] = []
        self.constants = {constant.key: constant.value for constant in pattern.constants}
        self.is_read = False
        with contextlib.suppress(_Enough):
            self.look()
            self.is_read = True

    def look(self) -> None:
        pattern = self.pattern
        self.check_keys()
        self.check_sizes()
        self.check_measures()
        self.check_maps()
        units, absent = self.known_names()
        self.numbers = [
            self.read(f"numbers[{i}].formula", number.formula, units, absent, UNITS[number.unit])
            for i, number in enumerate(pattern.numbers)
        ]
        self.dimensions = [
            self.read(f"dimensions[{i}].formula", dimension.formula, units, absent, CM)
            for i, dimension in enumerate(pattern.dimensions)
        ]
        self.parts = [
            self.read(f"parts[{i}].stitches", part.stitches, units, absent, ST_ROW)
            for i, part in enumerate(pattern.parts)
        ]
        self.shapings = [
            [
                self.read(f"shapings[{i}].{name}", getattr(shaping, name), units, absent, unit)
                for name, unit in zip(SHAPING_FORMULAS, _shaping_units(shaping), strict=True)
            ]
            for i, shaping in enumerate(pattern.shapings)
        ]
        self.check_shapings()
        self.order = self.in_order()

    def problems(self) -> list[Problem]:
        if not self.is_read:
            return [*self.found, and_others()]
        return told_of(itertools.chain(self.found, self.trial()))

    def add(self, path: str, sentence: str) -> None:
        if len(self.found) >= MOST_TOLD:
            raise _Enough
        self.found.append(Problem(path, sentence))

    # Names

    def named(self) -> Iterator[tuple[str, str]]:
        """Paths and keys of everything that shares one set of names."""
        pattern = self.pattern
        yield from ((f"measures[{i}]", measure.key) for i, measure in enumerate(pattern.measures))
        yield from ((f"constants[{i}]", constant.key) for i, constant in enumerate(pattern.constants))
        yield from ((f"numbers[{i}]", number.key) for i, number in enumerate(pattern.numbers))
        yield from ((f"dimensions[{i}]", dimension.key) for i, dimension in enumerate(pattern.dimensions))

    def check_keys(self) -> None:
        self.check_unique(self.named())
        self.check_unique((f"gauges[{i}]", gauge.key) for i, gauge in enumerate(self.pattern.gauges))
        self.check_unique(
            ((f"parts[{i}]", part.key) for i, part in enumerate(self.pattern.parts)), in_formulas=False
        )
        self.check_unique(
            ((f"shapings[{i}]", shaping.key) for i, shaping in enumerate(self.pattern.shapings)),
            in_formulas=False,
        )

    def check_unique(self, entries: Iterable[tuple[str, str]], *, in_formulas: bool = True) -> None:
        first: dict[str, str] = {}
        for path, key in entries:
            if in_formulas and key in FUNCTIONS:
                self.add(
                    f"{path}.key", _("“{key}” is the name of a function; choose another key.").format(key=key)
                )
            if key in first:
                self.add(
                    f"{path}.key",
                    _("“{key}” is already the key of {first}; give one of them another key.").format(
                        key=key, first=first[key]
                    ),
                )
            else:
                first[key] = path

    def known_names(self) -> tuple[dict[str, Unit], dict[str, tuple[str, str]]]:
        """Units of the names a formula may use, and what to say of those it may not."""
        pattern = self.pattern
        units: dict[str, Unit] = {}
        for number in reversed(pattern.numbers):
            units[number.key] = UNITS[number.unit]
        for constant in reversed(pattern.constants):
            units[constant.key] = REP if constant.unit is None else UNITS[constant.unit]
        for measure in pattern.measures:
            units[measure.key] = CM
        absent: dict[str, tuple[str, str]] = {}
        for dimension in pattern.dimensions:
            if dimension.key not in units:
                absent[dimension.key] = (
                    _("“{key}” is a dimension").format(key=dimension.key),
                    _("use the numbers, measures and gauges it is made of; formulas do not use dimensions"),
                )
        for gauge in pattern.gauges:
            units[f"{gauge.key}.st"] = ST_PER_CM
            units[f"{gauge.key}.row"] = ROW_PER_CM
            if gauge.key not in units:
                absent[gauge.key] = (
                    _("“{key}” is a gauge").format(key=gauge.key),
                    _("write {key}.st for its stitches or {key}.row for its rows per cm").format(
                        key=gauge.key
                    ),
                )
        return units, absent

    # Sizes and what goes by size

    def check_sizes(self) -> None:
        pattern = self.pattern
        seen: set[str] = set()
        for i, size in enumerate(pattern.sizes):
            if size in seen:
                self.add(
                    f"sizes[{i}]", _("“{size}” is listed twice; name every size once.").format(size=size)
                )
            seen.add(size)
        if pattern.is_graded and not pattern.sizes:
            self.add(
                "sizes",
                _("a graded pattern has no sizes; list them, smallest first, or make it made-to-measure."),
            )
        if not pattern.is_graded and pattern.sizes:
            self.add(
                "sizes",
                _("a made-to-measure pattern has sizes; leave the list empty, or make the pattern graded."),
            )

    def check_measures(self) -> None:
        pattern = self.pattern
        for i, measure in enumerate(pattern.measures):
            path = f"measures[{i}].values"
            if not pattern.is_graded:
                if measure.values:
                    self.add(
                        path,
                        _(
                            "“{key}” has values by size, and a made-to-measure pattern takes each tester’s own; "
                            "leave them out."
                        ).format(key=measure.key),
                    )
                continue
            self.check_map(path, measure.values)
            missing = [size for size in pattern.sizes if size not in (measure.values or {})]
            if missing:
                self.add(
                    path,
                    _("“{key}” has no value for {sizes}; give one for every size.").format(
                        key=measure.key, sizes=_listed(missing)
                    ),
                )

    def check_maps(self) -> None:
        pattern = self.pattern
        maps: list[tuple[str, Mapping[str, float] | None]] = [
            *((f"numbers[{i}].printed", number.printed) for i, number in enumerate(pattern.numbers)),
            *(
                (f"dimensions[{i}].printed", dimension.printed)
                for i, dimension in enumerate(pattern.dimensions)
            ),
            ("yarn", pattern.yarn),
            ("hours", pattern.hours),
        ]
        for path, by_size in maps:
            if pattern.is_graded:
                self.check_map(path, by_size)
            elif by_size:
                self.add(path, _("goes by size, and a made-to-measure pattern has no sizes; leave it out."))

    def check_map(self, path: str, by_size: Mapping[str, float] | None) -> None:
        sizes = self.pattern.sizes
        for size in by_size or {}:
            if size not in sizes:
                known = _listed(sizes) if sizes else pgettext("of sizes", "none")
                said = _("there is no size {size}; sizes are {sizes}.").format(size=size, sizes=known)
                for near in difflib.get_close_matches(size, sizes, n=1, cutoff=0.6):
                    said += " " + _("Did you mean {near}?").format(near=near)
                self.add(f"{path}.{size}", said)

    def check_shapings(self) -> None:
        """Stitches of one time have to share out over its places; along stitches every time has one."""
        for i, shaping in enumerate(self.pattern.shapings):
            if shaping.along is Along.STITCHES:
                if shaping.places > 1 or shaping.at is not None:
                    self.add(
                        f"shapings[{i}].{'at' if shaping.at is not None else 'places'}",
                        _(
                            "a shaping along stitches is spread over the whole row or round, and has no places of "
                            "its own; leave places and at out."
                        ),
                    )
            elif shaping.each % shaping.places:
                self.add(
                    f"shapings[{i}].each",
                    _(
                        "{each} stitches each time do not share out over {places} places; “each” counts the "
                        "stitches of all of them together."
                    ).format(each=shaping.each, places=shaping.places),
                )

    # Formulas

    def read(
        self,
        path: str,
        text: str,
        units: Mapping[str, Unit],
        absent: Mapping[str, tuple[str, str]],
        expected: Unit,
    ) -> _Read:
        try:
            formula = parse(text)
        except FormulaError as refusal:
            self.add(path, str(refusal))
            return _Read(_NOTHING, good=False)
        errors = formula.check(units, expected, absent)
        for error in errors:
            self.add(path, str(error))
        # A formula with the wrong unit still shows what depends on what, so that circles are found too.
        return _Read(formula, good=not errors)

    def in_order(self) -> list[int]:
        """Positions of the numbers, each after those it uses; circles are added to the problems."""
        at = {number.key: i for i, number in reversed(list(enumerate(self.pattern.numbers)))}
        needs = [[at[name] for name in read.formula.names if name in at] for read in self.numbers]
        order: list[int] = []
        state = [0] * len(needs)  # 0 not seen, 1 on the way, 2 in the order
        for root in range(len(needs)):
            if state[root]:
                continue
            # An explicit stack: five hundred numbers in a row would exhaust Python's own.
            path: list[tuple[int, Iterator[int]]] = [(root, iter(needs[root]))]
            state[root] = 1
            while path:
                here, rest = path[-1]
                onward = next(rest, None)
                if onward is None:
                    path.pop()
                    state[here] = 2
                    order.append(here)
                elif state[onward] == 0:
                    state[onward] = 1
                    path.append((onward, iter(needs[onward])))
                elif state[onward] == 1:
                    members = [i for i, _onward in path]
                    self.add_circle(members[members.index(onward) :])
        return order

    def add_circle(self, members: Sequence[int]) -> None:
        keys = [self.pattern.numbers[i].key for i in members]
        path = f"numbers[{min(members)}].formula"
        if len(keys) == 1:
            self.add(
                path,
                _("“{key}” is worked out from itself; use other names in its formula.").format(key=keys[0]),
            )
            return
        start = members.index(min(members))
        round_trip = [*keys[start:], *keys[: start + 1]]
        if len(round_trip) > LONGEST_CIRCLE:
            round_trip = [*round_trip[: LONGEST_CIRCLE - 2], "…", round_trip[-1]]
        self.add(
            path,
            _("these numbers go in a circle: {circle}; work one of them out from something else.").format(
                # Translators: between two numbers of a sheet, as in "back_sts needs front_sts needs back_sts".
                circle=_(" needs ").join(round_trip)
            ),
        )

    # A trial run

    def trial(self) -> Iterator[Problem]:
        """What goes wrong when a sheet that is right on paper is computed at its own measures and gauges."""
        pattern = self.pattern
        columns = pattern.sizes or ("",)
        n = len(columns)
        measures = {}
        for measure in pattern.measures:
            by_size = measure.values or {}
            measures[measure.key] = np.array(
                [by_size.get(size, np.nan) for size in columns], dtype=np.float64
            )
        gauges = {
            gauge.key: GaugeColumns(np.full(n, gauge.stitches / 10), np.full(n, gauge.rows / 10))
            for gauge in pattern.gauges
        }
        values, errors = _names(pattern, self.constants, Inputs(gauges, measures))
        # A number that cannot be computed, for a fault already reported, is unknown to those that use it.
        for number in pattern.numbers:
            values.setdefault(number.key, np.full(n, np.nan))
        for i in self.order:
            if self.numbers[i].good:
                key = pattern.numbers[i].key
                values[key], errors[key], troubles = self.numbers[i].formula.evaluate_bounded(values, errors)
                yield from self.troubled(f"numbers[{i}].formula", troubles, values[key])
        finished = [
            *((f"dimensions[{i}].formula", read) for i, read in enumerate(self.dimensions)),
            *((f"parts[{i}].stitches", read) for i, read in enumerate(self.parts)),
        ]
        for i, reads in enumerate(self.shapings):
            for name, read in zip(SHAPING_FORMULAS, reads, strict=True):
                if read.good:
                    value, _, troubles = read.formula.evaluate_bounded(values, errors)
                    yield from self.troubled(f"shapings[{i}].{name}", troubles, value)
        for path, read in finished:
            if read.good:
                value, _, troubles = read.formula.evaluate_bounded(values, errors)
                yield from self.troubled(path, troubles, value)
                # A part may be left out of a size, and then takes no stitches; a measurement of nothing is none.
                yield from self.too_low(
                    path, np.broadcast_to(value, n), zero_allowed=path.startswith("parts")
                )

    def troubled(self, path: str, troubles: Sequence[Trouble], value: FloatArray) -> Iterator[Problem]:
        for trouble in troubles:
            # A formula of constants alone has one value for every size.
            where = list(trouble.columns if np.ndim(value) else range(len(self.pattern.sizes)))
            yield Problem(
                path,
                _("at character {start}: {message}; {mend}.").format(
                    start=trouble.start + 1, message=self.in_sizes(trouble.message, where), mend=trouble.mend
                ),
            )

    def too_low(self, path: str, value: FloatArray, *, zero_allowed: bool) -> Iterator[Problem]:
        low = np.flatnonzero(value < 0 if zero_allowed else value <= 0)
        if len(low):
            what = _("the formula comes out at {value}").format(value=decimal(value[low[0]]))
            yield Problem(
                path,
                (
                    _("{what}, and must not be below zero; check the signs and the measures it uses.")
                    if zero_allowed
                    else _("{what}, and must be above zero; check the signs and the measures it uses.")
                ).format(what=self.in_sizes(what, low.tolist())),
            )

    def in_sizes(self, what: str, columns: Sequence[int]) -> str:
        """What goes wrong, and in which sizes."""
        sizes = self.pattern.sizes
        if not sizes:
            return what
        named = [sizes[j] for j in columns]
        if len(named) == len(sizes) and len(named) > 1:
            return _("{what} in every size").format(what=what)
        return ngettext("{what} in size {sizes}", "{what} in sizes {sizes}", len(named)).format(
            what=what, sizes=_listed(named)
        )


def _listed(names: Sequence[str]) -> str:
    return and_more(names[:11], len(names) - 11) if len(names) > 12 else commas(names)
