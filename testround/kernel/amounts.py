"""What to print of yarn and hours: what the pieces took, for a maker who has not made one yet.

Both go with the stitches in the parts, so that makers of every size tell of every size. For a made-to-measure
pattern the amount is metres for each square metre of fabric.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from testround.kernel.discrepancy import Discrepancies
from testround.kernel.estimate import algorithm_a, t_quantile
from testround.kernel.findings import Extent, Finding, FindingKind, Verdict
from testround.kernel.pace import (
    LEAST_MAKERS,
    USUAL_SPREAD,
    WHOLE,
    Kind,
    Piece,
    Rate,
    everyone,
    pieces_of,
    rate_of,
)
from testround.kernel.round import Tester, Yarn
from testround.kernel.sheet import Sheet
from testround.kernel.units import decimal, format_count
from testround.kernel.words import gettext as _
from testround.kernel.words import ngettext, number_word, pgettext, told

NOT_RUN_OUT = 0.9
"""Share of makers for whom the amount printed is to be enough."""
HALF = 0.5
TOLERANCE: Mapping[Kind, float] = {"yarn": 0.1, "hours": 0.25}
"""Relative tolerance of what is printed (common practice)."""
PER_M2 = "per m²"
"""Stands for the size where the amount is for each square metre of fabric."""
ANY_SIZE = "any size"
MOST_ASKED_FOR = 99
_STEP = 10.0
"""What metres are rounded up to where no ball is known, or for a square metre."""


@dataclass(frozen=True, slots=True)
class Took:
    """What one maker's piece took, metres or hours, brought to a whole piece (or to a square metre).

    ``share`` is how much of it was done when it was said; ``whole`` the metres or hours of the whole piece.
    """

    tester: str
    size: str | None
    value: float
    whole: float
    share: float


@dataclass(frozen=True, slots=True)
class Amount:
    """Yarn or hours of every size, against what the edition says.

    Mappings go by size, or have `PER_M2` alone. ``typical`` is what half of makers take, between ``low`` and
    ``high`` with 95 %; ``least`` and ``most`` hold eight new makers in ten; ``proposed`` is what to print: for
    yarn what nine in ten will not run out of, in whole balls of ``ball`` metres where that is known.
    """

    kind: Kind
    rate: Rate
    took: tuple[Took, ...]
    printed: Mapping[str, float]
    typical: Mapping[str, float]
    low: Mapping[str, float]
    high: Mapping[str, float]
    least: Mapping[str, float]
    most: Mapping[str, float]
    proposed: Mapping[str, float]
    ball: float | None = None

    @property
    def unit(self) -> str:
        return "m" if self.kind == "yarn" else "h"

    @property
    def makers(self) -> int:
        return self.rate.makers

    @property
    def per_m2(self) -> bool:
        return PER_M2 in self.typical

    def balls(self, metres: float) -> int | None:
        """Whole balls that hold so many metres; None where the ball is not known, or for a square metre."""
        if self.ball is None or self.per_m2:
            return None
        return int(np.ceil(metres / self.ball - 1e-9))

    @property
    def table(self) -> tuple[tuple[str, Mapping[str, str]], ...]:
        """The figures by size, a row with its name each, in ``unit``."""

        def row(values: Mapping[str, float]) -> dict[str, str]:
            return {size: f"{value:.0f}" for size, value in values.items()}

        rows: list[tuple[str, Mapping[str, str]]] = []
        if self.printed:
            rows.append((_("printed"), {size: format_count(value) for size, value in self.printed.items()}))
            if self.kind == "yarn":
                rows.append(
                    (_("which will do for"), {size: f"{self._per_cent(size)} %" for size in self.printed})
                )
        rows.append((_("half of makers take"), row(self.typical)))
        rows.append((_("one in ten takes less than"), row(self.least)))
        rows.append((_("nine in ten take at most"), row(self.most)))
        rows.append((_("to print"), {size: format_count(value) for size, value in self.proposed.items()}))
        if self.ball is not None and not self.per_m2:
            balls = {size: f"{self.balls(value)}" for size, value in self.proposed.items()}
            rows.append((_("balls of {metres} m").format(metres=format_count(self.ball)), balls))
        return tuple(rows)

    def _per_cent(self, size: str) -> int:
        """Of makers whom the printed amount will do; never all or none of them, for that is not known."""
        return min(max(round(100 * (self.enough_for(size) or 0.0)), 1), 99)

    def enough_for(self, size: str) -> float | None:
        """The share of makers whom the printed amount will do; None where nothing is printed."""
        if size not in self.printed:
            return None
        return self.rate.share_below(self._log(size, self.printed[size]))

    def _log(self, size: str, value: float) -> float:
        return self.rate.mean + float(np.log(value / self.typical[size]))


@dataclass(frozen=True, slots=True)
class Guesses:
    """What testers guessed before they began against what it took, for those who are done.

    ``ratio`` is taken over guessed, robustly in the middle, between ``low`` and ``high`` with 95 %.
    """

    kind: Kind
    pairs: tuple[tuple[str, float, float], ...]
    ratio: float
    low: float
    high: float

    @property
    def over(self) -> int:
        """How many took more than they guessed."""
        return sum(took > guessed for _tester, guessed, took in self.pairs)

    @property
    def sentence(self) -> str:
        n = len(self.pairs)
        return ngettext(
            "Of {n} tester who guessed and finished, {over} took more than their guess; in the middle {it_took} "
            "(between {low} and {high} times the guess).",
            "Of {n} testers who guessed and finished, {over} took more than their guess; in the middle {it_took} "
            "(between {low} and {high} times the guess).",
            n,
        ).format(
            n=n,
            over=self.over or pgettext("of some testers", "none"),
            it_took=self._it_took(),
            low=decimal(self.low, ".2f"),
            high=decimal(self.high, ".2f"),
        )

    def _it_took(self) -> str:
        off, more = round(abs(self.ratio - 1) * 100), self.ratio > 1
        if self.kind == "yarn":
            if off == 0:
                return _("it took as much yarn as guessed")
            said = (
                _("it took {share} more yarn than guessed")
                if more
                else _("it took {share} less yarn than guessed")
            )
        else:
            if off == 0:
                return _("it took as much time as guessed")
            said = (
                _("it took {share} more time than guessed")
                if more
                else _("it took {share} less time than guessed")
            )
        return said.format(share=f"{off} %")


@dataclass(frozen=True, slots=True)
class PartPace:
    """How long one part takes: stitches an hour in the middle, how many makers logged it, its share of all."""

    key: str
    label: str
    makers: int
    stitches_an_hour: float
    share: float
    hours: Mapping[str, float]
    """By size; empty when made to measure."""


@dataclass(frozen=True, slots=True)
class Taken:
    """Yarn and hours of a round."""

    amounts: tuple[Amount, ...] = ()
    guesses: tuple[Guesses, ...] = ()
    parts: tuple[PartPace, ...] = ()

    def amount(self, kind: Kind) -> Amount | None:
        return next((amount for amount in self.amounts if amount.kind == kind), None)

    def guess(self, kind: Kind) -> Guesses | None:
        return next((guess for guess in self.guesses if guess.kind == kind), None)


def yarn_and_hours(
    sheet: Sheet, found: Discrepancies, testers: Sequence[Tester], supplied: Sequence[Yarn]
) -> Taken:
    """What the edition says of yarn and of hours against what the testers took.

    Parameters
    ----------
    sheet : Sheet
    found : Discrepancies
        Gives every tester's worked counts, from which the stitches in the parts follow.
    testers : sequence of Tester
    supplied : sequence of Yarn
        The round's yarns; the ball of the one that most testers have sets what is rounded up to.

    Returns
    -------
    Taken
        Empty for a pattern without parts; no amount before three makers have said what a piece took.
    """
    if not testers:
        return Taken()
    pieces = pieces_of(sheet, testers, found)
    guesses = tuple(guess for kind in ("yarn", "hours") if (guess := _guesses(pieces, kind)) is not None)
    if not sheet.pattern.parts:
        return Taken(guesses=guesses)
    of_size = _stitches_of_sizes(sheet)
    amounts = [_yarn(sheet, pieces, of_size, _ball(testers, supplied)), _hours(sheet, pieces, of_size)]
    return Taken(
        tuple(amount for amount in amounts if amount is not None),
        guesses,
        _part_paces(sheet, pieces, of_size),
    )


def _stitches_of_sizes(sheet: Sheet) -> dict[str, dict[str, float]]:
    """Stitches by part and size, as the edition means them; empty when made to measure."""
    if not sheet.pattern.is_graded:
        return {}
    stated = sheet.stated()
    parts = sheet.parts(stated, sheet.numbers(stated))
    sizes = sheet.pattern.sizes
    return {key: dict(zip(sizes, np.atleast_1d(n).tolist(), strict=True)) for key, n in parts.items()}


def _totals(of_size: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    sizes = next(iter(of_size.values()), {})
    totals = {size: sum(part[size] for part in of_size.values()) for size in sizes}
    return {size: total for size, total in totals.items() if np.isfinite(total) and total > 0}


def _yarn(
    sheet: Sheet, pieces: Sequence[Piece], of_size: Mapping[str, Mapping[str, float]], ball: float | None
) -> Amount | None:
    pattern = sheet.pattern
    graded = pattern.is_graded
    took, logs, variances = [], [], []
    for piece in pieces:
        work = piece.stitches if graded else piece.area
        reading = piece.metres_per(work)
        if reading is None or piece.metres is None:
            continue
        share = piece.share_done(work)
        done = share[0] if share else 1.0
        logs.append(reading[0])
        variances.append(reading[1])
        whole = piece.metres / done
        value = whole if graded else float(np.exp(reading[0]))
        took.append(Took(piece.tester, piece.size, value, whole, done))
    if len(logs) < LEAST_MAKERS:
        return None
    work_of = _totals(of_size) if graded else {PER_M2: 1.0}
    if not work_of:
        return None
    printed = dict(pattern.yarn or {}) if graded else {PER_M2: pattern.yarn_per_m2 or 0.0}
    step = ball if graded and ball else _STEP
    rate = rate_of(logs, variances, USUAL_SPREAD["yarn"])
    return _amount(
        "yarn",
        rate,
        took,
        work_of,
        printed,
        lambda size: float(np.ceil(np.exp(rate.limit(NOT_RUN_OUT)) * work_of[size] / step - 1e-9)) * step,
        ball,
    )


def _hours(
    sheet: Sheet, pieces: Sequence[Piece], of_size: Mapping[str, Mapping[str, float]]
) -> Amount | None:
    work_of = _totals(of_size)
    took, logs = [], []
    for piece in pieces:
        hours, total = piece.whole_hours, piece.total_stitches
        if hours is None or total <= 0:
            continue
        logs.append(float(np.log(hours / total)))
        took.append(Took(piece.tester, piece.size, hours, hours, 1.0))
    if len(logs) < LEAST_MAKERS or not work_of:
        return None
    rate = rate_of(logs, [0.0] * len(logs), USUAL_SPREAD["hours"])
    return _amount(
        "hours",
        rate,
        took,
        work_of,
        dict(sheet.pattern.hours or {}),
        lambda size: float(max(round(float(np.exp(rate.mean)) * work_of[size]), 1)),
    )


def _amount(
    kind: Kind,
    rate: Rate,
    took: Sequence[Took],
    work_of: Mapping[str, float],
    printed: Mapping[str, float],
    to_print: Callable[[str], float],
    ball: float | None = None,
) -> Amount:
    def of_sizes(log: float) -> dict[str, float]:
        return {size: float(np.exp(log)) * work for size, work in work_of.items()}

    low, high = rate.interval
    return Amount(
        kind=kind,
        rate=rate,
        took=tuple(took),
        printed={size: value for size, value in printed.items() if value > 0 and size in work_of},
        typical=of_sizes(rate.mean),
        low=of_sizes(low),
        high=of_sizes(high),
        least=of_sizes(rate.limit(1 - NOT_RUN_OUT)),
        most=of_sizes(rate.limit(NOT_RUN_OUT)),
        proposed={size: to_print(size) for size in work_of},
        ball=ball,
    )


def _ball(testers: Sequence[Tester], supplied: Sequence[Yarn]) -> float | None:
    """Metres in a ball to round up to: of the supplied yarns the one most testers have, else the commonest of
    the testers' own; None where nobody said. Of equals the one listed first, or the smaller ball."""
    used = Counter(t.yarn.metres_per_ball for t in testers if t.yarn and t.yarn.metres_per_ball)
    offered = [yarn.metres_per_ball for yarn in supplied if yarn.metres_per_ball]
    if offered:
        return max(offered, key=lambda metres: used[metres])
    return min(used, key=lambda metres: (-used[metres], metres)) if used else None


def _guesses(pieces: Sequence[Piece], kind: Kind) -> Guesses | None:
    pairs = []
    for piece in pieces:
        if kind == "hours":
            guessed, took = piece.guessed_hours, piece.whole_hours
        else:
            guessed, took = piece.guessed_metres, None
            share = piece.share_done(piece.stitches or {WHOLE: 1.0})
            if piece.metres is not None and share is not None and share[0] == 1.0:
                took = piece.metres
        if guessed and took:
            pairs.append((piece.tester, guessed, took))
    if len(pairs) < LEAST_MAKERS:
        return None
    logs = [float(np.log(took / guessed)) for _, guessed, took in pairs]
    robust = algorithm_a(logs)
    half = t_quantile(0.975, len(logs) - 1) * robust.standard_error
    ratio, low, high = (float(np.exp(log)) for log in (robust.mean, robust.mean - half, robust.mean + half))
    return Guesses(kind, tuple(pairs), ratio, low, high)


def _part_paces(
    sheet: Sheet, pieces: Sequence[Piece], of_size: Mapping[str, Mapping[str, float]]
) -> tuple[PartPace, ...]:
    """How long every part takes, from the makers who logged it; the day does not come into it."""
    all_of_them = everyone(pieces)
    if len(all_of_them.own) < LEAST_MAKERS:
        return ()
    middle = rate_of(
        [log for log, _ in all_of_them.own.values()],
        [variance for _, variance in all_of_them.own.values()],
        USUAL_SPREAD["hours"],
    ).mean
    paces = {key: float(np.exp(log + middle)) for key, log in all_of_them.parts.items()}
    work = _work_of_parts(pieces, of_size)
    total = sum(paces[key] * work.get(key, 0.0) for key in paces)
    return tuple(
        PartPace(
            key=part.key,
            label=part.label,
            makers=all_of_them.logged[part.key],
            stitches_an_hour=1 / paces[part.key],
            share=paces[part.key] * work.get(part.key, 0.0) / total if total else 0.0,
            hours={size: paces[part.key] * n for size, n in of_size.get(part.key, {}).items()},
        )
        for part in sheet.pattern.parts
        if all_of_them.logged.get(part.key)
    )


def _work_of_parts(pieces: Sequence[Piece], of_size: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    """Stitches of every part: of all sizes together, or of all pieces when made to measure."""
    if of_size:
        return {key: sum(n for n in by_size.values() if np.isfinite(n)) for key, by_size in of_size.items()}
    work: dict[str, float] = {}
    for piece in pieces:
        for key, n in piece.stitches.items():
            work[key] = work.get(key, 0.0) + n
    return work


# Findings -------------------------------------------------------------------------------------------------


def amount_findings(sheet: Sheet, taken: Taken) -> Iterator[Finding]:
    """A finding for yarn and for hours, where the edition says something of them and enough makers do."""
    for amount in taken.amounts:
        if amount.printed:
            yield _finding(sheet, amount)


@dataclass(frozen=True, slots=True)
class _Judged:
    """Sizes that want other amounts; the size that is furthest off; the verdict."""

    verdict: Verdict
    worst: str
    sizes: tuple[str, ...]


def _judge(amount: Amount) -> _Judged:
    """What is printed of every size, judged on one rate: a maker more or less moves all sizes alike.

    Yarn: to amend when it is too little for half of makers, with 95 %, and whole balls would mend it; or when
    it is a tenth more than even nine in ten need. Hours: when the near end of the interval is off by a quarter.
    """
    tolerance = float(np.log1p(TOLERANCE[amount.kind]))
    off = {size: float(np.log(amount.typical[size] / printed)) for size, printed in amount.printed.items()}
    low, high = (end - amount.rate.mean for end in amount.rate.interval)
    too_much = dict.fromkeys(off, 0.0)
    if amount.kind == "yarn":
        # Whole balls are nobody's excess.
        ample = {size: max(amount.most[size], amount.proposed[size]) for size in off}
        too_much = {size: float(np.log(p / ample[size])) for size, p in amount.printed.items()}
        short = [s for s, x in off.items() if x + low > 0 and amount.proposed[s] > amount.printed[s]]
        wrong = [*short, *(s for s, x in too_much.items() if x + low > tolerance)]
        doubtful = max(off.values()) > tolerance or max(too_much.values()) > tolerance
    else:
        wrong = [s for s, x in off.items() if x + low > tolerance or x + high < -tolerance]
        doubtful = max(abs(x) for x in off.values()) > tolerance
    if wrong:
        verdict = Verdict.AMEND
    elif doubtful:
        verdict = Verdict.LOOK_CLOSER
    elif all(x + high <= tolerance for x in off.values()) and (
        amount.kind == "yarn" or all(x + low >= -tolerance for x in off.values())
    ):
        verdict = Verdict.HOLDS
    else:
        verdict = Verdict.OPEN

    def badness(size: str) -> tuple[float, str]:
        ways = (off[size], too_much[size]) if amount.kind == "yarn" else (abs(off[size]), 0.0)
        return max(ways), size

    named = wrong or list(off)
    return _Judged(verdict, max(named, key=badness), tuple(size for size in off if size in named))


def makers_needed(amount: Amount, off: float) -> int:
    """How many more makers would settle an amount that is ``off`` by that log: the interval narrows with the root
    of their number."""
    short = amount.kind == "yarn" and off > 0
    beyond = abs(off) - (0.0 if short else float(np.log1p(TOLERANCE[amount.kind])))
    low, high = amount.rate.interval
    wanted = amount.makers * ((high - low) / 2 / max(beyond, 1e-6)) ** 2
    return int(min(max(np.ceil(wanted) - amount.makers, 1), MOST_ASKED_FOR))


def _finding(sheet: Sheet, amount: Amount) -> Finding:
    judged = _judge(amount)
    worst, printed = judged.worst, amount.printed[judged.worst]
    amend = judged.verdict is Verdict.AMEND
    graded = not amount.per_m2
    sizes = tuple(size for size in sheet.pattern.sizes if size in judged.sizes) if graded else None
    every = sizes is not None and len(sizes) == len(amount.printed)
    needs = None
    if judged.verdict is Verdict.LOOK_CLOSER:
        needs = {ANY_SIZE: makers_needed(amount, float(np.log(amount.typical[worst] / printed)))}
    return Finding(
        id=amount.kind,
        kind=FindingKind.YARN if amount.kind == "yarn" else FindingKind.HOURS,
        subject=amount.kind,
        extent=None if not graded else Extent.ALL_SIZES if every else Extent.SOME_SIZES,
        sizes=sizes,
        verdict=judged.verdict,
        needs=needs,
        estimate=amount.typical[worst] - printed,
        interval=(amount.low[worst] - printed, amount.high[worst] - printed),
        unit=amount.unit,
        tolerance=printed * TOLERANCE[amount.kind],
        testers=amount.makers,
        now={size: amount.printed[size] for size in judged.sizes} if amend else None,
        proposed={size: amount.proposed[size] for size in judged.sizes} if amend else None,
        why=told(
            _why,
            amount.kind,
            amount.per_m2,
            judged.worst,
            amount.makers,
            amount.printed[worst],
            amount.typical[worst],
            amount.enough_for(worst),
            amount.proposed[worst],
            amount.balls(amount.proposed[worst]),
            amount.ball,
        ),
    )


def _why(
    kind: Kind,
    per_m2: bool,
    worst: str,
    makers: int,
    printed: float,
    typical: float,
    enough_for: float | None,
    proposed: float,
    balls: int | None,
    ball: float | None,
) -> str:
    """In plain words: what half of makers take, whom the printed amount will do, and what would do nine in ten."""
    share = round(abs(typical / printed - 1) * 100)
    places = {
        "n": makers,
        "size": worst,
        "typical": f"{typical:.0f}",
        "compared": _compared(
            share if typical > printed else -share,
            f"{printed:.0f}" if kind == "hours" else f"{format_count(printed)} m",
        ),
    }
    if kind == "hours":
        said = ngettext(
            "By what {n} piece took, half of makers take {typical} hours or more over size {size}, {compared}.",
            "By what {n} pieces took, half of makers take {typical} hours or more over size {size}, {compared}.",
            makers,
        )
        return said.format(**places)
    if per_m2:
        said = ngettext(
            "By what {n} piece took, half of makers need {typical} m or more for each square metre of fabric, "
            "{compared}, {which_will_do}.",
            "By what {n} pieces took, half of makers need {typical} m or more for each square metre of fabric, "
            "{compared}, {which_will_do}.",
            makers,
        )
    else:
        said = ngettext(
            "By what {n} piece took, half of makers need {typical} m or more for size {size}, {compared}, "
            "{which_will_do}.",
            "By what {n} pieces took, half of makers need {typical} m or more for size {size}, {compared}, "
            "{which_will_do}.",
            makers,
        )
    start = said.format(**places, which_will_do=_will_do(enough_for or 0.0))
    if balls and ball:
        wanted = ngettext(
            "For nine in ten it takes {n} ball of {ball} m, {metres} m.",
            "For nine in ten it takes {n} balls of {ball} m, {metres} m.",
            balls,
        ).format(n=balls, ball=format_count(ball), metres=format_count(proposed))
    else:
        wanted = _("For nine in ten it takes {metres} m.").format(metres=format_count(proposed))
    return f"{start} {wanted}"


def _compared(share: int, printed: str) -> str:
    """How that stands to what is printed; ``share`` in hundredths, below nought for less."""
    if share > 0:
        return _("{share} more than the {amount} printed").format(share=f"{share} %", amount=printed)
    if share < 0:
        return _("{share} less than the {amount} printed").format(share=f"{-share} %", amount=printed)
    return _("as much as the {amount} printed").format(amount=printed)


def _will_do(share: float) -> str:
    """ "which will do for about six makers in ten"; at the ends for hardly any, and for nearly every one."""
    tenths = round(share * 10)
    if tenths == 0:
        return _("which will do for hardly any maker")
    if tenths == 10:
        return _("which will do for nearly every maker")
    return ngettext(
        "which will do for about {n} maker in ten", "which will do for about {n} makers in ten", tenths
    ).format(n=number_word(tenths))
