"""The pieces of a garment as they lie flat, in centimetres, and where each dimension is taken on them.

A sheet says no shapes, but its numbers do. The stitches of a part are widths times heights, row upon row:
`cuff_sts * cuff_rows + (cuff_sts + sleeve_sts) / 2 * sleeve_rows` is a strip with a wedge above it. So a part's
outline is read off its formula, and a dimension is found on it by the counts that its own formula uses: one of a
width across it where that many stitches are, one of rows along it from the first of them to the last. What cannot
be read so is still drawn, in its own length, beside the piece it belongs to by its place in the text.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from testround.kernel.formula_text import Literal, Name, Negative, Node, Product, Sum, walk
from testround.kernel.formulas import parse
from testround.kernel.round import Dimension, Number, Pattern
from testround.kernel.sheet import FloatArray, Inputs, Sheet
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop

TOGETHER = gettext_noop("Put together")
WHOLE = gettext_noop("The piece")

# A garment is drawn as it is worn: a piece that begins at one of these is begun at its top.
_UPPER = frozenset(
    [
        "waist",
        "waistband",
        "neck",
        "neckline",
        "neckband",
        "collar",
        "crown",
        "yoke",
        "shoulder",
        "shoulders",
        "top",
    ]
)
_LOWER = frozenset(["hem", "cuff", "cuffs", "bottom", "lower", "foot"])
# As near as this to one half, a width is taken across one side of what goes all the way round.
_NEAR = 0.02


@dataclass(frozen=True, slots=True)
class Mark:
    """Where a dimension is taken.

    ``length`` is in cm as it lies, half of one that goes all the way round. ``at`` is how far from the first edge
    it is taken across, or begins along; None where the outline does not show it, and it is drawn beside. ``known``
    is False where the sheet gives no length for it.
    """

    dimension: str
    across: bool
    length: float
    at: float | None = None
    known: bool = True


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece laid flat.

    ``outline`` are (distance from the first edge, width) in cm, in the order worked; empty where only its
    dimensions are known. ``count`` is how many alike are worked.
    """

    label: str
    outline: tuple[tuple[float, float], ...]
    marks: tuple[Mark, ...]
    from_top: bool = False
    count: int = 1

    @property
    def width(self) -> float:
        """The widest that it is, cm; of its marks where there is no outline, 0 without any."""
        across = [mark.length for mark in self.marks if mark.across]
        return max([width for _, width in self.outline] or across, default=0.0)

    @property
    def height(self) -> float:
        along = [mark.length for mark in self.marks if not mark.across]
        return max([at for at, _ in self.outline] or along, default=0.0)

    @property
    def known(self) -> bool:
        """Whether everything on it is to scale."""
        return all(mark.known for mark in self.marks)

    def longest(self, *, across: bool) -> Mark | None:
        """The longest of its dimensions that way, the one that says most of its size."""
        marks = [mark for mark in self.marks if mark.across == across and mark.known]
        return max(marks, key=lambda mark: mark.length, default=None)


def laid_flat(
    sheet: Sheet, inputs: Inputs, numbers: Mapping[str, FloatArray], column: int = 0
) -> tuple[Piece, ...]:
    """The pieces of one size or one tester.

    Parameters
    ----------
    sheet : Sheet
    inputs : Inputs
        Measures in cm, and the gauges that the pieces are worked at.
    numbers : mapping of key to array of float
        The counts that are worked, as :meth:`Sheet.numbers` gives them.
    column : int
        Which column of them.

    Returns
    -------
    tuple of Piece
        In the order worked, what spans several of them last. Every dimension of the sheet is a mark of exactly
        one of them.
    """
    return _Laying(sheet, inputs, numbers, column).pieces()


# Reading a part -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Term:
    """Stitches times rows: so many of each count."""

    stitches: dict[str, float]
    rows: dict[str, float]


@dataclass(frozen=True, slots=True)
class _Band:
    """One stretch of a piece: from one width to another over some rows; counts named where they stand alone."""

    first: str | None
    last: str | None
    stitches: tuple[dict[str, float], dict[str, float]]
    row: str
    rows: float


@dataclass(slots=True)
class _Stack:
    """A piece as bands in the order worked, with the parts that it is made of."""

    label: str
    bands: list[_Band]
    count: int
    marks: list[Mark] = field(default_factory=list)
    flat: float = 1.0


def _linear(node: Node, units: Mapping[str, str]) -> dict[str, float] | None:
    """So many of each count; None where that is not all a formula says. A plain number has the name ""."""
    match node:
        case Literal(value=value):
            return {"": value}
        case Name(name=name) if name in units:
            return {name: 1.0}
        case Negative(of=of):
            inner = _linear(of, units)
            return None if inner is None else {name: -times for name, times in inner.items()}
        case Sum(signs=signs, terms=terms):
            total: dict[str, float] = {}
            for sign, term in zip(signs, terms, strict=True):
                inner = _linear(term, units)
                if inner is None:
                    return None
                for name, times in inner.items():
                    total[name] = total.get(name, 0.0) + (times if sign == "+" else -times)
            return total
        case Product():
            scaled, rest = _scaled(node, units)
            return {name: times * scaled for name, times in rest[0].items()} if len(rest) == 1 else None
    return None


def _scaled(node: Product, units: Mapping[str, str]) -> tuple[float, list[dict[str, float]]]:
    """A product as a plain factor and the counts it multiplies; an empty list where it is more than that."""
    scale, rest = 1.0, []
    for sign, factor in zip(node.signs, node.factors, strict=True):
        inner = _linear(factor, units)
        if inner is None:
            return 1.0, []
        if set(inner) == {""}:
            scale = scale * inner[""] if sign == "*" else scale / inner[""] if inner[""] else math.nan
        elif sign == "/":
            return 1.0, []
        else:
            rest.append(inner)
    return scale, rest


def _terms(node: Node, units: Mapping[str, str]) -> list[_Term] | None:
    """A part's stitches as widths times heights, or None where they cannot be read so."""
    if isinstance(node, Sum):
        found: list[_Term] = []
        for sign, term in zip(node.signs, node.terms, strict=True):
            inner = _terms(term, units) if sign == "+" else None
            if inner is None:
                return None
            found += inner
        return found
    if not isinstance(node, Product):
        return None
    scale, rest = _scaled(node, units)
    if len(rest) != 2:
        return None
    by_unit = {}
    for counts in rest:
        of = {units[name] for name in counts if name}
        if len(of) != 1 or "" in counts:
            return None
        by_unit[of.pop()] = counts
    if set(by_unit) != {"st", "row"} or min(by_unit["row"].values()) <= 0 or not scale > 0:
        return None
    return [_Term({name: scale * times for name, times in by_unit["st"].items()}, by_unit["row"])]


def _stacks(pattern: Pattern) -> list[_Stack]:
    """The pieces that can be read off the parts, each as bands."""
    units = {number.key: number.unit for number in pattern.numbers if number.unit in ("st", "row")}
    found: list[_Stack] = []
    for part in pattern.parts:
        terms = _terms(parse(part.stitches).root, units)
        if not terms:
            continue
        # Two sleeves are twice as many stitches all the way; a band and a neckband are two strips.
        runs: list[tuple[float, list[_Term]]] = []
        for term in terms:
            times = sum(term.stitches.values())
            if runs and math.isclose(runs[-1][0], times):
                runs[-1][1].append(term)
            else:
                runs.append((times, [term]))
        for times, run in runs:
            count = round(times) if times >= 1 and math.isclose(times, round(times)) else 1
            stack = _Stack(part.label, _bands(run, count), count)
            before = found[-1] if found and len(runs) == 1 else None
            start = stack.bands[0].first
            if before and start and before.count == count and before.bands[-1].last == start:
                # What begins with the stitches that another ends with is worked on from it.
                before.bands += stack.bands
                before.label = _(WHOLE)
                continue
            found.append(stack)
    return found


def _bands(terms: Sequence[_Term], count: int) -> list[_Band]:
    bands: list[_Band] = []
    for term in terms:
        stitches = {name: times / count for name, times in term.stitches.items()}
        names = list(stitches)
        first = last = stitches
        if len(names) == 2 and math.isclose(stitches[names[0]], stitches[names[1]]):
            # The mean of two counts: from one to the other, beginning with what is there already.
            if bands and bands[-1].last == names[1]:
                names.reverse()
            each = 2 * stitches[names[0]]
            first, last = {names[0]: each}, {names[1]: each}
        for k, (row, rows) in enumerate(term.rows.items()):
            here = first if k == 0 else last
            bands.append(_Band(_alone(here), _alone(last), (here, last), row, rows))
    return bands


def _alone(stitches: Mapping[str, float]) -> str | None:
    """The one count that a width is, taken once."""
    if len(stitches) == 1:
        ((name, times),) = stitches.items()
        if math.isclose(times, 1):
            return name
    return None


# Putting dimensions on them -------------------------------------------------------------------------------


class _Laying:
    def __init__(self, sheet: Sheet, inputs: Inputs, numbers: Mapping[str, FloatArray], column: int) -> None:
        self.pattern = sheet.pattern
        self.column = column
        self.inputs = inputs
        self.counts = {key: float(values[column]) for key, values in numbers.items()}
        self.by_key = {number.key: number for number in self.pattern.numbers}
        self.targets = {
            key: float(values[column]) for key, values in sheet.dimensions(inputs, numbers).items()
        }
        self.uses = {dimension.key: sheet.uses(dimension.key) for dimension in self.pattern.dimensions}
        self.gauge_of = self._gauges(sheet)
        known = [cm for cm in self.targets.values() if 0 < cm < math.inf]
        self.nominal = sum(known) / len(known) if known else 40.0

    def pieces(self) -> tuple[Piece, ...]:
        stacks = [stack for stack in _stacks(self.pattern) if self._can_be_drawn(stack)]
        loose: dict[str, list[Mark]] = {}
        placed: list[tuple[Dimension, _Stack, str | None]] = []
        for dimension in self.pattern.dimensions:
            home = self._home(dimension, stacks)
            if home is None:
                loose.setdefault(self._section(dimension), []).append(self._beside(dimension))
            else:
                placed.append((dimension, *home))
        for stack in stacks:
            # All the way round, or seamed: across one side it is half as wide.
            halves = [d for d, of, at in placed if of is stack and at and self._once_across(d, stack, at)]
            stack.flat = 0.5 if halves else 1.0
        for dimension, stack, at in placed:
            stack.marks.append(self._mark(dimension, stack, at))
        drawn = [self._piece(stack) for stack in stacks if stack.marks]
        return (*drawn, *(Piece(label, (), tuple(marks)) for label, marks in loose.items()))

    # What a count measures

    def _gauges(self, sheet: Sheet) -> dict[str, str]:
        """The gauge that each count is worked in: the one that a dimension divides it by, else of its own formula."""
        gauges = [gauge.key for gauge in self.pattern.gauges]
        found: dict[str, str] = {}
        for dimension in self.pattern.dimensions:
            for node in walk(parse(dimension.formula).root):
                if isinstance(node, Product):
                    names = [
                        part.name
                        for factor in node.factors
                        for part in walk(factor)
                        if isinstance(part, Name)
                    ]
                    of = {name.partition(".")[0] for name in names if "." in name}
                    if len(of) == 1:
                        (gauge,) = of
                        for name in names:
                            found.setdefault(name, gauge)

        def gauge_in(key: str, above: frozenset[str]) -> str | None:
            if key in found:
                return found[key]
            for name in sheet.uses(key):
                if "." in name:
                    return name.partition(".")[0]
            for name in sheet.uses(key):
                if name in self.by_key and name not in above and (inner := gauge_in(name, above | {name})):
                    return inner
            return None

        return {
            number.key: gauge_in(number.key, frozenset({number.key})) or gauges[0]
            for number in self.pattern.numbers
        }

    def _cm(self, key: str) -> float:
        """The length of a count of stitches or rows at its gauge."""
        gauge = self.inputs.gauges[self.gauge_of[key]]
        per_cm = gauge.st if self.by_key[key].unit == "st" else gauge.row
        return self.counts[key] / float(per_cm[self.column])

    def _width(self, stitches: Mapping[str, float]) -> float:
        return sum(times * self._cm(name) for name, times in stitches.items())

    def _can_be_drawn(self, stack: _Stack) -> bool:
        lengths = [
            value
            for band in stack.bands
            for value in (*(self._width(side) for side in band.stitches), band.rows * self._cm(band.row))
        ]
        return all(0 <= value < math.inf for value in lengths) and max(lengths) > 0

    # Where a dimension is

    def _across(self, dimension: Dimension) -> bool:
        names = self.uses[dimension.key]
        stitches = any(name.endswith(".st") or self._unit(name) == "st" for name in names)
        rows = any(name.endswith(".row") or self._unit(name) == "row" for name in names)
        return stitches and not rows

    def _unit(self, name: str) -> str:
        return self.by_key[name].unit if name in self.by_key else ""

    def _counted(self, dimension: Dimension) -> list[Number]:
        return [self.by_key[name] for name in self.uses[dimension.key] if name in self.by_key]

    def _home(self, dimension: Dimension, stacks: Sequence[_Stack]) -> tuple[_Stack, str | None] | None:
        """The piece that a dimension is on, with the count it is taken at where the outline has that."""
        counted = self._counted(dimension)
        keys = {number.key for number in counted}
        if self._across(dimension):
            if len(keys) == 1:
                (key,) = keys
                for stack in stacks:
                    if any(key in (band.first, band.last) for band in stack.bands):
                        return stack, key
        elif keys:
            for stack in stacks:
                if self._stretch(stack, keys) is not None:
                    return stack, next(iter(keys))
        sections = {_section(number) for number in counted} - {None}
        if len(sections) == 1:
            (section,) = sections
            for stack in stacks:
                if section in self._sections(stack):
                    return stack, None
        return None

    def _stretch(self, stack: _Stack, keys: set[str]) -> tuple[float, float] | None:
        """From where to where the rows of these counts go, cm, where they follow one another."""
        at = [k for k, band in enumerate(stack.bands) if band.row in keys]
        if {stack.bands[k].row for k in at} != keys or at != list(range(at[0], at[-1] + 1)):
            return None
        heights = [band.rows * self._cm(band.row) for band in stack.bands]
        return sum(heights[: at[0]]), sum(heights[: at[-1] + 1])

    def _sections(self, stack: _Stack) -> set[str | None]:
        keys = {
            key
            for band in stack.bands
            for key in (*band.stitches[0], *band.stitches[1], band.row)
            if self._unit(key)
        }
        return {_section(self.by_key[key]) for key in keys}

    def _section(self, dimension: Dimension) -> str:
        """The piece that a dimension belongs to by where its counts stand in the text."""
        sections = list(dict.fromkeys(_section(number) for number in self._counted(dimension)))
        if len(sections) == 1 and sections[0] is not None:
            return sections[0]
        return _(TOGETHER) if len(sections) > 1 or self.pattern.parts else _(WHOLE)

    def _beside(self, dimension: Dimension) -> Mark:
        target = self.targets[dimension.key]
        known = 0 < target < math.inf
        laid = 0.5 if _doubled(dimension) else 1.0
        return Mark(
            dimension.key, self._across(dimension), laid * (target if known else self.nominal), None, known
        )

    def _once_across(self, dimension: Dimension, stack: _Stack, key: str) -> bool:
        """Whether a width is taken across one side of what is wider by as much again."""
        width = self._cm(key)
        laid = self.targets[dimension.key] * (0.5 if _doubled(dimension) else 1.0)
        return self._across(dimension) and width > 0 and abs(laid / width - 0.5) < _NEAR

    def _mark(self, dimension: Dimension, stack: _Stack, key: str | None) -> Mark:
        beside = self._beside(dimension)
        if key is None:
            return beside
        if not beside.across:
            stretch = self._stretch(stack, {number.key for number in self._counted(dimension)})
            return replace(beside, at=stretch[0], length=stretch[1] - stretch[0]) if stretch else beside
        width = self._cm(key) * stack.flat
        if not beside.known or abs(beside.length - width) > _NEAR * width:
            return beside
        # Where the piece keeps its width there is no corner to measure from: in the middle of that.
        at, edges = 0.0, []
        for band in stack.bands:
            tall = band.rows * self._cm(band.row)
            if band.first == band.last == key:
                edges += [at, at + tall]
            elif not edges and key in (band.first, band.last):
                edges += [at if band.first == key else at + tall]
            elif edges:
                break
            at += tall
        return replace(beside, at=(edges[0] + edges[-1]) / 2)

    # Pieces

    def _piece(self, stack: _Stack) -> Piece:
        outline: list[tuple[float, float]] = []
        at = 0.0
        for band in stack.bands:
            first, last = (self._width(side) * stack.flat for side in band.stitches)
            tall = band.rows * self._cm(band.row)
            outline += [(at, first), (at + tall, last)]
            at += tall
        return Piece(
            stack.label,
            tuple(_without_repeats(outline)),
            tuple(stack.marks),
            self._from_top(stack),
            stack.count,
        )

    def _from_top(self, stack: _Stack) -> bool:
        key = next(iter(stack.bands[0].stitches[0]))
        said = [stack.label, self.by_key[key].label, self.by_key[key].place or ""]
        said += [d.label for d in self.pattern.dimensions if key in self.uses[d.key]]
        words = {word.strip(".,:;()").lower() for text in said for word in text.replace("-", " ").split()}
        return not words.isdisjoint(_UPPER) and words.isdisjoint(_LOWER)


def _section(number: Number) -> str | None:
    """ "Back" of a number that stands at "Back, step 3"."""
    return number.place.partition(",")[0].strip() or None if number.place else None


def _doubled(dimension: Dimension) -> bool:
    """Whether it is measured across one side and doubled, as its instruction says."""
    how = (dimension.how or "").lower()
    return any(word in how for word in ("double", "doubling", "twice the width", "times two"))


def _without_repeats(points: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    before: tuple[float, float] | None = None
    for point in points:
        if before is None or not all(
            math.isclose(a, b, abs_tol=1e-9) for a, b in zip(point, before, strict=True)
        ):
            yield point
        before = point
