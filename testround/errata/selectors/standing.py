"""Whether an erratum that was written for one edition concerns a copy of another."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any

from testround.errata.models import Erratum
from testround.errata.selectors.analyses import stands_in
from testround.errata.wording import GAUGE_UNITS, of_size
from testround.kernel.amounts import PER_M2
from testround.patterns.models import Edition

# Printed values have a few decimals at most; how a database keeps them may differ behind those.
SAME = 1e-9


class Standing(Enum):
    """How an edition stands to an erratum."""

    OWN = "own"
    """It was written for this edition."""
    CORRECTED = "corrected"
    """The edition has the correction already."""
    STANDS = "stands"
    """What the erratum puts right stands in this edition too, or may do, where it is a change of words."""
    OTHER = "other"
    """The edition has other numbers there, which the erratum says nothing of."""


def standing_of(erratum: Erratum, edition: Edition, size: str = "") -> Standing:
    """How an edition, or one size of it, stands to an erratum.

    What an erratum prints instead is looked for on the edition's sheet. A change of words alone cannot be: there the
    designer's word is taken, given when the edition was released.
    """
    if erratum.edition_id == edition.pk:
        return Standing.OWN
    if not erratum.changes:
        return Standing.CORRECTED if erratum.number in edition.corrected else Standing.STANDS
    found = [
        _compared(printed, change["was"].get(key), now)
        for change in of_size(erratum.changes, size)
        for printed_of in [_printed(edition, change)]
        for key, now in change["now"].items()
        if (printed := printed_of.get(key)) is not None
    ]
    if Standing.STANDS in found:
        return Standing.STANDS
    if found and all(one is Standing.CORRECTED for one in found):
        return Standing.CORRECTED
    return Standing.OTHER


def _compared(printed: float, was: float | None, now: float) -> Standing:
    if abs(printed - now) < SAME:
        return Standing.CORRECTED
    return Standing.STANDS if was is not None and abs(printed - was) < SAME else Standing.OTHER


def _printed(edition: Edition, change: Mapping[str, Any]) -> Mapping[str, float]:
    """What an edition says of the subject of a change, by size or axis; a number it does not print is computed."""
    sheet, subject = edition.sheet, change["subject"]
    if change["unit"] in GAUGE_UNITS:
        key = subject.removesuffix(".st").removesuffix(".row")
        stated: dict[str, Any] = next((gauge for gauge in sheet["gauges"] if gauge["key"] == key), {})
        return {axis: stated[axis] for axis in ("stitches", "rows") if axis in stated}
    if subject in ("yarn", "hours"):
        per_m2 = {PER_M2: sheet["yarn_per_m2"]} if subject == "yarn" and sheet.get("yarn_per_m2") else {}
        return {**(sheet.get(subject) or {}), **per_m2}
    entries = (*sheet.get("numbers", ()), *sheet.get("dimensions", ()))
    entry = next((each for each in entries if each["key"] == subject), None)
    if entry is None:
        return {}
    printed = entry.get("printed") or {}
    if set(change["now"]) <= set(printed):
        return printed
    return {**stands_in(edition.document).get(subject, {}), **printed}
