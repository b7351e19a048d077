"""Two editions of a pattern beside each other: every number that changed, as tables and as errata."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from testround.errata.models import Erratum
from testround.errata.selectors.analyses import stands_in
from testround.errata.selectors.following import amendments_of
from testround.errata.wording import names_of
from testround.kernel.amended import GAUGE_UNITS, amended, amended_by_each
from testround.kernel.amounts import PER_M2
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.sheet import Sheet
from testround.patterns.changes import Told, told
from testround.patterns.fields import Scale
from testround.patterns.models import Edition, Pattern
from testround.rounds.models import Round


@dataclass(frozen=True, slots=True)
class ComparedEditions:
    """An older edition against a newer one.

    Attributes
    ----------
    changes
        Every number that a maker finds changed, in the form an erratum keeps them.
    groups
        Those of them that neither a published erratum nor a draft has, each group as one erratum would have it.
    rest
        What else differs between the two sheets: formulas, words, measures.
    """

    old: Edition
    new: Edition
    changes: tuple[dict[str, Any], ...]
    groups: tuple[tuple[dict[str, Any], ...], ...]
    rest: tuple[Told, ...]
    round: Round | None
    """The newest round of the older edition, on whose desk drafts can stand."""


def editions_of(pattern: Pattern) -> list[Edition]:
    """The editions of a pattern, the newest first."""
    return list(pattern.editions.order_by("-created", "-pk"))


def compared_editions(old: Edition, new: Edition, scale: Scale) -> ComparedEditions:
    """Set a newer edition against an older one: two queries."""
    errata = list(Erratum.objects.filter(edition=old).order_by("number", "pk"))
    # Drafts count after what is published: what one has already is not drafted again.
    known = [erratum for erratum in errata if erratum.is_published] + [
        erratum for erratum in errata if not erratum.is_published
    ]
    corrected = amended_by_each(old.document, [amendments_of(erratum.changes) for erratum in known])
    lacking = changes_between_sheets(corrected, new.document, stands=old.document)
    return ComparedEditions(
        old=old,
        new=new,
        changes=tuple(changes_between_sheets(old.document, new.document)),
        groups=_groups(lacking, old.document),
        rest=tuple(told(_without_numbers(old.sheet), _without_numbers(new.sheet), scale)),
        round=Round.objects.filter(edition=old).order_by("-created", "-pk").first(),
    )


def changes_between_sheets(
    before: SheetDocument, after: SheetDocument, *, stands: SheetDocument | None = None
) -> list[dict[str, Any]]:
    """Every number that a maker of one edition finds changed in the other, in the order of the sheet.

    Of sizes and entries that both have. ``was`` is what ``stands`` prints, where that is another sheet than the one
    compared with: an erratum says what a reader has before them.
    """
    names = names_of(after)
    found: list[dict[str, Any]] = []
    shown = stands or before

    def add(key: str, unit: str, was: Mapping[str, float], now: Mapping[str, float]) -> None:
        if now:
            named = names[key]
            found.append(
                {
                    "subject": key,
                    "label": named.label,
                    "place": named.place,
                    "unit": unit,
                    "was": {size: was[size] for size in now if size in was},
                    "now": dict(now),
                    "finding": "",
                }
            )

    gauges = {gauge.key: gauge for gauge in before.gauges}
    read = {gauge.key: gauge for gauge in shown.gauges}
    for gauge in after.gauges:
        old = gauges.get(gauge.key)
        if old is None:
            continue
        for axis, unit, end in (("stitches", "st/10 cm", "st"), ("rows", "row/10 cm", "row")):
            if getattr(old, axis) != getattr(gauge, axis):
                was = {axis: getattr(read.get(gauge.key, old), axis)}
                add(f"{gauge.key}.{end}", unit, was, {axis: getattr(gauge, axis)})
    both = [size for size in after.sizes if size in before.sizes]
    were, are, reads = stands_in(before), stands_in(after), stands_in(shown)
    printed = {entry.key: entry.printed or {} for entry in before.numbers}
    for number in after.numbers:
        if number.key in were:
            # What nobody prints no maker reads; a broken result is no number to print.
            now = {
                size: value
                for size, value in are[number.key].items()
                if size in both
                and (size in printed.get(number.key, {}) or size in (number.printed or {}))
                and value != were[number.key].get(size)
                and value % 1 == 0
                and value >= 0
            }
            add(number.key, number.unit, reads.get(number.key, {}), now)
    found = _with_what_stays(found, before, after, both)
    measured = {entry.key: entry.printed or {} for entry in before.dimensions}
    for dimension in after.dimensions:
        if dimension.key not in were:
            continue
        old_prints, prints = measured.get(dimension.key, {}), dimension.printed or {}
        now = {size: prints[size] for size in both if size in prints and prints[size] != old_prints.get(size)}
        add(dimension.key, "cm", reads.get(dimension.key, {}), now)
    for key, unit in (("yarn", "m"), ("hours", "h")):
        old_values, new_values = getattr(before, key) or {}, getattr(after, key) or {}
        now = {
            size: new_values[size]
            for size in both
            if size in new_values and new_values[size] != old_values.get(size)
        }
        add(key, unit, getattr(shown, key) or {}, now)
    if after.yarn_per_m2 and after.yarn_per_m2 != before.yarn_per_m2:
        add(
            "yarn", "m", {PER_M2: shown.yarn_per_m2} if shown.yarn_per_m2 else {}, {PER_M2: after.yarn_per_m2}
        )
    return found


def _with_what_stays(
    changes: Sequence[dict[str, Any]], before: SheetDocument, after: SheetDocument, sizes: Sequence[str]
) -> list[dict[str, Any]]:
    """The same, and what the newer edition prints as it was though it would follow from what changed.

    No maker of the older edition reads such a number, so that nothing stands there as ``was``.
    """
    found = {change["subject"]: change for change in changes}
    names, are = names_of(after), stands_in(after)
    order = [change["subject"] for change in changes if change["unit"] in GAUGE_UNITS]
    order += [number.key for number in after.numbers]
    # Each turn settles at least one number, and what follows from it may stay in turn.
    for _turn in after.numbers:
        drifts = stands_in(amended(before, amendments_of(list(found.values()))))
        more = {
            number.key: [
                size
                for size in number.printed or {}
                if size in sizes and drifts.get(number.key, {}).get(size) != are[number.key][size]
            ]
            for number in after.numbers
            if number.key in drifts
        }
        settled = False
        for number in after.numbers:
            change = found.get(number.key)
            new = [size for size in more.get(number.key, ()) if size not in (change["now"] if change else ())]
            if not new:
                continue
            named, settled = names[number.key], True
            stays = {size: are[number.key][size] for size in new}
            if change:
                change["now"].update(stays)
            else:
                found[number.key] = {
                    "subject": number.key,
                    "label": named.label,
                    "place": named.place,
                    "unit": number.unit,
                    "was": {},
                    "now": stays,
                    "finding": "",
                }
        if not settled:
            break
    return [found[key] for key in order if key in found]


def _groups(
    changes: Sequence[dict[str, Any]], sheet: SheetDocument
) -> tuple[tuple[dict[str, Any], ...], ...]:
    """Changes that hang together, one following from another, in one group; in the order of the sheet."""
    compiled = Sheet(sheet)
    follows = {change["subject"]: set(compiled.follows(change["subject"])) for change in changes}
    groups: list[list[dict[str, Any]]] = []
    for change in changes:
        linked = [
            group
            for group in groups
            if any(_hang_together(change["subject"], other["subject"], follows) for other in group)
        ]
        joined = [other for group in linked for other in group] + [change]
        groups = [group for group in groups if group not in linked] + [joined]
    order = {id(change): index for index, change in enumerate(changes)}
    for group in groups:
        group.sort(key=lambda change: order[id(change)])
    return tuple(tuple(group) for group in sorted(groups, key=lambda group: order[id(group[0])]))


def _hang_together(one: str, other: str, follows: Mapping[str, set[str]]) -> bool:
    return one == other or one in follows[other] or other in follows[one]


def _without_numbers(sheet: Mapping[str, Any]) -> dict[str, Any]:
    """A sheet without what the tables show: its printed numbers, gauges, yarn and hours, and its own label."""
    rest = {
        key: value for key, value in sheet.items() if key not in ("edition", "yarn", "hours", "yarn_per_m2")
    }
    rest["gauges"] = [{**gauge, "stitches": 0, "rows": 0} for gauge in sheet.get("gauges", ())]
    for group in ("numbers", "dimensions"):
        rest[group] = [_without(entry, "printed") for entry in sheet.get(group, ())]
    return rest


def _without(entry: Mapping[str, Any], key: str) -> dict[str, Any]:
    return {name: value for name, value in entry.items() if name != key}
