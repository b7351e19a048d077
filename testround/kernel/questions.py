"""Likely gross errors in a round's reports: recognised, set aside, and put to the tester as questions.

What most of a round does alike is never one person's slip, and is left for the verdicts. Measurements are set aside
before anything is fitted, by rough shares, so that no slip moves the fit; they are named after it, when the pattern's
deviation and the tester's other measurements foretell what each should have been.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from testround.kernel.discrepancy import READING_FLOOR, Discrepancies, with_slopes
from testround.kernel.gauge import ASSUMED, AXES
from testround.kernel.odd_measures import OddMeasure
from testround.kernel.plausible import (
    ODD_CM,
    ODD_COUNT,
    ODD_SHARE,
    ODD_STITCHES,
    TAILS,
    Foretold,
    Slip,
    doubt_about,
    doubt_about_count,
    habits_of,
    likely_slip,
    typed_unit,
)
from testround.kernel.pool import BORROWED, MOST_TAU, USUAL_TAU, Pooled
from testround.kernel.round import FabricState, Number, Tester
from testround.kernel.sheet import Sheet
from testround.kernel.units import LengthUnit, format_gauge, format_length
from testround.kernel.verdict import Agreed
from testround.kernel.words import gettext as _
from testround.kernel.words import spoken, told

BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

ODD_GAUGE = 0.35
"""A swatch whose gauge is off by more than this share is asked about before it is believed."""
ALONE = 4.0
"""Standard deviations at which a measurement that nothing explains is asked about."""
SAME_CM = 1.5
SAME_SHARE = 0.05
"""Two testers' deviations that agree to this, cm or share of the measurement, vouch for each other ..."""
ABSURD = 0.4
"""... unless they are off by more than this share: half of the whole, or inches, is never vouched for."""
LIKELY = 0.5
"""Probability of a slip from which on two who made the same one do not vouch for each other."""
NEAR = 3.0
"""Standard deviations within which a measurement is what the fit foretells, and was no slip."""
ALONG = 0.8
"""A dimension lies along an axis when that makes up this share of what gauges do to it."""
CHI_SQUARED_MEDIAN = 0.4549
UNBLOCKED_ODDS = 50.0
"""How many pieces said to be blocked are blocked, for one that is not; common practice."""


@dataclass(frozen=True, slots=True)
class Question:
    """Something to ask a tester before it is believed; ``subject`` is a dimension, number, measure or gauge key.

    ``cause`` is the likely slip ("half", "inches", "swapped-digits", "other-dimension", …) or "unknown"; "unblocked"
    is about a whole piece, under the key of the gauge that tells, and ``piece`` names the dimensions set aside with it.
    """

    tester: str
    subject: str
    value: float
    expected: float
    cause: str
    told: str
    piece: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What to ask, in the reader's language."""
        return spoken(self.told)

    @property
    def about(self) -> tuple[str, ...]:
        """The keys of all that is in question."""
        return (self.subject, *self.piece)


class Doubts:
    """What is in question in a round: each method asks, and returns what is set aside until the answer."""

    def __init__(self, sheet: Sheet, found: Discrepancies, testers: Sequence[Tester]) -> None:
        self.sheet = sheet
        self.pattern = sheet.pattern
        self.found = found
        self.expected = found.expected.copy()
        self.set_aside = np.zeros(found.known.shape, dtype=np.bool_)
        self.tolerance = np.array([dimension.tolerance for dimension in self.pattern.dimensions])
        self.readings, self.said_blocked = self._readings(testers)
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
                Question(tester, one.key, one.value, expected, one.doubt.cause, one.doubt.told)
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
                    self.questions.append(
                        Question(
                            self.found.testers[i],
                            f"{gauge.key}.{AXES[a]}",
                            per_10cm,
                            stated,
                            "inches"
                            if abs(ratio[i] * 2.54 - 1) < 0.2 or abs(ratio[i] / 2.54 - 1) < 0.2
                            else "unknown",
                            told(_of_swatch, a, per_10cm, stated),
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
        """Measurements to ask about, set aside before anything is fitted: (testers, dimensions).

        Nothing can be expected of a piece whose swatch or counts are in question themselves.
        """
        found = self.found
        odd = found.known & ~aside_already & _odd(found.measured, found.expected)
        # All that is known of the pattern as yet is that it should be right to its tolerance.
        u = np.hypot(np.hypot(found.u_expected, np.nan_to_num(found.u_measured)), self.tolerance[None, :])
        for d in np.flatnonzero(odd.any(axis=0)):
            rows = np.flatnonzero(odd[:, d])
            slips = {int(i): self._slip(int(i), int(d), found.expected, u) for i in rows}
            measured_by = int(found.known[:, d].sum())
            causes = Counter(slip.cause for slip in slips.values())
            for i, slip in slips.items():
                # What most of a round does alike is the pattern's, or the words that say how to measure.
                most = causes[slip.cause] >= 3 and 2 * causes[slip.cause] > measured_by
                self.set_aside[i, d] = not most and not self._vouched(i, int(d), slip, u)
        return self.set_aside

    def _about_count(self, tester: str, number: Number, reported: float, text: float) -> Question:
        doubt = doubt_about_count(number.label, reported, text, graded=self.pattern.is_graded)
        return Question(tester, number.key, reported, text, doubt.cause, doubt.told)

    def _slip(self, i: int, d: int, expected: FloatArray, u: FloatArray) -> Slip:
        """The likely cause of an odd measurement, where every cell of the tester should be about ``expected``."""
        foretold = Foretold(float(expected[i, d]), float(u[i, d]))
        others = {
            self.pattern.dimensions[j].label: self._as_made(i, j, expected, u)
            for j in range(len(self.found.dimensions))
            if j != d and np.isfinite(expected[i, j]) and expected[i, j] > 0
        }
        habits = habits_of(x for j, values in enumerate(self.readings[i]) if j != d for x in values)
        return likely_slip(self._worst(i, d, foretold.cm), foretold, others, habits)

    def _worst(self, i: int, d: int, expected: float) -> float:
        """Of several readings the one furthest off: the others may be right."""
        return max(self.readings[i][d], key=lambda x: (abs(np.log(x / expected)), x))

    def _as_made(self, i: int, d: int, expected: FloatArray, u: FloatArray) -> Foretold:
        """How long another place of the piece is: as measured, unless that is in doubt itself."""
        found = self.found
        measured, u_measured = float(found.measured[i, d]), float(found.u_measured[i, d])
        if not self.set_aside[i, d] and abs(measured - expected[i, d]) <= ALONE * np.hypot(
            u_measured, u[i, d]
        ):
            # Read once more: two readings differ by what both are uncertain.
            return Foretold(measured, float(np.hypot(u_measured, READING_FLOOR)))
        return Foretold(float(expected[i, d]), float(u[i, d]))

    def _ask(self, i: int, d: int, expected: FloatArray, u: FloatArray) -> None:
        about = float(expected[i, d])
        label = self.pattern.dimensions[d].label
        if not about > 0:
            # No slip is told from a length that cannot be.
            value = float(self.found.measured[i, d])
            said = told(_far_off, label)
            self.questions.append(
                Question(self.found.testers[i], self.found.dimensions[d], value, about, "unknown", said)
            )
            return
        value = self._worst(i, d, about)
        slip = self._slip(i, d, expected, u)
        # Inches written as centimetres were typed as centimetres, and the other way round.
        typed: dict[str, LengthUnit] = {"inches": "cm", "centimetres": "in"}
        doubt = doubt_about(slip, value, about, label, typed.get(slip.cause) or self._unit(i, d))
        self.questions.append(
            Question(self.found.testers[i], self.found.dimensions[d], value, about, slip.cause, doubt.told)
        )

    def _unit(self, i: int, d: int) -> LengthUnit:
        """The unit that a measurement was typed in, as far as it and the tester's others tell."""
        units = {typed_unit(value) for value in self.readings[i][d]} - {None}
        if len(units) == 1:
            return units.pop() or "cm"
        return habits_of((x for values in self.readings[i] for x in values), "cm").unit

    def _readings(self, testers: Sequence[Tester]) -> tuple[list[list[tuple[float, ...]]], BoolArray]:
        """By tester and dimension the readings that count, and whether they are said to be of a blocked piece."""
        at = {key: d for d, key in enumerate(self.found.dimensions)}
        readings: list[list[tuple[float, ...]]] = [[() for _ in at] for _ in testers]
        blocked = np.zeros((len(testers), len(at)), dtype=np.bool_)
        for i, tester in enumerate(testers):
            for one in sorted(tester.finished, key=lambda x: x.state is not FabricState.BLOCKED):
                d = at.get(one.dimension)
                if d is None or (blocked[i, d] and one.state is not FabricState.BLOCKED):
                    continue
                readings[i][d] += tuple(one.values)
                blocked[i, d] = one.state is FabricState.BLOCKED
        return readings, blocked

    def _vouched(self, i: int, d: int, slip: Slip, u: FloatArray) -> bool:
        """Whether another tester of the same or the next size is off alike, and not absurdly far.

        Two who likely made the same slip do not vouch for each other.
        """
        found = self.found
        off, expected = found.remainder[:, d], float(found.expected[i, d])
        if abs(off[i]) > ABSURD * expected:
            return False
        with np.errstate(invalid="ignore"):
            beside = found.known[:, d] & (np.abs(found.sizes - found.sizes[i]) <= 1)
            alike = np.abs(off - off[i]) <= max(SAME_CM, SAME_SHARE * expected)
            as_far = off * np.sign(off[i]) > abs(off[i]) / 2
        beside[i] = False
        others = np.flatnonzero(beside & alike & as_far)
        if slip.cause != "unknown" and slip.probability >= LIKELY:
            theirs = (self._slip(int(j), d, found.expected, u) for j in others)
            return any((one.cause, one.place) != (slip.cause, slip.place) for one in theirs)
        return len(others) > 0

    def after_fit(self, pooled: Pooled) -> None:
        """Ask about what was set aside, unless the fit bears it out, and about what is odd only after the fit."""
        found = self.found
        expected, u = self.expected + pooled.foretold, pooled.u_foretold.copy()
        borne_out = self._near(expected, u)
        for i, d in zip(*np.nonzero(self.set_aside), strict=True):
            own = self._as_the_rest(int(i), int(d), pooled)
            # A swatch may lie by more than the fit follows; then the rest of the piece knows better.
            if own is not None and abs(own.cm - expected[i, d]) > NEAR * np.hypot(own.u, u[i, d]):
                expected[i, d], u[i, d] = own.cm, own.u
        borne_out |= self._near(expected, u)
        asked = self.set_aside & ~borne_out
        scale = np.hypot(np.nan_to_num(found.u_measured), pooled.kappa[None, :])
        with np.errstate(invalid="ignore"):
            alone = (np.abs(pooled.fitted) > ALONE * scale) & (pooled.weights < 0.4)
            alone &= np.abs(pooled.fitted) > self.tolerance[None, :]
        for i, d in zip(*np.nonzero(asked | alone), strict=True):
            self._ask(int(i), int(d), expected, u)

    def _near(self, expected: FloatArray, u: FloatArray) -> BoolArray:
        """Where a measurement is what is foretold, within its noise, and by no rough share odd."""
        found = self.found
        with np.errstate(invalid="ignore"):
            near = found.known & (expected > 0) & (found.measured > 0)
            near &= np.abs(found.measured - expected) <= NEAR * np.hypot(u, found.u_measured)
        return np.asarray(near & ~_odd(found.measured, expected))

    def _as_the_rest(self, i: int, d: int, pooled: Pooled) -> Foretold | None:
        """What most of a tester's other measurements along the same axis lead to expect, set aside or not.

        None where there are fewer than two, where they disagree, and where no swatch is that far off: all of a piece
        measured in inches agrees, too.
        """
        found = self.found
        slopes = found.sensitivity[i]
        strength = np.abs(slopes)
        a = int(strength[d].argmax())
        along = strength[:, a] > ALONG * np.maximum(strength.sum(axis=1), 1e-9)
        if not along[d]:
            return None
        beta = np.nan_to_num(pooled.estimate[max(int(found.sizes[i]), 0)])
        noise = np.hypot(found.u_measured[i], pooled.kappa)
        rest = np.flatnonzero(along & found.known[i] & (np.arange(len(along)) != d))
        if len(rest) < 2:
            return None
        # E goes with 1 over the gauge, so that what is left over the slope is the same all along an axis.
        off = (found.measured[i, rest] - self.expected[i, rest] - beta[rest]) / slopes[rest, a]
        middle = float(np.median(off))
        near = np.abs(off - middle) * strength[rest, a] <= NEAR * noise[rest]
        agreeing = int(near.sum())
        if agreeing < 2 or 2 * agreeing <= len(rest):
            return None
        middle = float(np.median(off[near]))
        if not 1 / (1 + ODD_GAUGE) < 1 - middle < 1 + ODD_GAUGE:
            return None
        spread = float(np.median(noise[rest][near] / strength[rest, a][near])) / np.sqrt(agreeing)
        cm = float(self.expected[i, d] + beta[d] + slopes[d, a] * middle)
        return Foretold(cm, float(np.hypot(pooled.kappa[d], slopes[d, a] * spread))) if cm > 0 else None

    def unblocked(self, pooled: Pooled) -> BoolArray:
        """Pieces said to be blocked that fit the swatch before blocking clearly better: (testers, dimensions).

        Decided by likelihood, with the variances of the fit, but for that between garments and swatches, which such
        pieces themselves would swell: it is taken from the middle of all. It takes swatches in both states that differ, and at
        least two widths and two lengths.
        """
        found, own = self.found, self.found.own
        aside = np.zeros(found.known.shape, dtype=np.bool_)
        # Without a swatch of its own the unblocked gauge is the blocked one, and says nothing.
        differ = np.abs(np.log(own.worked / own.blocked)) > 1e-9
        piece = found.known & self.said_blocked & np.isfinite(pooled.fitted)
        candidates = np.flatnonzero(differ.any(axis=(1, 2)) & piece.any(axis=1))
        if not len(candidates):
            return aside
        n = len(found.testers)
        inputs = replace(found.inputs, gauges=own.columns(blocked=False))
        at_unblocked, slopes = with_slopes(self.sheet, inputs, found.worked, n)
        u_unblocked = np.where(differ, own.u_worked, own.u_blocked).reshape(n, -1)
        u_blocked = own.u_blocked.reshape(n, -1)
        rows = np.tile([axis == AXES[1] for axis in AXES], len(own.keys))
        tau2 = self._spread_of_garments(pooled, piece)
        for i in candidates:
            d = np.flatnonzero(piece[i])
            strength = np.abs(found.sensitivity[i, d])
            lengths = strength[:, rows].sum(axis=1) > strength[:, ~rows].sum(axis=1)
            if min(int(lengths.sum()), int((~lengths).sum())) < 2:
                continue
            beta = np.nan_to_num(pooled.estimate[max(int(found.sizes[i]), 0), d])
            noise = found.u_measured[i, d] ** 2 + pooled.kappa[d] ** 2
            blocked, before = (
                _log_likelihood(
                    found.measured[i, d] - expected[i, d] - beta, s[i, d], noise, u[i] ** 2 + tau2
                )
                for expected, s, u in (
                    (found.expected, found.sensitivity, u_blocked),
                    (at_unblocked, slopes, u_unblocked),
                )
            )
            if before - blocked <= np.log(UNBLOCKED_ODDS):
                continue
            aside[i] = found.known[i] & self.said_blocked[i]
            self.expected[i] = np.where(aside[i], at_unblocked[i], self.expected[i])
            tells = d[int(np.argmax(np.abs(at_unblocked[i, d] - found.expected[i, d]) / self.tolerance[d]))]
            places = tuple(self.found.dimensions[j] for j in np.flatnonzero(aside[i]))
            self._ask_whether_blocked(int(i), int(tells), float(at_unblocked[i, tells]), places)
        return aside

    def _spread_of_garments(self, pooled: Pooled, piece: BoolArray) -> FloatArray:
        """Variance of how far garments lie from their swatches, between testers, by axis; (a,).

        That at which the median of the squares, each over its variance, is that of chi-squared with one degree of
        freedom, drawn to what is usual as in the fit.
        """
        found = self.found
        noise = found.u_measured**2 + pooled.kappa[None, :] ** 2
        weights = np.where(piece, pooled.weights / noise, 0.0)
        beta = np.nan_to_num(pooled.estimate)[np.maximum(found.sizes, 0)]
        left = np.where(piece, found.remainder - beta, 0.0)
        scaled = found.sensitivity * np.nan_to_num(weights)[:, :, None]
        information = np.matmul(scaled.transpose(0, 2, 1), found.sensitivity)
        told = np.einsum("naa->na", information) * USUAL_TAU**2 > 1
        information += np.eye(information.shape[1]) / MOST_TAU**2
        variance = np.linalg.inv(information)
        departure = np.einsum("nab,nb->na", variance, np.einsum("nda,nd->na", scaled, left))
        apart = np.einsum("naa->na", variance) + found.u_gauge**2
        tau2 = np.full(information.shape[1], USUAL_TAU**2)
        tried = np.linspace(0.0, MOST_TAU, 151) ** 2
        for a in range(len(tau2)):
            square, of = departure[told[:, a], a] ** 2, apart[told[:, a], a]
            if len(square):
                middle = np.median(square / (of + tried[:, None]), axis=1)
                own = tried[int(np.argmax(middle <= CHI_SQUARED_MEDIAN))]
                tau2[a] = (len(square) * own + BORROWED * USUAL_TAU**2) / (len(square) + BORROWED)
        return tau2

    def _ask_whether_blocked(self, i: int, d: int, before: float, piece: tuple[str, ...]) -> None:
        found = self.found
        value, blocked = float(found.measured[i, d]), float(found.expected[i, d])
        unit = self._unit(i, d)
        gauge = found.axes[int(np.abs(found.sensitivity[i, d]).argmax())][0]
        self.questions.append(
            Question(
                found.testers[i],
                gauge,
                value,
                blocked,
                "unblocked",
                told(_whether_blocked, self.pattern.dimensions[d].label, value, blocked, before, unit),
                piece,
            )
        )

    def following(self, key: str) -> list[int]:
        """The dimensions, by position, that depend on a number or a measure."""
        follows = set(self.sheet.follows(key))
        return [d for d, key in enumerate(self.found.dimensions) if key in follows]


def _of_swatch(axis: int, per_10cm: float, stated: float) -> str:
    said = (
        _(
            "The swatch gives {given} rows in 10 cm, where about {expected} were expected. Are the count and the "
            "width it was counted over both right?"
        )
        if axis
        else _(
            "The swatch gives {given} stitches in 10 cm, where about {expected} were expected. Are the count and "
            "the width it was counted over both right?"
        )
    )
    return said.format(given=format_gauge(per_10cm), expected=format_gauge(stated))


def _far_off(label: str) -> str:
    return _(
        "{dimension} is far from what was expected; please measure once more, or say that it is right."
    ).format(dimension=label)


def _whether_blocked(label: str, value: float, blocked: float, before: float, unit: LengthUnit) -> str:
    return _(
        "Was the piece measured before blocking? All of it fits the swatch as it was before: {dimension}, for one, is "
        "given as {given}, and about {blocked} was expected blocked, {before} not blocked."
    ).format(
        dimension=label,
        given=format_length(value, unit),
        blocked=format_length(blocked, unit),
        before=format_length(before, unit),
    )


def _odd(measured: FloatArray, expected: FloatArray) -> BoolArray:
    """As :func:`~testround.kernel.plausible.is_odd`, of tables; nothing is odd where nothing can be expected."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.maximum(measured / expected, expected / measured)
        odd = (ratio > 1 + ODD_SHARE) & (np.abs(measured - expected) > ODD_CM)
        return np.asarray(odd & (measured > 0) & (expected > 0))


def _log_likelihood(left: FloatArray, slopes: FloatArray, noise: FloatArray, prior: FloatArray) -> float:
    """Log-likelihood, but for a constant, of what is left of one piece under one gauge.

    ``slopes`` (d, a) of the gauge's departure, whose variances are ``prior``; errors are Student's, with ``noise`` for
    their squared scale. The departure is integrated out by Laplace's approximation about the robust estimate.
    """
    weights = np.ones_like(left)
    for _turn in range(20):
        scaled = slopes * (weights / noise)[:, None]
        information = scaled.T @ slopes + np.diag(1 / prior)
        departure = np.linalg.solve(information, scaled.T @ left)
        squares = (left - slopes @ departure) ** 2 / noise
        weights = (TAILS + 1) / (TAILS + squares)
    _sign, size = np.linalg.slogdet(information * prior[None, :])
    errors = (TAILS + 1) / 2 * np.log1p(squares / TAILS).sum()
    return float(-errors - 0.5 * (departure**2 / prior).sum() - 0.5 * size)
