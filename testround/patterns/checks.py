"""The desk check as the sheet's page shows it: computed beside printed, and what differs in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.deskcheck import DeskCheck, PrintedCount, PrintedMeasurement, desk_check
from testround.kernel.round import Pattern
from testround.kernel.shaping import ShapingError, spelled
from testround.kernel.sheet import FloatArray, GaugeColumns, Inputs, Sheet
from testround.kernel.units import format_count, format_length
from testround.patterns.drafts import SheetDraft
from testround.patterns.fields import Scale
from testround.patterns.rows import UNKNOWN, Computed, Placed, Row, computed_id
from testround.patterns.runs import Runs, runs_into


@dataclass(frozen=True, slots=True)
class SheetCheck:
    """What there is to say of a sheet as a whole.

    ``problems`` keep it from being computed or stored, ``faults`` are printed values that are wrong, and
    ``notes`` and ``runs`` are places to look at that may be meant: ``runs`` those where a step from size to size
    breaks the run.
    """

    problems: tuple[Placed, ...]
    faults: tuple[Placed, ...]
    notes: tuple[str, ...]
    compared: int
    is_graded: bool
    runs: tuple[Placed, ...] = ()

    @property
    def to_look_at(self) -> int:
        """How many places there are to look at that may be meant."""
        return len(self.notes) + len(self.runs)

    @property
    def summary(self) -> str:
        """The answer to "are the pattern's numbers right?" in one sentence."""
        if self.problems:
            n = len(self.problems)
            return ngettext(
                "{n} thing to mend before this sheet can be used.",
                "{n} things to mend before this sheet can be used.",
                n,
            ).format(n=n)
        if self.faults:
            n = len(self.faults)
            return ngettext(
                "{n} printed value of {all} is not what the formulas give.",
                "{n} printed values of {all} are not what the formulas give.",
                n,
            ).format(n=n, all=self.compared)
        if not self.is_graded:
            return _("The formulas work. Try them with measures and a gauge below.")
        if not self.compared:
            return _("The formulas work. Nothing is printed yet to compare them with.")
        return ngettext(
            "The one printed value is what the formulas give.",
            "All {n} printed values are what the formulas give.",
            self.compared,
        ).format(n=self.compared)

    @property
    def is_clean(self) -> bool:
        return not self.problems and not self.faults


def check(draft: SheetDraft, pattern: Pattern | None) -> SheetCheck:
    """Compute the sheet, put every result beside its field in the draft, and say what is wrong.

    ``pattern`` is the draft as a sheet; None when it has problems, and then whatever does not hang on them
    is computed all the same.
    """
    problems = tuple(draft.problems())
    whole = pattern if pattern is not None else draft.readable_part()
    if whole is None:
        return SheetCheck(problems, (), (), 0, draft.is_graded)
    sheet = Sheet(whole)
    inputs = sheet.stated() if draft.is_graded else _tried(draft, sheet)
    numbers = sheet.numbers(inputs)
    values = {
        "numbers": numbers,
        "dimensions": sheet.dimensions(inputs, numbers),
        "parts": sheet.parts(inputs, numbers),
    }
    found = desk_check(sheet)
    differs: dict[tuple[str, str, str], str] = {}
    for count in found.counts:
        differs["numbers", count.key, count.size] = _count_sentence(count)
    for measurement in found.measurements:
        differs["dimensions", measurement.key, measurement.size] = _measurement_sentence(
            measurement, draft.scale
        )
    faults = []
    columns = draft.columns if draft.is_graded else [""]
    for group, by_key in values.items():
        for row in draft.kept_rows(group):
            # With problems about, two rows may still claim one key; the first of them is the one computed.
            column = by_key.get(row.cells["key"].text.strip())
            row.computed = [
                Computed(
                    id=computed_id(row, j),
                    text=_shown(column, j, group, draft.scale),
                    differs=differs.get((group, row.cells["key"].text.strip(), size), ""),
                )
                for j, size in enumerate(columns)
            ]
            faults += [
                Placed(_where(row, size), answer.differs, row.sized[j].id)
                for j, (size, answer) in enumerate(zip(columns, row.computed, strict=True))
                if answer.differs
            ]
    _spell_out(draft, sheet, inputs, found)
    compared = sum(
        int(np.sum(~np.isnan(printed)))
        for printed in (*sheet.printed_numbers().values(), *sheet.printed_dimensions().values())
    )
    broken = _broken_runs(draft, sheet, values, found) if draft.is_graded else ()
    # Of a row whose broken step is named, the size in the middle of it is no news.
    named = {row.cells["key"].text.strip() for row in draft.all_rows() if row.run_said}
    notes = tuple(note.sentence for note in found.notes if note.kind != "step" or note.key not in named)
    return SheetCheck(tuple(draft.problems()), tuple(faults), notes, compared, draft.is_graded, broken)


def _broken_runs(
    draft: SheetDraft,
    sheet: Sheet,
    values: Mapping[str, Mapping[str, FloatArray]],
    found: DeskCheck,
) -> tuple[Placed, ...]:
    """Say of every row whether a step breaks its run; those of which nothing else is said already."""
    known = {(count.key, count.size) for count in found.counts}
    known |= {(measurement.key, measurement.size) for measurement in found.measurements}
    broken = runs_into(draft, Runs(sheet, values, draft.scale.units))
    named = {row.cells["key"].text.strip() for row, _run in broken}
    told = {note.key for note in found.notes if note.kind == "step"} - named
    # What follows from a row that breaks its run breaks its own: said once, where it begins.
    explained = {follower for key in told for follower in sheet.follows(key)}
    columns = draft.columns
    places = []
    for row, run in broken:
        key = row.cells["key"].text.strip()
        misprints = [{(key, columns[step.at]), (key, columns[step.to])} & known for step in run.run.breaks]
        if key not in explained and not all(misprints):
            places.append(Placed(row.title, run.sentence, row.name))
        explained |= {key, *sheet.follows(key)}
    return tuple(places)


def _spell_out(draft: SheetDraft, sheet: Sheet, inputs: Inputs, found: DeskCheck) -> None:
    """Put every shaping beside its fields in words, from what is printed where that is right."""
    at = {size: j for j, size in enumerate(draft.columns)}
    printed = sheet.printed_numbers() if draft.is_graded else {}
    for count in found.counts:
        printed[count.key][at[count.size]] = np.nan
    columns = sheet.shapings(inputs, sheet.numbers(inputs, printed))
    by_key = {shaping.key: shaping for shaping in sheet.pattern.shapings}
    for row in draft.kept_rows("shapings"):
        key = row.cells["key"].text.strip()
        row.computed = []
        for j in range(inputs.n):
            text, asks = UNKNOWN, ""
            if key in by_key:
                start, end, over = (
                    float(values[j]) for values in (columns[key].start, columns[key].end, columns[key].over)
                )
                if not np.isnan(start + end + over):
                    try:
                        text = spelled(by_key[key], start, end, over, sheet.pattern.craft)
                    except ShapingError as refusal:
                        asks = str(refusal)
            row.computed.append(Computed(id=computed_id(row, j), text=text, asks=asks))


def _tried(draft: SheetDraft, sheet: Sheet) -> Inputs:
    """One column, from the measures and gauges that are tried; what is not tried is unknown."""
    measures = {key: value for key, (value, *_) in draft.tried("measures").items() if value is not None}
    inputs = sheet.worked_from([measures])
    gauges = {}
    known = {gauge.key for gauge in sheet.pattern.gauges}
    for key, tried in draft.tried("gauges").items():
        if key in known:
            st, row = (np.array([np.nan if value is None else value / 10]) for value in tried)
            gauges[key] = GaugeColumns(st, row)
    return sheet.with_gauges(inputs, gauges)


def _shown(column: FloatArray | None, j: int, group: str, scale: Scale) -> str:
    if column is None or np.isnan(column[j]):
        return UNKNOWN
    value = float(column[j])
    if group == "dimensions":
        return format_length(value, scale.units).removesuffix(f" {scale.units}")
    return format_count(value)


def _where(row: Row, size: str) -> str:
    place = row.cells["place"].text.strip() if "place" in row.cells else ""
    if place:
        return _("{row}, size {size} ({place})").format(row=row.title, size=size, place=place)
    return _("{row}, size {size}").format(row=row.title, size=size)


def _count_sentence(count: PrintedCount) -> str:
    apart = count.printed - count.computed
    sentence = (
        _("{printed} is printed and the formula gives {computed}, {apart} fewer.")
        if apart > 0
        else _("{printed} is printed and the formula gives {computed}, {apart} more.")
    )
    return sentence.format(
        printed=format_count(count.printed),
        computed=format_count(count.computed),
        apart=format_count(abs(apart)),
    )


def _measurement_sentence(measurement: PrintedMeasurement, scale: Scale) -> str:
    apart = measurement.printed - measurement.follows
    sentence = (
        _("{printed} is printed and the counts give {computed} at the stated gauge, {apart} less.")
        if apart > 0
        else _("{printed} is printed and the counts give {computed} at the stated gauge, {apart} more.")
    )
    weight = (
        _("That is beyond the tolerance of {tolerance}.")
        if measurement.verdict == "amend"
        else _("Rounding does not explain that, though the tolerance of {tolerance} covers it.")
    )
    said = sentence.format(
        printed=format_length(measurement.printed, scale.units),
        computed=format_length(measurement.follows, scale.units),
        apart=format_length(abs(apart), scale.units),
    )
    return f"{said} {weight.format(tolerance=format_length(measurement.tolerance, scale.units))}"
