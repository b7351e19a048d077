"""The published errata of a pattern, as anyone may read them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.models import Erratum
from testround.errata.selectors.credits import Credits, Tested, credits_among, credits_state, tested
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
        return tuple(
            erratum
            for erratum in self.errata
            if (edition is None or erratum.edition_id == edition.pk)
            and (not size or not erratum.sizes or size in erratum.sizes)
        )


def public_editions(code: str) -> QuerySet[Edition]:
    """The editions of a pattern that anyone may know of, oldest first.

    They are those that a round has opened on to others, or an erratum is out for; a pattern is public once it has
    one. Drafts are never read here.
    """
    opened = Round.objects.filter(edition=OuterRef("pk")).exclude(state=Round.State.PLANNED)
    published = Erratum.objects.published().filter(edition=OuterRef("pk"))
    return Edition.objects.filter(Exists(opened) | Exists(published), pattern__code=code).order_by(
        "created", "pk"
    )


def public_errata(code: str) -> PublicErrata | None:
    """The published errata of a pattern; None when nothing about the pattern is public."""
    editions = list(public_editions(code).select_related("pattern"))
    if not editions:
        return None
    errata = Erratum.objects.published().filter(pattern__code=code).select_related("pattern", "edition")
    return PublicErrata(
        pattern=editions[0].pattern,
        editions=tuple(editions),
        errata=tuple(errata.order_by("number")),
        tested=tested(code),
    )


def public_state(code: str) -> list[Any] | None:
    """Everything that public pages of a pattern rest on, as plain values; None where nothing of it is public.

    An erratum that is out stays as it is, so that the last number speaks for all of them.
    """
    last = Erratum.objects.published().filter(pattern=OuterRef("pattern")).order_by("-number")
    editions = list(
        public_editions(code)
        .annotate(last=Subquery(last.values("number")[:1]))
        .values_list("pk", "label", "revision", "terms", "pattern__title", "last")
    )
    if not editions:
        return None
    return [editions, credits_state(code)]


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


def changes_of(erratum: Erratum) -> list[dict[str, Any]]:
    """An erratum's changes, each with its values in wearing order."""
    sizes = erratum.edition.sheet.get("sizes", [])
    return [
        {**change, "was": in_order(change["was"], sizes), "now": in_order(change["now"], sizes)}
        for change in erratum.changes
    ]


def shown_erratum(erratum: Erratum, reader: Reader, size: str = "") -> ShownErratum:
    """An erratum as this reader sees it; with ``size`` only what that size needs."""

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
        text=told(erratum.text),
        why=lengths_in(told(erratum.why), reader.units),
        sizes=_named_sizes(erratum.sizes) if erratum.sizes else _("every size") if every else "",
        changes=changes,
        tables=change_table_of(changes, size, reader.units) if size else change_tables(changes, reader.units),
    )


def _named_sizes(sizes: Sequence[str]) -> str:
    """ "size 2X", "sizes M, L"."""
    return ngettext("size {sizes}", "sizes {sizes}", len(sizes)).format(sizes=", ".join(sizes))


def public_document(public: PublicErrata, address: str) -> dict[str, Any]:
    """The published errata of a pattern as a document for other programs, in the words they were written in.

    Lengths are centimetres, gauges per 10 cm. ``sizes`` is empty where every copy of the edition is affected.
    """
    return {
        "format": "testround/errata",
        "version": 1,
        "pattern": {
            "title": public.pattern.title,
            "address": address,
            "editions": [edition.label for edition in public.editions],
        },
        "errata": [
            {
                "number": erratum.number,
                "address": f"{address}{erratum.number}/",
                "edition": erratum.edition.label,
                "terms": erratum.edition.terms,
                "place": erratum.place,
                "sizes": erratum.sizes,
                "changes": [
                    {key: change[key] for key in ("subject", "label", "place", "unit", "was", "now")}
                    for change in changes_of(erratum)
                ],
                "text": erratum.text,
                "why": erratum.why,
                "published": erratum.published_at.isoformat() if erratum.published_at else None,
            }
            for erratum in public.errata
        ],
    }
