"""The forms that published errata have beside their pages: a document for programs, a feed, and plain text."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.conf import settings
from django.urls import reverse

from testround.errata.choices import Choice
from testround.errata.models import Erratum
from testround.errata.selectors import PublicErrata, ShownErratum, shown_erratum
from testround.patterns.models import Edition

# XML 1.0, production 2: what is not a character there has no place in any of these forms. Some fields take them.
_NO_CHARACTER = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def readable(text: str) -> str:
    """The text without control characters, its lines ending as they do everywhere else."""
    return _NO_CHARACTER.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


@dataclass(frozen=True, slots=True)
class Addresses:
    """Where a pattern's errata are, in full, whatever name a request came in by: for what people keep."""

    code: str

    def of(self, page: str, *args: object) -> str:
        return f"{settings.SITE_URL}{reverse(f'errata:{page}', args=[self.code, *args])}"

    @property
    def list(self) -> str:
        return self.of("list")

    def erratum(self, erratum: Erratum) -> str:
        return self.of("erratum", erratum.number)

    def edition(self, edition: Edition) -> str:
        return self.of("edition", edition.pk)


def shown_errata(public: PublicErrata, choice: Choice) -> list[ShownErratum]:
    """What matters to the copy that was chosen, as its reader likes it, in the order of their numbers."""
    return [shown_one(public, erratum, choice) for erratum in public.affecting(choice.edition, choice.size)]


def shown_one(public: PublicErrata, erratum: Erratum, choice: Choice) -> ShownErratum:
    return shown_erratum(
        erratum,
        choice.reader(erratum),
        choice.size,
        corrected_by=public.correctors(erratum),
        edition=choice.edition,
    )
