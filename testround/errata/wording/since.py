"""What has become of a finding since it was decided."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from testround.errata.wording.names import UNIT_WORDS, Finding, sizes_words
from testround.kernel.findings import VERDICT_WORDS
from testround.kernel.units import LengthUnit, format_count, format_length
from testround.kernel.words import in_sizes, ngettext

UNSEEN_CM = 0.05
"""A change of an estimate that no tape shows."""


def differences(
    then: Finding, now: Finding, every: Sequence[str] = (), units: LengthUnit = "cm"
) -> tuple[str, ...]:
    """What differs between a finding as it was decided and as it is, a phrase each, the weightiest first.

    As in "was look closer, now amend" and "proposes 108 in size M, was 106". Nothing that a reader would not see is
    told: an estimate that moved by less than half a millimetre has not moved.
    """
    said = []
    if then["verdict"] != now["verdict"]:
        words = _("was {before}, now {after}")
        said.append(words.format(before=VERDICT_WORDS[then["verdict"]], after=VERDICT_WORDS[now["verdict"]]))
    unit = now.get("unit") or then.get("unit") or ""
    said += _values(
        then.get("proposed"),
        now.get("proposed"),
        _shown_in(then, now, units),
        every,
        both=_("proposes {after} {where}, was {before}"),
        new=_("proposes {after} {where}"),
        gone=_("proposes nothing {where} any more, was {before}"),
    )
    said += _values(
        then.get("now"),
        now.get("now"),
        _shown_in(then, now, units),
        every,
        both=_("{after} is printed {where}, was {before}"),
        new=_("{after} is printed {where}"),
        gone=_("nothing is printed {where} any more, was {before}"),
    )
    if list(then.get("sizes") or ()) != list(now.get("sizes") or ()) and every:
        words = _("{after}, was {before}")
        before, after = (sizes_words(list(each.get("sizes") or ()), every) for each in (then, now))
        said.append(words.format(before=before, after=after))
    off = _estimate(then.get("estimate"), now.get("estimate"), unit, units)
    if off:
        said.append(off)
    if then.get("testers", 0) != now.get("testers", 0):
        n = now.get("testers", 0)
        words = ngettext("{n} tester says so, was {before}", "{n} testers say so, was {before}", n)
        said.append(words.format(n=n, before=then.get("testers", 0)))
    return tuple(said)


def tells(then: Finding, now: Finding | None) -> bool:
    """Whether a finding says something else than when it was decided."""
    return now is None or bool(differences(then, now))


def changed_since(
    then: Finding,
    now: Finding | None,
    since: dt.date | None = None,
    every: Sequence[str] = (),
    units: LengthUnit = "cm",
    *,
    stands: bool = True,
) -> str:
    """What has become of a finding since it was decided; empty when nothing has. ``stands``: a decision that holds."""
    if now is None:
        said = _("The analysis no longer reports this.")
        if since is not None:
            said = _("Since {day} the analysis no longer reports this.").format(day=_day(since))
    else:
        parts = differences(then, now, every, units)
        if not parts:
            return ""
        changes = "; ".join(parts)
        said = _("Changed since you decided: {changes}.").format(changes=changes)
        if since is not None:
            said = _("Since {day}: {changes}.").format(day=_day(since), changes=changes)
    if not stands:
        return said
    return _("{said} Your decision stands until you undo it.").format(said=said)


def _day(day: dt.date) -> str:
    return date_format(day, "DATE_FORMAT")


def _shown_in(then: Finding, now: Finding, units: LengthUnit) -> LengthUnit | None:
    """The unit that values are lengths in; None for counts, gauges, metres and hours."""
    return units if now["kind"] == "schematic" or then["kind"] == "schematic" else None


def _values(
    then: Mapping[str, float] | None,
    now: Mapping[str, float] | None,
    lengths: LengthUnit | None,
    every: Sequence[str],
    *,
    both: str,
    new: str,
    gone: str,
) -> list[str]:
    """What differs between two sets of values, the sizes that changed alike in one phrase."""
    before, after = then or {}, now or {}
    alike: dict[tuple[float | None, float | None], list[str]] = {}
    for key in dict.fromkeys((*(size for size in every if size in before or size in after), *before, *after)):
        if before.get(key) != after.get(key):
            alike.setdefault((before.get(key), after.get(key)), []).append(key)
    said = []
    for (old, fresh), keys in alike.items():
        words = gone if fresh is None else new if old is None else both
        where = sizes_words(keys, every) if set(keys) <= set(every) else ""
        where = where or ("" if set(keys) <= _AXES else in_sizes(keys))
        shown = words.format(before=_value(old, lengths), after=_value(fresh, lengths), where=where)
        said.append(" ".join(shown.split()).replace(" ,", ","))
    return said


_AXES = {"stitches", "rows"}


def _value(value: float | None, lengths: LengthUnit | None) -> str:
    if value is None:
        return ""
    return format_length(value, lengths) if lengths else format_count(value)


def _estimate(then: float | None, now: float | None, unit: str, units: LengthUnit) -> str:
    """ "4.1 cm off, was 3.2 cm"; empty where nobody would see the difference."""
    if then is None or now is None:
        return ""
    if unit == "cm":
        before, after = (format_length(value, units, signed=True) for value in (then, now))
        if abs(then - now) < UNSEEN_CM:
            return ""
    else:
        before, after = (format_count(round(value, 1)) for value in (then, now))
        after = f"{after} {UNIT_WORDS.get(unit, unit)}".strip()
    if before == after or (unit != "cm" and round(then, 1) == round(now, 1)):
        return ""
    return _("{after} off, was {before}").format(after=after, before=before)
