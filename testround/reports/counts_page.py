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
    """``section`` is None where all counts are on one page; ``next`` is the slug of the section after it."""

    section: Section | None
    parts: tuple[CountsPart, ...]
    next: str

    def with_drafts(self, forms: Collection[str]) -> CountsPage:
        return replace(
            self, parts=tuple(replace(part, has_draft=f"counts {part.slug}" in forms) for part in self.parts)
        )


def counts_page(desk: Desk, asked: str | None, *, posted: bool) -> CountsPage:
    """The section that is asked for, else the first with counts not sent yet.

    What is posted without a section is of all of them: a page from before, or a program that knows them all.
    """
    sections = sections_of(desk.pattern)
    sent = {row.number for row in desk.counts}
    if asked:
        section = section_named(sections, asked)
        if section is None:
            raise Http404
    elif posted or len(desk.pattern.numbers) <= FEW:
        return CountsPage(None, (), "")
    else:
        section = section_to_do(sections, sent)
    if section is None:
        return CountsPage(None, (), "")
    parts = tuple(
        CountsPart(one.slug, one.title, len(one.keys & sent), len(one.numbers), one.slug == section.slug)
        for one in sections
    )
    after = [one.slug for one in sections][sections.index(section) + 1 :]
    return CountsPage(section, parts, after[0] if after else "")
