"""The errata document of a pattern: in the words they were written in, and in every way of saying them."""

from __future__ import annotations

from typing import Any, cast

from django.utils import translation

from testround.errata.choices import UNITS
from testround.errata.models import Erratum
from testround.errata.published import Addresses
from testround.errata.selectors import PublicErrata, Standing, changes_of, standing_of
from testround.errata.wording import value_words
from testround.kernel import errata as kernel
from testround.kernel.terms import Terms, translate
from testround.kernel.units import LengthUnit

# What a program reads is said in one language; numbers have a point.
LANGUAGE = "en-gb"
DIALECTS: tuple[Terms, ...] = ("us", "uk")


def errata_document(public: PublicErrata, addresses: Addresses) -> kernel.ErrataDocument:
    """The published errata of a pattern as a document for other programs. Lengths are centimetres, gauges per 10 cm."""
    with translation.override(LANGUAGE):
        return kernel.ErrataDocument(
            pattern=kernel.PatternListed(
                title=public.pattern.title,
                address=addresses.list,
                editions=tuple(
                    kernel.EditionListed(
                        label=each.label, address=addresses.edition(each), sizes=public.sizes(each)
                    )
                    for each in public.editions
                ),
            ),
            errata=tuple(_erratum(each, public, addresses) for each in public.errata),
        )


def _erratum(erratum: Erratum, public: PublicErrata, addresses: Addresses) -> kernel.Erratum:
    standing = {edition.label: standing_of(erratum, edition) for edition in public.editions}
    return kernel.Erratum(
        number=cast(int, erratum.number),
        address=addresses.erratum(erratum),
        edition=erratum.edition.label,
        terms=cast(Terms, erratum.edition.terms),
        place=erratum.place,
        sizes=tuple(erratum.sizes),
        changes=tuple(_change(change) for change in changes_of(erratum)),
        text=erratum.text,
        why=erratum.why,
        told={dialect: _told(erratum, dialect) for dialect in DIALECTS},
        corrects=erratum.corrects.number if erratum.corrects else None,
        corrected_by=tuple(cast(int, each.number) for each in public.correctors(erratum)),
        stands_in=tuple(label for label, one in standing.items() if one is Standing.STANDS),
        corrected_in=tuple(label for label, one in standing.items() if one is Standing.CORRECTED),
        published=cast(Any, erratum.published_at),
    )


def _change(change: dict[str, Any]) -> kernel.ErratumChange:
    return kernel.ErratumChange(
        **{key: change[key] for key in ("subject", "label", "place", "unit", "was", "now")},
        read={units: _read(change, units) for units in UNITS},
    )


def _read(change: dict[str, Any], units: LengthUnit) -> kernel.ReadAs:
    was, now = (
        {key: value_words(value, change["unit"], units) for key, value in change[side].items()}
        for side in ("was", "now")
    )
    return kernel.ReadAs(was=was, now=now)


def _told(erratum: Erratum, dialect: Terms) -> kernel.ErratumWords:
    place, text, why = (
        translate(words, source=cast(Terms, erratum.edition.terms), target=dialect)
        for words in (erratum.place, erratum.text, erratum.why)
    )
    return kernel.ErratumWords(place=place, text=text, why=why)
