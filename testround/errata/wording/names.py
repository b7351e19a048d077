"""What is named on a sheet, and how units, sizes and places are called."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.units import (
    LengthUnit,
)
from testround.kernel.words import in_sizes, listed, ngettext

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
COUNTED = ("st", "row", "rep")
GAUGE_UNITS = ("st/10 cm", "row/10 cm")
AXES = ("stitches", "rows")


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


def in_order(values: Mapping[str, float], sizes: Sequence[str]) -> dict[str, float]:
    """Values by size in wearing order, whatever order they were stored in; an axis of a gauge comes last."""
    return {
        **{size: values[size] for size in sizes if size in values},
        **{key: value for key, value in values.items() if key not in sizes},
    }


def sizes_listed(named: Container[str], sizes: Sequence[str]) -> list[str]:
    """The sizes named, in wearing order; empty where they are all of them, as an erratum keeps it."""
    kept = [size for size in sizes if size in named]
    return [] if len(kept) == len(sizes) else kept


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
