"""What the numbers that a finding proposes would do to the finished measurements."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from testround.errata.selectors.analyses import Read
from testround.kernel.analysis import DeviationCell
from testround.kernel.sheet import Sheet

# A change that no tape shows, in centimetres.
UNSEEN_CM = 0.05


@dataclass(frozen=True, slots=True)
class Effect:
    """What a proposed correction does to a dimension in one size, in centimetres."""

    size: str
    before: float
    change: float

    @property
    def after(self) -> float:
        return self.before + self.change


@dataclass(frozen=True, slots=True)
class Moved:
    """Another dimension that a correction moves, in centimetres: the least and the most of its sizes, by sign."""

    key: str
    label: str
    tolerance: float
    least: float
    most: float
    beyond: tuple[str, ...]
    """Sizes that it takes beyond their tolerance."""


class Effects:
    """Every dimension as the text stands and with what a finding proposes, worked at the stated gauge."""

    def __init__(self, finding: Mapping[str, Any], sheet: Sheet) -> None:
        self._sizes = sheet.pattern.sizes
        self._dimensions = sheet.pattern.dimensions
        self._in = set(finding["proposed"])
        inputs = sheet.stated()
        printed = sheet.printed_numbers()
        corrected = {number: values.copy() for number, values in printed.items()}
        for number, by_size in {
            finding["proposed_for"]: finding["proposed"],
            **finding.get("follows", {}),
        }.items():
            for index, size in enumerate(self._sizes):
                if number in corrected and size in by_size:
                    corrected[number][index] = by_size[size]
        now, then = (sheet.dimensions(inputs, sheet.numbers(inputs, given)) for given in (printed, corrected))
        self._change = {
            key: dict(zip(self._sizes, (then[key] - now[key]).tolist(), strict=True)) for key in now
        }

    def change_of(self, key: str) -> Mapping[str, float]:
        """By how much a dimension changes, cm, by size."""
        return self._change[key]

    def of(self, key: str, cells: Sequence[tuple[str, DeviationCell]]) -> tuple[Effect, ...]:
        """On the dimension itself, in the sizes to be corrected."""
        change = self._change[key]
        return tuple(
            Effect(size, cell.estimate, change[size])
            for size, cell in cells
            if cell.estimate is not None and size in change and size in self._in
        )

    def elsewhere(self, key: str, cells: Iterable[DeviationCell]) -> tuple[Moved, ...]:
        """On every other dimension that it moves so far that a tape would show it."""
        off = {(cell.dimension, cell.size): cell.estimate or 0.0 for cell in cells}
        found = []
        for dimension in self._dimensions:
            change = {
                size: by
                for size, by in self._change[dimension.key].items()
                if dimension.key != key and abs(by) >= UNSEEN_CM
            }
            if not change:
                continue
            beyond = tuple(
                size
                for size, by in change.items()
                if abs(off.get((dimension.key, size), 0.0) + by)
                > max(dimension.tolerance, abs(off.get((dimension.key, size), 0.0)))
            )
            found.append(
                Moved(
                    dimension.key,
                    dimension.label,
                    dimension.tolerance,
                    min(change.values()),
                    max(change.values()),
                    beyond,
                )
            )
        return tuple(found)


def measurements_kept(read: Read, finding: Mapping[str, Any]) -> tuple[str, ...]:
    """Measurements that a finding's correction brings back to what the pattern means, so that they stay as printed.

    The one it is about, and every other that came out off as well and ends nearer to what is meant than to what the
    changed counts alone would give: pieces that are long in the body are long in the back.
    """
    effects = Effects(finding, Sheet(read.sheet))
    off = {(cell.dimension, cell.size): cell.estimate for cell in read.analysis.deviations}
    kept = [finding["subject"]]
    for dimension in read.sheet.dimensions:
        changes = [
            (change, off.get((dimension.key, size)))
            for size, change in effects.change_of(dimension.key).items()
            if abs(change) >= UNSEEN_CM
        ]
        known = [(change, estimate) for change, estimate in changes if estimate is not None]
        if dimension.key == finding["subject"] or not known:
            continue
        if sum(abs(change + estimate) for change, estimate in known) < sum(
            abs(estimate) for _c, estimate in known
        ):
            kept.append(dimension.key)
    return tuple(kept)
