"""A stored round as the kernel reads it, what the kernel says of it, and who may see that."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from django.core.cache import cache
from django.db.models import QuerySet

from testround import kernel
from testround.errata.models import Erratum
from testround.kernel.analysis import Analysis, analyse
from testround.kernel.findings import findings_json
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.round import Round as KernelRound
from testround.kernel.roundfile import plain
from testround.kernel.sheet import Sheet
from testround.patterns.access import Right
from testround.people.models import User
from testround.reports.bridge import kernel_round
from testround.rounds.models import Round
from testround.rounds.selectors import rounds_of

CACHED_FOR_SECONDS = 24 * 60 * 60
# Verdicts that ask something of the designer.
PRESSING = ("amend", "look-closer")


@dataclass(frozen=True, slots=True)
class Read:
    """A stored round as the kernel read it, and what the kernel said of it."""

    round: KernelRound
    analysis: Analysis
    document: dict[str, Any]
    """The findings file, as plain JSON values; why a finding says so can be said again in its reader's language."""

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


@lru_cache(maxsize=1)
def program_digest() -> bytes:
    """A digest of the kernel's source: another program may say something else of the same round."""
    digest = hashlib.sha256()
    for path in sorted(Path(kernel.__path__[0]).glob("**/*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.digest()


def hash_of(round: KernelRound) -> str:
    """SHA-256 of a round and of the program that reads it; a database may store an object's keys in any order."""
    document = json.dumps(plain(round), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(program_digest() + document.encode()).hexdigest()


def _cache_key(round: KernelRound) -> str:
    """A name for what the program says of this very input. Quicker than `hash_of`, since pages ask for it each
    time: it minds the order in which a database gives an object's keys, so that at worst one is analysed again."""
    return f"analysis:{hashlib.sha256(program_digest() + round.model_dump_json().encode()).hexdigest()}"


def read_round(round: Round) -> Read:
    """Read a round and analyse it, or take the analysis of the same input from the cache.

    What is kept is of no language: its sentences are said when they are shown, and are English for a program.
    """
    read = kernel_round(round)
    key = _cache_key(read)
    kept = cache.get(key)
    if kept is None:
        analysis = analyse(read)
        document = json.loads(findings_json(analysis.findings))
        for written, finding in zip(document["findings"], analysis.findings.findings, strict=True):
            written["why"] = finding.why
        kept = (analysis, document)
        cache.set(key, kept, CACHED_FOR_SECONDS)
    analysis, document = kept
    return Read(round=read, analysis=analysis, document=document)


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
