"""A stored round as the kernel reads it, what the kernel says of it, and who may see that."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.core.cache import cache
from django.db.models import QuerySet

from testround.errata.models import Erratum
from testround.kernel.analysis import Analysis, analyse
from testround.kernel.findings import findings_json
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import Round as KernelRound
from testround.kernel.roundfile import plain
from testround.kernel.sheet import Sheet
from testround.patterns.access import Right
from testround.people.models import User
from testround.recent import Recent
from testround.reports.bridge import kernel_round
from testround.reports.digest import program_digest, round_digest
from testround.rounds.models import Round
from testround.rounds.selectors import rounds_of

CACHED_FOR_SECONDS = 24 * 60 * 60
# Verdicts that ask something of the designer.
PRESSING = ("amend", "look-closer")
# Rounds that pages have just asked for. One of two hundred testers takes some 12 MB here, and 2 MB in the cache.
MOST_RECENT = 4


@dataclass(frozen=True, slots=True)
class Read:
    """A stored round as the kernel read it, and what the kernel said of it."""

    round: KernelRound
    analysis: Analysis
    document: dict[str, Any]
    """The findings file, as plain JSON values; why a finding says so can be said again in its reader's language."""
    digest: str = ""
    """The name of all that was read; empty where something changed meanwhile."""

    @property
    def input_hash(self) -> str:
        return hash_of(self.round)

    @property
    def file(self) -> str:
        """The findings file, as text."""
        return findings_json(self.analysis.findings)

    @property
    def sheet(self) -> SheetDocument:
        return self.round.pattern


recent: Recent[Read] = Recent(MOST_RECENT)


def hash_of(round: KernelRound) -> str:
    """SHA-256 of a round and of the program that reads it; a database may store an object's keys in any order."""
    document = json.dumps(plain(round), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(program_digest() + document.encode()).hexdigest()


def read_round(round: Round) -> Read:
    """Read a round and analyse it, or take both from the cache as long as nothing has changed that was read.

    What is kept is of no language: its sentences are said when they are shown, and are English for a program. It is
    shared by all who ask, so nobody changes it.
    """
    digest = round_digest(round)
    read = recent.get(digest)
    if read is not None:
        return read
    kept = cache.get(f"analysis:{digest}")
    if kept is None:
        return _read_anew(round, digest)
    kernels, analysis, document = kept
    read = Read(kernels, analysis, document, digest)
    recent.keep(digest, read)
    return read


def _read_anew(round: Round, digest: str) -> Read:
    read = kernel_round(round)
    analysis = analyse(read)
    document = json.loads(findings_json(analysis.findings))
    for written, finding in zip(document["findings"], analysis.findings.findings, strict=True):
        written["why"] = finding.why
    # Had somebody sent something while the rows were read, they might be those of neither name.
    if round_digest(round) != digest:
        return Read(read, analysis, document)
    cache.set(f"analysis:{digest}", (read, analysis, document), CACHED_FOR_SECONDS)
    anew = Read(read, analysis, document, digest)
    recent.keep(digest, anew)
    return anew


def stands_in(sheet: SheetDocument) -> dict[str, dict[str, float]]:
    """What a maker following the edition finds, by number or dimension and size: printed, else computed."""
    compiled = Sheet(sheet)
    if not sheet.sizes:
        return {}
    inputs = compiled.stated()
    computed = compiled.numbers(inputs)
    standing: dict[str, dict[str, float]] = {}
    for printed, worked in (
        (compiled.printed_numbers(), computed),
        (compiled.printed_dimensions(), compiled.dimensions(inputs, computed)),
    ):
        for key, values in worked.items():
            shown = np.where(np.isnan(printed[key]), values, printed[key])
            standing[key] = {
                size: float(value)
                for size, value in zip(sheet.sizes, shown, strict=True)
                if np.isfinite(value)
            }
    return standing


def judged_by(user: User, right: Right = Right.EDIT) -> QuerySet[Round]:
    """Rounds whose results a person may read and decide on, as owner or editor of their pattern."""
    return rounds_of(user, right).select_related("edition__pattern")


def drafts_of(round: Round) -> QuerySet[Erratum]:
    return Erratum.objects.drafts().filter(round=round)


def may_correct(erratum: Erratum) -> QuerySet[Erratum]:
    """The errata that a draft may say it puts right: those published of its pattern, in the order of their numbers."""
    return Erratum.objects.published().filter(pattern=erratum.pattern_id).order_by("number")
