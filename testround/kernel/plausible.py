"""Is a measurement odd, and what is the likely cause?

Nothing here refuses anything. An odd value is asked about, with the slip that would explain it: half taken
for the whole, inches written as centimetres, two digits swapped, another place measured. The thresholds are
common practice, chosen so that what a wrong gauge or an unusual body does is left alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from testround.kernel.units import LengthUnit, format_count, format_length

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
"""A slip explains a value when, undone, it comes this near to what is expected."""
EXACT_SHARE = 0.03
"""Other places fit by accident more easily, and must come nearer."""
_LEAST_CM = 0.75


@dataclass(frozen=True, slots=True)
class Doubt:
    """A value to ask about.

    ``meant_cm`` is the value with the slip undone; None where no slip explains it.
    """

    cause: Cause
    sentence: str
    meant_cm: float | None


# What a slip does to the true value: the typed value times the factor is what was meant.
_FACTORS: tuple[tuple[Cause, float, str], ...] = (
    ("half", 2.0, "Was it measured across one side only, and not all the way round?"),
    ("double", 0.5, "Was it doubled, where one side was asked for?"),
    ("inches", 2.54, "Are these inches, written as centimetres?"),
    ("centimetres", 1 / 2.54, "Are these centimetres, written as inches?"),
    ("millimetres", 0.1, "Are these millimetres, or is the decimal point missing?"),
    ("decimal-point", 10.0, "Is the decimal point in the wrong place, or a digit missing?"),
)


def question_about(
    value_cm: float,
    expected_cm: float,
    others: Mapping[str, float],
    label: str,
    *,
    unit: LengthUnit = "cm",
    typed: LengthUnit | None = None,
    certain: bool = False,
) -> Doubt | None:
    """What to ask about a measurement that is far from what was expected.

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
    typed : {"cm", "in"}, optional
        The unit the value was typed in, where that is another.
    certain : bool
        Whether it is settled already, by better means than a rough share, that the value is odd.

    Returns
    -------
    Doubt or None
        None when the value is near enough, or nothing can be expected.
    """
    if not (0 < value_cm < math.inf and 0 < expected_cm < math.inf):
        return None
    if not certain and not _is_odd(value_cm, expected_cm):
        return None
    cause, meant, why = _explanation(value_cm, expected_cm, others, typed or unit)
    shown, expected = format_length(value_cm, unit), format_length(expected_cm, unit)
    end = f" That would make it {format_length(meant, unit)}." if meant is not None else ""
    return Doubt(cause, f"{label} is given as {shown}, and about {expected} was expected. {why}{end}", meant)


def _is_odd(value: float, expected: float) -> bool:
    ratio = value / expected if value > expected else expected / value
    return ratio > 1 + ODD_SHARE and abs(value - expected) > ODD_CM


def _near(value: float, expected: float, share: float) -> bool:
    return abs(value - expected) <= max(share * expected, _LEAST_CM)


def _explanation(
    value: float, expected: float, others: Mapping[str, float], unit: LengthUnit
) -> tuple[Cause, float | None, str]:
    # A factor that fits closely is the first answer: half of a chest and the back's width are one length, and
    # "half" is the more useful question.
    found: list[tuple[float, Cause, float | None, str]] = []
    for cause, factor, why in _FACTORS:
        if _near(value * factor, expected, EXPLAINED_SHARE):
            found.append((_likely(value * factor, expected, EXPLAINED_SHARE), cause, value * factor, why))
    best = max(found, key=lambda slip: slip[0], default=None)
    if best and best[2] is not None and abs(best[2] / expected - 1) <= EXACT_SHARE:
        return best[1:]
    # Where none does: how likely the value is under each slip, all being as common. The nearer the likelier,
    # and the more swaps or places there are to choose from, the less it says that one of them fits.
    per_unit = 2.54 if unit == "in" else 1.0
    swaps = [swapped * per_unit for swapped in set(_digits_swapped(value / per_unit)) if swapped > 0]
    for meant in swaps:
        if _near(meant, expected, EXPLAINED_SHARE):
            likely = _likely(meant, expected, EXPLAINED_SHARE) / len(swaps)
            found.append((likely, "swapped-digits", meant, "Were two digits swapped?"))
    for label, other in others.items():
        if other > 0 and _near(value, other, EXACT_SHARE) and not _near(other, expected, EXPLAINED_SHARE):
            likely = _likely(value, other, EXACT_SHARE) / len(others)
            why = f"It is about what {label} should be: was that measured instead?"
            found.append((likely, "other-dimension", None, why))
    if found:
        _, cause, meant_cm, why = max(found, key=lambda slip: slip[0])
        return cause, meant_cm, why
    return "unknown", None, "Please measure once more, or say that it is right."


def _likely(value: float, expected: float, share: float) -> float:
    """Density of a value about what is expected, normal, of which hardly any lie further off than the share."""
    spread = max(share, _LEAST_CM / expected) / 2.5
    return math.exp(-0.5 * ((value / expected - 1) / spread) ** 2) / spread


def _digits_swapped(value: float) -> Iterator[float]:
    """The number as typed, with each pair of neighbouring digits swapped in turn."""
    text = f"{round(value, 3):g}"
    places = [i for i, sign in enumerate(text) if sign.isdigit()]
    for left, right in pairwise(places):
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
        cause, why = "swapped-digits", "Were two digits swapped?"
    elif said > 0 and abs(2 * counted / said - 1) < EXPLAINED_SHARE:
        cause, why = "half", "Was half of it counted?"
    else:
        cause, why = "unknown", "Please count once more, or say that it is right."
    where = "the text" if graded else "the worksheet"
    return Doubt(
        cause,
        f"{label} is given as {format_count(counted)}, and {where} says {format_count(said)}. {why}",
        None,
    )


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
    of_whom = "anybody’s"
    if sizes:
        narrow = (BELOW_SIZES * min(sizes), ABOVE_SIZES * max(sizes))
        if narrow[0] > low or narrow[1] < high:
            of_whom = "this pattern is made for"
        low, high = max(low, narrow[0]), min(high, narrow[1])
    if low <= value_cm <= high:
        return None
    too = "smaller" if value_cm < low else "larger"
    start = f"{called or label} is given as {format_length(value_cm, unit)}, {too} than {of_whom}. "
    for cause, meant, why in _body_slips(value_cm, low, high):
        end = f" That would make it {format_length(meant, unit)}." if meant is not None else ""
        return Doubt(cause, f"{start}{why}{end}", meant)
    return Doubt("unknown", f"{start}Please measure once more, or say that it is right.", None)


def _body_slips(value: float, low: float, high: float) -> Iterator[tuple[Cause, float | None, str]]:
    order: tuple[Cause, ...] = (
        ("inches", "half", "decimal-point") if value < low else ("millimetres", "centimetres", "double")
    )
    factors = {cause: (factor, why) for cause, factor, why in _FACTORS}
    for cause in order:
        factor, why = factors[cause]
        if low <= value * factor <= high:
            yield cause, value * factor, why
    # 3 for 36 inches, say: one digit more, in either unit, would be a body.
    if value < low and any(
        10 * value * per_unit <= high and 10 * (value + 1) * per_unit > low for per_unit in (1, 2.54)
    ):
        yield "missing-digit", None, "Is a digit missing, or are these inches?"


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
