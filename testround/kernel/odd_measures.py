"""Body measurements in a round that hardly any body has: the pattern's own, its testers' and its candidates'.

Nothing is refused for being odd. Whoever reads the file in, or reads the report, is told what to ask.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from testround.kernel.plausible import Doubt, body_doubt
from testround.kernel.round import Pattern, Round
from testround.kernel.words import gettext as _
from testround.kernel.words import told

FEWEST_OTHER_SIZES = 3
"""A size is held against the others when there are this many; of two or three, one may be a child's."""


@dataclass(frozen=True, slots=True)
class OddMeasure:
    """A body measurement to ask about.

    ``path`` is its place in the round file; ``person`` the id of the tester or candidate, None for a size of
    the pattern, which ``size`` then names. ``value`` is in centimetres.
    """

    path: str
    person: str | None
    size: str | None
    key: str
    value: float
    doubt: Doubt

    def __str__(self) -> str:
        return f"{self.path}: {self.doubt.sentence}"


def odd_measures(round: Round) -> tuple[OddMeasure, ...]:
    """Everything to ask about the body measurements of a round, in the order of the file.

    Parameters
    ----------
    round : Round
        As read from a file or from the database.

    Returns
    -------
    tuple of OddMeasure
        The pattern's sizes first, then candidates, then testers.
    """
    pattern = round.pattern
    found = list(odd_sizes(pattern, "pattern."))
    for i, candidate in enumerate(round.candidates):
        found += _of_person(pattern, f"candidates[{i}]", candidate.id, candidate.measures)
    return (*found, *odd_testers(round))


def odd_testers(round: Round) -> tuple[OddMeasure, ...]:
    """What to ask about the testers' body measurements."""
    return tuple(
        odd
        for i, tester in enumerate(round.testers)
        for odd in _of_person(round.pattern, f"testers[{i}]", tester.id, tester.measures)
    )


def odd_sizes(pattern: Pattern, prefix: str = "") -> Iterator[OddMeasure]:
    """The pattern's own body measurements to ask about; ``prefix`` stands before every path."""
    for i, measure in enumerate(pattern.measures):
        values = measure.values or {}
        for size, value in values.items():
            others = [other for name, other in values.items() if name != size]
            doubt = body_doubt(
                measure.key,
                measure.label,
                value,
                sizes=others if len(others) >= FEWEST_OTHER_SIZES else (),
                called=told(_of_size, measure.label, size),
            )
            if doubt is not None:
                path = f"{prefix}measures[{i}].values.{size}"
                yield OddMeasure(path, None, size, measure.key, value, doubt)


def _of_size(measure: str, size: str) -> str:
    # Translators: begins a sentence, as in "Full bust, size M, is given as 9 cm".
    return _("{measure}, size {size},").format(measure=measure, size=size)


def _of_person(
    pattern: Pattern, path: str, person: str, measures: Mapping[str, float]
) -> Iterator[OddMeasure]:
    for measure in pattern.measures:
        value = measures.get(measure.key)
        if value is None:
            continue
        sizes = tuple((measure.values or {}).values())
        doubt = body_doubt(measure.key, measure.label, value, sizes=sizes)
        if doubt is not None:
            yield OddMeasure(f"{path}.measures.{measure.key}", person, None, measure.key, value, doubt)
