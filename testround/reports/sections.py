"""A pattern's numbers by section of its text, so that a phone shows a few at a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from testround.kernel.round import Number, Pattern
from testround.kernel.worksheet import OTHERWISE_PLACE

FEW = 8
"""So many numbers fit one page of a phone, and are not parted."""
IN_A_RUN = 6
"""Where every step has a place of its own, they are parted into runs of so many."""


@dataclass(frozen=True, slots=True)
class Section:
    """Numbers that stand together in the text; ``slug`` names the section in an address."""

    slug: str
    title: str
    numbers: tuple[Number, ...]

    @property
    def keys(self) -> frozenset[str]:
        return frozenset(number.key for number in self.numbers)


def sections_of(pattern: Pattern) -> tuple[Section, ...]:
    """By the words before the comma in "Back, step 3", in the sheet's order; each slug is there once."""
    groups: dict[str, list[Number]] = {}
    for number in pattern.numbers:
        title = (number.place or OTHERWISE_PLACE).partition(",")[0].strip() or OTHERWISE_PLACE
        groups.setdefault(title, []).append(number)
    in_runs = len(groups) * 2 > len(pattern.numbers) and len(pattern.numbers) > FEW
    if in_runs:
        groups = dict(_runs(pattern.numbers))
    taken: set[str] = set()
    return tuple(
        Section(_slug(title, taken), _said(title, is_run=in_runs), tuple(numbers))
        for title, numbers in groups.items()
        if numbers
    )


def section_named(sections: Sequence[Section], slug: str) -> Section | None:
    return next((section for section in sections if section.slug == slug), None)


def section_to_do(sections: Sequence[Section], done: Iterable[str]) -> Section | None:
    """The first section with a number that is not done yet; the last one when all are."""
    found = set(done)
    return next(
        (section for section in sections if not section.keys <= found), sections[-1] if sections else None
    )


def _runs(numbers: Sequence[Number]) -> Iterable[tuple[str, list[Number]]]:
    for at in range(0, len(numbers), IN_A_RUN):
        run = list(numbers[at : at + IN_A_RUN])
        yield f"{at + 1} to {at + len(run)}", run


def _said(title: str, *, is_run: bool) -> str:
    """As it is shown. Addresses and drafts are named by what it is called in English, for readers of every language."""
    if is_run:
        low, _to, high = title.split()
        return pgettext("a range", "{low} to {high}").format(low=low, high=high)
    return _(title) if title == OTHERWISE_PLACE else title


def _slug(title: str, taken: set[str]) -> str:
    plain = slugify(title) or "section"
    slug, more = plain, 2
    while slug in taken:
        slug, more = f"{plain}-{more}", more + 1
    taken.add(slug)
    return slug
