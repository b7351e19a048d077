"""Who needs a friendly word, what it says, and that nobody gets two a day."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.home.needs import Need
from testround.home.selectors import today_of
from testround.outbox.models import Stopped
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.models import Nudge, Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors.nudges import nudgeable
from testround.rounds.services import diary_write, nudge_send
from testround.rounds.services.dates import until_address

pytestmark = pytest.mark.django_db

SignIn = Callable[[User], Client]
NOON = dt.datetime(2027, 3, 1, 12, tzinfo=dt.UTC)
TODAY = NOON.date()


def days(n: int) -> dt.date:
    return TODAY + dt.timedelta(days=n)


@pytest.fixture
def held(a_round: Round, place: Place) -> Place:
    """The tester's place, in a round that says on which day what is private goes."""
    Round.objects.filter(pk=a_round.pk).update(purge_on=dt.date(2099, 1, 1))
    place.refresh_from_db()
    return place


def stands(place: Place, *, state: str, swatches: int | None, closes: int | None, heard: int | None) -> None:
    """How far it has come, its dates in days from today, and when its tester was last heard of, in days ago."""
    Place.objects.filter(pk=place.pk).update(state=state, agreed_at=NOON - dt.timedelta(days=100))
    Round.objects.filter(pk=place.round_id).update(
        swatches_due=None if swatches is None else days(swatches),
        closes=None if closes is None else days(closes),
    )
    place.refresh_from_db()
    if heard is not None:
        entry = diary_write(round=place.round, place=place, by=place.tester, text="Something came.")
        type(entry).objects.filter(pk=entry.pk).update(at=NOON - dt.timedelta(days=heard))


@pytest.mark.parametrize(
    ("state", "swatches", "closes", "heard", "sentence"),
    [
        ("taken", -1, 40, 1, "Tester one's swatch is 1 day late."),
        ("taken", 0, 40, 1, None),
        ("taken", -9, -2, 1, "Tester one's finished measurements are 2 days late."),
        ("making", -30, -3, 1, "Tester one's finished measurements are 3 days late."),
        ("making", -30, 10, 14, "nothing was heard of Tester one's piece for 14 days."),
        ("making", -30, 10, 13, None),
        ("gauge agreed", -30, 10, 20, "nothing was heard of Tester one's piece for 20 days."),
        ("making", -30, 10, None, "nothing was heard of Tester one's piece for 100 days."),
        ("measured", -30, -3, 40, None),
        ("done", -30, -3, 40, None),
        ("given back", -30, -3, 40, None),
    ],
)
def test_who_needs_a_word(
    held: Place, state: str, swatches: int, closes: int, heard: int | None, sentence: str | None
) -> None:
    stands(held, state=state, swatches=swatches, closes=closes, heard=heard)

    found = nudgeable(held, now=NOON)

    assert (found.sentence if found else None) == sentence


def test_who_asked_for_more_time_is_left_in_peace_until_then(held: Place) -> None:
    stands(held, state="taken", swatches=-5, closes=40, heard=5)
    Place.objects.filter(pk=held.pk).update(swatch_until=days(1))

    assert nudgeable(held, now=NOON) is None
    assert nudgeable(held, now=NOON + dt.timedelta(days=2)) is not None


def test_a_day_of_ones_own_counts_where_the_round_has_none_any_more(held: Place) -> None:
    stands(held, state="making", swatches=None, closes=None, heard=1)
    Place.objects.filter(pk=held.pk).update(measures_until=days(-1))

    found = nudgeable(held, now=NOON)

    assert found is not None
    assert found.sentence == "Tester one's finished measurements are 1 day late."


@pytest.mark.parametrize(("moved", "asked_after"), [(-1, True), (-20, False)])
def test_a_round_that_its_date_closed_is_asked_after_and_one_that_its_designer_closed_is_not(
    held: Place, moved: int, asked_after: bool
) -> None:
    stands(held, state="making", swatches=-30, closes=-2, heard=5)
    Round.objects.filter(pk=held.round_id).update(
        state="closed", moved_at=NOON + dt.timedelta(days=moved, hours=-11)
    )
    held.refresh_from_db()

    assert (nudgeable(held, now=NOON) is not None) is asked_after


def test_the_draft_says_what_is_missing_when_it_will_likely_be_done_and_how_to_get_out_of_it(
    signed_in: SignIn, held: Place, designer: User
) -> None:
    today = timezone.localdate()
    Round.objects.filter(pk=held.round_id).update(
        swatches_due=dt.date(2026, 1, 5), closes=dt.date(2026, 3, 1)
    )
    Place.objects.filter(pk=held.pk).update(
        state="making", likely_from=dt.date(2026, 3, 3), likely_until=dt.date(2026, 3, 9)
    )

    page = signed_in(designer).get(reverse("rounds:nudge", args=[held.round.code, held.pk]))

    late = (today - dt.date(2026, 3, 1)).days
    assert f"Tester one&#x27;s finished measurements are {late} days late." in page.content.decode()
    assert page.context["form"].initial["text"] == (
        "Hello Tester one,\n\n"
        "your finished measurements for Little top were due on 1 March 2026. Is all well?\n\n"
        "At the pace so far the piece is likely done between 3 March 2026 and 9 March 2026; the round closes on "
        "1 March 2026.\n\n"
        "If you need more time, just say until when. If it does not work out after all, give the place back; nobody "
        "will mind.\n\n"
        "Designer"
    )


def test_what_she_wrote_is_sent_with_the_way_to_the_place_and_to_more_time(
    signed_in: SignIn,
    held: Place,
    designer: User,
    mailoutbox: list[Any],
    settings: Any,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    path = reverse("rounds:nudge", args=[held.round.code, held.pk])

    with django_capture_on_commit_callbacks(execute=True):
        answer = signed_in(designer).post(
            path, {"text": "Hello,\r\nhow is it?\r\n\r\nFen", "key": uuid.uuid4()}
        )

    (sent,) = mailoutbox
    assert (answer.status_code, answer["Location"]) == (302, held.round.get_absolute_url())
    assert (sent.to, sent.subject) == (["tester@example.org"], "How is Little top coming along?")
    body, _, foot = sent.body.partition("\n-- \n")
    assert body.startswith(
        f"Hello,\nhow is it?\n\nFen\n\nOpen your place:\n{settings.SITE_URL}{held.get_absolute_url()}\n\n"
        f"More time? I need until…:\n{settings.SITE_URL}/rounds/until/"
    )
    assert foot.startswith(
        "Designer wrote this to you because you test Little top.\nNo more mails of this kind:"
    )
    entry = held.round.diary.get()
    assert (entry.text, entry.by) == ("Tester one was sent a friendly word by mail.", designer)


def test_a_form_that_is_sent_twice_sends_one_word(held: Place, designer: User) -> None:
    key = uuid.uuid4()

    first = nudge_send(place=held, text="Hello.", by=designer, key=key)
    second = nudge_send(place=held, text="Hello.", by=designer, key=key)

    assert (first, Nudge.objects.count()) == (second, 1)


def test_nobody_gets_two_words_a_day_from_whomever(
    held: Place, designer: User, other_designer: User, tester: User, edition: Edition
) -> None:
    other = Round.objects.create(edition=edition, title="Second", state="making")
    theirs = Place.objects.create(
        round=other, key="t01", name="Tess", tester=tester, size="M", state="making"
    )
    nudge_send(place=held, text="Hello.", by=designer, now=NOON)

    with pytest.raises(Refused, match="Tess has had a friendly word today already: one a day is enough"):
        nudge_send(place=theirs, text="Hello.", by=designer, now=NOON + dt.timedelta(hours=8))

    nudge_send(place=theirs, text="Hello.", by=designer, now=NOON + dt.timedelta(hours=13))
    assert [nudge.day for nudge in Nudge.objects.order_by("day")] == [TODAY, days(1)]


def test_the_day_is_the_testers_own(held: Place, designer: User, tester: User) -> None:
    # At 23:00 and at 1:00 UTC it is 13:00 and 15:00 of one day in Honolulu.
    User.objects.filter(pk=tester.pk).update(time_zone="Pacific/Honolulu")
    evening = NOON + dt.timedelta(hours=11)
    nudge_send(place=held, text="Hello.", by=designer, now=evening)

    with pytest.raises(Refused, match="one a day is enough"):
        nudge_send(place=held, text="Hello.", by=designer, now=evening + dt.timedelta(hours=2))


@pytest.mark.parametrize(
    ("state", "text", "sentence"),
    [
        ("making", "  \n ", "Write a few words, or leave it."),
        ("making", "x" * 5001, "That is long: say it in 5000 characters."),
        ("done", "Hello.", "Nothing is awaited from Tester one, or nobody holds the place"),
        ("offered", "Hello.", "Nothing is awaited from Tester one, or nobody holds the place"),
    ],
)
def test_a_word_that_cannot_be_sent_is_refused_with_a_sentence(
    held: Place, designer: User, state: str, text: str, sentence: str
) -> None:
    Place.objects.filter(pk=held.pk).update(state=state)

    with pytest.raises(Refused, match=re.escape(sentence)):
        nudge_send(place=held, text=text, by=designer)


def test_who_wants_no_reminders_is_not_written_to_and_the_designer_is_told(
    signed_in: SignIn, held: Place, designer: User, tester: User
) -> None:
    Stopped.objects.create(person=tester, kind="reminders")

    with pytest.raises(Refused, match="wants no reminders by mail"):
        nudge_send(place=held, text="Hello.", by=designer)
    page = signed_in(designer).get(reverse("rounds:nudge", args=[held.round.code, held.pk])).content.decode()
    assert "wants no reminders by mail" in page
    assert "<textarea" not in page


def test_another_designer_cannot_write_to_ones_testers(held: Place, other_designer: User) -> None:
    with pytest.raises(PermissionDenied):
        nudge_send(place=held, text="Hello.", by=other_designer)


def test_the_first_page_names_who_needs_a_word_and_leads_to_the_draft(
    designer: User, held: Place, edition: Edition
) -> None:
    today = timezone.localdate()
    Round.objects.filter(pk=held.round_id).update(swatches_due=today - dt.timedelta(days=2))
    code = held.round.code

    needs = today_of(designer).needs
    nudge_send(place=held, text="Hello.", by=designer)

    assert needs == [
        Need(
            "Little top: First test",
            "Tester one's swatch is 2 days late.",
            "Nudge Tester one",
            f"/rounds/{code}/places/{held.pk}/nudge/",
        )
    ]
    # Whoever has had a word is given some days to answer it.
    assert today_of(designer).needs == []


def test_of_many_who_need_a_word_the_first_page_names_three(designer: User, a_round: Round) -> None:
    today = timezone.localdate()
    Round.objects.filter(pk=a_round.pk).update(
        swatches_due=today - dt.timedelta(days=2), purge_on=today + dt.timedelta(days=200)
    )
    for n in range(5):
        person = User.objects.create_user(f"late{n}@example.org", name=f"Late {n}")
        Place.objects.create(
            round=a_round, key=f"l{n}", name=f"Late {n}", tester=person, size="S", state="taken"
        )

    assert [need.sentence for need in today_of(designer).needs] == [
        "Late 0's swatch is 2 days late.",
        "Late 1's swatch is 2 days late.",
        "Late 2's swatch is 2 days late.",
        "2 more testers need a friendly word.",
    ]


def test_the_first_page_says_what_the_pace_means_for_the_closing_date(designer: User, held: Place) -> None:
    closes = timezone.localdate() + dt.timedelta(days=20)
    Round.objects.filter(pk=held.round_id).update(closes=closes)
    Place.objects.filter(pk=held.pk).update(
        state="making",
        likely_from=closes + dt.timedelta(days=2),
        likely_until=closes + dt.timedelta(days=9),
        agreed_at=timezone.now(),
    )
    last = closes + dt.timedelta(days=9)

    assert [(need.sentence, need.action) for need in today_of(designer).needs] == [
        (
            f"at the pace so far Tester one's piece is likely late: it may be done by {last.day} {last:%B %Y}; the "
            f"round closes on {closes.day} {closes:%B %Y}.",
            "See the forecast",
        )
    ]


def test_who_asked_for_longer_is_not_likely_late_before_their_own_day(designer: User, held: Place) -> None:
    closes = timezone.localdate() + dt.timedelta(days=20)
    Round.objects.filter(pk=held.round_id).update(closes=closes)
    Place.objects.filter(pk=held.pk).update(
        state="making",
        likely_from=closes + dt.timedelta(days=2),
        likely_until=closes + dt.timedelta(days=9),
        measures_until=closes + dt.timedelta(days=2),
        agreed_at=timezone.now(),
    )

    assert [need.action for need in today_of(designer).needs] == ["Change the dates"]

    Place.objects.filter(pk=held.pk).update(measures_until=closes + dt.timedelta(days=1))

    assert [need.action for need in today_of(designer).needs] == ["Change the dates", "See the forecast"]


def test_the_address_for_more_time_in_a_nudge_is_the_testers_own(
    held: Place, tester: User, client: Client
) -> None:
    Round.objects.filter(pk=held.round_id).update(swatches_due=timezone.localdate())

    assert client.get(until_address(held)).status_code == 200
