"""How the rows of a sheet run over the sizes: in words beside them, and as a plot where one is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from testround.kernel.deskcheck import ROUNDING_CM
from testround.kernel.runs import Break, Run, run_of
from testround.kernel.sheet import FloatArray, Sheet
from testround.kernel.units import LengthUnit, format_count, format_length
from testround.paper.plots import Plot
from testround.paper.plots_sheet import BrokenStep, OverSizes, run_plot, signed
from testround.patterns.drafts import SheetDraft
from testround.patterns.rows import Row

BODY_STEP_CM = 2.0
"""A body measurement is chosen, not computed: its steps differ by as much without being wrong."""

MOST_SHOWN = 3
"""So many broken runs are drawn without being asked for."""


@dataclass(frozen=True, slots=True)
class RowRun:
    """One row's values over the sizes, what its run is like, and the sentence that names what breaks it."""

    values: FloatArray
    printed: FloatArray
    computed: FloatArray | None
    run: Run
    sentence: str


class Runs:
    """The runs of a graded sheet's measures, numbers and finished measurements."""

    def __init__(
        self, sheet: Sheet, values: Mapping[str, Mapping[str, FloatArray]], units: LengthUnit
    ) -> None:
        self.sheet = sheet
        self.units = units
        self.bodies = sheet.stated().measures
        self.followers = {key: set(sheet.follows(key)) for key in self.bodies}
        self.labels = {measure.key: measure.label for measure in sheet.pattern.measures}
        self.computed = {group: values[group] for group in ("numbers", "dimensions")}
        self.printed = {"numbers": sheet.printed_numbers(), "dimensions": sheet.printed_dimensions()}
        self._slowest = {
            axis: min((getattr(gauge, name) / 10 for gauge in sheet.pattern.gauges), default=1.0)
            for axis, name in (("st", "stitches"), ("row", "rows"))
        }
        self._unit_of = {number.key: number.unit for number in sheet.pattern.numbers}

    def of(self, group: str, key: str) -> RowRun | None:
        """The run of one row; None for a row that has none."""
        if group == "measures":
            if key not in self.bodies:
                return None
            values = self.bodies[key]
            run = run_of(values, floor=BODY_STEP_CM)
            return RowRun(values, values, None, run, self._sentence(run, units=self.units))
        if group not in self.computed or key not in self.computed[group]:
            return None
        computed, printed = self.computed[group][key], self.printed[group][key]
        values = np.where(np.isnan(printed), computed, printed)
        follows = self._followed(key)
        units = self.units if group == "dimensions" else None
        run = run_of(
            values,
            floor=self._floor_cm(key) if group == "dimensions" else self._floor(key),
            along=None if follows is None else self.bodies[follows],
        )
        sentence = self._sentence(run, units=units, follows=follows, computed=computed)
        return RowRun(values, printed, computed, run, sentence)

    def _followed(self, key: str) -> str | None:
        """The one body measurement behind a row; None where there are several or none."""
        behind = [body for body, followers in self.followers.items() if key in followers]
        return behind[0] if len(behind) == 1 else None

    def _floor(self, key: str) -> float:
        """The most that roundings can add to a step of a number: its own multiple and those of what it uses."""
        return self._multiple(key) + sum(self._multiple(used) for used in self._numbers_used(key))

    def _floor_cm(self, key: str) -> float:
        """The same for a measurement, whose printed value may be rounded up in one size and down in the next."""
        return 2 * ROUNDING_CM + sum(
            self._multiple(used) / self._slowest.get(self._unit_of[used], 1.0)
            for used in self._numbers_used(key)
        )

    def _multiple(self, key: str) -> float:
        multiple = self.sheet.multiple_of(key)
        return multiple[0] if multiple else 1.0

    def _numbers_used(self, key: str) -> list[str]:
        return [used for used in self.sheet.uses(key) if used in self._unit_of]

    # Words

    def _sentence(
        self,
        run: Run,
        *,
        units: LengthUnit | None,
        follows: str | None = None,
        computed: FloatArray | None = None,
    ) -> str:
        if not run.breaks or run.low is None or run.high is None:
            return ""
        label = self.labels.get(follows or "", "") if run.along else ""
        said = [self._step(step, units, label) for step in run.breaks]
        said.append(_("everywhere else it {steps}").format(steps=_between(run.low, run.high, units)))
        sentence = "; ".join(said)
        sentence = f"{sentence[:1].upper()}{sentence[1:]}."
        if computed is not None:
            by_formula = [float(computed[step.to] - computed[step.at]) for step in run.breaks]
            if all(abs(rise - step.rise) < 1e-6 for rise, step in zip(by_formula, run.breaks, strict=True)):
                sentence += " " + _("The formula gives the same: look at what it is worked from.")
        return sentence

    def _step(self, step: Break, units: LengthUnit | None, label: str) -> str:
        sizes = self.sheet.pattern.sizes
        words = {"first": sizes[step.at], "second": sizes[step.to], "rises": _rises(step.rise, units)}
        if not label:
            return _("from {first} to {second} it {rises}").format(**words)
        return _("from {first} to {second} it {rises} (in step with {measure}: {expected})").format(
            **words, measure=label, expected=signed(step.expected, units)
        )


def runs_into(draft: SheetDraft, runs: Runs) -> list[tuple[Row, RowRun]]:
    """Put every row's run in words beside it, and its plot where it is asked for; the rows whose run is broken."""
    broken = []
    for group in ("measures", "numbers", "dimensions"):
        for row in draft.kept_rows(group):
            found = runs.of(group, row.cells["key"].text.strip())
            if found is None:
                continue
            row.run_said = found.sentence
            if found.sentence:
                broken.append((row, found))
                row.plots |= draft.shows_broken and len(broken) <= MOST_SHOWN
            if row.plots:
                units = None if group == "numbers" else draft.scale.units
                row.plot = _plot(row, found, tuple(draft.columns), units)
    return broken


def _plot(row: Row, found: RowRun, sizes: tuple[str, ...], units: LengthUnit | None) -> Plot:
    return run_plot(
        OverSizes(
            row.title,
            sizes,
            _known(found.printed),
            () if found.computed is None else _known(found.computed),
            tuple(BrokenStep(step.at, step.to, signed(step.rise, units)) for step in found.run.breaks),
            units,
            found.sentence or run_in_words(found.run, units),
        ),
        ident=f"run-{row.name}",
    )


def run_in_words(run: Run, units: LengthUnit | None) -> str:
    """What an unbroken run is like."""
    if run.low is None or run.high is None:
        return _("There are too few sizes to speak of steps.")
    return _("From size to size it {steps}; no step breaks the run.").format(
        steps=_between(run.low, run.high, units)
    )


def _known(values: FloatArray) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(value) else float(value) for value in values)


def _amount(step: float, units: LengthUnit | None) -> str:
    return format_count(abs(step)) if units is None else format_length(abs(step), units)


def _rises(step: float, units: LengthUnit | None) -> str:
    amount = _amount(step, units)
    if amount.split(" ")[0] == "0":
        return _("stays as it is")
    return (_("rises by {n}") if step > 0 else _("falls by {n}")).format(n=amount)


def _between(low: float, high: float, units: LengthUnit | None) -> str:
    """ "rises by 8 to 10", "falls by 2", or, where it does both, "goes by −2 to +5"."""
    if _amount(low, units) == _amount(high, units) and low * high >= 0:
        return _rises(high, units)
    if low >= 0:
        return _("rises by {low} to {high}").format(low=_short(low, units), high=_amount(high, units))
    if high <= 0:
        return _("falls by {low} to {high}").format(low=_short(high, units), high=_amount(low, units))
    return _("goes by {low} to {high}").format(low=signed(low, units), high=signed(high, units))


def _short(step: float, units: LengthUnit | None) -> str:
    """An amount whose unit follows later in the sentence."""
    return _amount(step, units) if units is None else _amount(step, units).rsplit(" ", 1)[0]
