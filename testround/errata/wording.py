"""Sentences about findings and drafts of errata. Plain data in, plain text out."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from testround.kernel.amounts import PER_M2
from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import (
    GaugeSpan,
    LengthUnit,
    decimal,
    format_count,
    format_gauge,
    format_length,
    gauge_over,
    lengths_in,
    rounded,
)
from testround.kernel.whys import for_readers
from testround.kernel.words import commas, in_sizes, listed, ngettext

Finding = Mapping[str, Any]
Change = Mapping[str, Any]

UNIT_WORDS = {
    "st": gettext_lazy("stitches"),
    "row": gettext_lazy("rows"),
    "rep": gettext_lazy("repeats"),
    "cm": "cm",
    "m": gettext_lazy("metres"),
    "h": gettext_lazy("hours"),
    "st/10 cm": gettext_lazy("stitches in 10 cm"),
    "row/10 cm": gettext_lazy("rows in 10 cm"),
}
OVER: Mapping[LengthUnit, str] = {"cm": "10 cm", "in": "4 in"}
GAUGE_UNITS = ("st/10 cm", "row/10 cm")
_AXES = ("stitches", "rows")
KIND_WORDS = {
    "printed-count": pgettext_lazy("kind of finding", "Printed number"),
    "schematic": pgettext_lazy("kind of finding", "Printed measurement"),
    "worked-count": pgettext_lazy("kind of finding", "Counts worked"),
    "stated-gauge": pgettext_lazy("kind of finding", "Stated gauge"),
    "finished-size": pgettext_lazy("kind of finding", "Finished size"),
    "yarn": pgettext_lazy("kind of finding", "Yarn"),
    "hours": pgettext_lazy("kind of finding", "Hours"),
    "clarity": pgettext_lazy("kind of finding", "Text"),
    "fit": pgettext_lazy("kind of finding", "Fit"),
}


_AT_FAULT = {
    "printed-count": gettext_lazy("a printed number"),
    "schematic": gettext_lazy("a printed measurement"),
    "worked-count": gettext_lazy("the text, or its count"),
    "stated-gauge": gettext_lazy("the stated gauge"),
    "finished-size": gettext_lazy("the pattern’s numbers"),
    "yarn": gettext_lazy("the printed yarn"),
    "hours": gettext_lazy("the printed hours"),
    "clarity": gettext_lazy("the text"),
    "fit": gettext_lazy("the shape, as testers feel it"),
}


def fault_words(finding: Finding) -> str:
    """Whose fault a finding is: "Fault: the stated gauge"; empty where nothing is wrong."""
    if finding["verdict"] not in ("amend", "look-closer"):
        return ""
    if finding.get("testers") == 1:
        return _("Fault: not known, by one tester alone")
    whose = _AT_FAULT.get(finding["kind"])
    if not whose:
        return ""
    if finding["verdict"] == "look-closer":
        # Translators: {whose} is as in "the stated gauge".
        return _("Fault: perhaps {whose}").format(whose=whose)
    # Translators: {whose} is as in "the stated gauge".
    return _("Fault: {whose}").format(whose=whose)


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
    named += [Named(d.key, d.label, _("Finished measurements"), "cm") for d in sheet.dimensions]
    named += [Named(m.key, m.label, _("Body measurements"), "cm") for m in sheet.measures]
    for gauge in sheet.gauges:
        named.append(Named(f"{gauge.key}.st", gauge.label, _("Gauge"), "st/10 cm"))
        named.append(Named(f"{gauge.key}.row", gauge.label, _("Gauge"), "row/10 cm"))
        # A finding may change both at once.
        named.append(Named(gauge.key, gauge.label, _("Gauge"), "st/10 cm"))
    named.append(Named("yarn", _("Yarn needed"), _("Materials"), "m"))
    named.append(Named("hours", _("Hours needed"), _("Materials"), "h"))
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
    was, now, unit = change["was"], change["now"], str(UNIT_WORDS.get(change["unit"], change["unit"]))
    label = change["label"]
    if set(now) <= set(_AXES):
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
    new = format_count(new_values.pop())
    # Translators: {new} and {old} are numbers, {unit} is as in "stitches", {where} as in "in every size".
    if not old_values:
        said = _("{label}: {new} {unit} {where}.") if where else _("{label}: {new} {unit}.")
        return said.format(label=label, new=new, unit=unit, where=where)
    said = _("{label}: {new} {unit} {where}, not {old}.") if where else _("{label}: {new} {unit}, not {old}.")
    return said.format(label=label, new=new, unit=unit, where=where, old=format_count(old_values.pop()))


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


COMPARED = {
    "verdict": pgettext_lazy("what has changed", "verdict"),
    "estimate": pgettext_lazy("what has changed", "estimate"),
    "testers": pgettext_lazy("what has changed", "testers"),
    "now": pgettext_lazy("what has changed", "printed values"),
    "proposed": pgettext_lazy("what has changed", "proposed values"),
}


def changed_since(then: Finding, now: Finding | None) -> str:
    """What has become of a finding since it was decided; empty when nothing has."""
    if now is None:
        return _("The analysis no longer reports this. Your decision stands until you undo it.")
    parts = []
    for key, word in COMPARED.items():
        before, after = then.get(key), now.get(key)
        if before != after:
            # Translators: {what} is as in "verdict" or "printed values".
            said = _("{what} {before} then, {after} now")
            parts.append(said.format(what=word, before=_short(before), after=_short(after)))
    if not parts:
        return ""
    return _("Changed since you decided: {changes}. Your decision stands until you undo it.").format(
        changes="; ".join(parts)
    )


def _short(value: Any) -> str:
    if value is None:
        return _("none")
    if isinstance(value, Mapping):
        return commas(f"{key} {_short(entry)}" for key, entry in value.items()) or _("none")
    if isinstance(value, float):
        return decimal(value, ".4g")
    return str(VERDICT_WORDS.get(value, value)) if isinstance(value, str) else str(value)


# Findings in sentences ------------------------------------------------------------------------------------


def sizes_words(sizes: Sequence[str], every: Sequence[str]) -> str:
    """ "in every size", "in size M", "in sizes M to XL", "in sizes XS and M"."""
    if not every:
        return ""
    if not sizes or len(sizes) == len(every):
        return _("in every size")
    at = sorted(every.index(size) for size in sizes if size in every)
    named = [every[index] for index in at]
    if len(named) == 1:
        return in_sizes(named)
    if len(named) > 2 and at[-1] - at[0] == len(at) - 1:
        return _("in sizes {first} to {last}").format(first=named[0], last=named[-1])
    return ngettext("in size {sizes}", "in sizes {sizes}", len(named)).format(sizes=listed(named))


def title_of(finding: Finding, names: Mapping[str, Named]) -> str:
    """What a finding is about: "Finished size: Hem to underarm"."""
    kind = str(KIND_WORDS.get(finding["kind"]) or _("Finding"))
    label: str = name_of(finding["subject"], names).label
    if finding["subject"].endswith(".st"):
        label = _("{label}, stitches").format(label=label)
    elif finding["subject"].endswith(".row"):
        label = _("{label}, rows").format(label=label)
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
            stated = format_gauge(now[axis], span)
            # What testers get is known to a tenth, finer than what is proposed for print.
            found = (
                format_gauge(proposed[axis], span)
                if estimate is None
                else decimal(float(rounded(gauge_over(now[axis] + estimate, span), Fraction(1, 10))), ".1f")
            )
            if axis == "stitches":
                said = _("Testers get {found} stitches in {span}; the pattern states {stated}.")
            else:
                said = _("Testers get {found} rows in {span}; the pattern states {stated}.")
            return said.format(found=found, span=OVER[units], stated=stated)
        case "printed-count" if now and proposed:
            return _("{place} prints {printed}; its formula gives {proposed}.").format(
                place=named.place, printed=_by_size(now), proposed=_by_size(proposed, beside=now)
            )
        case "worked-count" if now and proposed:
            return _("{place}: testers arrive at {proposed}; the pattern prints {printed}.").format(
                place=named.place, proposed=_by_size(proposed), printed=_by_size(now)
            )
        case "yarn" if now and proposed:
            why: str = lengths_in(finding.get("why") or "", units)
            short = [size for size in now if size in every and proposed.get(size, 0) > now[size]]
            if len(short) < 2:
                return why
            # Translators: {where} is as in "in sizes M to XL".
            also = _("The printed yarn falls short {where}.").format(where=sizes_words(short, every))
            return f"{why} {also}"
        case "schematic" if estimate is not None:
            return _schematic(named.label, estimate, where, units)
        case _:
            return lengths_in(finding.get("why") or "", units)


def _finished(finding: Finding, label: str, where: str, units: LengthUnit) -> str:
    estimate = finding["estimate"]
    # Translators: {where} is as in "in sizes M to XL".
    if estimate > 0 and where:
        said = _("{label} comes out {off} larger than the pattern means {where}")
    elif estimate > 0:
        said = _("{label} comes out {off} larger than the pattern means")
    elif where:
        said = _("{label} comes out {off} smaller than the pattern means {where}")
    else:
        said = _("{label} comes out {off} smaller than the pattern means")
    said = said.format(label=label, off=format_length(abs(estimate), units), where=where)
    # Translators: from here on {said} is the sentence so far, to which something is added.
    if finding.get("interval"):
        low, high = (format_length(end, units, signed=True) for end in finding["interval"])
        said = _("{said} (95% interval {low} to {high})").format(said=said, low=low, high=high)
    if finding.get("extent") == "with-size":
        said = _("{said}, more so towards one end of the sizes").format(said=said)
    tolerance = finding.get("tolerance")
    if not tolerance:
        return f"{said}."
    return _("{said}; up to {tolerance} is fine.").format(
        said=said, tolerance=format_length(tolerance, units)
    )


def _schematic(label: str, estimate: float, where: str, units: LengthUnit) -> str:
    if estimate > 0 and where:
        said = _("{label} is printed {off} more than the printed numbers give {where}.")
    elif estimate > 0:
        said = _("{label} is printed {off} more than the printed numbers give.")
    elif where:
        said = _("{label} is printed {off} less than the printed numbers give {where}.")
    else:
        said = _("{label} is printed {off} less than the printed numbers give.")
    return said.format(label=label, off=format_length(abs(estimate), units), where=where)


def _by_size(values: Mapping[str, float], beside: Mapping[str, float] | None = None) -> str:
    """Values with their sizes; the sizes are left out where ``beside`` has just named the same ones."""
    distinct = set(values.values())
    if len(distinct) == 1:
        value = format_count(distinct.pop())
        if beside is not None and set(beside) == set(values) and len(set(beside.values())) == 1:
            return value
        return f"{value} {in_sizes(list(values))}"
    return commas(f"{size} {format_count(value)}" for size, value in values.items())


def reason_beyond(finding: Finding, headline: str, units: LengthUnit = "cm") -> str:
    """Why a finding is made, without what its headline has said already; empty where that said it all."""
    why: str = lengths_in(finding.get("why") or "", units)
    if headline.startswith(why):
        return ""
    n, verdict = finding.get("testers"), finding["verdict"]
    if finding["kind"] != "finished-size" or not n or verdict not in ("amend", "look-closer"):
        return why
    if verdict == "amend":
        said = ngettext(
            "The piece of {n} tester says so, beyond what the counts worked and its gauge explain.",
            "The pieces of {n} testers say so, beyond what the counts worked and their own gauge explain.",
            n,
        )
    else:
        said = ngettext(
            "The piece of {n} tester says so, which is not enough to be sure.",
            "The pieces of {n} testers say so, which is not enough to be sure.",
            n,
        )
    # The first sentence of the reason is the headline in other words.
    rest = _SENTENCE_END.split(why, maxsplit=1)[1:]
    return " ".join([said.format(n=n), *rest])


_SENTENCE_END = re.compile(r"(?<=\.)\s+(?=[^\W\d_])")


def needs_words(finding: Finding) -> str:
    """How many more testers would settle a finding; empty when nothing is asked."""
    needs = finding.get("needs")
    if not needs:
        return ""
    if isinstance(needs, Mapping):
        # Translators: how many testers in which size.
        each = _("{n} in {size}")
        asked = commas(each.format(n=count, size=size) for size, count in needs.items() if count)
    else:
        asked = str(needs)
    return _("To settle it, more testers: {asked}.").format(asked=asked) if asked else ""


def verdict_sentence(verdict: str, estimate: float | None, tolerance: float, units: LengthUnit = "cm") -> str:
    """The verdict on one size of one dimension."""
    allowed = format_length(tolerance, units)
    if estimate is None:
        return _("Nobody has measured this yet.")
    larger = estimate > 0
    if verdict == "amend" and larger:
        said = _(
            "{off} larger than meant, beyond the {allowed} that is fine: the pattern needs a correction."
        )
    elif verdict == "amend":
        said = _(
            "{off} smaller than meant, beyond the {allowed} that is fine: the pattern needs a correction."
        )
    elif verdict == "look-closer" and larger:
        said = _("Perhaps {off} larger than meant, beyond the {allowed} that is fine; not yet certain.")
    elif verdict == "look-closer":
        said = _("Perhaps {off} smaller than meant, beyond the {allowed} that is fine; not yet certain.")
    elif verdict == "holds":
        said = _("Within the {allowed} that is fine.")
    else:
        said = _("Too little evidence to say.")
    return said.format(off=format_length(abs(estimate), units), allowed=allowed)


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
    """What the rows are: sizes, as a rule."""
    rows: tuple[ChangeRow, ...]
    by_size: bool = False


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
                _row(change, key, _axis_over(key, units) if key in _AXES else key, units)
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
    if key not in _AXES:
        return _caption(change)
    said = _("{number}, stitches in {span}") if key == "stitches" else _("{number}, rows in {span}")
    return said.format(number=_caption(change), span=OVER[units])


def _is_by_size(now: Mapping[str, float]) -> bool:
    return not set(now) <= set(_AXES) and PER_M2 not in now


def _across(now: Mapping[str, float]) -> str:
    if _is_by_size(now):
        return _("Size")
    return _("Fabric") if PER_M2 in now else _("Gauge")


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
        return _("not printed")
    if unit in GAUGE_UNITS:
        return format_gauge(value, "4in" if units == "in" else "10cm")
    return format_length(value, units) if unit == "cm" else format_count(value)
