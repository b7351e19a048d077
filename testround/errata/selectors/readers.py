"""What the owner of a pattern sees of its editions as readers have them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from testround.errata.models import Erratum
from testround.errata.selectors.public import public_editions
from testround.errata.selectors.standing import Standing, standing_of
from testround.patterns.models import Edition, Pattern


@dataclass(frozen=True, slots=True)
class EditionForOwner:
    """An edition, whether anybody may know of it, and how it stands to the errata of the others."""

    edition: Edition
    is_public: bool
    own: tuple[Erratum, ...]
    """The errata that were written for it."""
    numbers_corrected: tuple[Erratum, ...]
    """Those of other editions whose numbers it has."""
    numbers_stand: tuple[Erratum, ...]
    """Those whose wrong numbers it has still."""
    words: tuple[Erratum, ...]
    """Those of other editions that change words alone, of which only its designer can say whether it has them."""

    @property
    def needs(self) -> list[Erratum]:
        """What a copy of it has to change, as its readers are told: its own errata and those that stand in it too."""
        words = [each for each in self.words if each.number not in self.edition.corrected]
        return sorted((*self.own, *self.numbers_stand, *words), key=lambda each: each.number or 0)

    @property
    def corrected(self) -> list[int]:
        """Numbers of the changes of words that it has, or, while nothing was said of it, is likely to have."""
        if self.edition.is_released:
            return list(self.edition.corrected)
        return [
            each.number
            for each in self.words
            if each.number and each.published_at and each.published_at <= self.edition.created
        ]


def editions_for_owner(pattern: Pattern) -> list[EditionForOwner]:
    """The editions of a pattern, newest first, in three queries. Who asks has been let in."""
    known = set(public_editions(pattern.code).values_list("pk", flat=True))
    errata = list(
        Erratum.objects.published().filter(pattern=pattern).select_related("edition").order_by("number")
    )
    editions = Edition.objects.filter(pattern=pattern).order_by("-created", "-pk")
    return [_of(edition, edition.pk in known, errata) for edition in editions]


def _of(edition: Edition, is_public: bool, errata: Sequence[Erratum]) -> EditionForOwner:
    others = [each for each in errata if each.edition_id != edition.pk]
    standing = {each.pk: standing_of(each, edition) for each in others if each.changes}
    return EditionForOwner(
        edition=edition,
        is_public=is_public,
        own=tuple(each for each in errata if each.edition_id == edition.pk),
        numbers_corrected=tuple(each for each in others if standing.get(each.pk) is Standing.CORRECTED),
        numbers_stand=tuple(each for each in others if standing.get(each.pk) is Standing.STANDS),
        words=tuple(each for each in others if not each.changes),
    )
