"""What changes, as tables in the reader's unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from testround.errata.wording.names import AXES, GAUGE_UNITS, OVER, UNIT_WORDS, Change
from testround.kernel.amounts import PER_M2
from testround.kernel.units import (
    LengthUnit,
    format_count,
    format_gauge,
    format_length,
)


@dataclass(frozen=True, slots=True)
class ChangeRow:
    size: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class ChangeTable:
    """One number that changes, in the reader's unit."""

    caption: str
    across: str
    """What the rows are: sizes, as a rule."""
    rows: tuple[ChangeRow, ...]
    by_size: bool = False


def of_size(changes: Iterable[Change], size: str) -> list[dict[str, Any]]:
    """What changes for one size: its own values, and the gauge, which is every size's. All with an empty size."""
    kept = [
        {
            **change,
            **{
                side: {k: v for k, v in change[side].items() if k in (size, *AXES)} for side in ("was", "now")
            },
        }
        if size
        else dict(change)
        for change in changes
    ]
    return [change for change in kept if change["now"]]


def change_sizes(changes: Iterable[Change], size: str) -> bool:
    """Whether any change is one of this size, or of what is every size's: the gauge, or yarn by the square metre."""
    return any(size in change["now"] or not _is_by_size(change["now"]) for change in changes)


def change_tables(changes: Iterable[Change], units: LengthUnit) -> tuple[ChangeTable, ...]:
    """What changes, a table of was and now for each number."""
    return tuple(
        ChangeTable(
            _caption(change),
            _across(change["now"]),
            tuple(
                _row(change, key, _axis_over(key, units) if key in AXES else key, units)
                for key in change["now"]
            ),
            by_size=_is_by_size(change["now"]),
        )
        for change in changes
        if change["now"]
    )


def change_table_of(changes: Iterable[Change], size: str, units: LengthUnit) -> tuple[ChangeTable, ...]:
    """What changes for one size, in a single table with a row for each number; none where nothing does."""
    rows = tuple(
        _row(change, key, _called(change, key, units), units)
        for change in of_size(changes, size)
        for key in change["now"]
    )
    return (ChangeTable(_("Size {size}").format(size=size), _("Number"), rows),) if rows else ()


def _axis_over(axis: str, units: LengthUnit) -> str:
    said = _("Stitches in {span}") if axis == "stitches" else _("Rows in {span}")
    return said.format(span=OVER[units])


def _called(change: Change, key: str, units: LengthUnit) -> str:
    """A number among others of one size; of a gauge it says which way is counted too."""
    if key not in AXES:
        return _caption(change)
    said = _("{number}, stitches in {span}") if key == "stitches" else _("{number}, rows in {span}")
    return said.format(number=_caption(change), span=OVER[units])


def _is_by_size(now: Mapping[str, float]) -> bool:
    return not set(now) <= set(AXES) and PER_M2 not in now


def _across(now: Mapping[str, float]) -> str:
    if _is_by_size(now):
        return _("Size")
    return _("Fabric") if PER_M2 in now else _("Gauge")


def _caption(change: Change) -> str:
    """ "Back, step 3: Cast on, stitches"; the unit is left out where the values carry it or the label has said it."""
    place, label = change["place"], change["label"]
    unit = "" if change["unit"] in ("cm", *GAUGE_UNITS) else str(UNIT_WORDS.get(change["unit"], ""))
    if unit.casefold() in label.casefold().split():
        unit = ""
    return (f"{place}: " if place and place != label else "") + label + (f", {unit}" if unit else "")


def _row(change: Change, key: str, called: str, units: LengthUnit) -> ChangeRow:
    was, now = (value_words(change[side].get(key), change["unit"], units) for side in ("was", "now"))
    return ChangeRow(called, was, now)


def value_words(value: float | None, unit: str, units: LengthUnit) -> str:
    if value is None:
        return _("not printed")
    if unit in GAUGE_UNITS:
        return format_gauge(value, "4in" if units == "in" else "10cm")
    return format_length(value, units) if unit == "cm" else format_count(value)
