"""Which counts are asked for on one page of a phone, and the ways to the others."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from django.http import Http404

from testround.reports.sections import FEW, Section, section_named, section_to_do, sections_of
from testround.reports.selectors import Desk


@dataclass(frozen=True, slots=True)
class CountsPart:
    """The way to one section: how many of its counts are sent, and whether something is written and not sent."""

    slug: str
    title: str
    sent: int
    count: int
    is_here: bool
    has_draft: bool = False


@dataclass(frozen=True, slots=True)
class CountsPage:
    """``section`` is None where all counts are on one page."""

    section: Section | None
    parts: tuple[CountsPart, ...]

    def with_drafts(self, forms: Collection[str]) -> CountsPage:
        return replace(
            self, parts=tuple(replace(part, has_draft=f"counts {part.slug}" in forms) for part in self.parts)
        )


def section_asked(desk: Desk, asked: str, *, posted: bool) -> Section | None:
    """The section that is asked for, else the first with counts not sent yet; None for all counts on one page.

    What is posted without a section is of all of them: a page from before, or a program that knows them all.
    """
    if asked:
        section = section_named(sections_of(desk.pattern), asked)
        if section is None:
            raise Http404
        return section
    if posted or len(desk.pattern.numbers) <= FEW:
        return None
    return section_to_do(sections_of(desk.pattern), _sent(desk))


def section_after(desk: Desk, section: Section | None) -> Section | None:
    """The one to go on with; None after the last."""
    sections = sections_of(desk.pattern)
    return None if section is None else next(iter(sections[sections.index(section) + 1 :]), None)


def counts_page(desk: Desk, section: Section | None) -> CountsPage:
    """The page of a section, with the ways to the others."""
    if section is None:
        return CountsPage(None, ())
    sent = _sent(desk)
    return CountsPage(
        section,
        tuple(
            CountsPart(one.slug, one.title, len(one.keys & sent), len(one.numbers), one.slug == section.slug)
            for one in sections_of(desk.pattern)
        ),
    )


def _sent(desk: Desk) -> set[str]:
    return {row.number for row in desk.counts}
