"""Who tested a pattern, named as they wish or not at all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Max
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.kernel.words import in_alphabet, listed
from testround.patterns.models import Edition, Pattern
from testround.prepared import Prepared
from testround.rounds.models import Place

# A place counts once something came from it; one that was given back does not.
TESTED = (
    Place.State.SWATCH_SENT,
    Place.State.GAUGE_AGREED,
    Place.State.MAKING,
    Place.State.MEASURED,
    Place.State.DONE,
)


@dataclass(frozen=True, slots=True)
class Credits:
    """Who is thanked: names in the order of the alphabet, and how many there are besides."""

    names: tuple[str, ...] = ()
    others: int = 0

    @property
    def sentence(self) -> str:
        """The thanks in one sentence of the reader's language; empty where nobody has tested."""
        if self.names and self.others:
            return ngettext(
                "Tested by {names}, and {n} other who prefers not to be named.",
                "Tested by {names}, and {n} others who prefer not to be named.",
                self.others,
            ).format(names=listed(self.names), n=self.others)
        if self.names:
            return _("Tested by {names}.").format(names=listed(self.names))
        if self.others:
            return ngettext("Tested by {n} person.", "Tested by {n} people.", self.others).format(
                n=self.others
            )
        return ""


@dataclass(frozen=True, slots=True)
class Tested:
    """Who tested one edition: a person, or a place that nobody holds any more; and the name they typed."""

    edition: int
    person: tuple[str, int]
    name: str


def tested(code: str) -> tuple[Tested, ...]:
    """Everybody who tested the editions of a pattern, in the order of their places: one query.

    Who has no account any more is not named, whatever stands in the row.
    """
    return tuple(
        Tested(edition, ("place", pk) if tester is None else ("person", tester), name if tester else "")
        for pk, tester, edition, name in _TESTED.rows(code=code)
    )


_TESTED: Prepared[tuple[int, int | None, int, str]] = Prepared(
    lambda code: (
        Place.objects.filter(state__in=TESTED, round__edition__pattern__code=code)
        .order_by("pk")
        .values_list("pk", "tester_id", "round__edition_id", "thanked_as")
    )
)


def credits_state(code: str) -> tuple[Any, ...]:
    """Values that are others once anything has changed that `tested` reads: one query of one row."""
    places = Place.objects.filter(round__edition__pattern__code=code)
    return tuple(places.aggregate(places=Count("pk"), held=Count("tester"), changed=Max("changed")).values())


def credits_among(everybody: Iterable[Tested], edition: Edition | None = None) -> Credits:
    """Whom to thank for testing a pattern, or one edition of it.

    Who holds several places is one person, named by what they typed last. Nothing else is told of them.
    """
    people: dict[tuple[str, int], str] = {}
    for one in everybody:
        if edition is None or one.edition == edition.pk:
            people[one.person] = one.name or people.get(one.person, "")
    names = [name for name in people.values() if name]
    return Credits(in_alphabet(names), len(people) - len(names))


def credits_of(pattern: Pattern, edition: Edition | None = None) -> Credits:
    """Whom to thank for testing a pattern, or one edition of it: one query."""
    return credits_among(tested(pattern.code), edition)
