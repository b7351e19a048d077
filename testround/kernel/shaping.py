"""Shaping: so many increases or decreases over so many rows, rounds or stitches, as even as can be.

Sharing n times out over m rows is division with a remainder. With a = m // n, the stretches from one time to
the next are of a and of a + 1 rows: p and q of them, n = p + q and m = a·p + (a + 1)·q. The trade knows this
as the magic formula and words the equal stretches together, "every 6th row 5 times, then every 7th row 3
times" (common practice; it has no one source). The stretches are those of a line drawn on a grid, with the
equal ones side by side.

References
----------
Bresenham, J. E. (1965). Algorithm for computer control of a digital plotter. IBM Systems Journal 4(1), 25-30.
Bjorklund, E. (2003). The theory of rep-rate pattern generation in the SNS timing system. SNS ASD Technical
Note SNS-NOTE-CNTRL-99 (sharing times out evenly over slots, by Euclid's algorithm).
"""

from __future__ import annotations

from dataclasses import dataclass

from testround.kernel.round import Along, Craft, Shaping
from testround.kernel.units import format_count

_NOISE = 1e-6

_SHAPED: dict[Along, str] = {
    Along.ROWS: "row",
    Along.RIGHT_SIDE_ROWS: "right-side row",
    Along.ROUNDS: "round",
    Along.STITCHES: "stitch",
}
"""What can be shaped."""
_WORKED: dict[Along, str] = {**_SHAPED, Along.RIGHT_SIDE_ROWS: "row"}
"""What its length is counted in."""


class ShapingError(ValueError):
    """A shaping that cannot be worked; the text says why, and asks what is meant instead."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """``times`` times over: ``every`` rows, rounds or stitches, the last that can be shaped in them shaped."""

    every: int
    times: int


@dataclass(frozen=True, slots=True)
class Spread:
    """A shaping laid out.

    ``change`` is how many stitches are gained, below zero lost, each time ``each`` of them. The stretches
    count rows, also where only right-side rows are shaped; ``plain`` are the rows after the last of them.
    """

    change: int
    each: int
    over: int
    along: Along
    stretches: tuple[Stretch, ...]
    plain: int

    @property
    def times(self) -> int:
        """How often it is shaped."""
        return sum(stretch.times for stretch in self.stretches)

    @property
    def gaps(self) -> tuple[int, ...]:
        """From one time to the next, in the order worked; the first counts from where the shaping begins."""
        return tuple(stretch.every for stretch in self.stretches for _ in range(stretch.times))


def spread(start: float, end: float, over: float, *, each: int = 1, along: Along = Along.ROWS) -> Spread:
    """Lay a shaping out as evenly as can be, shorter stretches first.

    Parameters
    ----------
    start, end : float
        Stitches before and after; whole, at least 0.
    over : float
        Rows, rounds or stitches it is worked over; whole, at least 0. Of stitches, those before.
    each : int
        Stitches gained or lost each time, at least 1.
    along : Along
        What it is spread along. With right-side rows every second row can be shaped, so stretches are even
        and differ by two; a last odd row stays plain, whichever side comes first. A decrease along stitches
        takes the stitches that it works together out of its own stretch.

    Returns
    -------
    Spread
        ``times`` is ``abs(end - start) / each``; the stretches and ``plain`` add up to ``over``, and the
        stretches differ by one at most (two along right-side rows).

    Raises
    ------
    ShapingError
        A count that is below zero or not whole, a change that ``each`` does not divide, or more times than
        there are rows, rounds or stitches for.
    """
    if each < 1:
        raise ShapingError(f"{each} stitches each time shape nothing; are there 1 or more?")
    first = _whole(start, "stitches before it")
    last = _whole(end, "stitches after it")
    room = _whole(over, _plural(_WORKED[along]))
    if along is Along.STITCHES and room > first:
        raise ShapingError(
            f"it is spread over {_counted(room, 'stitch')}, and there are {first} before it; "
            "which of the two is meant?"
        )
    change = last - first
    times, left = divmod(abs(change), each)
    if left:
        raise ShapingError(_not_shared_out(first, last, each))
    step = 2 if along is Along.RIGHT_SIDE_ROWS else 1
    slots = room // step
    # A decrease needs its stitches: one more than it takes away.
    least = each + 1 if along is Along.STITCHES and change < 0 else 1
    if times * least > slots:
        raise ShapingError(_too_often(times, room, slots, least, along, change))
    if not times:
        return Spread(0, each, room, along, (), room)
    every, longer = divmod(slots, times)
    stretches = (Stretch(step * every, times - longer), Stretch(step * (every + 1), longer))
    return Spread(
        change, each, room, along, tuple(s for s in stretches if s.times), plain=room - step * slots
    )


def _whole(value: float, what: str) -> int:
    shown = format_count(value)
    if value < -_NOISE:
        raise ShapingError(f"its formula gives {shown} {what}; is something taken away twice?")
    whole = round(value)
    if abs(value - whole) > _NOISE:
        raise ShapingError(
            f"its formula gives {shown} {what}, and only whole ones can be worked; "
            "is it to be rounded, as in multiple(…)?"
        )
    return whole


def _not_shared_out(first: int, last: int, each: int) -> str:
    change = abs(last - first)
    towards = 1 if last > first else -1
    nearest = [first + towards * n for n in (change - change % each, change - change % each + each)]
    meant = " or ".join(str(count) for count in nearest if count >= 0 and count != first)
    return (
        f"from {first} to {last} stitches are {change} to {'increase' if towards > 0 else 'decrease'}, and "
        f"{each} each time never make {change}; "
        + (f"is it to end with {meant}, or " if meant else "is ")
        + "another number to be worked each time?"
    )


def _too_often(times: int, room: int, slots: int, least: int, along: Along, change: int) -> str:
    said = "increases" if change > 0 else "decreases"
    if along is Along.STITCHES:
        needed = times * least
        return (
            f"{times} {said} do not go into {_counted(room, 'stitch')}, as they need {needed}; "
            "are there more stitches to spread them over, or is more to be worked each time?"
        )
    there = _counted(slots, _SHAPED[along])
    needed = times * (2 if along is Along.RIGHT_SIDE_ROWS else 1)
    return (
        f"{said} in {times} {_plural(_SHAPED[along])} do not go into {there}"
        + (f" of {_counted(room, _WORKED[along])}" if along is Along.RIGHT_SIDE_ROWS else "")
        + f"; is it worked over {_counted(needed, _WORKED[along])} or more, "
        "or are more stitches to be shaped each time?"
    )


def spelled(shaping: Shaping, start: float, end: float, over: float, craft: Craft) -> str:
    """One shaping of a sheet in words, with its three values worked out. Raises ShapingError."""
    laid_out = spread(start, end, over, each=shaping.each, along=shaping.along)
    return in_words(laid_out, craft=craft, places=shaping.places, at=shaping.at)


def in_words(laid_out: Spread, *, craft: Craft = Craft.KNIT, places: int = 1, at: str | None = None) -> str:
    """A shaping as the text of a pattern would say it.

    Parameters
    ----------
    laid_out : Spread
        What `spread` gives.
    craft : Craft
        An increase along stitches is made between two of them in knitting, and into one in crochet.
    places : int
        How many places of a row or round share ``each`` out; it divides it.
    at : str, optional
        Where they are, as in "each end" or "the neck edge".

    Returns
    -------
    str
        As in "Decrease 1 stitch at each end of every 6th row 5 times, then of every 7th row 3 times."
    """
    along = laid_out.along
    if not laid_out.times:
        return f"Work {_counted(laid_out.over, _WORKED[along])} without shaping."
    if along is Along.STITCHES:
        return _along_stitches(laid_out, craft)
    stitches = laid_out.each // places
    where, joint = "", "on"
    if at:
        where, joint = f" at {at}", "of"
    elif places > 1:
        where = f" at each of {places} places"
    verb = "Increase" if laid_out.change > 0 else "Decrease"
    said = f", then {joint} ".join(_every(stretch, laid_out) for stretch in laid_out.stretches)
    plain = f"; work {_counted(laid_out.plain, _WORKED[along])} without shaping" if laid_out.plain else ""
    return f"{verb} {_counted(stitches, 'stitch')}{where} {joint} {said}{plain}."


def _every(stretch: Stretch, laid_out: Spread) -> str:
    one = _SHAPED[laid_out.along]
    nth = stretch.every // 2 if laid_out.along is Along.RIGHT_SIDE_ROWS else stretch.every
    if laid_out.times == 1:
        return f"the {_ordinal(nth)} {one}"
    counted = f"every {one}" if nth == 1 else f"every {_ordinal(nth)} {one}"
    return f"{counted} {_often(stretch.times)}"


def _along_stitches(laid_out: Spread, craft: Craft) -> str:
    steps = [(_worked_over(stretch.every, laid_out, craft), stretch.times) for stretch in laid_out.stretches]
    if laid_out.times == 1:
        words = steps[0][0]
        return f"{words[0].upper()}{words[1:]}."
    said = ", then ".join(f"({words}) {_often(times)}" for words, times in steps)
    return f"{said[0]}{said[1].upper()}{said[2:]}."


def _worked_over(stitches: int, laid_out: Spread, craft: Craft) -> str:
    """One stretch of a row or round: what is worked as it comes, and the shaping at its end."""
    each = laid_out.each
    if laid_out.change < 0:
        plain, shaped = stitches - each - 1, f"work {each + 1} together"
    elif craft is Craft.KNIT:
        plain, shaped = stitches, f"make {each}"
    else:
        plain, shaped = stitches - 1, f"work {each + 1} into the next stitch"
    return f"work {plain}, {shaped}" if plain else shaped


def _counted(n: int, word: str) -> str:
    return f"{n} {word if n == 1 else _plural(word)}"


def _plural(word: str) -> str:
    return f"{word}es" if word == "stitch" else f"{word}s"


def _ordinal(n: int) -> str:
    ending = "th" if n % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"


def _often(times: int) -> str:
    return {1: "once", 2: "twice"}.get(times, f"{times} times")
