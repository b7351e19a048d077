"""The published errata of a pattern, as anyone may read them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Erratum
from testround.errata.selectors.credits import Credits, Tested, credits_among, credits_state, tested
from testround.errata.selectors.standing import Standing, standing_of
from testround.errata.wording import (
    ChangeTable,
    change_table_of,
    change_tables,
    in_order,
    of_size,
)
from testround.kernel.terms import Terms, translate
from testround.kernel.units import lengths_in
from testround.patterns.models import Edition, Pattern
from testround.people.readers import Reader
from testround.rounds.models import Round


@dataclass(frozen=True, slots=True)
class PublicErrata:
    """What anyone may know of a pattern's errata."""

    pattern: Pattern
    editions: tuple[Edition, ...]
    errata: tuple[Erratum, ...]
    tested: tuple[Tested, ...] = ()
    """Who tested its editions."""

    def credits(self, edition: Edition | None) -> Credits:
        """Whom to thank for testing one public edition, or all of them."""
        return credits_among(self.tested, edition)

    def sizes(self, edition: Edition | None) -> tuple[str, ...]:
        """The sizes of one public edition, or of all of them, in wearing order."""
        editions = self.editions if edition is None else (edition,)
        return tuple(dict.fromkeys(size for each in editions for size in each.sheet.get("sizes", ())))

    def affecting(self, edition: Edition | None, size: str) -> tuple[Erratum, ...]:
        """What a copy has to change: errata of its edition, and those of others that stand in it too."""
        return self._standing(edition, size, (Standing.OWN, Standing.STANDS))

    def corrected_in(self, edition: Edition | None, size: str) -> tuple[Erratum, ...]:
        """Errata of other editions whose correction a copy of this one has already."""
        return self._standing(edition, size, (Standing.CORRECTED,)) if edition else ()

    def _standing(
        self, edition: Edition | None, size: str, wanted: Sequence[Standing]
    ) -> tuple[Erratum, ...]:
        return tuple(
            erratum
            for erratum in self.errata
            if (not size or not erratum.sizes or size in erratum.sizes)
            and (edition is None or standing_of(erratum, edition, size) in wanted)
        )

    def not_in(self, edition: Edition | None, size: str) -> tuple[Erratum, ...]:
        """Errata of this edition that concern other sizes than this one."""
        return tuple(
            erratum
            for erratum in self.errata
            if size
            and erratum.sizes
            and size not in erratum.sizes
            and (edition is None or erratum.edition_id == edition.pk)
        )

    def sizes_of(self, errata: Sequence[Erratum]) -> str:
        """The sizes that some errata are for, "size 2X"; empty where one of them is for every size."""
        if not errata or not all(erratum.sizes for erratum in errata):
            return ""
        named = {size for erratum in errata for size in erratum.sizes}
        return _named_sizes([size for size in self.sizes(None) if size in named])

    def edition_with(self, errata: Sequence[Erratum], after: Edition | None) -> Edition | None:
        """The first released edition after a copy's own that has all these corrections; None where none has."""
        if not errata or after is None:
            return None
        later = self.editions[self.editions.index(after) + 1 :]
        return next(
            (
                each
                for each in later
                if each.is_released
                and all(standing_of(erratum, each) is Standing.CORRECTED for erratum in errata)
            ),
            None,
        )

    def correctors(self, erratum: Erratum) -> tuple[Erratum, ...]:
        """The errata that put this one right, oldest first."""
        return tuple(each for each in self.errata if each.corrects_id == erratum.pk)


def public_editions(code: str) -> QuerySet[Edition]:
    """The editions of a pattern that anyone may know of, oldest first.

    They are those that the designer released, that a round has opened on to others, or that an erratum is out for; a
    pattern is public once it has one. Drafts are never read here.
    """
    opened = Round.objects.filter(edition=OuterRef("pk")).exclude(state=Round.State.PLANNED)
    published = Erratum.objects.published().filter(edition=OuterRef("pk"))
    known = Q(released_at__isnull=False) | Exists(opened) | Exists(published)
    return Edition.objects.filter(known, pattern__code=code).order_by("created", "pk")


def public_errata(code: str) -> PublicErrata | None:
    """The published errata of a pattern; None when nothing about the pattern is public."""
    editions = list(public_editions(code).select_related("pattern"))
    if not editions:
        return None
    return PublicErrata(
        pattern=editions[0].pattern,
        editions=tuple(editions),
        errata=_published(editions),
        tested=tested(code),
    )


def _published(editions: Sequence[Edition]) -> tuple[Erratum, ...]:
    """The published errata of a pattern by their numbers: one query, which brings no edition a second time.

    Whatever an erratum is out for is among the public editions, and what it puts right is out too.
    """
    of_key = {edition.pk: edition for edition in editions}
    pattern = editions[0].pattern
    errata = tuple(Erratum.objects.published().filter(edition__in=editions).order_by("number"))
    published = {erratum.pk: erratum for erratum in errata}
    for erratum in errata:
        erratum.pattern, erratum.edition = pattern, of_key[erratum.edition_id]
        erratum.corrects = published.get(erratum.corrects_id)
    return errata


@dataclass(frozen=True, slots=True)
class PublicState:
    """All that public pages of a pattern rest on, as plain values."""

    editions: tuple[tuple[Any, ...], ...]
    last: int
    """The number of its last erratum, which speaks for all of them, as one that is out stays as it is; 0 for none."""
    credits: tuple[Any, ...]

    def has(self, *, number: int | None = None, pk: int | None = None) -> bool:
        """Whether there is such an erratum and such an edition, where one is asked for."""
        return (number is None or 1 <= number <= self.last) and (
            pk is None or any(edition[0] == pk for edition in self.editions)
        )


def public_state(code: str) -> PublicState | None:
    """What there is to know of a pattern's errata, in two small queries; None where nothing of it is public."""
    last = Erratum.objects.published().filter(pattern=OuterRef("pattern")).order_by("-number")
    editions = (
        public_editions(code)
        .annotate(last=Subquery(last.values("number")[:1]))
        .values_list(
            "pk",
            "label",
            "revision",
            "terms",
            "released_at",
            "corrected",
            "pattern__title",
            "pattern__frame_origins",
            "last",
        )
    )
    found = tuple(editions)
    if not found:
        return None
    return PublicState(found, found[0][-1] or 0, credits_state(code))


def frame_origins(code: str) -> list[str]:
    """The sites that may show a pattern's errata in a frame; none for a pattern that there is not."""
    return Pattern.objects.filter(code=code).values_list("frame_origins", flat=True).first() or []


@dataclass(frozen=True, slots=True)
class ShownErratum:
    """One erratum in its reader's terms and units."""

    erratum: Erratum
    edition: str
    place: str
    text: str
    why: str
    sizes: str
    changes: tuple[Mapping[str, Any], ...]
    tables: tuple[ChangeTable, ...]
    corrects: int | None = None
    """The number of the earlier erratum that it puts right."""
    corrected_by: tuple[int, ...] = ()
    """The numbers of later ones that put it right."""
    elsewhere: str = ""
    """Why it is shown to a copy of an edition that it was not written for; empty where it was."""


def changes_of(erratum: Erratum) -> list[dict[str, Any]]:
    """An erratum's changes, each with its values in wearing order."""
    sizes = erratum.edition.sheet.get("sizes", [])
    return [
        {**change, "was": in_order(change["was"], sizes), "now": in_order(change["now"], sizes)}
        for change in erratum.changes
    ]


def shown_erratum(
    erratum: Erratum,
    reader: Reader,
    size: str = "",
    *,
    corrected_by: Sequence[Erratum] = (),
    edition: Edition | None = None,
) -> ShownErratum:
    """An erratum as this reader sees it; with ``size`` only what that size needs.

    ``edition`` is the one that the reader's copy is of, and ``corrected_by`` what puts the erratum right.
    """

    def told(text: str) -> str:
        return translate(text, source=cast(Terms, erratum.edition.terms), target=reader.terms)

    every = erratum.edition.sheet.get("sizes", [])
    changes = tuple(
        {**change, "label": told(change["label"]), "place": told(change["place"])}
        for change in of_size(changes_of(erratum), size)
    )
    return ShownErratum(
        erratum=erratum,
        edition=erratum.edition.label,
        place=told(erratum.place),
        text=lengths_in(told(erratum.text), reader.units),
        why=lengths_in(told(erratum.why), reader.units),
        sizes=_named_sizes(erratum.sizes) if erratum.sizes else _("every size") if every else "",
        changes=changes,
        tables=change_table_of(changes, size, reader.units) if size else change_tables(changes, reader.units),
        corrects=erratum.corrects.number if erratum.corrects else None,
        corrected_by=tuple(each.number or 0 for each in corrected_by),
        elsewhere=_elsewhere(erratum, edition),
    )


def _elsewhere(erratum: Erratum, edition: Edition | None) -> str:
    if edition is None or erratum.edition_id == edition.pk:
        return ""
    if erratum.changes:
        said = _(
            "Written for edition {own}. Edition {other} has the same there, so that it holds for that one too."
        )
    else:
        said = _(
            "Written for edition {own}. Where edition {other} reads the same, it holds for that one too."
        )
    return said.format(own=erratum.edition.label, other=edition.label)


def _named_sizes(sizes: Sequence[str]) -> str:
    """ "size 2X", "sizes M, L"."""
    return ngettext("size {sizes}", "sizes {sizes}", len(sizes)).format(sizes=", ".join(sizes))
