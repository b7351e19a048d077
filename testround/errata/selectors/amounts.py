"""Yarn and hours of a round: what they took, for the designer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from testround.errata.selectors.analyses import Read, read_round
from testround.errata.wording import Named, names_of
from testround.kernel.amounts import Guesses, Taken
from testround.kernel.cautions import LONG_SITTING_HOURS
from testround.rounds.models import Round


@dataclass(frozen=True, slots=True)
class GuessRow:
    """One tester's guess beside what it took."""

    name: str
    guessed: float
    took: float

    @property
    def times(self) -> float:
        return self.took / self.guessed


@dataclass(frozen=True, slots=True)
class GuessTable:
    guess: Guesses
    unit: str
    rows: tuple[GuessRow, ...]


@dataclass(frozen=True, slots=True)
class AmountsResult:
    """What did it take, and what should be printed? ``long_sittings`` are those that call for a rest."""

    read: Read
    names: Mapping[str, Named]
    taken: Taken
    findings: tuple[Mapping[str, Any], ...]
    guesses: tuple[GuessTable, ...]
    reported: int
    """Testers who have said anything of yarn or hours."""
    long_sittings: int


def amounts_result(round: Round) -> AmountsResult:
    """The page of yarn and hours, from the analysis of the round."""
    read = read_round(round)
    taken = read.analysis.taken
    called = {tester.id: tester.name for tester in read.round.testers}
    sittings = [sitting for tester in read.round.testers for sitting in tester.sittings]
    return AmountsResult(
        read=read,
        names=names_of(read.sheet),
        taken=taken,
        findings=tuple(f for f in read.document["findings"] if f["kind"] in ("yarn", "hours")),
        guesses=tuple(
            GuessTable(
                guess,
                "m" if guess.kind == "yarn" else "h",
                tuple(GuessRow(called[tester], guessed, took) for tester, guessed, took in guess.pairs),
            )
            for guess in taken.guesses
        ),
        reported=sum(tester.yarn_used is not None or bool(tester.sittings) for tester in read.round.testers),
        long_sittings=sum(sitting.hours > LONG_SITTING_HOURS for sitting in sittings),
    )
