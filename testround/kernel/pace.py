"""How fast and how thirsty: what makers take per stitch, and when a piece in progress will be finished.

Metres per stitch and hours per stitch are taken as log-normal over makers: people differ by a factor, not by so
many metres or minutes. Everything here is on the log scale until it is said.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from testround.kernel.discrepancy import Discrepancies, discrepancies
from testround.kernel.estimate import algorithm_a, prediction_limit, t_below, t_quantile
from testround.kernel.round import Tester
from testround.kernel.sheet import Sheet
from testround.kernel.units import decimal
from testround.kernel.words import pgettext

FloatArray = NDArray[np.float64]
Kind = Literal["yarn", "hours"]
Source = Literal["testers", "edition", "guess", "own"]
Diary = Sequence[tuple[dt.date, float]]
"""One maker's dated sittings: the day, and the hours."""

LEAST_MAKERS = 3
"""Makers from whom something is said of makers at large."""
USUAL_SPREAD: Mapping[Kind, float] = {"yarn": 0.1, "hours": 0.25}
"""Relative spread between makers of one piece (common practice). It counts like one maker more, so that three
who happen to agree do not look like a law."""
USUAL_PARTS = 0.15
"""Relative scatter of one maker's pace from part to part (common practice), worth eight parts."""
EDITION_SPREAD = 0.35
"""Makers about the hours an edition states: they differ by a quarter, and so may the statement."""
GUESS_SPREAD = 0.5
"""Makers about their own guess (common practice)."""
U_DONE = 0.1 / float(np.sqrt(3))
"""Standard uncertainty of "so much of it is done": guessed to a tenth either way, rectangular (common practice)."""
ENOUGH_DONE = 0.25
"""Share of a part, or of a piece, below which such a guess says nothing of a rate."""
DONE = 0.99

WEEKS_DIFFER = 0.6
"""Relative spread of one maker's hours from week to week (common practice)."""
USUAL_RHYTHM, RHYTHM_SPREAD = 5.0, 0.8
"""Hours a week at the needles or hook, and the relative spread between makers (common practice)."""
LIKELY = 0.9
"""A likely range leaves one in ten below and one in ten above."""
LONGEST_WEEKS = 520.0
_MANY = 30
"""Makers from which on it makes no odds whether one of them is among the others that one is held against."""
_PRIOR_PARTS = 8
_MOST_TURNS, _SETTLED = 20, 1e-6

WHOLE = ""
"""Stands for the part where a sitting names none."""


# Rates over makers ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Rate:
    """What makers take of something, on the log scale.

    ``mean`` of the logs with its standard uncertainty ``u``; ``sd`` between makers on ``df`` degrees of freedom.
    """

    mean: float
    sd: float
    u: float
    df: float
    makers: int

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval of the mean."""
        half = t_quantile(0.975, self.df) * self.u
        return self.mean - half, self.mean + half

    def limit(self, share: float) -> float:
        """What this share of new makers do not exceed, a log."""
        return prediction_limit(self.mean, self.sd, self.u, self.df, share)

    def share_below(self, log: float) -> float:
        """The share of new makers who do not exceed it."""
        return t_below((log - self.mean) / float(np.hypot(self.sd, self.u)), self.df)


def rate_of(logs: Sequence[float], variances: Sequence[float], usual: float) -> Rate:
    """Mean and spread over makers, robustly, from readings of which some are rougher than others.

    Parameters
    ----------
    logs : sequence of float, length n
        At least one.
    variances : sequence of float, length n
        What is known of each one's own error; 0 for a piece that is done.
    usual : float
        The spread expected beforehand, worth one maker.

    Returns
    -------
    Rate
        A mean with weights 1/(sd² + variance) of values that Algorithm A (ISO 13528:2015, C.3) has pulled in.

    Notes
    -----
    One maker's worth of prior keeps the coverage of `Rate.limit` near what it says: for makers who vary as
    usual or twice as much, the limit meant for 90 % of new makers holds 89 to 93 % after three and 90 % after
    twelve; for those who vary half as much, 99 % and 93 % (tests/published/test_prediction.py).
    """
    y, v = np.asarray(logs, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    n = len(y)
    if n == 1:
        return Rate(float(y[0]), usual, float(np.sqrt(usual**2 + v[0])), 1.0, 1)
    robust = algorithm_a(y)
    between = max(robust.sd**2 - float(np.median(v)), 0.0)
    sd2 = (usual**2 + (n - 1) * between) / n
    reach = 1.5 * float(np.sqrt(sd2 + np.median(v)))
    pulled = np.clip(y, robust.mean - reach, robust.mean + reach)
    weights = 1 / (sd2 + v)
    mean = float((weights * pulled).sum() / weights.sum())
    return Rate(mean, float(np.sqrt(sd2)), float(1 / np.sqrt(weights.sum())), float(n), n)


# Pieces ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Piece:
    """One tester's piece: the work in it, how far it has come, and what that took.

    ``stitches`` by part; ``area`` of its fabric by part, in square metres at the tester's own gauge; ``done``
    the share of each part, as far as it was said; ``hours`` by part, `WHOLE` where a sitting names none.
    ``measured``: finished measurements have come, so the piece is finished whatever the sittings say.
    ``whole_hours``: see `hours_taken`.
    """

    tester: str
    size: str | None
    stitches: Mapping[str, float]
    area: Mapping[str, float]
    done: Mapping[str, float]
    hours: Mapping[str, float]
    whole_hours: float | None
    metres: float | None
    measured: bool
    guessed_hours: float | None
    guessed_metres: float | None

    @property
    def total_stitches(self) -> float:
        return sum(self.stitches.values())

    @property
    def hours_so_far(self) -> float:
        return sum(self.hours.values())

    def share_done(self, work: Mapping[str, float]) -> tuple[float, float] | None:
        """The share of some work by part that is done, and its standard uncertainty; None when nobody said."""
        total = sum(work.values())
        if self.measured or self.whole_hours is not None:
            return 1.0, 0.0
        if not self.done or total <= 0:
            return None
        if WHOLE in self.done:
            return self.done[WHOLE], U_DONE
        share = sum(self.done.get(part, 0.0) * amount for part, amount in work.items()) / total
        rough = [amount for part, amount in work.items() if 0 < self.done.get(part, 0.0) < DONE]
        return share, U_DONE * float(np.sqrt(sum(amount**2 for amount in rough))) / total

    def metres_per(self, work: Mapping[str, float]) -> tuple[float, float] | None:
        """Log of the metres for one of what ``work`` counts, and its variance.

        Yarn used counts for what is done; while that is less than a quarter it says too little.
        """
        share = self.share_done(work)
        total = sum(work.values())
        if self.metres is None or share is None or share[0] < ENOUGH_DONE or total <= 0:
            return None
        return float(np.log(self.metres / (share[0] * total))), (share[1] / share[0]) ** 2


def metres_used(tester: Tester) -> float | None:
    """What a tester used, in metres; grams are turned into metres by the yarn's ball."""
    used, yarn = tester.yarn_used, tester.yarn
    if used is None:
        return None
    if used.metres is not None:
        return used.metres
    if used.grams is None or yarn is None or not yarn.metres_per_ball or not yarn.grams_per_ball:
        return None
    return used.grams * yarn.metres_per_ball / yarn.grams_per_ball


def hours_taken(tester: Tester, parts: Sequence[str]) -> float | None:
    """Hours of a piece that is done: every part brought to its end, or, where nobody said how far, measured."""
    if not tester.sittings:
        return None
    reached: dict[str, float] = {}
    for sitting in tester.sittings:
        if sitting.done is not None:
            reached[sitting.part or WHOLE] = max(reached.get(sitting.part or WHOLE, 0.0), sitting.done)
    finished = (
        reached.get(WHOLE, 0.0) >= DONE
        or (bool(parts) and all(reached.get(part, 0.0) >= DONE for part in parts))
        if reached
        else bool(tester.finished)
    )
    return sum(sitting.hours for sitting in tester.sittings) if finished else None


def pieces_of(sheet: Sheet, testers: Sequence[Tester], found: Discrepancies | None = None) -> list[Piece]:
    """Every tester's piece.

    Parameters
    ----------
    sheet : Sheet
    testers : sequence of Tester
    found : Discrepancies, optional
        Of the same testers, when it is there already: gives the worked counts, from which the stitches follow.

    Returns
    -------
    list of Piece
        In the order given; without stitches where they cannot be worked out.
    """
    if not testers:
        return []
    if found is None:
        found = discrepancies(sheet, testers)
    parts = sheet.parts(found.inputs, found.worked)
    density = {}
    for key in parts:
        blocked = found.own.blocked[:, gauge_of_part(sheet, key), :]
        density[key] = blocked[:, 0] * blocked[:, 1] * 1e4
    pieces = []
    for i, tester in enumerate(testers):
        stitches = {key: float(values[i]) for key, values in parts.items()}
        known = (
            stitches and all(np.isfinite(n) and n >= 0 for n in stitches.values()) and any(stitches.values())
        )
        done: dict[str, float] = {}
        hours: dict[str, float] = {}
        for sitting in tester.sittings:
            part = sitting.part if sitting.part in parts else WHOLE
            hours[part] = hours.get(part, 0.0) + sitting.hours
            if sitting.done is not None:
                done[part] = max(done.get(part, 0.0), sitting.done)
        pieces.append(
            Piece(
                tester=tester.id,
                size=tester.size,
                stitches=stitches if known else {},
                area={key: n / float(density[key][i]) for key, n in stitches.items()} if known else {},
                done=done,
                hours=hours,
                whole_hours=hours_taken(tester, list(parts)),
                metres=metres_used(tester),
                measured=bool(tester.finished),
                guessed_hours=tester.guess.hours if tester.guess else None,
                guessed_metres=tester.guess.metres if tester.guess else None,
            )
        )
    return pieces


def gauge_of_part(sheet: Sheet, part: str) -> int:
    """Index of the gauge that a part is worked in: the one most of its numbers come from, else the first."""
    names = sheet.used_by_part(part)
    behind = [sum(number in names for number in sheet.follows(gauge.key)) for gauge in sheet.pattern.gauges]
    return int(np.argmax(behind)) if behind else 0


# Pace -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Everyone:
    """How fast a round's testers are.

    ``parts`` is the log of hours per stitch by part, ``own`` each tester's pace against it (a log, and its
    variance), ``scatter`` the log scatter of one maker from part to part, ``logged`` how many makers logged
    each part. ``rhythms`` is each tester's log of hours a week, and its variance.
    """

    parts: Mapping[str, float]
    logged: Mapping[str, int]
    own: Mapping[str, tuple[float, float]]
    scatter: float
    rhythms: Mapping[str, tuple[float, float]]

    def pace_without(self, tester: str) -> Rate | None:
        """The pace of the others; None when there is nobody."""
        return _without(self.own, tester, USUAL_SPREAD["hours"])

    def rhythm_without(self, tester: str) -> Rate | None:
        return _without(self.rhythms, tester, RHYTHM_SPREAD)


def _without(readings: Mapping[str, tuple[float, float]], tester: str, usual: float) -> Rate | None:
    others = list(readings.values())
    if len(readings) <= _MANY:
        others = [reading for key, reading in readings.items() if key != tester]
    return rate_of([y for y, _ in others], [v for _, v in others], usual) if others else None


def everyone(
    pieces: Iterable[Piece], diaries: Mapping[str, Diary] | None = None, today: dt.date | None = None
) -> Everyone:
    """The pace of all testers: hours per stitch by part, each one's own factor, and hours a week.

    Parameters
    ----------
    pieces : iterable of Piece
    diaries : mapping of tester to dated sittings, optional
        May lack testers; sittings without a date are left out.
    today : date, optional
        A piece in progress has been worked on until then; needed with ``diaries``.

    Notes
    -----
    log(hours per stitch) = part + maker + scatter, fitted by turns as in a polish of a two-way table (Tukey
    1977, Exploratory Data Analysis, chapter 11), with robust means over makers in place of medians.
    """
    pieces = list(pieces)
    known = [piece for piece in pieces if piece.stitches]
    logs: dict[tuple[str, str], float] = {}
    for piece in known:
        for part, stitches in piece.stitches.items():
            done = piece.done.get(part, 0.0)
            if part in piece.hours and done >= ENOUGH_DONE and stitches > 0:
                logs[piece.tester, part] = float(np.log(piece.hours[part] / (done * stitches)))
    levels, scatter = _by_part_and_maker(logs)
    count: dict[str, int] = {}
    for _, part in logs:
        count[part] = count.get(part, 0) + 1
    if levels:
        middle = float(np.mean(list(levels.values())))
        for piece in known:
            for part in piece.stitches:
                levels.setdefault(part, middle)
    own = {}
    for piece in known:
        work = {part: n * float(np.exp(levels[part])) for part, n in piece.stitches.items()} if levels else {}
        reading = _own_pace(piece, work, scatter)
        if reading is not None:
            own[piece.tester] = reading
    rhythms = {}
    finished = {piece.tester for piece in pieces if piece.measured or piece.whole_hours is not None}
    for tester, diary in (diaries or {}).items():
        until = max((day for day, _ in diary), default=today) if tester in finished else today
        rhythm = rhythm_of(diary, until) if until else None
        if rhythm is not None:
            rhythms[tester] = rhythm
    return Everyone(levels, count, own, scatter, rhythms)


def _by_part_and_maker(logs: Mapping[tuple[str, str], float]) -> tuple[dict[str, float], float]:
    """Level of every part, and the scatter that parts and makers leave."""
    if not logs:
        return {}, USUAL_PARTS
    names = list(dict.fromkeys(part for _, part in logs))
    at_part = {part: k for k, part in enumerate(names)}
    at_maker = {tester: k for k, tester in enumerate(dict.fromkeys(tester for tester, _ in logs))}
    y = np.array(list(logs.values()))
    part = np.array([at_part[key] for _, key in logs])
    maker = np.array([at_maker[tester] for tester, _ in logs])
    each = np.bincount(maker)
    factor = np.zeros(len(at_maker))
    level = np.zeros(len(names))
    for _ in range(_MOST_TURNS):
        of_parts = y - factor[maker]
        level = np.array([algorithm_a(of_parts[part == k]).mean for k in range(len(names))])
        again = np.bincount(maker, y - level[part]) / each
        moved = float(np.max(np.abs(again - factor)))
        factor = again
        if moved < _SETTLED:
            break
    left = y - level[part] - factor[maker]
    df = max(len(y) - len(at_maker) - len(names) + 1, 0)
    # Algorithm A's deviation has divisor n − 1; the fit has taken more than one degree of freedom.
    squares = algorithm_a(left).sd ** 2 * (len(y) - 1) if df else 0.0
    scatter = float(np.sqrt((_PRIOR_PARTS * USUAL_PARTS**2 + squares) / (_PRIOR_PARTS + df)))
    return dict(zip(names, level.tolist(), strict=True)), scatter


def _own_pace(piece: Piece, work: Mapping[str, float], scatter: float) -> tuple[float, float] | None:
    """A maker's pace against the hours expected of the work done, a log, and its variance."""
    if not work:
        return None
    if WHOLE in piece.done and not any(part in piece.done for part in work):
        share, total = piece.done[WHOLE], sum(work.values())
        if share < ENOUGH_DONE or not piece.hours:
            return None
        u = 0.0 if share >= DONE else U_DONE / share
        return float(np.log(piece.hours_so_far / (share * total))), scatter**2 / max(len(work), 1) + u**2
    said = [part for part in work if part in piece.hours and piece.done.get(part, 0.0) > 0]
    expected = {part: piece.done[part] * work[part] for part in said}
    total = sum(expected.values())
    if total < 1e-12 or max((piece.done[part] for part in said), default=0.0) < ENOUGH_DONE:
        return None
    squares = sum((scatter * hours) ** 2 for hours in expected.values())
    squares += sum((U_DONE * work[part]) ** 2 for part in said if piece.done[part] < DONE)
    taken = sum(piece.hours[part] for part in said)
    return float(np.log(taken / total)), squares / total**2


def rhythm_of(diary: Diary, today: dt.date) -> tuple[float, float] | None:
    """Hours a week from dated sittings, up to today: a log, and its variance; None when there is none.

    Weeks without a sitting count, so somebody who has stopped slows down day by day. Less than a week counts as
    one, for one evening is no rhythm.
    """
    past = [(day, hours) for day, hours in diary if day <= today]
    if not past:
        return None
    weeks = max((today - min(day for day, _ in past)).days + 1, 7) / 7
    return float(np.log(sum(hours for _, hours in past) / weeks)), WEEKS_DIFFER**2 / weeks


# Forecast -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Range:
    """A middle value with its likely range: one in ten below, one in ten above."""

    low: float
    middle: float
    high: float

    @property
    def words(self) -> str:
        """ "29 to 40"; below ten to the half."""
        low, high = (_said(value) for value in (self.low, self.high))
        return low if low == high else pgettext("a range", "{low} to {high}").format(low=low, high=high)


def _said(value: float) -> str:
    return f"{value:.0f}" if value >= 9.75 else decimal(round(2 * value) / 2)


@dataclass(frozen=True, slots=True)
class Finish:
    """The likely days of finishing."""

    earliest: dt.date
    middle: dt.date
    latest: dt.date

    def against(self, closes: dt.date | None) -> Literal["in time", "may be late", "likely late", ""]:
        """How that stands to a closing date; nothing where there is none."""
        if closes is None:
            return ""
        if self.latest <= closes:
            return "in time"
        return "likely late" if self.earliest > closes else "may be late"


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is left of a piece in progress.

    ``share`` of the work that is done, 0 to 1. ``rests_on``: whose pace the expectation comes from; ``others``
    how many testers that are. ``finish`` is None while nothing is known of anybody's hours a week.
    """

    tester: str
    so_far: float
    share: float
    left: Range
    rhythm: Range | None
    finish: Finish | None
    rests_on: Source
    others: int
    own_pace: float | None
    """Own pace against everyone's: 1.2 takes a fifth longer; None before it can be seen."""

    def a_week_until(self, closes: dt.date | None, today: dt.date) -> float | None:
        """Hours a week that would finish it by that day; None where there is no such day left."""
        if closes is None or closes <= today or self.left.middle <= 0:
            return None
        return self.left.middle / ((closes - today).days / 7)


def forecast(
    sheet: Sheet, piece: Piece, all_of_them: Everyone, diary: Diary, today: dt.date
) -> Forecast | None:
    """Hours left and the likely days of finishing of one piece.

    Parameters
    ----------
    sheet : Sheet
        Gives the hours that the edition states, which stand in until three testers have shown their pace.
    piece : Piece
    all_of_them : Everyone
        May hold the piece itself: it is not blended with itself.
    diary : sequence of (date, hours)
        This tester's dated sittings.
    today : date

    Returns
    -------
    Forecast or None
        None where nothing at all says how long it takes.

    Notes
    -----
    The maker's own pace, a log with the variance of what it was read from, is blended with the distribution
    over makers by their precisions (normal with normal: Gelman and others, Bayesian Data Analysis, 3rd ed.,
    2.5; the latter being estimated, this is empirical Bayes). Hours left and hours a week are log-normal, so
    their quotient, the weeks left, is too.
    """
    stitches = piece.stitches or _without_parts(sheet, piece)
    level = _level(sheet, piece, stitches, all_of_them)
    if level is None:
        return None
    work, prior, source, others = level
    own = _own_pace(piece, work, all_of_them.scatter)
    mean, variance = prior.mean, prior.sd**2 + prior.u**2
    if own is not None:
        mean, variance = blended((mean, variance), own)
    left, rough = _work_left(piece, work, float(np.exp(mean)), all_of_them.scatter)
    total = sum(work.values())
    expected = float(np.exp(mean)) * left
    log_sd = float(np.sqrt(variance + rough))
    hours = _range(float(np.log(max(expected, 1e-9))), log_sd, prior.df) if left > 0 else Range(0, 0, 0)
    rhythm, certain = _rhythm(piece.tester, all_of_them, diary, today)
    finish = _finish(hours, log_sd, rhythm, prior.df, today) if certain else None
    return Forecast(
        tester=piece.tester,
        so_far=piece.hours_so_far,
        share=1 - left / total if total > 0 else 0.0,
        left=hours,
        rhythm=_range(rhythm[0], float(np.sqrt(rhythm[1])), float("inf")) if certain else None,
        finish=finish,
        rests_on=source,
        others=others,
        own_pace=float(np.exp(own[0] - prior.mean)) if own is not None and source == "testers" else None,
    )


def blended(first: tuple[float, float], second: tuple[float, float]) -> tuple[float, float]:
    """Two readings of one thing, each a mean with its variance, by their precisions."""
    (a, va), (b, vb) = first, second
    return (a * vb + b * va) / (va + vb), va * vb / (va + vb)


def _without_parts(sheet: Sheet, piece: Piece) -> dict[str, float]:
    """The work of a piece whose pattern names no parts: one, as large as the hours stated for the size."""
    return {WHOLE: (sheet.pattern.hours or {}).get(piece.size or "", 1.0)}


def _level(
    sheet: Sheet, piece: Piece, stitches: Mapping[str, float], all_of_them: Everyone
) -> tuple[dict[str, float], Rate, Source, int] | None:
    """Hours expected of every part, how makers lie about that, whom it comes from and how many they are."""
    others = all_of_them.pace_without(piece.tester)
    stated = (sheet.pattern.hours or {}).get(piece.size or "")
    total = sum(stitches.values())
    knows = others is not None and all(part in all_of_them.parts for part in stitches)
    if others is not None and knows and (others.makers >= LEAST_MAKERS or not stated):
        work = {part: n * float(np.exp(all_of_them.parts[part])) for part, n in stitches.items()}
        return work, others, "testers", others.makers
    for hours, spread, source in (
        (stated, EDITION_SPREAD, "edition"),
        (piece.guessed_hours, GUESS_SPREAD, "guess"),
    ):
        if hours and total > 0:
            work = {part: n * hours / total for part, n in stitches.items()}
            return work, Rate(0.0, spread, 0.0, float("inf"), 0), _source(source), 0
    own = _own_pace(piece, dict(stitches), all_of_them.scatter)
    if own is None:
        return None
    work = {part: n * float(np.exp(own[0])) for part, n in stitches.items()}
    return work, Rate(0.0, 1.0, 0.0, float("inf"), 0), "own", 0


def _source(source: str) -> Source:
    return "edition" if source == "edition" else "guess"


def _work_left(piece: Piece, work: Mapping[str, float], pace: float, scatter: float) -> tuple[float, float]:
    """Expected hours of what is left, at everyone's pace, and the relative variance of that."""
    if WHOLE in piece.done and not any(part in piece.done for part in work if part != WHOLE):
        share, total = piece.done[WHOLE], sum(work.values())
        left = (1 - share) * total if share < DONE else 0.0
        return left, (U_DONE * total / left) ** 2 if left > 0 else 0.0
    left, squares = 0.0, 0.0
    for part, hours in work.items():
        done, u = piece.done.get(part, 0.0), 0.0
        if part not in piece.done and part in piece.hours:
            # Hours without a word on how far it came: as far as they would bring this maker.
            done, u = min(piece.hours[part] / (pace * hours), 0.9) if hours > 0 else 0.0, 2 * U_DONE
        elif 0 < done < DONE:
            u = U_DONE
        rest = (1 - done) * hours if done < DONE else 0.0
        left += rest
        squares += (scatter * rest) ** 2 + (u * hours) ** 2
    if WHOLE not in work and WHOLE not in piece.done and piece.hours.get(WHOLE):
        # Hours on no part in particular went into one of them.
        left = max(left - piece.hours[WHOLE] / pace, 0.1 * left)
    return left, squares / left**2 if left > 0 else 0.0


def _rhythm(
    tester: str, all_of_them: Everyone, diary: Diary, today: dt.date
) -> tuple[tuple[float, float], bool]:
    """Log of hours a week and its variance; and whether it rests on anything seen in this round."""
    own = rhythm_of(diary, today)
    others = all_of_them.rhythm_without(tester)
    enough = others is not None and others.makers >= LEAST_MAKERS
    prior = (float(np.log(USUAL_RHYTHM)), RHYTHM_SPREAD**2)
    if others is not None and enough:
        prior = (others.mean, others.sd**2 + others.u**2)
    seen = enough or len({day for day, _ in diary if day <= today}) > 1
    return (blended(prior, own) if own is not None else prior), seen


def _range(log: float, sd: float, df: float) -> Range:
    half = t_quantile(LIKELY, df) * sd
    return Range(float(np.exp(log - half)), float(np.exp(log)), float(np.exp(log + half)))


def _finish(hours: Range, log_sd: float, rhythm: tuple[float, float], df: float, today: dt.date) -> Finish:
    if hours.middle <= 0:
        return Finish(today, today, today)
    log = float(np.log(hours.middle)) - rhythm[0]
    weeks = float(np.exp(log))
    # The weeks to come differ among themselves like those that were.
    sd = float(np.sqrt(log_sd**2 + rhythm[1] + WEEKS_DIFFER**2 / max(weeks, 1.0)))
    likely = _range(log, sd, df)
    days = [int(np.ceil(7 * min(w, LONGEST_WEEKS))) for w in (likely.low, likely.middle, likely.high)]
    return Finish(*(today + dt.timedelta(days=n) for n in days))
