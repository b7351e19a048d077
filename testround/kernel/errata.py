"""The errata document, version 1: the published errata of a pattern, for other programs.

As with the other formats the Pydantic models are the single source of the published JSON Schema and of what is
written, and `errata_json` gives the same bytes for the same document.
"""

from __future__ import annotations

import json
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from testround.kernel.findings import FINDING_DECIMALS, Said, _plain
from testround.kernel.round import SizeName
from testround.kernel.terms import Terms
from testround.kernel.units import LengthUnit

Number = Annotated[int, Field(ge=1)]
"""Of an erratum: counted up for each pattern, given once and never again."""


class ReadAs(Said):
    """One change as people read it, by the same keys as in the change: "35.5 cm", "14 in", "118"."""

    was: dict[str, str]
    now: dict[str, str]


class ErratumChange(Said):
    """One number, measurement or gauge that is another from now on."""

    subject: str
    """Its key on the edition's sheet; a gauge may be ``GAUGE``, ``GAUGE.st`` or ``GAUGE.row``."""
    label: str
    place: str
    """Where it stands in the pattern's text."""
    unit: str
    """``st``, ``row``, ``rep``, ``cm``, ``m``, ``h``, ``st/10 cm`` or ``row/10 cm``."""
    was: dict[str, float]
    """What the edition prints, by size; by ``stitches`` or ``rows`` for a gauge; ``per m²`` for yarn by area."""
    now: dict[str, float]
    """What holds instead, by the same keys."""
    read: dict[LengthUnit, ReadAs]
    """Both as people read them, in centimetres and in inches; the same where nothing is a length or a gauge."""


class ErratumWords(Said):
    """What an erratum says, in one dialect of stitch terms."""

    place: str
    text: str
    why: str


class Erratum(Said):
    """One published correction. It never changes; only who puts it right, and which editions there are, may be added to."""

    number: Number
    address: str
    """Where it can be read, for good."""
    edition: str
    """The edition it was written for."""
    terms: Terms
    """The dialect of stitch terms that ``place``, ``text``, ``why`` and the changes are written in."""
    place: str
    sizes: tuple[SizeName, ...]
    """The sizes whose copies it concerns; empty where it is every copy of the edition."""
    changes: tuple[ErratumChange, ...]
    text: str
    """What a reader has to do, as the designer words it."""
    why: str
    told: dict[Terms, ErratumWords]
    """The words in US and in UK terms; the same where the dialects do not differ."""
    corrects: Number | None
    """The earlier erratum that it puts right."""
    corrected_by: tuple[Number, ...]
    """Later ones that put it right."""
    stands_in: tuple[str, ...]
    """Other editions in which the same stands, or, for a change of words, may stand."""
    corrected_in: tuple[str, ...]
    """Editions that have the correction already."""
    published: AwareDatetime


class EditionListed(Said):
    """One edition that readers may have."""

    label: str
    address: str
    """Where its errata can be read, for good."""
    sizes: tuple[SizeName, ...]


class PatternListed(Said):
    title: str
    address: str
    """Where the list can be read, for good."""
    editions: tuple[EditionListed, ...]
    """Oldest first."""


class ErrataDocument(Said):
    """The published errata of a pattern."""

    format: Literal["testround/errata"] = "testround/errata"
    version: Literal[1] = 1
    pattern: PatternListed
    errata: tuple[Erratum, ...] = ()
    """In the order of their numbers."""


def errata_json(document: ErrataDocument) -> str:
    """The errata document as text, ending in a line break; the same bytes for the same document."""
    said = _plain(document.model_dump(mode="json"), FINDING_DECIMALS)
    return json.dumps(said, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
