"""A tester's worksheet on screen: their numbers by section of the text, the one they are at lying open."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from testround.kernel.units import format_count
from testround.kernel.worksheet import WorksheetDimension, WorksheetNumber, WorksheetPlace
from testround.paper.schematic import lettered
from testround.reports.sections import section_to_do, sections_of
from testround.reports.selectors import Desk


@dataclass(frozen=True, slots=True)
class SheetNumber:
    """A number to work, with the count the tester sent of it, as typed; empty where none was sent."""

    number: WorksheetNumber
    sent: str


@dataclass(frozen=True, slots=True)
class SheetPlace:
    place: WorksheetPlace
    numbers: tuple[SheetNumber, ...]


@dataclass(frozen=True, slots=True)
class SheetSection:
    """What stands together in the text; ``done`` of its numbers were sent or ticked off."""

    slug: str
    title: str
    places: tuple[SheetPlace, ...]
    done: int
    open: bool

    @property
    def count(self) -> int:
        return sum(len(place.numbers) for place in self.places)


@dataclass(frozen=True, slots=True)
class LetteredDimension:
    """A finished measurement with its letter on the drawings."""

    letter: str
    dimension: WorksheetDimension


def lettered_dimensions(desk: Desk) -> list[LetteredDimension]:
    """What the piece should measure, in the order of the letters."""
    by_key = {dimension.key: dimension for dimension in desk.worksheet.dimensions}
    return [LetteredDimension(letter, by_key[key]) for key, letter in lettered(desk.worksheet.pieces).items()]


def sheet_sections(desk: Desk, ticked: Collection[str] = ()) -> list[SheetSection]:
    """The worksheet's places by section, in the order of the text.

    Open is the first section of which a number is neither sent nor among ``ticked``; the last one when all are.
    """
    sent = {row.number: row.typed.get("worked") or format_count(row.worked) for row in desk.counts}
    done = {*sent, *ticked}
    sections = sections_of(desk.pattern)
    current = section_to_do(sections, done)
    home = {key: section.slug for section in sections for key in section.keys}
    titles = {section.slug: section.title for section in sections}
    slug_of_title = {section.title: section.slug for section in sections}
    found: dict[str, list[WorksheetPlace]] = {slug: [] for slug in titles}
    for place in desk.worksheet.places:
        title = place.place.partition(",")[0].strip()
        if place.numbers:
            slug = home[place.numbers[0].key]
        else:
            # Shapings alone: where the name says, else a section of their own.
            slug = slug_of_title.setdefault(title, f"shaping-{len(slug_of_title) + 1}")
        titles.setdefault(slug, title)
        found.setdefault(slug, []).append(place)
    return [
        SheetSection(
            slug=slug,
            title=titles[slug],
            places=tuple(
                SheetPlace(
                    place, tuple(SheetNumber(number, sent.get(number.key, "")) for number in place.numbers)
                )
                for place in places
            ),
            done=sum(number.key in done for place in places for number in place.numbers),
            open=len(found) == 1 or current is None or slug == current.slug,
        )
        for slug, places in found.items()
        if places
    ]
