"""The plot of a sheet: one number over the sizes, printed and computed, and the step that breaks its run."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from django.utils.translation import gettext as _

from testround.kernel.units import LengthUnit, format_count, format_length
from testround.paper.drawing import Circle, Drawing, Group, Line, Mark, Text
from testround.paper.plots import PHONE, Plot, Table, ticks

_HEIGHT = 230.0
_LEFT, _RIGHT = 46.0, 18.0
_TOP, _BOTTOM = 44.0, 34.0
_SMALL = 11.0
_TINY = 10.0
_WHOLE = [Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)]
_CM = [Fraction(1, 2), *_WHOLE]
_INCHES = [Fraction(1, 8), Fraction(1, 4), Fraction(1, 2), *_WHOLE]
# Beyond this many sizes the values beside the points would run into each other; each point still has its words.
_MOST_WRITTEN = 10


@dataclass(frozen=True, slots=True)
class BrokenStep:
    """The step from the size at ``at`` to the one at ``to``, and by how much it goes up, as written."""

    at: int
    to: int
    words: str


@dataclass(frozen=True, slots=True)
class OverSizes:
    """One number over the sizes. Lengths in cm, to be shown in ``units``; counts have ``units`` None.

    ``printed`` and ``computed`` have one entry per size, None where nothing is printed or nothing can be
    computed; a body measurement has no computed values at all. ``said`` is what the run is like, in a sentence.
    """

    title: str
    sizes: tuple[str, ...]
    printed: tuple[float | None, ...]
    computed: tuple[float | None, ...] = ()
    breaks: tuple[BrokenStep, ...] = ()
    units: LengthUnit | None = None
    said: str = ""

    def shown(self, value: float | None) -> str:
        """A value as it is read, without its unit."""
        if value is None:
            return "–"
        if self.units is None:
            return format_count(value)
        return format_length(value, self.units).rsplit(" ", 1)[0]


def run_plot(run: OverSizes, *, ident: str = "run") -> Plot:
    """Printed values as filled dots on a line, computed ones as rings on a dashed line, broken steps heavy."""
    values = [value for value in (*run.printed, *run.computed) if value is not None]
    marks: list[Mark] = [] if values else [Text(_LEFT, _TOP + 20, _("Nothing to draw yet."), _SMALL)]
    if values:
        marks = _drawn(run, min(values), max(values))
    drawing = Drawing(
        PHONE,
        _HEIGHT,
        _("{title}, over the sizes").format(title=run.title),
        run.said,
        tuple(marks),
    )
    return Plot(drawing, _table(run), ident=ident)


def _drawn(run: OverSizes, low: float, high: float) -> list[Mark]:
    per = 2.54 if run.units == "in" else 1.0
    air = 0.16 * (high - low) or per
    low, high = low - air, high + air
    bottom = _HEIGHT - _BOTTOM

    def x(j: int) -> float:
        wide = PHONE - _LEFT - _RIGHT - 26
        return _LEFT + 22 + (wide * j / (len(run.sizes) - 1) if len(run.sizes) > 1 else wide / 2)

    def y(value: float) -> float:
        return bottom - (value - low) / (high - low) * (bottom - _TOP)

    marks = _legend(run)
    steps = _INCHES if run.units == "in" else _CM if run.units == "cm" else _WHOLE
    for tick in ticks(low / per, high / per, steps, 5):
        at = y(float(tick) * per)
        marks.append(Line((_LEFT, at), (PHONE - _RIGHT + 8, at), "grid"))
        marks.append(Text(_LEFT - 6, at + 4, run.shown(float(tick) * per), _SMALL, "end", "muted"))
    marks.append(Line((_LEFT, bottom), (PHONE - _RIGHT + 8, bottom), "axis"))
    every = math.ceil(len(run.sizes) / 12)
    marks += [
        Text(x(j), bottom + 16, size if len(size) <= 5 else f"{size[:4]}…", _SMALL, "middle")
        for j, size in enumerate(run.sizes)
        if j % every == 0
    ]
    judged = _judged(run)
    broken = {step.at: step for step in run.breaks}
    marks += _joined(run.computed, x, y, "join")
    marks += _joined(run.printed, x, y, "target", skip=broken)
    marks += _breaks(run, judged, x, y)
    for j, size in enumerate(run.sizes):
        marks += _point(run, j, size, x(j), y)
    if len(run.sizes) <= _MOST_WRITTEN:
        marks += _written(run, judged, x, y)
    return marks


def _judged(run: OverSizes) -> list[float | None]:
    """What is printed, and computed values where nothing is: the run as a maker would read it."""
    computed = run.computed or (None,) * len(run.sizes)
    return [p if p is not None else c for p, c in zip(run.printed, computed, strict=True)]


def _joined(
    values: tuple[float | None, ...],
    x: Callable[[int], float],
    y: Callable[[float], float],
    look: str,
    skip: dict[int, BrokenStep] | None = None,
) -> list[Mark]:
    """Lines between neighbours that both have a value."""
    return [
        Line((x(j), y(here)), (x(j + 1), y(there)), look)
        for j, (here, there) in enumerate(pairwise(values))
        if here is not None and there is not None and j not in (skip or {})
    ]


def _breaks(
    run: OverSizes, judged: list[float | None], x: Callable[[int], float], y: Callable[[float], float]
) -> list[Mark]:
    marks: list[Mark] = []
    for step in run.breaks:
        here, there = judged[step.at], judged[step.to]
        if here is None or there is None:
            continue
        start, end = (x(step.at), y(here)), (x(step.to), y(there))
        rises = there > here
        # Outside the bend that it makes with the step beside it: over a peak, under a valley.
        peak = any(
            (other.at == step.to and rises) or (other.to == step.at and not rises) for other in run.breaks
        )
        on_the_left = rises == peak
        beside = (start[0] + end[0]) / 2 + (-6 if on_the_left else 6)
        middle = (start[1] + end[1]) / 2 + (-4 if peak else 12)
        marks.append(
            Group(
                (
                    Line(start, end, "interval"),
                    Text(beside, middle, step.words, _SMALL, "end" if on_the_left else "start", "strong"),
                ),
                _("From {first} to {second}: {step}, which breaks the run").format(
                    first=run.sizes[step.at], second=run.sizes[step.to], step=step.words
                ),
                "break",
            )
        )
    return marks


def _point(run: OverSizes, j: int, size: str, x: float, y: Callable[[float], float]) -> list[Mark]:
    printed = run.printed[j]
    computed = run.computed[j] if run.computed else None
    parts: list[Mark] = []
    words = []
    if computed is not None:
        parts.append(Circle((x, y(computed)), 5.5, "hollow"))
        words.append(_("computed {value}").format(value=run.shown(computed)))
    if printed is not None:
        parts.append(Circle((x, y(printed)), 3, "solid"))
        words.insert(
            0, _("printed {value}").format(value=run.shown(printed)) if run.computed else run.shown(printed)
        )
    if not parts:
        return []
    return [Group(tuple(parts), f"{size}: {', '.join(words)}", "point")]


def _written(
    run: OverSizes, judged: list[float | None], x: Callable[[int], float], y: Callable[[float], float]
) -> list[Mark]:
    """The values beside their points, on the side where no line goes: under a valley, else over the point."""
    marks: list[Mark] = []
    for j, value in enumerate(judged):
        if value is None:
            continue
        before = judged[j - 1] if j else None
        after = judged[j + 1] if j + 1 < len(judged) else None
        came_down = before is not None and before > value
        goes_up = after is not None and after > value
        if came_down and goes_up:
            dx, dy, anchor = 0.0, 17.0, "middle"
        elif came_down:
            dx, dy, anchor = 3.0, -9.0, "start"
        elif goes_up:
            dx, dy, anchor = 3.0, -9.0, "end"
        else:
            dx, dy, anchor = 0.0, -9.0, "middle"
        marks.append(Text(x(j) + dx, y(value) + dy, run.shown(value), _TINY, anchor, "muted"))
    return marks


def _legend(run: OverSizes) -> list[Mark]:
    marks: list[Mark] = []
    at = 8.0
    signs: list[tuple[Mark, str, float]] = []
    if run.computed:
        signs.append((Circle((0, 0), 3, "solid"), _("printed"), 62))
        signs.append((Circle((0, 0), 5.5, "hollow"), _("computed"), 78))
    if run.breaks:
        signs.append((Line((-7, 0), (7, 0), "interval"), _("breaks the run"), 110))
    for sign, words, wide in signs:
        if isinstance(sign, Circle):
            marks.append(Circle((at, 12), sign.radius, sign.look))
        elif isinstance(sign, Line):
            marks.append(Line((at - 4, 12), (at + 10, 12), sign.look))
            at += 6
        marks.append(Text(at + 10, 16, words, _SMALL, look="muted"))
        at += wide
    return marks


def _table(run: OverSizes) -> Table:
    """The same figures: by size, and the step from the size before."""
    judged = _judged(run)
    rows = []
    for j, size in enumerate(run.sizes):
        here, before = judged[j], judged[j - 1] if j else None
        step = "–" if here is None or before is None else signed(here - before, run.units)
        rows.append(
            (
                size,
                run.shown(run.printed[j]),
                *([run.shown(run.computed[j])] if run.computed else []),
                step,
            )
        )
    columns = (
        _("Size"),
        _("Printed") if run.computed else _("Value"),
        *([_("Computed")] if run.computed else []),
        _("Step from the size before"),
    )
    return Table(_("{title}, over the sizes").format(title=run.title), columns, tuple(rows))


def signed(step: float, units: LengthUnit | None) -> str:
    """A step as it is read: "+10", "−21", "0", without its unit."""
    size = abs(step)
    words = format_count(size) if units is None else format_length(size, units).rsplit(" ", 1)[0]
    if words == "0":
        return words
    return f"{'+' if step > 0 else '−'}{words}"
