"""What the address of a published page asks for: which copy, and how it likes things said."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, QueryDict
from django.utils.translation import gettext as _

from testround.errata.models import Erratum
from testround.errata.selectors import PublicErrata
from testround.kernel.words import commas
from testround.patterns.models import Edition
from testround.people.readers import Reader, Units

UNITS: tuple[Units, ...] = ("cm", "in")
Terms = Literal["us", "uk", ""]


@dataclass(frozen=True, slots=True)
class Choice:
    """A reader's copy and ways. All of it stands in the address, so that it can be kept, sent and printed."""

    edition: Edition | None = None
    size: str = ""
    units: Units = "cm"
    terms: Terms = ""
    """Empty where each erratum is read in the terms that its edition is written in."""
    language: str = ""
    letter: bool = False

    @property
    def query(self) -> str:
        """The choice as the part of an address after the question mark, always in one order; empty where nothing was chosen."""
        chosen = {
            "edition": self.edition.pk if self.edition else "",
            "size": self.size,
            "units": "in" if self.units == "in" else "",
            "terms": self.terms,
            "language": self.language,
            "paper": "letter" if self.letter else "",
        }
        return urlencode({name: value for name, value in chosen.items() if value})

    @property
    def on_a4(self) -> Choice:
        return replace(self, letter=False)

    @property
    def on_letter(self) -> Choice:
        return replace(self, letter=True)

    @property
    def suffix(self) -> str:
        return f"?{self.query}" if self.query else ""

    @property
    def says(self) -> str:
        """The copy and the ways in a few words, as far as they were chosen: "Edition 1.0, size M, inches"."""
        chosen = [
            _("Edition {edition}").format(edition=self.edition.label) if self.edition else "",
            _("size {size}").format(size=self.size) if self.size else "",
            _("inches") if self.units == "in" else "",
            {"us": _("US terms"), "uk": _("UK terms"), "": ""}[self.terms],
        ]
        return commas(each for each in chosen if each)

    @property
    def in_edition(self) -> Choice:
        """The same at the address of its edition, which need not be named again."""
        return replace(self, edition=None)

    @property
    def ways(self) -> Choice:
        """The same without the copy."""
        return replace(self, edition=None, size="", letter=False)

    def reader(self, erratum: Erratum) -> Reader:
        """Who reads an erratum so."""
        return Reader(units=self.units, terms=self.terms or erratum.edition.terms)


def ways_asked(asked: QueryDict) -> Choice:
    """Units, terms and language of an address. What is not known there is as if it had not been said."""
    terms: Terms = "us" if asked.get("terms") == "us" else "uk" if asked.get("terms") == "uk" else ""
    language = asked.get("language", "")
    return Choice(
        units="in" if asked.get("units") == "in" else "cm",
        terms=terms,
        language=language if language in dict(settings.LANGUAGES) else "",
        letter=asked.get("paper") == "letter",
    )


def choice_asked(request: HttpRequest, public: PublicErrata, edition: Edition | None = None) -> Choice:
    """The whole choice of an address; ``edition`` where the address itself is that edition's."""
    if edition is None:
        key = request.GET.get("edition", "")
        edition = next((each for each in public.editions if str(each.pk) == key), None)
    size = request.GET.get("size", "")
    return replace(
        ways_asked(request.GET), edition=edition, size=size if size in public.sizes(edition) else ""
    )
