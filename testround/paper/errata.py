"""The published errata of one pattern, on paper: what a reader changes in their copy, and where the live list is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from reportlab.graphics import shapes
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.lib.units import mm
from reportlab.platypus import Spacer, Table

from testround.kernel.units import LengthUnit, format_count, format_gauge, format_length
from testround.paper.document import (
    BODY,
    SMALL,
    SUBTITLE,
    Cover,
    Flowable,
    Heading,
    build,
    by_size,
    para,
    paragraphs,
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
    """One published erratum. ``sizes`` are those whose copies are affected; empty for all."""

    number: int
    date: dt.date
    edition: str
    place: str
    sizes: tuple[str, ...]
    text: str
    why: str = ""
    changes: tuple[ErratumChange, ...] = ()


@dataclass(frozen=True, slots=True)
class ErrataList:
    """All published errata of a pattern. ``sizes`` in wearing order; ``url`` is the page that is kept up to date."""

    title: str
    edition: str
    url: str
    entries: tuple[ErratumEntry, ...]
    sizes: tuple[str, ...] = ()
    designer: str = ""


_UNIT_WORDS = {"st": "stitches", "row": "rows", "rep": "repeats", "cm": "", "m": "metres", "h": "hours"}
_GAUGES = ("st/10 cm", "row/10 cm")


def errata_pdf(errata: ErrataList, *, paper: str = "A4", units: LengthUnit = "cm") -> bytes:
    """The errata of one pattern as a PDF to lay beside the pattern."""
    cover = Cover(
        title=f"{errata.title}: errata",
        author=errata.designer or "Testround",
        subject=f"Edition {errata.edition}",
        running=f"{len(errata.entries)} published",
    )

    def story(width: float) -> list[Flowable]:
        parts: list[Flowable] = [_head(errata, width)]
        if not errata.entries:
            parts.append(para("No errata are published for this pattern.", BODY))
        for entry in sorted(errata.entries, key=lambda entry: entry.number):
            parts += _entry(entry, errata, width, units)
        return parts

    return build(story, paper=paper, cover=cover)


def qr_code(url: str, side: float) -> shapes.Drawing:
    """A QR code (ISO/IEC 18004, medium error correction) with its quiet zone, ``side`` points wide."""
    drawing = shapes.Drawing(side, side)
    drawing.add(QrCodeWidget(url, barLevel="M", barWidth=side, barHeight=side, barBorder=4))
    return drawing


def _head(errata: ErrataList, width: float) -> Flowable:
    side = 30 * mm
    count = len(errata.entries)
    latest = max((entry.date for entry in errata.entries), default=None)
    said = "no errata" if not count else "1 erratum" if count == 1 else f"{count} errata"
    if latest:
        said += f", the latest of {_day(latest)}"
    left = [
        Heading(f"{errata.title}: errata", 0),
        para(f"Edition {errata.edition} · {said}", SUBTITLE),
        para("The list that is kept up to date:", SMALL),
        para(errata.url, BODY),
    ]
    return Table(
        [[left, qr_code(errata.url, side)]],
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
    sizes = "every size" if not entry.sizes else "sizes " + ", ".join(entry.sizes)
    if len(entry.sizes) == 1:
        sizes = f"size {entry.sizes[0]}"
    parts: list[Flowable] = [
        *section(f"{entry.number}. {entry.place}", room=35 * mm),
        para(f"{_day(entry.date)} · found in edition {entry.edition} · affects {sizes}", SMALL),
        *paragraphs(entry.text, BODY),
    ]
    for change in entry.changes:
        parts += change_tables(change, errata.sizes, width, units)
    if entry.why:
        parts += paragraphs(f"Why: {entry.why}", SMALL)
    parts.append(Spacer(1, 4))
    return parts


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
    unit = _UNIT_WORDS.get(change.unit, change.unit)
    if change.unit in _GAUGES:
        unit = "over 4 in" if units == "in" else "over 10 cm"
    head = ", ".join(part for part in (change.label, change.place, unit) if part)

    def row(values: Mapping[str, float]) -> list[str]:
        return [_value(values.get(name), change.unit, units) for name in columns]

    return by_size(columns, [("was", row(change.was)), ("now", row(change.now))], width, caption=head)


def _value(value: float | None, unit: str, units: LengthUnit) -> str:
    if value is None:
        return "–"
    if unit == "cm":
        return format_length(value, units)
    if unit in _GAUGES:
        return format_gauge(value, "4in" if units == "in" else "10cm")
    return format_count(value)


def _day(date: dt.date) -> str:
    return f"{date.day} {date:%B %Y}"
