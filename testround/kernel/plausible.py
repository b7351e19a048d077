"""Is a measurement odd, and what is the likely cause?

Nothing here refuses anything. An odd value is asked about, with the slip that would explain it: half taken
for the whole, inches written as centimetres, two digits swapped, another place measured. The thresholds are
common practice, chosen so that what a wrong gauge or an unusual body does is left alone.

A slip is named by Bayes' rule: how common it is, times the probability it gives to the very number typed. People
read in steps, so that a slip can only lead to some numbers: 23.25 is half of 46.5, or quarters of an inch, and no
reading of anything to half a centimetre.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from scipy import special

from testround.kernel.units import INCH_CM, LengthUnit, format_count, format_length
from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop, spoken, told

Cause = Literal[
    "half",
    "double",
    "inches",
    "centimetres",
    "millimetres",
    "decimal-point",
    "missing-digit",
    "swapped-digits",
    "other-dimension",
    "unblocked",
    "unknown",
]

ODD_SHARE = 0.2
"""A value is odd when it is further off than this share of what is expected: more than gauge alone explains."""
ODD_CM = 2.5
"""And further off than this, so that a cuff is not asked about for the width of a rib."""
ODD_COUNT = 0.25
ODD_STITCHES = 5.0
"""A count is odd when it is further off than this share, and by more than this many."""
EXPLAINED_SHARE = 0.08
"""Half a count explains another when, doubled, it comes this near."""
ROUGH_SHARE = 0.04
"""Standard deviation of what a measurement should be, as a share, where all that is known is the sheet."""
TAILS = 4.0
"""Degrees of freedom of Student's t about what is foretold, as where the pattern's deviations are estimated."""
UNKNOWN_SPREAD = 0.3
"""Half width of the broad density (Cauchy, of the log of the ratio) for values that no slip explains."""

# How common the slips are among those that are made, by weight: common practice. Across one side for all the way
# round, and the other side of the tape, are the ones that every technical editor has met; values off by a factor
# of ten are mostly seen by whoever types them.
_HOW_COMMON: Mapping[Cause, float] = {
    "half": 4.0,
    "inches": 4.0,
    "other-dimension": 3.0,
    "swapped-digits": 2.0,
    "double": 2.0,
    "unknown": 2.0,
    "centimetres": 1.0,
    "millimetres": 1.0,
    "decimal-point": 1.0,
}


@dataclass(frozen=True, slots=True)
class Doubt:
    """A value to ask about.

    ``meant_cm`` is the value with the slip undone; None where no slip explains it.
    """

    cause: Cause
    told: str
    meant_cm: float | None

    @property
    def sentence(self) -> str:
        """What to ask, in the reader's language."""
        return spoken(self.told)


# What a slip does to the true value: the typed value times the factor is what was meant.
_FACTORS: tuple[tuple[Cause, float, str], ...] = (
    ("half", 2.0, gettext_noop("Was it measured across one side only, and not all the way round?")),
    ("double", 0.5, gettext_noop("Was it doubled, where one side was asked for?")),
    ("inches", 2.54, gettext_noop("Are these inches, written as centimetres?")),
    ("centimetres", 1 / 2.54, gettext_noop("Are these centimetres, written as inches?")),
    ("millimetres", 0.1, gettext_noop("Are these millimetres, or is the decimal point missing?")),
    ("decimal-point", 10.0, gettext_noop("Is the decimal point in the wrong place, or a digit missing?")),
)

_ONCE_MORE = gettext_noop("Please measure once more, or say that it is right.")

# What tapes are read to, cm, and how commonly: common practice. A value belongs to the coarsest it is a multiple of.
_INCH = float(INCH_CM)
_STEPS: tuple[tuple[float, LengthUnit], ...] = (
    (_INCH / 4, "in"),
    (0.5, "cm"),
    (_INCH / 8, "in"),
    (0.1, "cm"),
)
_USUAL_STEPS = (0.4, 0.4, 0.1, 0.1)
_OTHER_UNIT = 0.1
_NO_STEP = 0.01
_ON_STEP_CM = 2e-3


@dataclass(frozen=True, slots=True)
class Habits:
    """How probably a person reads to each of the steps that tapes are read to."""

    shares: tuple[float, ...]

    @property
    def unit(self) -> LengthUnit:
        """The unit that most readings are made in."""
        return "in" if self.in_unit("in") > self.in_unit("cm") else "cm"

    def in_unit(self, unit: LengthUnit) -> float:
        """The share of readings made in that unit."""
        return sum(share for share, (_, of) in zip(self.shares, _STEPS, strict=True) if of == unit)


def habits_of(readings: Iterable[float], unit: LengthUnit | None = None) -> Habits:
    """What a person reads to, from what else they sent.

    Parameters
    ----------
    readings : iterable of float
        Other lengths of theirs, cm.
    unit : {"cm", "in"}, optional
        The unit they think in, where that is known.

    Returns
    -------
    Habits
        Shares with a prior that is worth one reading.
    """
    shares = [
        usual * (_OTHER_UNIT if unit not in (None, of) else 1.0)
        for usual, (_, of) in zip(_USUAL_STEPS, _STEPS, strict=True)
    ]
    whole = sum(shares)
    shares = [share / whole for share in shares]
    for value in readings:
        on = _steps_of(value)
        # 63.5 cm are 25 in: of either unit, as far as anyone can tell.
        coarsest = [k for k in on if k < 2] or list(on[:1])
        for k in coarsest:
            shares[k] += 1 / len(coarsest)
    whole = sum(shares)
    return Habits(tuple(share / whole for share in shares))


def typed_unit(value_cm: float) -> LengthUnit | None:
    """The unit that a single length was typed in, where it tells: quarters of a centimetre are no eighths of an inch."""
    units = {_STEPS[k][1] for k in _steps_of(value_cm)}
    if _on(value_cm, 0.25):
        units.add("cm")
    return units.pop() if len(units) == 1 else None


@dataclass(frozen=True, slots=True)
class Foretold:
    """What a length should be, and the standard deviation of that; cm."""

    cm: float
    u: float


@dataclass(frozen=True, slots=True)
class Slip:
    """The likely cause of an odd value, and how probable that is among the causes.

    ``meant_cm`` is the value with the slip undone, None where there is no such thing; ``place`` the label of the
    measurement that was taken instead.
    """

    cause: Cause
    probability: float
    meant_cm: float | None = None
    place: str = ""


def likely_slip(value_cm: float, foretold: Foretold, others: Mapping[str, Foretold], habits: Habits) -> Slip:
    """The slip that most probably led to this very value.

    Parameters
    ----------
    value_cm : float
        The odd value, above zero.
    foretold : Foretold
        What it should have been.
    others : mapping of label to Foretold
        What the other measurements of the same piece are, or should be.
    habits : Habits
        What the person reads to.

    Returns
    -------
    Slip
        The cause of the highest posterior probability; "unknown" is one of them.
    """
    cm, u = foretold.cm, foretold.u
    swaps = sorted(_before_swap(value_cm, foretold, habits), reverse=True)
    places = sorted(
        ((_read(value_cm, o.cm, o.u, habits), label) for label, o in others.items()), reverse=True
    )
    likely: dict[Cause, float] = {
        # Doubled or halved by the one who wrote it down, or measured so.
        "half": (_read(2 * value_cm, cm, u, habits) + _read(value_cm, cm / 2, u / 2, habits)) / 2,
        "double": (_read(value_cm / 2, cm, u, habits) + _read(value_cm, 2 * cm, 2 * u, habits)) / 2,
        "inches": _read(value_cm * _INCH, cm, u, habits, "in"),
        "centimetres": _read(value_cm / _INCH, cm, u, habits, "cm"),
        "millimetres": _read(value_cm / 10, cm, u, habits),
        "decimal-point": _read(value_cm * 10, cm, u, habits),
        "swapped-digits": sum(probability for probability, _ in swaps),
        "other-dimension": sum(probability for probability, _ in places) / max(len(places), 1),
        "unknown": _anyhow(value_cm, cm, habits),
    }
    weights = {cause: _HOW_COMMON[cause] * probability for cause, probability in likely.items()}
    whole = sum(weights.values())
    cause = max(weights, key=lambda one: weights[one])
    probability = weights[cause] / whole if whole > 0 else 0.0
    if cause == "swapped-digits":
        return Slip(cause, probability, swaps[0][1])
    if cause == "other-dimension":
        return Slip(cause, probability, place=places[0][1])
    factors = {one: factor for one, factor, _ in _FACTORS}
    return Slip(cause, probability, value_cm * factors[cause] if cause in factors else None)


@lru_cache(maxsize=4096)
def _steps_of(value: float) -> tuple[int, ...]:
    """The steps, by position, that a value is a multiple of."""
    return tuple(k for k, (step, _) in enumerate(_STEPS) if _on(value, step))


def _on(value: float, step: float) -> bool:
    return value > 0 and abs(value - step * round(value / step)) < _ON_STEP_CM


def _between(low: float, high: float, cm: float, u: float) -> float:
    """Probability that a length lies there."""
    if low > cm:
        # By the near tail, which loses no digits.
        low, high = 2 * cm - high, 2 * cm - low
    return float(special.stdtr(TAILS, (high - cm) / u) - special.stdtr(TAILS, (low - cm) / u))


def _read(value: float, cm: float, u: float, habits: Habits, unit: LengthUnit | None = None) -> float:
    """Probability that a length about which this is foretold is read as that value; by a reading in that unit."""
    steps = [k for k in _steps_of(value) if unit in (None, _STEPS[k][1])]
    found = 0.0
    for k in steps:
        half = _STEPS[k][0] / 2
        found += habits.shares[k] * _between(value - half, value + half, cm, u)
    if not steps:
        return _NO_STEP * _between(value - 0.05, value + 0.05, cm, u)
    return found / (habits.in_unit(unit) if unit else 1.0)


def _anyhow(value: float, cm: float, habits: Habits) -> float:
    """Probability of a value that nothing explains."""
    away = math.log(value / cm) / UNKNOWN_SPREAD
    density = 1 / (math.pi * UNKNOWN_SPREAD * (1 + away**2)) / value
    steps = [habits.shares[k] * _STEPS[k][0] for k in _steps_of(value)]
    return density * (sum(steps) if steps else _NO_STEP * 0.1)


def _before_swap(value: float, foretold: Foretold, habits: Habits) -> Iterator[tuple[float, float]]:
    """Every length that two swapped digits would turn into the value, with the probability that they did."""
    units: tuple[tuple[LengthUnit, float], ...] = (("cm", 1.0), ("in", _INCH))
    for unit, per_unit in units:
        typed = value / per_unit
        if not any(_STEPS[k][1] == unit for k in _steps_of(value)):
            continue
        for before in set(_digits_swapped(typed)):
            read = _read(before * per_unit, foretold.cm, foretold.u, habits, unit)
            # Any two neighbours may have been swapped.
            yield habits.in_unit(unit) * read / len(set(_digits_swapped(before)) | {typed}), before * per_unit


def question_about(
    value_cm: float,
    expected_cm: float,
    others: Mapping[str, float],
    label: str,
    *,
    unit: LengthUnit = "cm",
) -> Doubt | None:
    """What to ask about a measurement that is far from what was expected, where only the sheet is known.

    Parameters
    ----------
    value_cm : float
        The value sent.
    expected_cm : float
        What it should be about, above zero.
    others : mapping of label to float
        What other measurements of the same piece or person should be about, cm.
    label : str
        The measurement's own name.
    unit : {"cm", "in"}
        The unit the reader thinks in.

    Returns
    -------
    Doubt or None
        None when the value is near enough, or nothing can be expected.
    """
    if not (0 < value_cm < math.inf and 0 < expected_cm < math.inf) or not is_odd(value_cm, expected_cm):
        return None
    slip = likely_slip(
        value_cm,
        Foretold(expected_cm, ROUGH_SHARE * expected_cm),
        {name: Foretold(cm, ROUGH_SHARE * cm) for name, cm in others.items() if 0 < cm < math.inf},
        habits_of((), unit),
    )
    return doubt_about(slip, value_cm, expected_cm, label, unit)


def doubt_about(slip: Slip, value_cm: float, expected_cm: float, label: str, unit: LengthUnit) -> Doubt:
    """The question that asks for a slip: the value, what was expected, and the value meant; in that unit."""
    return Doubt(slip.cause, told(_asked, slip, value_cm, expected_cm, label, unit), slip.meant_cm)


def _asked(slip: Slip, value_cm: float, expected_cm: float, label: str, unit: LengthUnit) -> str:
    start = _("{dimension} is given as {given}, and about {expected} was expected.").format(
        dimension=label, given=format_length(value_cm, unit), expected=format_length(expected_cm, unit)
    )
    return " ".join([start, _why(slip.cause, slip.place), *_would_make(slip.meant_cm, unit)])


def _why(cause: Cause, place: str = "") -> str:
    if cause == "swapped-digits":
        return _("Were two digits swapped?")
    if cause == "other-dimension":
        return _("It is about what {place} should be: was that measured instead?").format(place=place)
    if cause == "missing-digit":
        return _("Is a digit missing, or are these inches?")
    return _({one: why for one, _factor, why in _FACTORS}.get(cause, _ONCE_MORE))


def _would_make(meant_cm: float | None, unit: LengthUnit) -> list[str]:
    if meant_cm is None:
        return []
    return [_("That would make it {length}.").format(length=format_length(meant_cm, unit))]


def is_odd(value: float, expected: float) -> bool:
    """Whether a measurement is further off than gauge alone explains."""
    ratio = value / expected if value > expected else expected / value
    return ratio > 1 + ODD_SHARE and abs(value - expected) > ODD_CM


def _digits_swapped(value: float) -> Iterator[float]:
    """The number as typed, with each pair of neighbouring digits that differ swapped in turn.

    Nobody writes a nought in front.
    """
    text = f"{round(value, 3):g}"
    places = [i for i, sign in enumerate(text) if sign.isdigit()]
    for left, right in pairwise(places):
        if text[left] == text[right] or (left == 0 and right == 1 and text[right] == "0"):
            continue
        signs = list(text)
        signs[left], signs[right] = signs[right], signs[left]
        yield float("".join(signs))


def is_odd_count(counted: float, said: float) -> bool:
    """Whether a count is further off what the text or the worksheet says than hands and yarn explain."""
    return abs(counted - said) > max(ODD_STITCHES, ODD_COUNT * min(counted, said))


def doubt_about_count(label: str, counted: float, said: float, *, graded: bool) -> Doubt:
    """What to ask about an odd count; ``graded``: whether it is the text that says another, or the worksheet.

    The doubt's ``meant_cm`` is None: a count is no length.
    """
    cause: Cause
    if sorted(format_count(counted)) == sorted(format_count(said)):
        cause = "swapped-digits"
    elif said > 0 and abs(2 * counted / said - 1) < EXPLAINED_SHARE:
        cause = "half"
    else:
        cause = "unknown"
    return Doubt(cause, told(_asked_of_count, cause, label, counted, said, graded), None)


def _asked_of_count(cause: Cause, label: str, counted: float, said: float, graded: bool) -> str:
    start = (
        _("{number} is given as {given}, and the text says {expected}.")
        if graded
        else _("{number} is given as {given}, and the worksheet says {expected}.")
    ).format(number=label, given=format_count(counted), expected=format_count(said))
    if cause == "half":
        return " ".join([start, _("Was half of it counted?")])
    if cause == "swapped-digits":
        return " ".join([start, _("Were two digits swapped?")])
    return " ".join([start, _("Please count once more, or say that it is right.")])


# Bodies ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Body:
    """A body measure known by name: the smallest and the largest value of the published tables, cm.

    ``around``: a circumference, whose name also stands in those of lengths and widths ("waist to hem").
    """

    names: tuple[str, ...]
    smallest: float
    largest: float
    around: bool = False


# Smallest and largest of the body size tables from three months to women's 5X and men's 2X (Craft Yarn
# Council, Standards & Guidelines for Crochet and Knitting, body sizing; the bust limits compared between
# copies, much of the rest recalled). The measures from head circumference on are common practice. The first
# entry with all words of one of its names in the measure's key or label is taken, so longer names come first.
_BODIES: tuple[_Body, ...] = (
    _Body(("back waist", "waist length", "nape waist", "neck waist"), 15.24, 46.99),
    _Body(("back hip length",), 38.0, 72.39),
    _Body(("neck cuff", "neck wrist", "spine wrist"), 26.67, 92.71),
    _Body(("waist hip", "waist floor", "waist knee", "hip depth"), 8.0, 125.0),
    _Body(("cross back", "shoulder width", "back width", "across back"), 18.41, 48.26),
    _Body(("armhole depth", "armhole"), 8.26, 27.94),
    _Body(("upper arm", "bicep", "biceps"), 13.97, 49.53),
    _Body(("arm length", "sleeve length", "underarm length", "inner arm"), 15.24, 52.07),
    _Body(("head",), 33.0, 66.0),
    _Body(("foot length", "foot"), 7.0, 35.0),
    _Body(("wrist",), 9.0, 25.0),
    _Body(("thigh",), 20.0, 100.0),
    _Body(("inseam", "inside leg"), 15.0, 100.0),
    _Body(("height", "stature"), 50.0, 215.0),
    _Body(("bust", "chest"), 40.64, 157.48, around=True),
    _Body(("waist",), 45.72, 127.0, around=True),
    _Body(("hip", "hips", "seat"), 55.88, 157.48, around=True),
)
BELOW_TABLES = 0.75
"""A body may be this much smaller than the smallest of the tables before it is asked about."""
ABOVE_TABLES = 1.3
BELOW_SIZES = 0.7
"""And this much smaller than the smallest of the sizes it is to be compared with."""
ABOVE_SIZES = 1.45
_ANY_LENGTH = (0.5, 400.0)
_NOT_AROUND = frozenset(
    [
        "to",
        "from",
        "length",
        "depth",
        "height",
        "drop",
        "width",
        "across",
        "half",
        "point",
        "apex",
        "hem",
        "floor",
        "ground",
        "knee",
        "ankle",
        "above",
        "below",
    ]
)


def body_doubt(
    key: str,
    label: str,
    value_cm: float,
    *,
    sizes: Sequence[float] = (),
    unit: LengthUnit = "cm",
    called: str = "",
) -> Doubt | None:
    """What to ask about a body measurement that hardly any body has.

    Parameters
    ----------
    key, label : str
        The measure; what it is, is told by the words in them ("bust", "upper arm").
    value_cm : float
        The value typed.
    sizes : sequence of float, optional
        The measure's values in the pattern's sizes, cm. With them, a bust of 36 cm is asked about in a
        pattern for grown-ups, and not in one for babies.
    unit : {"cm", "in"}
        The unit the person thinks in.
    called : str, optional
        What the sentence calls the measure, where that is more than its label.

    Returns
    -------
    Doubt or None
        None when the value is one that somebody has, or the measure is not known by name and the value could
        be anything.
    """
    if not math.isfinite(value_cm):
        return None
    low, high = _range(key, label)
    by_sizes = False
    if sizes:
        narrow = (BELOW_SIZES * min(sizes), ABOVE_SIZES * max(sizes))
        if narrow[0] > low or narrow[1] < high:
            by_sizes = True
        low, high = max(low, narrow[0]), min(high, narrow[1])
    if low <= value_cm <= high:
        return None
    small = value_cm < low
    cause, meant = next(_body_slips(value_cm, low, high), ("unknown", None))
    said = told(_asked_of_body, cause, meant, called or label, value_cm, unit, small, by_sizes)
    return Doubt(cause, said, meant)


def _asked_of_body(
    cause: Cause,
    meant_cm: float | None,
    called: str,
    value_cm: float,
    unit: LengthUnit,
    small: bool,
    by_sizes: bool,
) -> str:
    if by_sizes and small:
        start = _("{measure} is given as {given}, smaller than this pattern is made for.")
    elif by_sizes:
        start = _("{measure} is given as {given}, larger than this pattern is made for.")
    elif small:
        start = _("{measure} is given as {given}, smaller than anybody’s.")
    else:
        start = _("{measure} is given as {given}, larger than anybody’s.")
    start = start.format(measure=spoken(called), given=format_length(value_cm, unit))
    return " ".join([start, _why(cause), *_would_make(meant_cm, unit)])


def _body_slips(value: float, low: float, high: float) -> Iterator[tuple[Cause, float | None]]:
    order: tuple[Cause, ...] = (
        ("inches", "half", "decimal-point") if value < low else ("millimetres", "centimetres", "double")
    )
    factors = {cause: factor for cause, factor, _why_so in _FACTORS}
    for cause in order:
        if low <= value * factors[cause] <= high:
            yield cause, value * factors[cause]
    # 3 for 36 inches, say: one digit more, in either unit, would be a body.
    if value < low and any(
        10 * value * per_unit <= high and 10 * (value + 1) * per_unit > low for per_unit in (1, 2.54)
    ):
        yield "missing-digit", None


@lru_cache(maxsize=1024)
def _range(key: str, label: str) -> tuple[float, float]:
    words = {
        word.strip("().,:") for word in f"{key.replace('_', ' ')} {label.replace('-', ' ')}".lower().split()
    }
    for body in _BODIES:
        if body.around and not words.isdisjoint(_NOT_AROUND):
            continue
        if any(words.issuperset(name.split()) for name in body.names):
            return BELOW_TABLES * body.smallest, ABOVE_TABLES * body.largest
    return _ANY_LENGTH
