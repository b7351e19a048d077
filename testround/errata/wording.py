"""Sentences about findings and drafts of errata. Plain data in, plain text out."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from testround.kernel.amounts import PER_M2
from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    format_count,
    format_gauge,
    format_length,
    lengths_in,
)
from testround.kernel.whys import for_readers

Finding = Mapping[str, Any]
Change = Mapping[str, Any]

UNIT_WORDS = {
    "st": "stitches",
    "row": "rows",
    "rep": "repeats",
    "cm": "cm",
    "m": "metres",
    "h": "hours",
    "st/10 cm": "stitches in 10 cm",
    "row/10 cm": "rows in 10 cm",
}
OVER: Mapping[LengthUnit, str] = {"cm": "10 cm", "in": "4 in"}
GAUGE_UNITS = ("st/10 cm", "row/10 cm")
_AXES = ("stitches", "rows")
KIND_WORDS = {
    "printed-count": "Printed number",
    "schematic": "Printed measurement",
    "worked-count": "Counts worked",
    "stated-gauge": "Stated gauge",
    "finished-size": "Finished size",
    "yarn": "Yarn",
    "hours": "Hours",
    "clarity": "Text",
    "fit": "Fit",
}


def why_for_readers(why: str) -> str:
    """A finding's reason without the sentences that only help the designer to decide."""
    return for_readers(why)


@dataclass(frozen=True, slots=True)
class Named:
    """One thing of the sheet a finding can be about."""

    key: str
    label: str
    place: str
    unit: str


def names_of(sheet: SheetDocument) -> dict[str, Named]:
    """Every number, dimension, measure and gauge of a sheet by its key; a gauge as ``body.st`` and ``body.row``."""
    named = [Named(n.key, n.label, n.place or n.label, n.unit) for n in sheet.numbers]
    named += [Named(d.key, d.label, "Finished measurements", "cm") for d in sheet.dimensions]
    named += [Named(m.key, m.label, "Body measurements", "cm") for m in sheet.measures]
    for gauge in sheet.gauges:
        named.append(Named(f"{gauge.key}.st", gauge.label, "Gauge", "st/10 cm"))
        named.append(Named(f"{gauge.key}.row", gauge.label, "Gauge", "row/10 cm"))
        # A finding may change both at once.
        named.append(Named(gauge.key, gauge.label, "Gauge", "st/10 cm"))
    named.append(Named("yarn", "Yarn needed", "Materials", "m"))
    named.append(Named("hours", "Hours needed", "Materials", "h"))
    return {name.key: name for name in named}


def name_of(key: str, names: Mapping[str, Named]) -> Named:
    return names.get(key) or Named(key, key, key, "")


def changes_from(
    finding: Finding, names: Mapping[str, Named], stands: Mapping[str, Mapping[str, float]]
) -> list[Any]:
    """The changes a finding proposes, in the form an erratum keeps them.

    Parameters
    ----------
    finding
        One entry of a findings file.
    names
        See `names_of`.
    stands
        What stands in the edition now: number or dimension key, then size.
    """
    proposed: Mapping[str, float] = finding.get("proposed") or {}
    now: Mapping[str, float] = finding.get("now") or {}
    changes = []
    if proposed:
        key = finding.get("proposed_for") or finding["subject"]
        by_axis = {"stitches": "st/10 cm", "rows": "row/10 cm"}
        if finding["kind"] == "stated-gauge":
            changes += [
                _change(
                    finding, name_of(key, names), by_axis.get(axis, ""), {axis: now.get(axis)}, {axis: value}
                )
                for axis, value in proposed.items()
            ]
        else:
            named = name_of(key, names)
            was = {**stands.get(key, {}), **now}
            changes.append(_change(finding, named, named.unit, was, proposed))
    for key, values in (finding.get("follows") or {}).items():
        named = name_of(key, names)
        changes.append(_change(finding, named, named.unit, stands.get(key, {}), values))
    return [change for change in changes if change["now"]]


def _change(
    finding: Finding, named: Named, unit: str, was: Mapping[str, float | None], now: Mapping[str, float]
) -> dict[str, Any]:
    kept = {size: value for size, value in now.items() if value is not None and value != was.get(size)}
    return {
        "subject": named.key,
        "label": named.label,
        "place": named.place,
        "unit": unit or named.unit,
        "was": {size: was[size] for size in kept if was.get(size) is not None},
        "now": kept,
        "finding": finding["id"],
    }


def in_order(values: Mapping[str, float], sizes: Sequence[str]) -> dict[str, float]:
    """Values by size in wearing order, whatever order they were stored in; an axis of a gauge comes last."""
    return {
        **{size: values[size] for size in sizes if size in values},
        **{key: value for key, value in values.items() if key not in sizes},
    }


def affected_sizes(finding: Finding, changes: Iterable[Change], sizes: Sequence[str]) -> list[str]:
    """Sizes whose copies a finding touches, in wearing order; empty for every size."""
    named = set(finding.get("sizes") or ())
    if named:
        named |= {size for change in changes for size in change["now"]}
    return sizes_listed(named, sizes)


def sizes_listed(named: Container[str], sizes: Sequence[str]) -> list[str]:
    """The sizes named, in wearing order; empty where they are all of them, as an erratum keeps it."""
    kept = [size for size in sizes if size in named]
    return [] if len(kept) == len(sizes) else kept


def change_sentence(change: Change, every: Sequence[str]) -> str:
    """ "Rows to underarm: 86 rows in every size, not 96." Values that differ by size are left to the table."""
    was, now, unit = change["was"], change["now"], UNIT_WORDS.get(change["unit"], change["unit"])
    label = change["label"]
    if set(now) <= set(_AXES):
        new = " and ".join(f"{format_count(value)} {axis}" for axis, value in now.items())
        old = " and ".join(format_count(value) for value in was.values())
        return f"{label}: {new} in 10 cm" + (f", not {old}." if old else ".")
    where = "for each square metre of fabric" if PER_M2 in now else sizes_words(list(now), every)
    only = f", {where}." if where and where != "in every size" else "."
    new_values, old_values = set(now.values()), set(was.values())
    if len(new_values) > 1 or len(old_values) > 1:
        return f"{label}: work with the {unit} given here for your size{only}"
    old = f", not {format_count(old_values.pop())}" if old_values else ""
    return f"{label}: {format_count(new_values.pop())} {unit} {where}".rstrip() + f"{old}."


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)


def draft_text(changes: Sequence[Change], every: Sequence[str]) -> str:
    """The first wording of an erratum, for the designer to edit; empty where only the designer can word it.

    Of the changes of one finding the first says what is wrong; the others follow from it, and the tables that
    stand under every erratum have their numbers.
    """
    lines = []
    for finding in dict.fromkeys(change["finding"] for change in changes):
        first, *others = [change for change in changes if change["finding"] == finding]
        follow = " What follows from it changes too, as given here." if others else ""
        lines.append(change_sentence(first, every) + follow)
    return "\n".join(lines)


def draft_place(finding: Finding, changes: Sequence[Change], names: Mapping[str, Named]) -> str:
    """Where the first change stands; what follows from it names its own place in its table."""
    return str(changes[0]["place"] if changes else name_of(finding["subject"], names).place)


COMPARED = {
    "verdict": "verdict",
    "estimate": "estimate",
    "testers": "testers",
    "now": "printed values",
    "proposed": "proposed values",
}


def changed_since(then: Finding, now: Finding | None) -> str:
    """What has become of a finding since it was decided; empty when nothing has."""
    if now is None:
        return "The analysis no longer reports this. Your decision stands until you undo it."
    parts = []
    for key, word in COMPARED.items():
        before, after = then.get(key), now.get(key)
        if before != after:
            parts.append(f"{word} {_short(before)} then, {_short(after)} now")
    if not parts:
        return ""
    return f"Changed since you decided: {'; '.join(parts)}. Your decision stands until you undo it."


def _short(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_short(entry)}" for key, entry in value.items()) or "none"
    if isinstance(value, float):
        return f"{value:.4g}"
    return str(VERDICT_WORDS.get(value, value)) if isinstance(value, str) else str(value)


# Findings in sentences ------------------------------------------------------------------------------------


def sizes_words(sizes: Sequence[str], every: Sequence[str]) -> str:
    """ "in every size", "in size M", "in sizes M to XL", "in sizes XS and M"."""
    if not every:
        return ""
    if not sizes or len(sizes) == len(every):
        return "in every size"
    at = sorted(every.index(size) for size in sizes if size in every)
    named = [every[index] for index in at]
    if len(named) == 1:
        return f"in size {named[0]}"
    if len(named) > 2 and at[-1] - at[0] == len(at) - 1:
        return f"in sizes {named[0]} to {named[-1]}"
    return f"in sizes {', '.join(named[:-1])} and {named[-1]}"


def title_of(finding: Finding, names: Mapping[str, Named]) -> str:
    """What a finding is about: "Finished size: Hem to underarm"."""
    kind = KIND_WORDS.get(finding["kind"], "Finding")
    label: str = name_of(finding["subject"], names).label
    if finding["subject"].endswith(".st"):
        label += ", stitches"
    elif finding["subject"].endswith(".row"):
        label += ", rows"
    if finding["kind"] in ("yarn", "hours") or label.lower() == kind.lower():
        # "Yarn needed" says what kind of thing it is.
        return label
    return f"{kind}: {label}"


def headline(
    finding: Finding, names: Mapping[str, Named], every: Sequence[str], units: LengthUnit = "cm"
) -> str:
    """One sentence that says what is the matter, in the reader's unit."""
    named = name_of(finding["subject"], names)
    where = sizes_words(finding.get("sizes") or [], every)
    estimate = finding.get("estimate")
    now, proposed = (in_order(finding.get(side) or {}, every) for side in ("now", "proposed"))
    match finding["kind"]:
        case "finished-size" if estimate is not None and finding["verdict"] in ("amend", "look-closer"):
            return _finished(finding, named.label, where, units)
        case "stated-gauge" if now and proposed:
            axis = next(iter(proposed))
            span: GaugeSpan = "4in" if units == "in" else "10cm"
            found, stated = (format_gauge(values[axis], span) for values in (proposed, now))
            return f"Testers get {found} {axis} in {OVER[units]}; the pattern states {stated}."
        case "printed-count" if now and proposed:
            return (
                f"{named.place} prints {_by_size(now)}; its formula gives {_by_size(proposed, beside=now)}."
            )
        case "worked-count" if now and proposed:
            return (
                f"{named.place}: testers arrive at {_by_size(proposed)}; the pattern prints {_by_size(now)}."
            )
        case "schematic" if estimate is not None:
            off, way = format_length(abs(estimate), units), "more" if estimate > 0 else "less"
            return (
                f"{named.label} is printed {off} {way} than the printed numbers give {where}".rstrip() + "."
            )
        case _:
            return lengths_in(finding.get("why") or "", units)


def _finished(finding: Finding, label: str, where: str, units: LengthUnit) -> str:
    estimate = finding["estimate"]
    how = "larger" if estimate > 0 else "smaller"
    size = format_length(abs(estimate), units)
    extent = {"with-size": "more so towards one end of the sizes, "}.get(finding.get("extent") or "", "")
    sentence = f"{label} comes out {size} {how} than the pattern means {where}".rstrip()
    interval = finding.get("interval")
    between = ""
    if interval:
        low, high = (format_length(end, units, signed=True) for end in interval)
        between = f" (95% interval {low} to {high})"
    tolerance = finding.get("tolerance")
    allowed = f"; up to {format_length(tolerance, units)} is fine" if tolerance else ""
    return f"{sentence}{between}{', ' + extent.rstrip(', ') if extent else ''}{allowed}."


def _by_size(values: Mapping[str, float], beside: Mapping[str, float] | None = None) -> str:
    """Values with their sizes; the sizes are left out where ``beside`` has just named the same ones."""
    distinct = set(values.values())
    if len(distinct) == 1:
        value = format_count(distinct.pop())
        if beside is not None and set(beside) == set(values) and len(set(beside.values())) == 1:
            return value
        return f"{value} in {'size' if len(values) == 1 else 'sizes'} {_listed(values)}"
    return ", ".join(f"{size} {format_count(value)}" for size, value in values.items())


def needs_words(finding: Finding) -> str:
    """How many more testers would settle a finding; empty when nothing is asked."""
    needs = finding.get("needs")
    if not needs:
        return ""
    if isinstance(needs, Mapping):
        asked = ", ".join(f"{count} in {size}" for size, count in needs.items() if count)
        return f"To settle it, more testers: {asked}." if asked else ""
    return f"To settle it, more testers: {needs}."


def verdict_sentence(verdict: str, estimate: float | None, tolerance: float, units: LengthUnit = "cm") -> str:
    """The verdict on one size of one dimension."""
    allowed = format_length(tolerance, units)
    if estimate is None:
        return "Nobody has measured this yet."
    off = format_length(abs(estimate), units)
    way = "larger" if estimate > 0 else "smaller"
    match verdict:
        case "amend":
            return (
                f"{off} {way} than meant, beyond the {allowed} that is fine: the pattern needs a correction."
            )
        case "look-closer":
            return f"Perhaps {off} {way} than meant, beyond the {allowed} that is fine; not yet certain."
        case "holds":
            return f"Within the {allowed} that is fine."
        case _:
            return "Too little evidence to say."


# Errata as readers see them -------------------------------------------------------------------------------


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
    rows: tuple[ChangeRow, ...]


def of_size(changes: Iterable[Change], size: str) -> list[dict[str, Any]]:
    """What changes for one size: its own values, and the gauge, which is every size's. All with an empty size."""
    kept = [
        {
            **change,
            **{
                side: {k: v for k, v in change[side].items() if k in (size, *_AXES)}
                for side in ("was", "now")
            },
        }
        if size
        else dict(change)
        for change in changes
    ]
    return [change for change in kept if change["now"]]


def change_tables(changes: Iterable[Change], units: LengthUnit) -> tuple[ChangeTable, ...]:
    """What changes, a table of was and now for each number."""
    return tuple(
        ChangeTable(
            _caption(change),
            _across(change["now"]),
            tuple(
                _row(change, key, f"{key.capitalize()} in {OVER[units]}" if key in _AXES else key, units)
                for key in change["now"]
            ),
        )
        for change in changes
        if change["now"]
    )


def change_table_of(changes: Iterable[Change], size: str, units: LengthUnit) -> tuple[ChangeTable, ...]:
    """What changes for one size, in a single table with a row for each number; none where nothing does."""
    rows = tuple(
        _row(
            change,
            key,
            f"{_caption(change)}, {key} in {OVER[units]}" if key in _AXES else _caption(change),
            units,
        )
        for change in of_size(changes, size)
        for key in change["now"]
    )
    return (ChangeTable(f"Size {size}", "Number", rows),) if rows else ()


def _across(now: Mapping[str, float]) -> str:
    return "Gauge" if set(now) <= set(_AXES) else "Fabric" if PER_M2 in now else "Size"


def _caption(change: Change) -> str:
    """ "Back, step 3: Rows to underarm, rows"; the unit is left out where the values carry it."""
    place, label = change["place"], change["label"]
    unit = "" if change["unit"] in ("cm", *GAUGE_UNITS) else UNIT_WORDS.get(change["unit"], "")
    return (f"{place}: " if place and place != label else "") + label + (f", {unit}" if unit else "")


def _row(change: Change, key: str, called: str, units: LengthUnit) -> ChangeRow:
    was, now = (value_words(change[side].get(key), change["unit"], units) for side in ("was", "now"))
    return ChangeRow(called, was, now)


def value_words(value: float | None, unit: str, units: LengthUnit) -> str:
    if value is None:
        return "not printed"
    if unit in GAUGE_UNITS:
        return format_gauge(value, "4in" if units == "in" else "10cm")
    return format_length(value, units) if unit == "cm" else format_count(value)
