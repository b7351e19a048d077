"""Published errata on paper: what matters to one copy, to lay beside the pattern."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from testround.errata.choices import Choice
from testround.errata.published import Addresses, shown_errata
from testround.errata.published.text import standing_lines
from testround.errata.selectors import PublicErrata, ShownErratum
from testround.kernel.words import commas
from testround.paper.errata import ErrataList, ErratumChange, ErratumEntry, errata_pdf


def errata_paper(public: PublicErrata, choice: Choice) -> bytes:
    """What matters to the copy that an address asks for, on the paper and in the terms and units that it names."""
    addresses = Addresses(public.pattern.code)
    shown = shown_errata(public, choice)
    return errata_pdf(
        ErrataList(
            title=public.pattern.title,
            copies=_copies(public, choice),
            url=addresses.list,
            to=addresses.list + choice.on_a4.suffix,
            ways=_ways(choice),
            entries=tuple(_entry(entry, addresses) for entry in shown),
            sizes=public.sizes(None),
            thanks=public.credits(choice.edition).sentence,
            beside=tuple(_beside(public, choice)),
            nothing=_("Nothing to change in this copy so far.") if public.errata else "",
        ),
        paper="Letter" if choice.letter else "A4",
        units=choice.units,
    )


def _copies(public: PublicErrata, choice: Choice) -> str:
    """Which copies the paper is for."""
    edition, size = choice.edition, choice.size
    if edition and size:
        return _("Edition {edition}, size {size}").format(edition=edition.label, size=size)
    if edition:
        said = _("Edition {edition}, every size") if public.sizes(edition) else _("Edition {edition}")
        return said.format(edition=edition.label)
    labels = [each.label for each in public.editions]
    said = ngettext("Edition {editions}", "Editions {editions}", len(labels))
    if size:
        said = ngettext("Edition {editions}, size {size}", "Editions {editions}, size {size}", len(labels))
    elif public.sizes(None):
        said = ngettext("Edition {editions}, every size", "Editions {editions}, every size", len(labels))
    return said.format(editions=commas(labels), size=size)


def _ways(choice: Choice) -> str:
    """How lengths and stitches are said, for whoever finds the paper."""
    lengths = _("Lengths in inches.") if choice.units == "in" else _("Lengths in centimetres.")
    stitches = {
        "us": _("Stitches in US terms."),
        "uk": _("Stitches in UK terms."),
        "": _("Stitches in the terms of each edition."),
    }
    return f"{lengths} {stitches[choice.terms]}"


def _beside(public: PublicErrata, choice: Choice) -> Iterator[str]:
    """What else a copy should know: what it has already, what is not its own, and where all is corrected."""
    edition, size = choice.edition, choice.size
    corrected = public.corrected_in(edition, size)
    if edition and corrected:
        told = [
            _("erratum {number} ({place})").format(number=one.number, place=one.place) for one in corrected
        ]
        said = _("Edition {edition} has these corrections already: {errata}.")
        yield said.format(edition=edition.label, errata=commas(told))
    others = public.not_in(edition, size)
    if others:
        told = [
            _("erratum {number} (for {sizes})").format(number=one.number, sizes=commas(one.sizes))
            for one in others
        ]
        yield _("Size {size} is not affected by these: {errata}.").format(size=size, errata=commas(told))
    newer = public.edition_with(public.affecting(edition, size), edition)
    if newer:
        yield _("Edition {edition} has all of this corrected.").format(edition=newer.label)


def _entry(shown: ShownErratum, addresses: Addresses) -> ErratumEntry:
    erratum = shown.erratum
    return ErratumEntry(
        number=erratum.number or 0,
        date=timezone.localdate(erratum.published_at),
        edition=shown.edition,
        place=shown.place,
        sizes=tuple(erratum.sizes),
        sized=bool(shown.sizes),
        text=shown.text,
        why=shown.why,
        standing=tuple(standing_lines(shown)),
        url=addresses.erratum(erratum),
        changes=tuple(
            ErratumChange(
                label=change["label"],
                unit=change["unit"],
                was=change["was"],
                now=change["now"],
                place=change["place"] if change["place"] not in (shown.place, change["label"]) else "",
            )
            for change in shown.changes
        ),
    )
