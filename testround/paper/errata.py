"""The published errata of one pattern, on paper: what a reader changes in their copy, and where the live list is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.formats import date_format
from reportlab.lib.units import mm
from reportlab.platypus import Spacer

from testround.kernel.amounts import PER_M2
from testround.kernel.units import LengthUnit, format_count, format_gauge, format_length
from testround.kernel.words import commas, gettext_noop, ngettext, pgettext
from testround.kernel.words import gettext as _
from testround.paper.document import (
    BODY,
    BODY_STRONG,
    SMALL,
    SUBTITLE,
    Cover,
    Flowable,
    Heading,
    Table,
    build,
    by_size,
    link,
    para,
    paragraphs,
    qr_code,
    section,
)


@dataclass(frozen=True, slots=True)
class ErratumChange:
    """One number that changes: what stands in the edition and what should, by size.

    ``unit`` is "st", "row" or "rep"; "cm" for a printed measurement; "st/10 cm" or "row/10 cm" for a gauge, whose
    values are named "stitches" and "rows" in place of sizes; "m" of yarn or "h" of work.
    """

    label: str
    unit: str
    was: Mapping[str, float]
    now: Mapping[str, float]
    place: str = ""


@dataclass(frozen=True, slots=True)
class ErratumEntry:
    """One published erratum. ``sizes`` are those whose copies are affected; empty for all.

    ``sized`` is whether the edition has sizes at all; ``standing`` what holds between it and others, a sentence each;
    ``url`` the address at which it stays.
    """

    number: int
    date: dt.date
    edition: str
    place: str
    sizes: tuple[str, ...]
    text: str
    why: str = ""
    changes: tuple[ErratumChange, ...] = ()
    sized: bool = True
    standing: tuple[str, ...] = ()
    url: str = ""


@dataclass(frozen=True, slots=True)
class ErrataList:
    """The published errata that matter to a copy of a pattern, or all of them.

    ``copies`` says which editions and sizes those are; ``ways`` how lengths and stitches are said. ``sizes`` are in
    wearing order. ``url`` is the page that is kept up to date, ``to`` the same for these copies. ``beside`` is what
    else such a copy should know, a sentence each; ``nothing`` what is said where there is no erratum.
    """

    title: str
    copies: str
    url: str
    entries: tuple[ErratumEntry, ...]
    sizes: tuple[str, ...] = ()
    designer: str = ""
    thanks: str = ""
    """Who tested it, in one sentence; empty for nobody."""
    to: str = ""
    ways: str = ""
    beside: tuple[str, ...] = ()
    nothing: str = ""


_UNIT_WORDS = {
    "st": gettext_noop("stitches"),
    "row": gettext_noop("rows"),
    "rep": gettext_noop("repeats"),
    "m": gettext_noop("metres"),
    "h": gettext_noop("hours"),
}
_GAUGES = ("st/10 cm", "row/10 cm")


def errata_pdf(errata: ErrataList, *, paper: str = "A4", units: LengthUnit = "cm") -> bytes:
    """The errata of one pattern as a PDF to lay beside the pattern."""
    cover = Cover(
        title=_title(errata),
        author=errata.designer or "Testround",
        subject=errata.copies,
        running=_count(errata),
    )

    def story(width: float) -> list[Flowable]:
        parts: list[Flowable] = [_head(errata, width)]
        if not errata.entries:
            parts.append(para(errata.nothing or _("No errata are published for this pattern."), BODY))
        for entry in sorted(errata.entries, key=lambda entry: entry.number):
            parts += _entry(entry, errata, width, units)
        if errata.beside:
            parts += [Spacer(1, 8), *(para(sentence, BODY) for sentence in errata.beside)]
        if errata.thanks:
            parts += [Spacer(1, 8), para(errata.thanks, SMALL)]
        return parts

    return build(story, paper=paper, cover=cover)


def _title(errata: ErrataList) -> str:
    return _("{pattern}: errata").format(pattern=errata.title)


def _count(errata: ErrataList) -> str:
    """How many there are and how new the newest is."""
    latest = max((entry.date for entry in errata.entries), default=None)
    if latest is None:
        return _("no errata")
    said = ngettext(
        "{n} erratum, the latest of {day}", "{n} errata, the latest of {day}", len(errata.entries)
    )
    return said.format(n=len(errata.entries), day=_day(latest))


def _head(errata: ErrataList, width: float) -> Flowable:
    side = 30 * mm
    where = errata.to or errata.url
    left = [
        Heading(_title(errata), 0),
        para(f"{errata.copies} · {_count(errata)}", SUBTITLE),
        *([para(errata.ways, SMALL)] if errata.ways else []),
        para(_("The list that is kept up to date:"), SMALL),
        link(where, _("The list of errata that is kept up to date"), shown=errata.url),
    ]
    return Table(
        [[left, qr_code(where, side)]],
        colWidths=[width - side - 6, side + 6],
        hAlign="LEFT",
        spaceAfter=8,
        style=[
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 0),
        ],
    )


def _entry(entry: ErratumEntry, errata: ErrataList, width: float, units: LengthUnit) -> list[Flowable]:
    parts: list[Flowable] = [
        *section(f"{entry.number}. {entry.place}", room=35 * mm),
        para(_found(entry), SMALL),
        *(para(sentence, BODY_STRONG) for sentence in entry.standing),
        *paragraphs(entry.text, BODY),
    ]
    for change in entry.changes:
        parts += change_tables(change, errata.sizes, width, units)
    if entry.why:
        parts += paragraphs(_("Why: {why}").format(why=entry.why), SMALL)
    if entry.url:
        told = _("Erratum {number} at the address where it stays").format(number=entry.number)
        parts.append(link(entry.url, told, SMALL))
    parts.append(Spacer(1, 4))
    return parts


def _found(entry: ErratumEntry) -> str:
    """When it was published, in which edition it was found, and which sizes it affects."""
    if entry.sizes:
        said = ngettext(
            "{day} · found in edition {edition} · affects size {sizes}",
            "{day} · found in edition {edition} · affects sizes {sizes}",
            len(entry.sizes),
        )
    elif entry.sized:
        said = _("{day} · found in edition {edition} · affects every size")
    else:
        said = _("{day} · found in edition {edition}")
    return said.format(day=_day(entry.date), edition=entry.edition, sizes=commas(entry.sizes))


def change_tables(
    change: ErratumChange, sizes: tuple[str, ...], width: float, units: LengthUnit
) -> list[Flowable]:
    """Was and now, side by side under each size (or stitches and rows); a value that stays is said once."""
    named = {*change.was, *change.now}
    columns = [size for size in sizes if size in named]
    columns += [name for name in (*change.was, *change.now) if name not in columns]
    columns = list(dict.fromkeys(columns))
    if not columns:
        return []
    unit = _unit_words(change.unit, units)
    head = ", ".join(part for part in (change.label, change.place, unit) if part)

    def row(values: Mapping[str, float]) -> list[str]:
        return [_value(values.get(name), change.unit, units) for name in columns]

    rows = [
        (pgettext("a correction", "was"), row(change.was)),
        (pgettext("a correction", "now"), row(change.now)),
    ]
    head_of = [_column(name) for name in columns]
    return by_size(head_of, rows, width, caption=head, large=True, strong=(1,))


def _unit_words(unit: str, units: LengthUnit) -> str:
    """What stands behind the name of a number; nothing where its values carry their unit."""
    if unit in _GAUGES:
        return _("over {span}").format(span="4 in" if units == "in" else "10 cm")
    if unit == "cm":
        return ""
    return _(_UNIT_WORDS[unit]) if unit in _UNIT_WORDS else unit


def _column(name: str) -> str:
    """A size as it is called; the directions of a gauge and the square metre are said."""
    said = {"stitches": _("stitches"), "rows": _("rows"), PER_M2: _("per m²")}
    return said.get(name, name)


def _value(value: float | None, unit: str, units: LengthUnit) -> str:
    if value is None:
        return "–"
    if unit == "cm":
        return format_length(value, units)
    if unit in _GAUGES:
        return format_gauge(value, "4in" if units == "in" else "10cm")
    return format_count(value)


def _day(date: dt.date) -> str:
    return date_format(date, "DATE_FORMAT")
