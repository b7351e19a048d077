"""The plot of a round's page: when the pieces in progress will likely be done, against the closing date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from testround.paper import fonts
from testround.paper.drawing import (
    Circle,
    Drawing,
    Group,
    Line,
    Mark,
    Polygon,
    Text,
    diamond,
    square,
    triangle,
)
from testround.paper.plots.base import (
    DOT,
    LABEL,
    PHONE,
    SMALL,
    Plot,
    Scale,
    Sign,
    Table,
    label_column,
    legend_of,
)

_ROW = 24.0
# A label of the axis, "28 Dec", with air to the next one.
_TICK = 58.0
_STEPS = (1, 2, 7, 14, 28, 56, 91, 182, 364)
# A finish further off than this many times the closing date would squeeze all others; it is an arrow then.
_FARTHEST = 3.0

_LOOKS = ("in time", "may be late", "likely late")


@dataclass(frozen=True, slots=True)
class FinishRange:
    """When one tester's piece will likely be done; eight in ten are, between ``earliest`` and ``latest``.

    ``stands``: "in time", "may be late" or "likely late" against the day that counts for this tester, which is
    ``until`` where they asked for longer than the round has; empty while there is no such day.
    """

    tester: str
    size: str | None
    earliest: dt.date
    middle: dt.date
    latest: dt.date
    stands: str
    until: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Finishes:
    """A round's pieces in progress, in the order in which they are to be drawn; ``closes`` None: no date is set."""

    title: str
    today: dt.date
    closes: dt.date | None
    ranges: tuple[FinishRange, ...]


def finish_plot(data: Finishes, *, width: float = PHONE, ident: str = "finishes") -> Plot:
    """Each piece on a line of its own: a bar over its likely days, a sign at the middle one, and the closing date.

    How a piece stands is said by the shape of its sign and by where its bar lies, never by colour. A day beyond
    the axis stands at its edge as an arrow; the dates are in the label and in the table.
    """
    names = [_name(one) for one in data.ranges]
    label_width = label_column(names, width)
    scale = _days(data, label_width + 14, width - 14)
    signs, top = legend_of(_signs(data), width)
    # The words over the plot: which line is today, which the closing date.
    top += 18
    bottom = top + 6 + _ROW * len(data.ranges)
    marks: list[Mark] = [*signs, *_axis(scale, top, bottom), *_days_of_the_round(data, scale, top, bottom)]
    y = top + 6 + _ROW / 2
    for one, name in zip(data.ranges, names, strict=True):
        label = fonts.shortened(name, label_width, LABEL)
        marks.append(Text(label_width + 4, y + 4, label, LABEL, "end"))
        marks.append(_range_mark(one, scale, y))
        y += _ROW
    return Plot(
        Drawing(
            width,
            bottom + 24,
            _("%(round)s: when the pieces in progress will likely be done") % {"round": data.title},
            _words(data),
            tuple(marks),
        ),
        Table(
            _("Likely days of finishing"),
            (_("Tester"), _("Size"), _("Earliest"), _("Middle"), _("Latest"), ""),
            tuple(
                (
                    one.tester,
                    one.size or _("own"),
                    _day(one.earliest),
                    _day(one.middle),
                    _day(one.latest),
                    stands_said(one.stands),
                )
                for one in data.ranges
            ),
        ),
        None,
        ident,
    )


def _days(data: Finishes, start: float, end: float) -> Scale:
    """From today to the last day that is worth the room, which always holds the closing date."""
    first = data.today.toordinal()
    wanted = [one.latest.toordinal() - first for one in data.ranges]
    fixed = [day.toordinal() - first for day in (data.closes, *(one.until for one in data.ranges)) if day]
    farthest = max([14, *fixed, *(one.middle.toordinal() - first for one in data.ranges)])
    last = max([7, *fixed, *(min(days, _FARTHEST * farthest) for days in wanted)])
    # A round past its closing date keeps that date in the plot.
    low = min([0, *fixed, *(one.earliest.toordinal() - first for one in data.ranges)])
    air = 0.03 * (last - low)
    return Scale(first + low - air, first + last + air, start, end)


def _axis(scale: Scale, top: float, bottom: float) -> list[Mark]:
    marks: list[Mark] = [Line((scale.start, bottom), (scale.end, bottom), "axis")]
    most = max(int((scale.end - scale.start) // _TICK), 1)
    span = scale.high - scale.low
    step = next((step for step in _STEPS if span / step <= most), _STEPS[-1])
    day = int(scale.low) + 1
    # Weeks begin on Mondays, so that days of several weeks apart are Mondays too.
    day += -(day - 1) % 7 if step >= 7 else 0
    while day <= scale.high:
        x = scale(day)
        marks.append(Line((x, top), (x, bottom), "grid"))
        marks.append(Line((x, bottom), (x, bottom + 4), "axis"))
        label = _short(dt.date.fromordinal(day))
        half = fonts.width_of(label, SMALL) * 1.15 / 2
        if scale.start - 10 <= x - half and x + half <= scale.end + 13:
            marks.append(Text(x, bottom + 17, label, SMALL, "middle"))
        day += step
    return marks


def _days_of_the_round(data: Finishes, scale: Scale, top: float, bottom: float) -> list[Mark]:
    """The lines of today and of the closing date, and over them their words, side by side."""
    lines = [(data.today, _("today"), "band-edge")]
    if data.closes is not None:
        closes = _("closes %(day)s") % {"day": _short(data.closes)}
        lines.append((data.closes, closes, "target"))
    marks: list[Mark] = []
    free = scale.start - 10
    for day, words, look in sorted(lines):
        x = scale(day.toordinal())
        marks.append(Line((x, top), (x, bottom), look))
        long = fonts.width_of(words, SMALL) * 1.15
        begin = min(max(x - long / 2, free), scale.end + 13 - long)
        if begin >= free - 1:
            marks.append(Text(begin, top - 6, words, SMALL, look="strong" if look == "target" else "muted"))
            free = begin + long + 8
    return marks


def _range_mark(one: FinishRange, scale: Scale, y: float) -> Group:
    earliest, latest = one.earliest.toordinal(), one.latest.toordinal()
    left, right = scale.clipped(earliest), scale.clipped(latest)
    marks: list[Mark] = [Line((left, y), (right, y), "interval")]
    if latest > scale.high:
        marks.append(triangle((right, y), 6, "solid", towards="right"))
    marks.append(_sign(one.stands, (scale.clipped(one.middle.toordinal()), y)))
    if one.until is not None:
        x = scale.clipped(one.until.toordinal())
        marks.append(Line((x, y - 9), (x, y + 9), "target"))
    return Group(tuple(marks), _range_words(one), "point")


def _sign(stands: str, at: tuple[float, float]) -> Circle | Polygon:
    match stands:
        case "in time":
            return Circle(at, DOT, "hollow")
        case "may be late":
            return diamond(at, 6, "estimate")
        case "likely late":
            return square(at, 5, "solid")
        case _:
            return Circle(at, DOT, "solid")


def _signs(data: Finishes) -> list[Sign]:
    there = {one.stands for one in data.ranges}
    signs = [Sign((_sign(look, (0, 0)),), 12, _in_short(look)) for look in _LOOKS if look in there]
    if any(one.until for one in data.ranges):
        signs.append(Sign((Line((0, -7), (0, 7), "target"),), 6, _("asked for until then")))
    return signs


def _name(one: FinishRange) -> str:
    return one.tester if one.size is None else f"{one.tester}, {one.size}"


def stands_said(stands: str) -> str:
    """How a piece stands to its date, in words; nothing where that is not known."""
    return {
        "in time": pgettext("how a piece stands to its date", "in time"),
        "may be late": pgettext("how a piece stands to its date", "may be late"),
        "likely late": pgettext("how a piece stands to its date", "likely late"),
    }.get(stands, "")


def _in_short(stands: str) -> str:
    """The same beside its sign, where there is little room."""
    if stands == "may be late":
        return pgettext("how a piece stands to its date", "perhaps late")
    return stands_said(stands)


def _range_words(one: FinishRange) -> str:
    said = _("%(tester)s: %(earliest)s to %(latest)s") % {
        "tester": _name(one),
        "earliest": _day(one.earliest),
        "latest": _day(one.latest),
    }
    if one.stands:
        said += f", {stands_said(one.stands)}"
    if one.until:
        said = _("%(said)s, asked for until %(day)s") % {"said": said, "day": _day(one.until)}
    return said


def _words(data: Finishes) -> str:
    count = len(data.ranges)
    said = ngettext("%(n)s piece in progress", "%(n)s pieces in progress", count) % {"n": count}
    if data.closes is None:
        return _("%(pieces)s; no closing date is set.") % {"pieces": said}
    late = _count(data.ranges, "likely late")
    return _("%(pieces)s, %(late)s likely late; the round closes on %(day)s.") % {
        "pieces": said,
        "late": late,
        "day": _day(data.closes),
    }


def _count(ranges: Iterable[FinishRange], stands: str) -> int:
    return sum(one.stands == stands for one in ranges)


def _short(day: dt.date) -> str:
    """A day beside others on an axis: "28 Dec"."""
    # Translators: in the letters of Django's date formats; "j. M" gives "28. Dez."
    return date_format(day, pgettext("a day on an axis", "j M"))


def _day(day: dt.date) -> str:
    return date_format(day, "DATE_FORMAT")
