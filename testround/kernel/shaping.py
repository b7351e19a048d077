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
from testround.kernel.words import either, ngettext, npgettext, ordinal, pgettext
from testround.kernel.words import gettext as _

_NOISE = 1e-6


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
        return tuple(stretch.every for stretch in self.stretches for _time in range(stretch.times))


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
        raise ShapingError(_("{n} stitches each time shape nothing; are there 1 or more?").format(n=each))
    first = _whole(start, _("stitches before it"))
    last = _whole(end, _("stitches after it"))
    room = _whole(over, _length_word(along))
    if along is Along.STITCHES and room > first:
        raise ShapingError(
            _(
                "it is spread over {stitches}, and there are {first} before it; which of the two is meant?"
            ).format(stitches=_length(room, along), first=first)
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
        raise ShapingError(
            _("its formula gives {n} {what}; is something taken away twice?").format(n=shown, what=what)
        )
    whole = round(value)
    if abs(value - whole) > _NOISE:
        raise ShapingError(
            _(
                "its formula gives {n} {what}, and only whole ones can be worked; is it to be rounded, as in multiple(…)?"
            ).format(n=shown, what=what)
        )
    return whole


def _not_shared_out(first: int, last: int, each: int) -> str:
    change = abs(last - first)
    towards = 1 if last > first else -1
    nearest = [first + towards * n for n in (change - change % each, change - change % each + each)]
    meant = [str(count) for count in nearest if count >= 0 and count != first]
    if towards > 0 and meant:
        said = _(
            "from {first} to {last} stitches are {change} to increase, and {each} each time never make {change}; is it "
            "to end with {meant}, or another number to be worked each time?"
        )
    elif towards > 0:
        said = _(
            "from {first} to {last} stitches are {change} to increase, and {each} each time never make {change}; is "
            "another number to be worked each time?"
        )
    elif meant:
        said = _(
            "from {first} to {last} stitches are {change} to decrease, and {each} each time never make {change}; is it "
            "to end with {meant}, or another number to be worked each time?"
        )
    else:
        said = _(
            "from {first} to {last} stitches are {change} to decrease, and {each} each time never make {change}; is "
            "another number to be worked each time?"
        )
    return said.format(first=first, last=last, change=change, each=each, meant=either(meant) if meant else "")


def _too_often(times: int, room: int, slots: int, least: int, along: Along, change: int) -> str:
    if along is Along.STITCHES:
        said = (
            ngettext(
                "{n} increase does not go into {stitches}, as it needs {needed}; are there more stitches to spread it "
                "over, or is more to be worked each time?",
                "{n} increases do not go into {stitches}, as they need {needed}; are there more stitches to spread "
                "them over, or is more to be worked each time?",
                times,
            )
            if change > 0
            else ngettext(
                "{n} decrease does not go into {stitches}, as it needs {needed}; are there more stitches to spread it "
                "over, or is more to be worked each time?",
                "{n} decreases do not go into {stitches}, as they need {needed}; are there more stitches to spread "
                "them over, or is more to be worked each time?",
                times,
            )
        )
        return said.format(n=times, stitches=_length(room, along), needed=times * least)
    right_side = along is Along.RIGHT_SIDE_ROWS
    if change > 0 and right_side:
        said = _(
            "increases in {shaped} do not go into {there} of {length}; is it worked over {needed} or more, or are more "
            "stitches to be shaped each time?"
        )
    elif change > 0:
        said = _(
            "increases in {shaped} do not go into {there}; is it worked over {needed} or more, or are more stitches to "
            "be shaped each time?"
        )
    elif right_side:
        said = _(
            "decreases in {shaped} do not go into {there} of {length}; is it worked over {needed} or more, or are more "
            "stitches to be shaped each time?"
        )
    else:
        said = _(
            "decreases in {shaped} do not go into {there}; is it worked over {needed} or more, or are more stitches to "
            "be shaped each time?"
        )
    return said.format(
        shaped=_shaped(times, along),
        there=_shaped(slots, along),
        length=_length(room, along),
        needed=_length(times * (2 if right_side else 1), along),
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
        return _("Work {rows} without shaping.").format(rows=_length(laid_out.over, along))
    if along is Along.STITCHES:
        return _along_stitches(laid_out, craft)
    first, *others = (_every(stretch, laid_out) for stretch in laid_out.stretches)
    said = _begun(laid_out.change > 0, at, places).format(
        stitches=_length(laid_out.each // places, Along.STITCHES), place=at, n=places, rows=first
    )
    for rows in others:
        then = _("{said}, then of {rows}") if at else _("{said}, then on {rows}")
        said = then.format(said=said, rows=rows)
    if laid_out.plain:
        said = _("{said}; work {rows} without shaping").format(said=said, rows=_length(laid_out.plain, along))
    return f"{said}."


def _begun(increase: bool, at: str | None, places: int) -> str:
    """How the sentence begins: with {stitches} shaped on {rows}, and where."""
    if increase:
        if at:
            return _("Increase {stitches} at {place} of {rows}")
        if places > 1:
            return _("Increase {stitches} at each of {n} places on {rows}")
        return _("Increase {stitches} on {rows}")
    if at:
        return _("Decrease {stitches} at {place} of {rows}")
    if places > 1:
        return _("Decrease {stitches} at each of {n} places on {rows}")
    return _("Decrease {stitches} on {rows}")


def _every(stretch: Stretch, laid_out: Spread) -> str:
    along = laid_out.along
    nth = stretch.every // 2 if along is Along.RIGHT_SIDE_ROWS else stretch.every
    once, every, every_nth = {
        Along.ROWS: (_("the {nth} row"), _("every row"), _("every {nth} row")),
        Along.RIGHT_SIDE_ROWS: (
            _("the {nth} right-side row"),
            _("every right-side row"),
            _("every {nth} right-side row"),
        ),
        Along.ROUNDS: (
            pgettext("of the work", "the {nth} round"),
            pgettext("of the work", "every round"),
            pgettext("of the work", "every {nth} round"),
        ),
    }[along]
    if laid_out.times == 1:
        return once.format(nth=ordinal(nth))
    return _often((every if nth == 1 else every_nth).format(nth=ordinal(nth)), stretch.times)


def _along_stitches(laid_out: Spread, craft: Craft) -> str:
    steps = [(_worked_over(stretch.every, laid_out, craft), stretch.times) for stretch in laid_out.stretches]
    if laid_out.times == 1:
        words = steps[0][0]
        return f"{words[0].upper()}{words[1:]}."
    first, *others = (_often(f"({words})", times) for words, times in steps)
    said = first
    for then in others:
        said = _("{said}, then {rest}").format(said=said, rest=then)
    return f"{said[0]}{said[1].upper()}{said[2:]}."


def _worked_over(stitches: int, laid_out: Spread, craft: Craft) -> str:
    """One stretch of a row or round: what is worked as it comes, and the shaping at its end."""
    each = laid_out.each
    if laid_out.change < 0:
        plain, shaped = stitches - each - 1, _("work {n} together").format(n=each + 1)
    elif craft is Craft.KNIT:
        plain, shaped = stitches, pgettext("increases", "make {n}").format(n=each)
    else:
        plain, shaped = stitches - 1, _("work {n} into the next stitch").format(n=each + 1)
    return _("work {n}, {shaped}").format(n=plain, shaped=shaped) if plain else shaped


def _length(n: int, along: Along) -> str:
    """So many rows, rounds or stitches: what a shaping's length is counted in."""
    if along is Along.STITCHES:
        said = ngettext("{n} stitch", "{n} stitches", n)
    elif along is Along.ROUNDS:
        said = npgettext("of the work", "{n} round", "{n} rounds", n)
    else:
        said = ngettext("{n} row", "{n} rows", n)
    return said.format(n=n)


def _shaped(n: int, along: Along) -> str:
    """So many of what can be shaped."""
    if along is Along.RIGHT_SIDE_ROWS:
        return ngettext("{n} right-side row", "{n} right-side rows", n).format(n=n)
    return _length(n, along)


def _length_word(along: Along) -> str:
    if along is Along.STITCHES:
        return _("stitches")
    return pgettext("of the work", "rounds") if along is Along.ROUNDS else _("rows")


def _often(what: str, times: int) -> str:
    if times == 1:
        return _("{what} once").format(what=what)
    if times == 2:
        return _("{what} twice").format(what=what)
    return ngettext("{what} {n} time", "{what} {n} times", times).format(what=what, n=times)
