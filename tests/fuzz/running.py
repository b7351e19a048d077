"""Runs many cases of one kind and counts what becomes of them: taken, refused, or anything else, which is a fault."""

from __future__ import annotations

import random
import resource
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

Make = Callable[[random.Random], Any]
Try = Callable[[Any], str]


class Unexpected(AssertionError):
    """What was taken or refused is not as it is promised."""


@dataclass(frozen=True)
class Target:
    """One door for untrusted input: how a case is made, and how it is tried.

    ``attempt`` gives a word for what became of the case; whatever it raises is a fault.
    """

    name: str
    make: Make
    attempt: Try


@dataclass
class Tally:
    """What came of a run. Times are seconds of this process, memory its largest resident set in megabytes."""

    cases: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    faults: list[tuple[int, str]] = field(default_factory=list)
    slowest: tuple[float, int] = (0.0, 0)
    seconds: float = 0.0

    @property
    def memory(self) -> float:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

    def said(self, target: Target) -> str:
        outcomes = ", ".join(f"{n} {word}" for word, n in self.outcomes.most_common())
        seconds, seed = self.slowest
        lines = [
            f"{target.name}: {self.cases} cases in {self.seconds:.0f} s: {outcomes}",
            f"  slowest {1000 * seconds:.1f} ms (seed {seed}), largest memory {self.memory:.0f} MB, "
            f"{len(self.faults)} faults",
        ]
        for seed, told in self.faults[:20]:
            lines += [f"  seed {seed}:", *(f"    {line}" for line in told.splitlines()[-6:])]
        return "\n".join(lines)


def case_of(target: Target, seed: int) -> Any:
    """The case of that number, the same on every machine."""
    return target.make(random.Random(seed))


def run(target: Target, seeds: range, *, stop_after: int = 100) -> Tally:
    """Try the cases of these numbers, one after the other, and give up after so many faults."""
    tally = Tally()
    began = time.process_time()
    for seed in seeds:
        case = case_of(target, seed)
        before = time.process_time()
        try:
            outcome = target.attempt(case)
        except Exception:
            tally.faults.append((seed, traceback.format_exc()))
            outcome = "faulty"
        took = time.process_time() - before
        tally.cases += 1
        tally.outcomes[outcome] += 1
        tally.slowest = max(tally.slowest, (took, seed))
        if len(tally.faults) >= stop_after:
            break
    tally.seconds = time.process_time() - began
    return tally
