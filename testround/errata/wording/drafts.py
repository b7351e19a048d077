"""The first wording of an erratum, and its changes, from findings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from testround.errata.wording.names import (
    AXES,
    COUNTED,
    UNIT_WORDS,
    Change,
    Finding,
    Named,
    name_of,
    sizes_listed,
    sizes_words,
)
from testround.errata.wording.tables import change_tables
from testround.kernel.amounts import PER_M2
from testround.kernel.units import LengthUnit, format_count, format_length
from testround.kernel.whys import for_readers
from testround.kernel.words import listed, ngettext


def why_for_readers(why: str) -> str:
    """A finding's reason without the sentences that only help the designer to decide."""
    return for_readers(why)


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
        whole = {size: _whole(value) if named.unit in COUNTED else value for size, value in values.items()}
        changes.append(_change(finding, named, named.unit, stands.get(key, {}), whole))
    return [change for change in changes if change["now"]]


def _whole(count: float) -> float:
    """A broken result of a formula as it is printed: the whole number nearest to it, halves going up."""
    return count if count % 1 == 0 else float(math.floor(count + 0.5))


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


def affected_sizes(finding: Finding, changes: Iterable[Change], sizes: Sequence[str]) -> list[str]:
    """Sizes whose copies a finding touches, in wearing order; empty for every size."""
    named = set(finding.get("sizes") or ())
    if named:
        named |= {size for change in changes for size in change["now"]}
    return sizes_listed(named, sizes)


def change_sentence(change: Change, every: Sequence[str]) -> str:
    """ "Rows to underarm: 86 rows in every size, not 96." Values that differ by size are left to the table."""
    was, now, unit = change["was"], change["now"], str(UNIT_WORDS.get(change["unit"], change["unit"]))
    label = change["label"]
    if set(now) <= set(AXES):
        new = listed(_of_axis(value, axis) for axis, value in now.items())
        if not was:
            return _("{label}: {new} in 10 cm.").format(label=label, new=new)
        old = listed(format_count(value) for value in was.values())
        return _("{label}: {new} in 10 cm, not {old}.").format(label=label, new=new, old=old)
    where = _("for each square metre of fabric") if PER_M2 in now else sizes_words(list(now), every)
    new_values, old_values = set(now.values()), set(was.values())
    if len(new_values) > 1 or len(old_values) > 1:
        if not where or len(now) == len(every):
            said = _("{label}: work with the {unit} given here for your size.")
        else:
            said = _("{label}: work with the {unit} given here for your size, {where}.")
        return said.format(label=label, unit=unit, where=where)
    # A length in decimals, so that it can be told in inches: of "156 1/2 cm" only "2 cm" would be.
    figure = format_length if change["unit"] == "cm" else format_count
    new = figure(new_values.pop()).removesuffix(" cm")
    # Translators: {new} and {old} are numbers, {unit} is as in "stitches", {where} as in "in every size".
    if not old_values:
        said = _("{label}: {new} {unit} {where}.") if where else _("{label}: {new} {unit}.")
        return said.format(label=label, new=new, unit=unit, where=where)
    # Each length with its unit, so that it can be told in another.
    old = figure(old_values.pop())
    said = _("{label}: {new} {unit} {where}, not {old}.") if where else _("{label}: {new} {unit}, not {old}.")
    return said.format(label=label, new=new, unit=unit, where=where, old=old)


def brief_words(
    finding: Finding, names: Mapping[str, Named], every: Sequence[str], units: LengthUnit = "cm"
) -> str:
    """ "156.5 cm instead of 162.5 cm in size 4X", of the number that a finding is about; empty where values differ by size."""
    tables = change_tables(changes_from({**finding, "follows": None}, names, {}), units)
    if not tables:
        return ""
    rows = tables[0].rows
    values = {(row.now, row.was) for row in rows}
    # Translators: {where} is as in "in sizes M to XL".
    where = sizes_words([row.size for row in rows], every) if tables[0].by_size else ""
    if len(values) > 1:
        return _("new values {where}").format(where=where) if where else ""
    ((now, was),) = values
    said = _("{now} instead of {was} {where}") if where else _("{now} instead of {was}")
    return said.format(now=now, was=was, where=where)


def _of_axis(value: float, axis: str) -> str:
    """A gauge's number with what is counted, "stitches" or "rows"."""
    if axis == "stitches":
        return ngettext("{n} stitch", "{n} stitches", value).format(n=format_count(value))
    return ngettext("{n} row", "{n} rows", value).format(n=format_count(value))


def draft_text(changes: Sequence[Change], every: Sequence[str]) -> str:
    """The first wording of an erratum, for the designer to edit; empty where only the designer can word it.

    Of the changes of one finding the first says what is wrong; the others follow from it, and the tables that
    stand under every erratum have their numbers.
    """
    lines = []
    for finding in dict.fromkeys(change["finding"] for change in changes):
        first, *others = [change for change in changes if change["finding"] == finding]
        said = [change_sentence(first, every)]
        if others:
            said.append(_("What follows from it changes too, as given here."))
        lines.append(" ".join(said))
    return "\n".join(lines)


def draft_place(finding: Finding, changes: Sequence[Change], names: Mapping[str, Named]) -> str:
    """Where the first change stands; what follows from it names its own place in its table."""
    return str(changes[0]["place"] if changes else name_of(finding["subject"], names).place)
