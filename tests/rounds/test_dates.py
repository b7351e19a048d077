"""A later date for one place, asked for in one tap; likely days of finishing; rounds moved by what testers send."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.kernel.pace import Finish, Forecast, Range
from testround.outbox.letters import letter, to_data
from testround.outbox.models import Mail
from testround.people.models import User
from testround.reports.claims import is_late
from testround.rounds.due import Due, dues_of
from testround.rounds.forms.fields import DateField
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors import forecasts
from testround.rounds.services import (
    likely_days_keep,
    place_needs_until,
    place_reach,
    round_move,
    rounds_follow_places,
)
from testround.rounds.services.dates import (
    LINK_LASTS,
    UnknownLink,
    extension_of,
    place_of_token,
    until_address,
)

pytestmark = pytest.mark.django_db

DUE = dt.date(2027, 1, 25)
CLOSES = dt.date(2027, 3, 8)
NOON = dt.datetime(2027, 1, 24, 12, tzinfo=dt.UTC)
SignIn = Callable[[User], Client]
DiaryOf = Callable[[Round], list[str]]


@pytest.fixture
def held(a_round: Round, place: Place) -> Place:
    """The tester's place, taken, in a round whose swatches are due on 25 January and which closes on 8 March."""
    Round.objects.filter(pk=a_round.pk).update(swatches_due=DUE, closes=CLOSES)
    place.refresh_from_db()
    return place


def in_days(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


@pytest.fixture
def soon(a_round: Round, place: Place) -> Place:
    """The same, with dates around today: swatches due tomorrow, closing in forty days."""
    Round.objects.filter(pk=a_round.pk).update(swatches_due=in_days(1), closes=in_days(40))
    place.refresh_from_db()
    return place


# -- what is due ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state", "dues"),
    [
        ("offered", []),
        ("taken", [("swatch", DUE), ("finished measurements", CLOSES)]),
        ("swatch sent", [("finished measurements", CLOSES)]),
        ("gauge agreed", [("finished measurements", CLOSES)]),
        ("making", [("finished measurements", CLOSES)]),
        ("measured", []),
        ("done", []),
        ("given back", []),
    ],
)
def test_what_is_due_follows_from_how_far_a_place_has_come(
    held: Place, state: str, dues: list[tuple[str, dt.date]]
) -> None:
    held.state = state

    assert [(due.what, due.date) for due in dues_of(held)] == dues


def test_a_date_of_ones_own_counts_while_it_is_later_than_the_rounds(held: Place) -> None:
    held.swatch_until = dt.date(2027, 2, 1)
    own = dues_of(held)[0]
    held.round.swatches_due = dt.date(2027, 2, 5)

    assert own == Due("swatch", dt.date(2027, 2, 1), DUE)
    assert dues_of(held)[0] == Due("swatch", dt.date(2027, 2, 5), dt.date(2027, 2, 5))


def test_a_round_without_dates_awaits_nothing_by_any_day(place: Place) -> None:
    assert dues_of(place) == []


# -- I need until… --------------------------------------------------------------------------------------------


def test_asking_for_a_later_day_gives_the_place_that_day_and_says_so_in_the_diary(
    held: Place, tester: User, diary_of: DiaryOf
) -> None:
    place = place_needs_until(place=held, what="swatch", until=dt.date(2027, 2, 8), by=tester, now=NOON)

    assert (place.swatch_until, place.measures_until) == (dt.date(2027, 2, 8), None)
    assert diary_of(held.round) == [
        "Tester one needs until 8 February 2027 for the swatch, which had been due on 25 January 2027."
    ]
    assert held.round.diary.get().by == tester


def test_the_same_day_again_changes_nothing(held: Place, tester: User, diary_of: DiaryOf) -> None:
    for _ in range(2):
        place_needs_until(place=held, what="swatch", until=dt.date(2027, 2, 8), by=tester, now=NOON)

    assert len(diary_of(held.round)) == 1


@pytest.mark.parametrize(
    ("until", "sentence"),
    [
        (dt.date(2027, 1, 23), "23 January 2027 is past: choose a day from 24 January 2027 on."),
        (
            dt.date(2027, 1, 25),
            "You have until 25 January 2027 as it is: choose a later day, or leave it at that.",
        ),
        (
            dt.date(2028, 1, 25),
            "25 January 2028 is very far off: choose a day until 24 May 2027, or write to the designer.",
        ),
    ],
)
def test_a_day_that_cannot_be_meant_is_refused_with_a_sentence(
    held: Place, tester: User, until: dt.date, sentence: str
) -> None:
    with pytest.raises(Refused) as refused:
        place_needs_until(place=held, what="swatch", until=until, by=tester, now=NOON)

    assert refused.value.sentence == sentence
    held.refresh_from_db()
    assert held.swatch_until is None


def test_more_time_for_what_has_come_already_is_refused(held: Place, tester: User) -> None:
    Place.objects.filter(pk=held.pk).update(state="making")

    with pytest.raises(Refused, match="Nothing of this kind is awaited"):
        place_needs_until(place=held, what="swatch", until=dt.date(2027, 2, 8), by=tester, now=NOON)


def test_whose_day_is_past_is_told_by_the_testers_own_clock(held: Place, tester: User) -> None:
    # When it is noon on the 24th in UTC it is two in the morning of the 25th in Kiritimati.
    User.objects.filter(pk=tester.pk).update(time_zone="Pacific/Kiritimati")

    with pytest.raises(Refused, match="from 25 January 2027 on"):
        place_needs_until(place=held, what="swatch", until=dt.date(2027, 1, 24), by=tester, now=NOON)


@pytest.mark.parametrize(
    ("now", "likely", "days"),
    [
        (dt.datetime(2027, 1, 20, 12, tzinfo=dt.UTC), None, ["1-28", "2-1", "2-8", "2-22"]),
        (dt.datetime(2027, 1, 30, 12, tzinfo=dt.UTC), None, ["2-2", "2-6", "2-13", "2-27"]),
    ],
)
def test_the_days_to_choose_from_begin_at_the_date_or_today_whichever_is_later(
    held: Place, now: dt.datetime, likely: dt.date | None, days: list[str]
) -> None:
    extension = extension_of(held, now=now)

    assert extension is not None
    assert [f"{date.month}-{date.day}" for date in extension.suggested] == days


def test_the_day_the_pace_points_to_is_among_them(held: Place) -> None:
    held.state, held.likely_until = "making", dt.date(2027, 3, 17)

    extension = extension_of(held, now=NOON)

    assert extension is not None
    assert dt.date(2027, 3, 17) in extension.suggested


# -- the pages ------------------------------------------------------------------------------------------------


def test_a_link_from_a_mail_takes_one_tap_and_no_signing_in(
    client: Client, soon: Place, settings: Any
) -> None:
    path = until_address(soon).removeprefix(settings.SITE_URL)
    page = client.get(path)
    days = re.findall(r'name="until" value="([\d-]+)"', page.content.decode())

    done = client.post(path, {"until": days[1]}, follow=True)

    soon.refresh_from_db()
    assert days == [in_days(1 + days).isoformat() for days in (3, 7, 14, 28)]
    assert soon.swatch_until == in_days(8)
    assert "Noted: you need until" in done.content.decode()
    assert page["Referrer-Policy"] == "strict-origin"
    assert "no-store" in page["Cache-Control"]


def test_looking_at_the_page_changes_nothing(client: Client, soon: Place) -> None:
    client.get(until_address(soon))

    soon.refresh_from_db()
    assert soon.swatch_until is None


def test_another_day_can_be_written_and_what_is_wrong_with_it_is_said(
    signed_in: SignIn, soon: Place, tester: User
) -> None:
    path = reverse("rounds:until", args=[soon.pk])
    client = signed_in(tester)

    wrong = client.post(path, {"other": in_days(-1).isoformat()})
    nothing = client.post(path, {})
    right = client.post(path, {"other": in_days(10).isoformat()})

    soon.refresh_from_db()
    assert (wrong.status_code, "is past: choose a day from" in wrong.content.decode()) == (422, True)
    assert (nothing.status_code, "Choose one of the days, or write another." in nothing.content.decode()) == (
        422,
        True,
    )
    assert (right.status_code, soon.swatch_until) == (302, in_days(10))


def test_where_nothing_is_awaited_the_page_says_so(signed_in: SignIn, soon: Place, tester: User) -> None:
    Place.objects.filter(pk=soon.pk).update(state="done")

    page = signed_in(tester).get(reverse("rounds:until", args=[soon.pk]))

    assert "Nothing is awaited from you" in page.content.decode()


def test_the_link_is_for_whoever_held_the_place_when_it_was_sent(
    client: Client, soon: Place, stranger: User
) -> None:
    address = until_address(soon)
    Place.objects.filter(pk=soon.pk).update(tester=stranger)

    assert client.get(address).status_code == 404


@pytest.mark.parametrize("token", ["made-up", "WzEsMV0:1tGq2A:forged"])
def test_a_forged_link_opens_nothing(client: Client, soon: Place, token: str) -> None:
    assert client.get(f"/rounds/until/{token}/").status_code == 404


def test_the_link_runs_out(soon: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    token = until_address(soon).split("/")[-2]
    signed = timezone.now().timestamp()

    monkeypatch.setattr("django.core.signing.time.time", lambda: signed + LINK_LASTS.total_seconds() - 10)
    assert place_of_token(token) == soon
    monkeypatch.setattr("django.core.signing.time.time", lambda: signed + LINK_LASTS.total_seconds() + 10)
    with pytest.raises(UnknownLink):
        place_of_token(token)


def test_the_designer_sees_on_her_first_page_who_needs_longer_than_the_round(
    signed_in: SignIn, soon: Place, tester: User, designer: User
) -> None:
    Place.objects.filter(pk=soon.pk).update(state="making")
    place_needs_until(place=soon, what="finished measurements", until=in_days(47), by=tester)

    page = signed_in(designer).get(reverse("home")).content.decode()

    assert "1 tester needs longer, until" in page
    assert "the round closes on" in page


# -- late or not ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("until", "state", "late"),
    [
        (None, "making", True),
        (0, "making", False),
        (3, "closed", False),
        (-1, "making", True),
        (-1, "closed", True),
    ],
)
def test_who_keeps_to_the_day_they_asked_for_is_not_late(
    place: Place, until: int | None, state: str, late: bool
) -> None:
    place.round.closes, place.round.state = in_days(-2), state
    place.measures_until = None if until is None else in_days(until)

    assert is_late(place, "finished") is late


# -- the likely days of finishing -----------------------------------------------------------------------------

FOUND = Forecast(
    tester="t01",
    so_far=10,
    share=0.5,
    left=Range(8, 10, 12),
    rhythm=None,
    finish=Finish(dt.date(2027, 3, 3), dt.date(2027, 3, 6), dt.date(2027, 3, 9)),
    rests_on="own",
    others=0,
    own_pace=None,
)


@pytest.fixture
def foretold(monkeypatch: pytest.MonkeyPatch, held: Place) -> list[dt.date]:
    """The days for which the round was foretold; its one piece is likely done from 3 to 9 March."""
    asked: list[dt.date] = []

    def foretell(round: Round, today: dt.date) -> Mapping[int, Forecast]:
        asked.append(today)
        return {held.pk: FOUND}

    monkeypatch.setattr(forecasts, "_foretellers", [foretell])
    return asked


def test_the_likely_days_stand_on_the_place(held: Place, foretold: list[dt.date]) -> None:
    assert likely_days_keep(now=NOON) == 1

    held.refresh_from_db()
    assert (held.likely_from, held.likely_until) == (dt.date(2027, 3, 3), dt.date(2027, 3, 9))


def test_they_are_worked_out_again_when_something_came_and_otherwise_once_a_day(
    held: Place, tester: User, foretold: list[dt.date]
) -> None:
    minute = dt.timedelta(minutes=1)
    first = [likely_days_keep(now=NOON), likely_days_keep(now=NOON + minute)]
    entry = held.round.diary.create(text="Tester one logged a sitting.", at=NOON + 2 * minute)
    after_a_report = [likely_days_keep(now=NOON + 3 * minute), likely_days_keep(now=NOON + 4 * minute)]
    next_day = likely_days_keep(now=NOON + dt.timedelta(hours=25))

    assert (first, after_a_report, next_day) == ([1, 0], [1, 0], 1)
    assert foretold == [dt.date(2027, 1, 24), dt.date(2027, 1, 24), dt.date(2027, 1, 25)]
    assert entry.pk


def test_what_is_no_longer_foretold_no_longer_stands(
    held: Place, foretold: list[dt.date], monkeypatch: pytest.MonkeyPatch
) -> None:
    likely_days_keep(now=NOON)
    monkeypatch.setattr(forecasts, "_foretellers", [])

    likely_days_keep(now=NOON + dt.timedelta(days=2))

    held.refresh_from_db()
    assert (held.likely_from, held.likely_until) == (None, None)


# -- moved by what testers send -------------------------------------------------------------------------------


@pytest.fixture
def moving(a_round: Round) -> Round:
    """The round in its swatching days, having been moved there."""
    a_round.moved_at = timezone.now() - dt.timedelta(days=3)
    a_round.save(update_fields=["moved_at"])
    return a_round


def seat(round: Round, n: int, state: str) -> Place:
    person = User.objects.create_user(f"seat{n}@example.org", name=f"Tester {n}")
    return Place.objects.create(
        round=round, key=f"s{n}", name=f"Tester {n}", tester=person, size="S", state=state
    )


def state_of(round: Round) -> str:
    round.refresh_from_db()
    return round.state


def test_when_the_last_swatch_is_in_the_making_begins(moving: Round, diary_of: DiaryOf) -> None:
    first, second = seat(moving, 1, "gauge agreed"), seat(moving, 2, "taken")
    before = [rounds_follow_places(), state_of(moving)]
    place_reach(place=second, state="swatch sent", by=second.tester)

    after = [rounds_follow_places(), rounds_follow_places(), state_of(moving)]

    assert (before, after) == ([0, "swatching"], [1, 0, "making"])
    assert diary_of(moving)[-1] == "Round moved from swatching to making: every swatch is in."
    assert first.pk


def test_while_a_place_is_still_offered_more_swatches_may_come(moving: Round) -> None:
    seat(moving, 1, "gauge agreed")
    Place.objects.create(round=moving, key="open", name="Open", size="M", state="offered")

    assert (rounds_follow_places(), state_of(moving)) == (0, "swatching")


def test_with_the_first_measured_piece_the_measuring_begins(moving: Round, diary_of: DiaryOf) -> None:
    seat(moving, 1, "measured")
    seat(moving, 2, "taken")

    assert (rounds_follow_places(), state_of(moving)) == (1, "measuring")
    assert diary_of(moving) == [
        "Round moved from swatching to measuring: Tester 1 sent the first finished measurements."
    ]


def test_where_its_designer_put_it_a_round_stays(moving: Round, designer: User) -> None:
    seat(moving, 1, "measured")
    rounds_follow_places()
    round_move(round=moving, state="making", by=designer, cause="too soon")
    seat(moving, 2, "measured")

    assert (rounds_follow_places(), state_of(moving)) == (0, "making")


def test_a_round_that_came_whole_from_a_file_stays_as_it_came(a_round: Round) -> None:
    seat(a_round, 1, "measured")

    assert (rounds_follow_places(), state_of(a_round)) == (0, "swatching")


# -- mails that did not arrive --------------------------------------------------------------------------------


@pytest.fixture
def lost_mail(a_round: Round) -> Mail:
    """A mail about the round that was being handed over when its process ended."""
    return Mail.objects.create(
        to="tester@example.org",
        name="Tester one",
        about=a_round.code,
        subject="A place for you",
        letter=to_data(letter("A place for you", "Hello.")),
        state="uncertain",
    )


def test_a_mail_that_became_uncertain_stands_in_the_diary_of_its_round(
    a_round: Round, lost_mail: Mail, diary_of: DiaryOf
) -> None:
    from testround.outbox.mail import mails_sweep

    Mail.objects.filter(pk=lost_mail.pk).update(state="sending", claimed_at=NOON)

    mails_sweep(now=NOON + dt.timedelta(hours=1))

    assert diary_of(a_round) == [
        "The mail to Tester one may not have arrived and is not sent again by itself: A place for you."
    ]


def test_the_designer_is_shown_it_and_sends_it_once_more(
    signed_in: SignIn,
    designer: User,
    a_round: Round,
    lost_mail: Mail,
    mailoutbox: list[Any],
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    client = signed_in(designer)
    path = reverse("rounds:mails", args=[a_round.code])
    first = client.get(reverse("home")).content.decode()
    page = client.get(path).content.decode()

    with django_capture_on_commit_callbacks(execute=True):
        done = client.post(path, {"mail": lost_mail.pk, "do": "again"}, follow=True)
    twice = client.post(path, {"mail": lost_mail.pk, "do": "again"}, follow=True)

    assert "1 mail has not arrived for certain." in first
    assert "A place for you</strong>, to Tester one: uncertain" in page
    assert "tester@example.org" not in page
    assert "goes out once more" in done.content.decode()
    assert "no longer on the list" in twice.content.decode()
    assert [sent.to for sent in mailoutbox] == [["tester@example.org"]]


def test_or_she_leaves_it_at_that(
    signed_in: SignIn, designer: User, a_round: Round, lost_mail: Mail, mailoutbox: list[Any]
) -> None:
    path = reverse("rounds:mails", args=[a_round.code])

    page = signed_in(designer).post(path, {"mail": lost_mail.pk, "do": "leave"}, follow=True)

    assert "As far as is known, all but 1, which was left at that." in page.content.decode()
    assert mailoutbox == []


@pytest.mark.parametrize("typed", ["9999-12-31", "0001-01-01"])
def test_no_day_is_taken_at_which_the_calendar_ends(typed: str) -> None:
    with pytest.raises(ValidationError, match="This is no date"):
        DateField().clean(typed)
