"""Testers are reminded once before a date and once after it, by day where they live, in one mail a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core import mail

from testround.outbox.models import Mail, Stopped
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.models import MailDay, Nudge, Place, Reminder, Round
from testround.rounds.services import reminders_send

pytestmark = pytest.mark.django_db(transaction=True)

DUE = dt.date(2027, 1, 25)
CLOSES = dt.date(2027, 3, 8)


def at(day: dt.date, hour: int = 12, minute: int = 0, zone: str = "UTC") -> dt.datetime:
    return dt.datetime.combine(day, dt.time(hour, minute), tzinfo=ZoneInfo(zone))


def days_from(day: dt.date, days: int) -> dt.date:
    return day + dt.timedelta(days=days)


@pytest.fixture
def held(a_round: Round, place: Place) -> Place:
    """The tester's place, taken, in a round whose swatches are due on 25 January and which closes on 8 March."""
    Round.objects.filter(pk=a_round.pk).update(swatches_due=DUE, closes=CLOSES)
    place.refresh_from_db()
    return place


def lives_in(person: User, zone: str) -> None:
    User.objects.filter(pk=person.pk).update(time_zone=zone)


def subjects() -> list[str]:
    return [sent.subject for sent in mail.outbox]


# -- when -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("days", "subject"),
    [
        (-4, None),
        (-3, "Little top: your swatch is due on 25 January 2027"),
        (-1, "Little top: your swatch is due on 25 January 2027"),
        (0, "Little top: your swatch is due on 25 January 2027"),
        (1, "Little top: your swatch was due on 25 January 2027"),
        (7, "Little top: your swatch was due on 25 January 2027"),
        (8, None),
    ],
)
def test_a_reminder_comes_from_three_days_before_a_date_to_a_week_after_it(
    held: Place, days: int, subject: str | None
) -> None:
    reminders_send(now=at(days_from(DUE, days)))

    assert subjects() == ([subject] if subject else [])


def test_of_each_date_there_is_one_before_it_and_one_after_it_and_no_more(held: Place) -> None:
    for days in range(-5, 12):
        for hour in (9, 12, 19):
            reminders_send(now=at(days_from(DUE, days), hour))

    assert subjects() == [
        "Little top: your swatch is due on 25 January 2027",
        "Little top: your swatch was due on 25 January 2027",
    ]
    assert [(row.what, row.when, row.day.day) for row in Reminder.objects.order_by("pk")] == [
        ("swatch", "before", dt.date(2027, 1, 22)),
        ("swatch", "after", dt.date(2027, 1, 26)),
    ]


@pytest.mark.parametrize(
    ("hour", "minute", "comes"), [(8, 59, False), (9, 0, True), (19, 59, True), (20, 0, False)]
)
def test_it_comes_at_a_civil_hour(held: Place, hour: int, minute: int, comes: bool) -> None:
    # From nine to eight (common practice).
    assert reminders_send(now=at(DUE, hour, minute)) == comes


# Offsets from the IANA time zone database, by hand: Kiritimati is 14 hours ahead of UTC, Pago Pago 11 behind, the
# Chatham Islands 13:45 ahead in their summer, Kathmandu 5:45.
@pytest.mark.parametrize(
    ("zone", "now", "comes"),
    [
        ("Pacific/Kiritimati", "2027-01-21T18:59+00:00", False),  # 8:59 on the 22nd there
        ("Pacific/Kiritimati", "2027-01-21T19:00+00:00", True),  # 9:00 on the 22nd, three days before
        ("Pacific/Pago_Pago", "2027-01-22T19:59+00:00", False),  # 8:59 on the 22nd
        ("Pacific/Pago_Pago", "2027-01-22T20:00+00:00", True),  # 9:00
        ("Pacific/Chatham", "2027-01-21T19:14+00:00", False),  # 8:59 on the 22nd
        ("Pacific/Chatham", "2027-01-21T19:15+00:00", True),  # 9:00
        ("Asia/Kathmandu", "2027-01-22T14:14+00:00", True),  # 19:59
        ("Asia/Kathmandu", "2027-01-22T14:15+00:00", False),  # 20:00
    ],
)
def test_day_and_hour_are_those_where_the_tester_lives(
    held: Place, tester: User, zone: str, now: str, comes: bool
) -> None:
    lives_in(tester, zone)

    assert reminders_send(now=dt.datetime.fromisoformat(now)) == comes


# Summer time begins in London on 28 March 2027 at 1:00 UTC and ends on 31 October 2027 at 1:00 UTC (Directive
# 2000/84/EC's rule, which the database has for London too: the last Sundays of March and October).
@pytest.mark.parametrize(
    ("now", "comes"),
    [
        ("2027-03-27T08:30+00:00", False),  # 8:30 in winter
        ("2027-03-28T08:30+00:00", True),  # 9:30 on the day the clocks went forward
        ("2027-10-30T08:30+00:00", True),  # 9:30 in summer
        ("2027-10-31T08:30+00:00", False),  # 8:30 on the day they went back
        ("2027-03-27T19:30+00:00", True),  # 19:30
        ("2027-03-28T19:30+00:00", False),  # 20:30
    ],
)
def test_the_civil_hour_moves_with_summer_time(held: Place, tester: User, now: str, comes: bool) -> None:
    lives_in(tester, "Europe/London")
    moment = dt.datetime.fromisoformat(now)
    Round.objects.filter(pk=held.round_id).update(swatches_due=moment.date())

    assert reminders_send(now=moment) == comes


def test_a_zone_that_is_unknown_here_goes_by_the_servers(held: Place, tester: User, settings: Any) -> None:
    lives_in(tester, "Mars/Olympus_Mons")
    settings.TIME_ZONE = "Asia/Tokyo"  # nine hours ahead

    assert reminders_send(now=at(DUE, 0, 0)) == 1


# -- who ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state", "closes_in", "said"),
    [
        ("taken", 40, "your swatch is due"),
        ("swatch sent", 40, None),
        ("making", 2, "your finished measurements are due"),
        ("gauge agreed", 2, "your finished measurements are due"),
        ("measured", 2, None),
        ("done", 2, None),
        ("given back", 2, None),
        ("offered", 2, None),
    ],
)
def test_what_is_awaited_depends_on_how_far_the_place_has_come(
    held: Place, state: str, closes_in: int, said: str | None
) -> None:
    Place.objects.filter(pk=held.pk).update(state=state)
    Round.objects.filter(pk=held.round_id).update(closes=days_from(DUE, closes_in))

    reminders_send(now=at(DUE))

    assert [said in subject for subject in subjects() if said] == ([True] if said else [])
    assert len(mail.outbox) == bool(said)


def test_who_stopped_reminders_gets_none(held: Place, tester: User) -> None:
    Stopped.objects.create(person=tester, kind="reminders")

    assert reminders_send(now=at(DUE)) == 0
    assert not Reminder.objects.exists()


@pytest.mark.parametrize("state", ["planned", "closed"])
def test_nobody_is_reminded_for_a_round_that_has_not_begun_or_that_its_designer_closed(
    held: Place, state: str
) -> None:
    Round.objects.filter(pk=held.round_id).update(state=state, moved_at=at(days_from(DUE, -10)))

    assert reminders_send(now=at(DUE)) == 0


def test_a_round_that_its_date_closed_still_asks_for_the_measurements_once(held: Place) -> None:
    Place.objects.filter(pk=held.pk).update(state="making")
    Round.objects.filter(pk=held.round_id).update(state="closed", moved_at=at(days_from(CLOSES, 1), 0))

    for days in (1, 2, 3):
        reminders_send(now=at(days_from(CLOSES, days)))

    assert subjects() == ["Little top: your finished measurements were due on 8 March 2027"]


def test_a_place_without_an_account_is_passed_by(held: Place) -> None:
    Place.objects.filter(pk=held.pk).update(tester=None)

    assert reminders_send(now=at(DUE)) == 0


# -- one mail a day -------------------------------------------------------------------------------------------


def second_place(edition: Edition, tester: User, **dates: Any) -> Place:
    other = Round.objects.create(edition=edition, title="Second test", state="making", **dates)
    return Place.objects.create(
        round=other, key="t01", name="Tester one", tester=tester, size="M", state="making"
    )


def test_dates_of_several_rounds_come_gathered_in_one_mail(
    held: Place, edition: Edition, tester: User, settings: Any
) -> None:
    second_place(edition, tester, closes=days_from(DUE, 2))

    assert reminders_send(now=at(days_from(DUE, -1))) == 1

    (sent,) = mail.outbox
    assert sent.subject == "2 dates of what you are testing"
    assert (
        "Little top, size S, for Designer: your swatch is due tomorrow, on 25 January 2027.\n\n" in sent.body
    )
    assert (
        "Little top, size M, for Designer: your finished measurements are due in 3 days, on 27 January 2027.\n"
        in sent.body
    )
    assert sent.body.count("I need until…:\nhttp") == 2
    assert f"See what is due:\n{settings.SITE_URL}/\n" in sent.body


def test_what_falls_due_later_on_the_same_day_waits_for_the_next(
    held: Place, edition: Edition, tester: User
) -> None:
    reminders_send(now=at(DUE, 9))
    second_place(edition, tester, closes=days_from(DUE, 1))

    same_day = reminders_send(now=at(DUE, 15))
    next_day = reminders_send(now=at(days_from(DUE, 1), 9))

    assert (same_day, next_day) == (0, 1)
    assert [row.day for row in MailDay.objects.order_by("day")] == [DUE, days_from(DUE, 1)]


def test_a_designers_word_is_the_mail_of_the_day(held: Place, tester: User, designer: User) -> None:
    Nudge.objects.create(place=held, person=tester, by=designer, day=days_from(DUE, -1))

    assert reminders_send(now=at(days_from(DUE, -1))) == 0
    assert reminders_send(now=at(DUE)) == 1


def test_a_person_reminded_by_another_process_in_the_same_moment_is_reminded_once(
    held: Place, tester: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    from testround.rounds.services import reminders

    dates_of = reminders._dates_of

    def meanwhile(place: Place, today: dt.date) -> Any:
        found = list(dates_of(place, today))
        MailDay.objects.create(person=tester, day=today)  # the other process was quicker
        return iter(found)

    monkeypatch.setattr(reminders, "_dates_of", meanwhile)

    assert reminders_send(now=at(DUE)) == 0
    assert (mail.outbox, Reminder.objects.count(), Mail.objects.count()) == ([], 0, 0)


# -- a date of one's own --------------------------------------------------------------------------------------


def test_reminders_follow_the_date_that_the_tester_asked_for(held: Place) -> None:
    reminders_send(now=at(days_from(DUE, -1)))
    Place.objects.filter(pk=held.pk).update(swatch_until=dt.date(2027, 2, 8))

    for days in range(1, 20):
        reminders_send(now=at(days_from(DUE, days)))

    assert subjects() == [
        "Little top: your swatch is due on 25 January 2027",
        "Little top: your swatch is due on 8 February 2027",
        "Little top: your swatch was due on 8 February 2027",
    ]


# -- what it says ---------------------------------------------------------------------------------------------


def test_a_reminder_says_what_is_due_how_to_send_it_and_how_to_get_more_time(
    held: Place, tester: User, settings: Any, diary_of: Callable[[Round], list[str]]
) -> None:
    lives_in(tester, "Europe/Paris")
    reminders_send(now=at(days_from(DUE, -3)))

    (sent,) = mail.outbox
    body, _, foot = sent.body.partition("\n-- \n")
    assert body.startswith(
        "Hello Tester one,\n\n"
        "Little top, size S, for Designer: your swatch is due in 3 days, on 25 January 2027.\n\n"
        f"Send the swatch:\n{settings.SITE_URL}{held.get_absolute_url()}\n\n"
        f"More time? I need until…:\n{settings.SITE_URL}/rounds/until/"
    )
    assert foot.startswith(
        "You get this mail because you test Little top. It comes by day in your time zone, Europe/Paris, and at most "
        "once a day.\nNo more mails of this kind: http"
    )
    assert sent.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert diary_of(held.round) == ["Tester one was reminded by mail: swatch due 25 January 2027."]


def test_a_reminder_of_measurements_says_when_the_piece_is_likely_done(held: Place) -> None:
    Place.objects.filter(pk=held.pk).update(
        state="making", likely_from=dt.date(2027, 3, 9), likely_until=dt.date(2027, 3, 15)
    )

    reminders_send(now=at(days_from(CLOSES, -3)))

    assert (
        "your finished measurements are due in 3 days, on 8 March 2027. At the pace so far the piece is likely done "
        "between 9 March 2027 and 15 March 2027; the round closes on 8 March 2027.\n"
    ) in mail.outbox[0].body


def test_after_a_date_nobody_is_scolded(held: Place) -> None:
    reminders_send(now=at(days_from(DUE, 1)))

    assert (
        "your swatch was due on 25 January 2027. It is welcome all the same, and only marked as late.\n"
        in mail.outbox[0].body
    )


# -- many -----------------------------------------------------------------------------------------------------


def test_looking_for_whom_to_remind_costs_the_same_for_few_and_for_many(
    held: Place, a_round: Round, django_assert_num_queries: Any
) -> None:
    for n in range(20):
        person = User.objects.create_user(f"t{n}@example.org", name=f"Tester {n}")
        Place.objects.create(
            round=a_round, key=f"k{n}", name=f"Tester {n}", tester=person, size="S", state="taken"
        )
    assert reminders_send(now=at(DUE)) == 21

    with django_assert_num_queries(3):  # places, what they were reminded of, mails of the day
        assert reminders_send(now=at(DUE, 13)) == 0
