"""What is wrong with an input: where, and in a sentence that says how to mend it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice

from testround.kernel.words import gettext as _

MOST_TOLD = 1000
"""Of an input with more problems than this, so many are told: nobody mends more at once, and a hostile one has millions."""


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One problem at one place, as in ``testers[3].swatches[0].colour: unknown``."""

    path: str
    sentence: str

    def __str__(self) -> str:
        return f"{self.path}: {self.sentence}" if self.path else self.sentence

    def under(self, prefix: str) -> Problem:
        """The same problem seen from the object that holds this one under ``prefix``."""
        return Problem(f"{prefix}.{self.path}" if self.path else prefix, self.sentence)


class InputProblems(ValueError):
    """An input with at least one problem; ``problems`` holds all of them, never only the first."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def told_of(problems: Iterable[Problem]) -> list[Problem]:
    """The first problems, as many as are told, and a word where there are more; the others are not looked for."""
    rest = iter(problems)
    told = list(islice(rest, MOST_TOLD))
    return [*told, and_others()] if next(rest, None) is not None else told


def and_others() -> Problem:
    return Problem("", _("there is more to mend than is told at once; mend these first, and look again"))
