"""Calendars as text: days with something on them, as other programs read them.

References
----------
RFC 5545, Internet Calendaring and Scheduling Core Object Specification (iCalendar): content lines and folding in
section 3.1, text values in 3.3.11, events in 3.6.1, days without a time in 3.3.4 and 3.8.2.4.
RFC 7986, New Properties for iCalendar: the name of a calendar and how often to fetch it, 5.1 and 5.7.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

PRODUCT = "-//Testround//Dates of a round//EN"
LONGEST_LINE = 75
"""Octets, without the line's end."""


@dataclass(frozen=True, slots=True)
class Day:
    """Something on one day.

    ``uid`` stays the same when the day moves, so that a calendar moves it too. ``stamp`` is when this was last
    revised, with its time zone.
    """

    uid: str
    day: dt.date
    summary: str
    description: str
    url: str
    stamp: dt.datetime


def calendar(name: str, days: Sequence[Day]) -> str:
    """An iCalendar object with an event for each day, its lines ended and folded as the standard asks.

    Raises
    ------
    ValueError
        A stamp has no time zone, or an address holds a sign that would end its line.
    """
    lines: list[str] = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:{PRODUCT}",
        "CALSCALE:GREGORIAN",
        f"NAME:{escaped(name)}",
        f"X-WR-CALNAME:{escaped(name)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT6H",
        "X-PUBLISHED-TTL:PT6H",
    ]
    for day in days:
        lines += _event(day)
    if not days:
        # A calendar has at least one component (section 3.6), and a time zone shows nobody anything.
        lines += _UNIVERSAL_TIME
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in folded(line))


_UNIVERSAL_TIME = (
    "BEGIN:VTIMEZONE",
    "TZID:Etc/UTC",
    "BEGIN:STANDARD",
    "DTSTART:19700101T000000",
    "TZOFFSETFROM:+0000",
    "TZOFFSETTO:+0000",
    "END:STANDARD",
    "END:VTIMEZONE",
)


def _event(day: Day) -> Iterator[str]:
    stamp = _utc(day.stamp)
    yield "BEGIN:VEVENT"
    yield f"UID:{escaped(day.uid)}"
    yield f"DTSTAMP:{stamp}"
    yield f"LAST-MODIFIED:{stamp}"
    yield f"DTSTART;VALUE=DATE:{day.day:%Y%m%d}"
    # The end is the first day that is no longer part of it.
    yield f"DTEND;VALUE=DATE:{day.day + dt.timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{escaped(day.summary)}"
    if day.description:
        yield f"DESCRIPTION:{escaped(day.description)}"
    yield f"URL:{_address(day.url)}"
    # It takes up no time: whoever looks for a free hour finds one that day.
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def escaped(text: str) -> str:
    """A text value: backslash, semicolon, comma and line break behind a backslash; other controls left out."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")
    return "".join(sign for sign in text if sign == "\t" or not _is_control(sign))


def _is_control(sign: str) -> bool:
    return ord(sign) < 0x20 or ord(sign) == 0x7F


def folded(line: str) -> Iterable[str]:
    """A content line in pieces of at most 75 octets, each after the first behind a space; no character is cut."""
    piece, size = "", 0
    for sign in line:
        octets = len(sign.encode())
        if size + octets > LONGEST_LINE:
            yield piece
            piece, size = " ", 1
        piece += sign
        size += octets
    yield piece


def _utc(moment: dt.datetime) -> str:
    if moment.tzinfo is None:
        raise ValueError(f"The moment {moment} has no time zone.")
    return f"{moment.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"


def _address(url: str) -> str:
    if any(_is_control(sign) or sign.isspace() for sign in url):
        raise ValueError(f"The address {url!r} holds a sign that would end its line.")
    return url
