"""Calendars as other programs read them.

Examples are those of RFC 5545, named beside each; what the writer makes as a whole is read back by the
``icalendar`` library, a reader that knows nothing of ours.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from testround.talk.ical import Day, calendar, escaped, folded

STAMP = dt.datetime(2027, 1, 11, 9, 30, tzinfo=dt.UTC)


def day(**changed: Any) -> Day:
    values = {
        "uid": "place-7-swatch@testround.example.org",
        "day": dt.date(2027, 1, 25),
        "summary": "Swatch due: Little top, size S",
        "description": "What comes later is taken all the same.",
        "url": "https://testround.example.org/places/7/",
        "stamp": STAMP,
    }
    return Day(**{**values, **changed})


def test_a_calendar_as_it_leaves() -> None:
    # The properties an event must have are UID and DTSTAMP, and DTSTART where the calendar has no METHOD
    # (RFC 5545, section 3.6.1); a calendar's are PRODID and VERSION (3.6). Lines end with CR LF (3.1).
    assert calendar("Test rounds", [day()]) == (
        "BEGIN:VCALENDAR\r\n"
        "VERSION:2.0\r\n"
        "PRODID:-//Testround//Dates of a round//EN\r\n"
        "CALSCALE:GREGORIAN\r\n"
        "NAME:Test rounds\r\n"
        "X-WR-CALNAME:Test rounds\r\n"
        "REFRESH-INTERVAL;VALUE=DURATION:PT6H\r\n"
        "X-PUBLISHED-TTL:PT6H\r\n"
        "BEGIN:VEVENT\r\n"
        "UID:place-7-swatch@testround.example.org\r\n"
        "DTSTAMP:20270111T093000Z\r\n"
        "LAST-MODIFIED:20270111T093000Z\r\n"
        "DTSTART;VALUE=DATE:20270125\r\n"
        "DTEND;VALUE=DATE:20270126\r\n"
        "SUMMARY:Swatch due: Little top\\, size S\r\n"
        "DESCRIPTION:What comes later is taken all the same.\r\n"
        "URL:https://testround.example.org/places/7/\r\n"
        "TRANSP:TRANSPARENT\r\n"
        "END:VEVENT\r\n"
        "END:VCALENDAR\r\n"
    )


def test_the_end_of_a_day_is_the_first_that_is_not_part_of_it() -> None:
    # RFC 5545, section 3.6.1, on DTEND: its example of several days is
    # DTSTART;VALUE=DATE:20070628 with DTEND;VALUE=DATE:20070709, which does not include the ninth.
    text = calendar("Test rounds", [day(day=dt.date(2027, 2, 28))])

    assert "DTSTART;VALUE=DATE:20270228\r\nDTEND;VALUE=DATE:20270301\r\n" in text


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # RFC 5545, section 3.3.11: the three lines "Project XYZ Final Review", "Conference Room - 3B" and
        # "Come Prepared." are one value.
        (
            "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",
            "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.",
        ),
        ("a, b; c: d", "a\\, b\\; c: d"),
        ("a\\b", "a\\\\b"),
        ("a\\n", "a\\\\n"),
        ("one\r\ntwo\rthree", "one\\ntwo\\nthree"),
        ('“quoted” and "quoted"', '“quoted” and "quoted"'),
        # Section 3.1: controls but for the tab stand nowhere in a value.
        ("a\x00b\x07c\x7fd\te", "abcd\te"),
    ],
)
def test_a_text_value_is_escaped(text: str, value: str) -> None:
    assert escaped(text) == value


def test_a_long_line_goes_on_behind_a_space() -> None:
    # RFC 5545, section 3.1: "DESCRIPTION:This is a lo" and " ng description" are one line; a line has at most 75
    # octets without its end.
    line = "DESCRIPTION:" + "x" * 75

    assert list(folded(line)) == ["DESCRIPTION:" + "x" * 63, " " + "x" * 12]


def test_a_line_of_75_octets_stays_whole() -> None:
    assert list(folded("x" * 75)) == ["x" * 75]


def test_no_character_is_cut_in_two() -> None:
    # "–" has three octets; 25 of them fill a line, and the 26th begins the next.
    assert list(folded("–" * 26)) == ["–" * 25, " –"]


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=400))
def test_folding_loses_nothing_and_keeps_every_line_short(line: str) -> None:
    pieces = list(folded(line))

    assert all(len(piece.encode()) <= 75 for piece in pieces)
    assert pieces[0] + "".join(piece[1:] for piece in pieces[1:]) == line
    assert all(piece.startswith(" ") for piece in pieces[1:])


@given(
    summary=st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=300),
    description=st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=300),
    on=st.dates(dt.date(1970, 1, 1), dt.date(2200, 1, 1)),
)
def test_another_reader_finds_what_was_written(summary: str, description: str, on: dt.date) -> None:
    text = calendar("Test rounds", [day(summary=summary, description=description, day=on)])

    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert str(event["SUMMARY"]) == summary
    assert str(event.get("DESCRIPTION", "")) == description
    assert (event.decoded("DTSTART"), event.decoded("DTEND")) == (on, on + dt.timedelta(days=1))
    assert event.decoded("DTSTAMP") == STAMP
    assert str(event["UID"]) == "place-7-swatch@testround.example.org"
    assert str(event["URL"]) == "https://testround.example.org/places/7/"
    assert event.errors == []


def test_another_reader_reads_a_calendar_without_dates() -> None:
    # Section 3.6: a calendar has at least one component.
    read = icalendar.Calendar.from_ical(calendar("Test rounds", []))

    assert [part.name for part in read.subcomponents] == ["VTIMEZONE"]
    assert read.walk("VEVENT") == []
    assert str(read["NAME"]) == "Test rounds"


def test_a_moment_is_given_in_universal_time() -> None:
    # Section 3.8.7.2: DTSTAMP is in UTC.
    noon_in_tokyo = dt.datetime(2027, 1, 11, 12, 0, tzinfo=dt.timezone(dt.timedelta(hours=9)))

    assert "DTSTAMP:20270111T030000Z\r\n" in calendar("Test rounds", [day(stamp=noon_in_tokyo)])


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="has no time zone"):
        calendar("Test rounds", [day(stamp=dt.datetime(2027, 1, 11))])


def test_an_address_that_would_end_its_line_is_refused() -> None:
    with pytest.raises(ValueError, match="would end its line"):
        calendar("Test rounds", [day(url="https://testround.example.org/\r\nATTENDEE:x")])
