"""One tester's own numbers, as plain values for the page and for paper.

A tester of a graded pattern gets the numbers of their size as the edition prints them and, beside them, what
their own gauge would need. A made-to-measure tester gets everything worked out from their own measures at
their own gauge.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from testround.kernel.cautions import Caution, cautions_for
from testround.kernel.gauge import axis_gauge
from testround.kernel.pieces import Piece, laid_flat
from testround.kernel.round import Along, Craft, FabricState, Pattern, Round, Shaping, Swatch, Tester
from testround.kernel.shaping import ShapingError, spelled
from testround.kernel.sheet import FloatArray, GaugeColumns, ShapingColumns, Sheet
from testround.kernel.units import format_count
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop, ngettext, npgettext

Axis = Literal["st", "row"]

OTHERWISE_PLACE = gettext_noop("Elsewhere in the text")


@dataclass(frozen=True, slots=True)
class WorksheetMeasure:
    """A body measure in cm: ``cm`` is what the numbers are worked from, ``own`` the tester's own where known."""

    key: str
    label: str
    cm: float | None
    own: float | None
    how: str | None


@dataclass(frozen=True, slots=True)
class WorksheetGauge:
    """Stated and own gauge, stitches and rows per 10 cm; own None where no swatch says."""

    key: str
    label: str
    stated_stitches: float
    stated_rows: float
    tool_mm: float | None
    own_stitches: float | None
    own_rows: float | None


@dataclass(frozen=True, slots=True)
class WorksheetNumber:
    """A number to work: ``value`` as printed, else computed; ``at_own_gauge`` what the tester's gauge needs."""

    key: str
    label: str
    place: str
    unit: str
    value: float | None
    printed: bool
    at_own_gauge: float | None

    @property
    def own_if_other(self) -> float | None:
        """What the tester's gauge needs where that, as it is shown, is another number than ``value``; else None."""
        if self.at_own_gauge is None or self.value is None:
            return None
        same = format_count(self.at_own_gauge) == format_count(self.value)
        return None if same else self.at_own_gauge


@dataclass(frozen=True, slots=True)
class WorksheetShaping:
    """A shaping from the numbers above: stitches before and after, and the rows or stitches it goes over.

    ``words`` spell it out; None where a value is unknown or where it cannot be worked, which ``problem`` says.
    """

    key: str
    label: str
    place: str
    along: Along
    start: float | None
    end: float | None
    over: float | None
    words: str | None
    problem: str | None

    @property
    def counts(self) -> str:
        """As in "54 to 96 stitches over 116 rows"; empty where a value is unknown."""
        if self.start is None or self.end is None or self.over is None:
            return ""
        if self.along is Along.STITCHES:
            said = _("{start} to {end} stitches")
        elif self.along is Along.ROUNDS:
            said = npgettext(
                "of the work",
                "{start} to {end} stitches over {n} round",
                "{start} to {end} stitches over {n} rounds",
                self.over,
            )
        else:
            said = ngettext(
                "{start} to {end} stitches over {n} row", "{start} to {end} stitches over {n} rows", self.over
            )
        return said.format(
            start=format_count(self.start), end=format_count(self.end), n=format_count(self.over)
        )

    @property
    def instruction(self) -> str:
        """What to work, or why it cannot be said yet."""
        if self.words is not None:
            return self.words
        if self.problem is not None:
            return _("It cannot be worked with these numbers: {problem} Ask the designer.").format(
                problem=self.problem
            )
        return _("It is spelled out once its numbers are known.")


@dataclass(frozen=True, slots=True)
class WorksheetPlace:
    """The numbers of one place in the text, in sheet order, and the shapings that are worked there."""

    place: str
    numbers: tuple[WorksheetNumber, ...]
    shapings: tuple[WorksheetShaping, ...] = ()


@dataclass(frozen=True, slots=True)
class WorksheetDimension:
    """A finished measurement: what it should be, cm, how far it may be off, and how to take it."""

    key: str
    label: str
    target: float | None
    tolerance: float
    how: str | None


@dataclass(frozen=True, slots=True)
class Worksheet:
    """Everything on one tester's worksheet; lengths in cm."""

    title: str
    edition: str
    craft: Craft
    tester: str
    size: str | None
    measures: tuple[WorksheetMeasure, ...]
    gauges: tuple[WorksheetGauge, ...]
    places: tuple[WorksheetPlace, ...]
    dimensions: tuple[WorksheetDimension, ...]
    missing: tuple[str, ...]
    """What to send so that the empty numbers can be worked out, a sentence each."""
    cautions: tuple[Caution, ...]
    pieces: tuple[Piece, ...]
    """The pieces laid flat, as the numbers above make them; every dimension is on one of them."""


def worksheet(
    round_: Round,
    tester: Tester,
    own: Mapping[str, GaugeColumns] | None = None,
    *,
    sheet: Sheet | None = None,
) -> Worksheet:
    """The worksheet of one tester.

    Parameters
    ----------
    round_ : Round
        The round, for its pattern.
    tester : Tester
        One of its testers.
    own : mapping of gauge key to GaugeColumns, optional
        The tester's own gauges, per cm, one column each, NaN where unknown. Left out,
        what the tester's swatches say.
    sheet : Sheet, optional
        The pattern's sheet, where it has been compiled already.

    Returns
    -------
    Worksheet

    Raises
    ------
    SheetError
        The pattern's sheet cannot be computed.
    """
    pattern = round_.pattern
    sheet = Sheet(pattern) if sheet is None else sheet
    own = swatched_gauges(tester) if own is None else own
    own = {gauge.key: own[gauge.key] for gauge in pattern.gauges if gauge.key in own}
    graded = pattern.is_graded
    size = tester.size if graded and tester.size in pattern.sizes else None
    if size is not None:
        stated = sheet.stated([size])
    else:
        stated = sheet.worked_from([{}]) if graded else sheet.made_for([tester])
    at_own = sheet.with_gauges(stated, {key: _filled(own[key], stated.gauges[key]) for key in own})
    basis = stated if graded else at_own
    computed = sheet.numbers(basis)
    at_own_gauge = sheet.numbers(at_own) if graded and own else {}
    printed = {
        number.key: number.printed[size]
        for number in pattern.numbers
        if size is not None and number.printed and size in number.printed
    }
    rows = [
        WorksheetNumber(
            key=number.key,
            label=number.label,
            place=number.place or _(OTHERWISE_PLACE),
            unit=number.unit,
            value=_known(computed[number.key]) if number.key not in printed else printed[number.key],
            printed=number.key in printed,
            at_own_gauge=_known(at_own_gauge[number.key]) if at_own_gauge else None,
        )
        for number in pattern.numbers
    ]
    targets = sheet.dimensions(basis, computed)
    # Shaped is what the tester works, so a shaping follows the numbers as they stand on the worksheet.
    to_work = {row.key: np.array([np.nan if row.value is None else row.value]) for row in rows}
    columns = sheet.shapings(basis, to_work)
    shapings = [_shaped(shaping, columns[shaping.key], pattern.craft) for shaping in pattern.shapings]
    return Worksheet(
        title=pattern.title,
        edition=pattern.edition,
        craft=pattern.craft,
        tester=tester.name,
        size=size,
        measures=tuple(
            WorksheetMeasure(
                key=measure.key,
                label=measure.label,
                cm=_known(basis.measures[measure.key]),
                own=tester.measures.get(measure.key),
                how=measure.how,
            )
            for measure in pattern.measures
        ),
        gauges=tuple(
            WorksheetGauge(
                key=gauge.key,
                label=gauge.label,
                stated_stitches=gauge.stitches,
                stated_rows=gauge.rows,
                tool_mm=gauge.tool_mm,
                own_stitches=_per_10cm(own.get(gauge.key), "st"),
                own_rows=_per_10cm(own.get(gauge.key), "row"),
            )
            for gauge in pattern.gauges
        ),
        places=_by_place(rows, shapings),
        dimensions=tuple(
            WorksheetDimension(
                key=dimension.key,
                label=dimension.label,
                target=_known(targets[dimension.key]),
                tolerance=dimension.tolerance,
                how=dimension.how,
            )
            for dimension in pattern.dimensions
        ),
        missing=tuple(_missing(pattern, tester, own)),
        cautions=cautions_for(pattern, tester.measures),
        pieces=laid_flat(sheet, basis, to_work),
    )


def swatched_gauges(tester: Tester) -> dict[str, GaugeColumns]:
    """A tester's gauges as their swatches say, per cm, one column; NaN along an axis no swatch has counted.

    Blocked swatches count, and unblocked ones only where there is none, by the rule of ``gauge``.
    """
    found: dict[str, GaugeColumns] = {}
    for key in dict.fromkeys(swatch.gauge for swatch in tester.swatches):
        mine = [swatch for swatch in tester.swatches if swatch.gauge == key]
        found[key] = GaugeColumns(st=_swatched(mine, "st"), row=_swatched(mine, "row"))
    return found


def _swatched(swatches: Sequence[Swatch], axis: Axis) -> FloatArray:
    gauge = axis_gauge(swatches, axis, FabricState.BLOCKED) or axis_gauge(swatches, axis, FabricState.WORKED)
    return np.array([np.nan if gauge is None else gauge.per_cm])


def _filled(own: GaugeColumns, stated: GaugeColumns) -> GaugeColumns:
    """The own gauge, and the stated one on the axis the tester has not measured."""
    return GaugeColumns(
        st=np.where(np.isnan(own.st), stated.st, own.st), row=np.where(np.isnan(own.row), stated.row, own.row)
    )


def _known(column: FloatArray) -> float | None:
    value = float(column[0])
    return None if np.isnan(value) else value


def _per_10cm(gauge: GaugeColumns | None, axis: Axis) -> float | None:
    value = None if gauge is None else _known(gauge.st if axis == "st" else gauge.row)
    return None if value is None else 10 * value


def _shaped(shaping: Shaping, columns: ShapingColumns, craft: Craft) -> WorksheetShaping:
    start, end, over = (_known(column) for column in (columns.start, columns.end, columns.over))
    words = problem = None
    if start is not None and end is not None and over is not None:
        try:
            words = spelled(shaping, start, end, over, craft)
        except ShapingError as refusal:
            problem = str(refusal)
    return WorksheetShaping(
        key=shaping.key,
        label=shaping.label,
        place=shaping.place or _(OTHERWISE_PLACE),
        along=shaping.along,
        start=start,
        end=end,
        over=over,
        words=words,
        problem=problem,
    )


def _by_place(
    numbers: Sequence[WorksheetNumber], shapings: Sequence[WorksheetShaping]
) -> tuple[WorksheetPlace, ...]:
    places = dict.fromkeys([*(number.place for number in numbers), *(shaping.place for shaping in shapings)])
    return tuple(
        WorksheetPlace(
            place,
            tuple(number for number in numbers if number.place == place),
            tuple(shaping for shaping in shapings if shaping.place == place),
        )
        for place in places
    )


def _missing(pattern: Pattern, tester: Tester, own: Mapping[str, GaugeColumns]) -> Iterator[str]:
    if pattern.is_graded:
        if tester.size is None:
            yield _("No size has been agreed yet; the numbers follow once it is.")
        return
    for measure in pattern.measures:
        if measure.key not in tester.measures:
            yield _("{measure}: send this measurement, and the numbers that need it are worked out.").format(
                measure=measure.label
            )
    for gauge in pattern.gauges:
        columns = own.get(gauge.key)
        unknown = np.array([np.nan])
        axes = (
            ("stitches", columns.st if columns else unknown),
            ("rows", columns.row if columns else unknown),
        )
        lacking = [what for what, column in axes if np.isnan(column[0])]
        if lacking:
            if lacking == ["stitches"]:
                said = _(
                    "{gauge}: send a blocked swatch with its stitches; until then the numbers are worked out at the "
                    "stated gauge."
                )
            elif lacking == ["rows"]:
                said = _(
                    "{gauge}: send a blocked swatch with its rows; until then the numbers are worked out at the stated "
                    "gauge."
                )
            else:
                said = _(
                    "{gauge}: send a blocked swatch with its stitches and rows; until then the numbers are worked out at "
                    "the stated gauge."
                )
            yield said.format(gauge=gauge.label)
