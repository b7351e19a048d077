"""Likely gross errors in a round's reports: recognised, set aside, and put to the tester as questions.

What most of a round does alike is never one person's slip, and is left for the verdicts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from testround.kernel.discrepancy import Discrepancies
from testround.kernel.gauge import ASSUMED, AXES
from testround.kernel.odd_measures import OddMeasure
from testround.kernel.plausible import (
    ODD_CM,
    ODD_COUNT,
    ODD_SHARE,
    ODD_STITCHES,
    doubt_about_count,
    question_about,
)
from testround.kernel.pool import Pooled
from testround.kernel.round import Number
from testround.kernel.sheet import Sheet
from testround.kernel.units import INCH_CM, LengthUnit, format_gauge
from testround.kernel.verdict import Agreed

BoolArray = NDArray[np.bool_]

ODD_GAUGE = 0.35
"""A swatch whose gauge is off by more than this share is asked about before it is believed."""
ALONE = 4.0
"""Standard deviations at which a measurement that nothing explains is asked about."""
SAME_CM = 1.5
SAME_SHARE = 0.05
"""Two testers' deviations that agree to this, cm or share of the measurement, vouch for each other ..."""
ABSURD = 0.4
"""... unless they are off by more than this share: half of the whole, or inches, is never vouched for."""


@dataclass(frozen=True, slots=True)
class Question:
    """Something to ask a tester before it is believed; ``subject`` is a dimension, number, measure or gauge key.

    ``cause`` is the likely slip ("half", "inches", "swapped-digits", "other-dimension", …) or "unknown".
    """

    tester: str
    subject: str
    value: float
    expected: float
    cause: str
    sentence: str


class Doubts:
    """What is in question in a round: each method asks, and returns what is set aside until the answer."""

    def __init__(self, sheet: Sheet, found: Discrepancies) -> None:
        self.sheet = sheet
        self.pattern = sheet.pattern
        self.found = found
        self.questions: list[Question] = []
        self.of_odd_body: set[tuple[str, str]] = set()

    def bodies(self, odd: Sequence[OddMeasure]) -> BoolArray:
        """What a made-to-measure piece owes to a body to ask about: (testers, dimensions).

        Nothing else is asked of what follows from such a measure: its counts are far off for that reason.
        """
        aside = np.zeros(self.found.known.shape, dtype=np.bool_)
        at = {tester: i for i, tester in enumerate(self.found.testers)}
        for one in odd:
            tester = str(one.person)
            expected = one.value if one.doubt.meant_cm is None else one.doubt.meant_cm
            self.questions.append(
                Question(tester, one.key, one.value, expected, one.doubt.cause, one.doubt.sentence)
            )
            if not self.pattern.is_graded:
                aside[at[tester], self.following(one.key)] = True
                self.of_odd_body.update((tester, key) for key in self.sheet.follows(one.key))
        return aside

    def swatches(self) -> BoolArray:
        """Swatches to ask about: (testers, gauges, 2)."""
        own = self.found.own
        odd = np.zeros(own.blocked.shape, dtype=np.bool_)
        for k, gauge in enumerate(self.pattern.gauges):
            for a, stated in enumerate((gauge.stitches, gauge.rows)):
                with np.errstate(invalid="ignore"):
                    ratio = own.blocked[:, k, a] * 10 / stated
                    far = np.maximum(ratio, 1 / ratio) > 1 + ODD_GAUGE
                rows = np.flatnonzero(far & (own.source[:, k, a] < ASSUMED))
                if 2 * len(rows) > max(len(self.found.testers), 4):
                    continue  # most of a round alike: then it is the stated one that is odd
                for i in rows:
                    odd[i, k, a] = True
                    per_10cm = float(own.blocked[i, k, a] * 10)
                    word = ("stitches", "rows")[a]
                    self.questions.append(
                        Question(
                            self.found.testers[i],
                            f"{gauge.key}.{AXES[a]}",
                            per_10cm,
                            stated,
                            "inches"
                            if abs(ratio[i] * 2.54 - 1) < 0.2 or abs(ratio[i] / 2.54 - 1) < 0.2
                            else "unknown",
                            f"The swatch gives {format_gauge(per_10cm)} {word} in 10 cm, where about "
                            f"{format_gauge(stated)} were expected. Are the count and the width it was counted "
                            "over both right?",
                        )
                    )
        return odd

    def counts(self, agreed: Sequence[Agreed]) -> BoolArray:
        """Where measurements rest on counts to ask about: (testers, dimensions).

        A count that far off is more often written down wrong than worked.
        """
        found = self.found
        aside = np.zeros(found.known.shape, dtype=np.bool_)
        for number in self.pattern.numbers:
            reported, printed = found.reported[number.key], found.printed[number.key]
            text = np.where(np.isnan(printed), found.computed[number.key], printed)
            with np.errstate(divide="ignore", invalid="ignore"):
                ratio = np.maximum(reported / text, text / reported)
                odd = (ratio > 1 + ODD_COUNT) & (np.abs(reported - text) > ODD_STITCHES)
            # Whoever arrived at what the formula gives has put a misprint right.
            odd &= ~np.isclose(reported, found.computed[number.key])
            for one in agreed:
                if one.number == number.key:
                    odd[list(one.testers)] = False
            # What most of a round does alike is not a slip.
            if 2 * odd.sum() > np.isfinite(reported).sum() > 2:
                continue
            for i in np.flatnonzero(odd).tolist():
                if (found.testers[i], number.key) in self.of_odd_body:
                    continue
                aside[i, self.following(number.key)] = True
                self.questions.append(
                    self._about_count(found.testers[i], number, float(reported[i]), float(text[i]))
                )
        return aside

    def measurements(self, aside_already: BoolArray) -> BoolArray:
        """Measurements to ask about before anything is fitted, set aside: (testers, dimensions).

        Nothing can be expected of a piece whose swatch or counts are in question themselves.
        """
        found = self.found
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = found.measured / found.expected
            odd = found.known & ~aside_already & (np.maximum(ratio, 1 / ratio) > 1 + ODD_SHARE)
            odd &= np.abs(found.remainder) > ODD_CM
        aside = np.zeros(odd.shape, dtype=np.bool_)
        for d in np.flatnonzero(odd.any(axis=0)):
            rows = np.flatnonzero(odd[:, d])
            asked = {int(i): self._ask(int(i), int(d)) for i in rows}
            measured = int(found.known[:, d].sum())
            causes = Counter(question.cause for question in asked.values())
            for i, question in asked.items():
                # What most of a round does alike is the pattern's, or the words that say how to measure.
                most = causes[question.cause] >= 3 and 2 * causes[question.cause] > measured
                if most or self._vouched(i, int(d)):
                    continue
                aside[i, d] = True
                self.questions.append(question)
        return aside

    def _about_count(self, tester: str, number: Number, reported: float, text: float) -> Question:
        doubt = doubt_about_count(number.label, reported, text, graded=self.pattern.is_graded)
        return Question(tester, number.key, reported, text, doubt.cause, doubt.sentence)

    def _ask(self, i: int, d: int, expected: float | None = None) -> Question:
        """The question about a measurement; ``expected`` where the rest of the piece foretells it better."""
        found = self.found
        value = float(found.measured[i, d])
        certain = expected is not None
        expected = float(found.expected[i, d]) if expected is None else expected
        others = {
            dimension.label: self._as_sent(i, j)
            for j, dimension in enumerate(self.pattern.dimensions)
            if j != d and np.isfinite(found.expected[i, j])
        }
        label = self.pattern.dimensions[d].label
        typed: LengthUnit = "in" if self._in_inches(i) else "cm"
        doubt = question_about(value, expected, others, label, typed=typed, certain=certain)
        cause = doubt.cause if doubt else "unknown"
        sentence = (
            doubt.sentence if doubt else f"{label} is far from what was expected; please measure again."
        )
        return Question(found.testers[i], found.dimensions[d], value, expected, cause, sentence)

    def _as_sent(self, i: int, d: int) -> float:
        """What a tester measured, where that is about what was expected, and else what was expected."""
        measured, expected = float(self.found.measured[i, d]), float(self.found.expected[i, d])
        return measured if abs(measured - expected) <= ODD_SHARE * expected else expected

    def _in_inches(self, i: int) -> bool:
        """Whether most of what a tester sent is whole eighths of an inch and not whole half centimetres."""
        values = self.found.measured[i]
        values = values[np.isfinite(values)]
        per_eighth = 8 / float(INCH_CM)
        eighths = np.abs(values * per_eighth - np.round(values * per_eighth)) < 1e-6
        halves = np.abs(values * 2 - np.round(values * 2)) < 1e-6
        return 2 * int((eighths & ~halves).sum()) > len(values)

    def _vouched(self, i: int, d: int) -> bool:
        """Whether another tester of the same or the next size is off alike, and not absurdly far."""
        found = self.found
        off, expected = found.remainder[:, d], float(found.expected[i, d])
        if abs(off[i]) > ABSURD * expected:
            return False
        with np.errstate(invalid="ignore"):
            beside = found.known[:, d] & (np.abs(found.sizes - found.sizes[i]) <= 1)
            alike = np.abs(off - off[i]) <= max(SAME_CM, SAME_SHARE * expected)
            as_far = off * np.sign(off[i]) > abs(off[i]) / 2
        beside[i] = False
        return bool((beside & alike & as_far).any())

    def outliers(self, pooled: Pooled) -> None:
        """Measurements that the fit hardly believed: asked about, though they moved nothing."""
        tolerance = np.array([dimension.tolerance for dimension in self.pattern.dimensions])
        scale = np.hypot(np.nan_to_num(self.found.u_measured), pooled.kappa[None, :])
        with np.errstate(invalid="ignore"):
            alone = (np.abs(pooled.fitted) > ALONE * scale) & (pooled.weights < 0.4)
            alone &= np.abs(pooled.fitted) > tolerance[None, :]
        for i, d in zip(*np.nonzero(alone), strict=True):
            left = float(pooled.fitted[i, d])
            value = float(self.found.measured[i, d])
            expected = value - left
            self.questions.append(self._ask(int(i), int(d), expected))

    def following(self, key: str) -> list[int]:
        """The dimensions, by position, that depend on a number or a measure."""
        follows = set(self.sheet.follows(key))
        return [d for d, key in enumerate(self.found.dimensions) if key in follows]
