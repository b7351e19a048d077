"""An invitation that runs out unanswered: the designer is told by mail where nobody in reserve is next for the place."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from testround.people.models import User
from testround.rounds.models import Candidate, Invitation, Place, Round, Vacancy
from testround.rounds.services import (
    invitation_accept,
    invitation_create,
    invitation_decline,
    invitation_withdraw,
    invitations_ended_tell,
    offers_expire,
    place_add,
    place_give_back,
    reserve_look,
)
from tests.rounds.conftest import secret_of
from tests.rounds.offers import candidate

DAY = dt.timedelta(days=1)
Told = Callable[..., list[tuple[str, str]]]


@pytest.fixture
def told(django_capture_on_commit_callbacks: Callable[..., object]) -> Told:
    """Run the chores at a time; to whom and with what subject a mail went."""

    def run(now: dt.datetime) -> list[tuple[str, str]]:
        mail.outbox.clear()
        with django_capture_on_commit_callbacks(execute=True):
            offers_expire(now=now)
        with django_capture_on_commit_callbacks(execute=True):
            invitations_ended_tell(now=now)
        return [(letter.to[0], letter.subject) for letter in mail.outbox]

    return run


def invited(place: Place, by: User) -> tuple[Invitation, str]:
    """The invitation to a place, and the secret of its link."""
    invitation, url = invitation_create(place=place, email="willow@example.org", by=by)
    return invitation, secret_of(url)


@pytest.fixture
def alder(opened: Round, designer: User) -> Place:
    """The only place in XS, offered to somebody for a week that is over. Fir, whom no size fits, is in reserve."""
    Round.objects.filter(pk=opened.pk).update(state=Round.State.GATHERING)
    opened.refresh_from_db()
    candidate(opened, "fir", 130)
    place = place_add(
        round=opened,
        name="Alder",
        size="XS",
        candidate=candidate(opened, "alder", 76.5),
        offered_until=timezone.now() + 7 * DAY,
        by=designer,
    )
    invited(place, designer)
    # The week is over: its last minute was an hour ago.
    over = timezone.now() - dt.timedelta(hours=1)
    Place.objects.filter(pk=place.pk).update(offered_until=over)
    Invitation.objects.filter(place=place).update(expires=over)
    return place


def test_of_a_place_made_by_hand_the_designer_is_told_once_and_can_send_a_new_link(
    offered: Place, designer: User, told: Told
) -> None:
    invitation, _ = invited(offered, designer)

    before = told(invitation.expires - DAY)
    after = told(invitation.expires)
    (letter,) = mail.outbox
    again = told(invitation.expires + DAY)

    day = timezone.localtime(invitation.expires)
    assert before == again == []
    assert after == [(designer.email, "Willow has not answered: Little top: First test")]
    assert (
        f"The invitation of Willow to Little top: First test (size S) ran out on {day.day} {day:%B %Y} and was "
        "not answered." in " ".join(letter.body.split())
    )
    assert f"/rounds/{offered.round.code}/places/{offered.pk}/invite/" in letter.body


def test_of_a_place_that_nobody_in_reserve_can_have_the_designer_is_told_and_led_to_the_call(
    alder: Place, designer: User, told: Told
) -> None:
    after = told(timezone.now())

    assert Vacancy.objects.get().why.startswith("Nobody without a place can have one of size XS")
    assert after == [(designer.email, "Alder has not answered: Little top: First test")]
    assert "nobody in reserve can have it" in " ".join(mail.outbox[0].body.split())
    assert f"/rounds/{alder.round.code}/call/" in mail.outbox[0].body
    assert told(timezone.now() + DAY) == []


def test_past_the_gathering_it_leads_to_the_round(alder: Place, designer: User, told: Told) -> None:
    Round.objects.update(state=Round.State.MAKING)

    told(timezone.now())

    assert f"/rounds/{alder.round.code}/call/" not in mail.outbox[0].body
    assert f"/rounds/{alder.round.code}/\n" in mail.outbox[0].body


def test_where_somebody_in_reserve_is_next_no_mail_goes(
    alder: Place, opened: Round, designer: User, told: Told
) -> None:
    candidate(opened, "birch", 77)

    assert told(timezone.now()) == []
    assert Vacancy.objects.get().candidate == Candidate.objects.get(key="birch")


def test_once_nobody_is_next_any_more_it_is_told(
    alder: Place, opened: Round, designer: User, told: Told
) -> None:
    birch = candidate(opened, "birch", 77)
    told(timezone.now())

    birch.state = Candidate.State.WITHDRAWN
    birch.save()
    reserve_look(round=opened)

    assert told(timezone.now() + DAY) == [(designer.email, "Alder has not answered: Little top: First test")]


def test_before_it_was_looked_who_is_next_nothing_is_said(alder: Place, opened: Round) -> None:
    offers_expire()
    before = invitations_ended_tell()

    reserve_look(round=opened)

    assert (before, invitations_ended_tell(), invitations_ended_tell()) == (0, 1, 0)


def test_an_answer_of_any_kind_needs_no_such_mail(
    opened: Round, designer: User, tester: User, told: Told
) -> None:
    names = ("Taken", "Declined", "Withdrawn", "Anew", "Back")
    places = {name: place_add(round=opened, name=name, size="M", by=designer) for name in names}
    links = {name: invited(place, designer)[1] for name, place in places.items()}
    invitation_accept(secret=links["Taken"], user=tester, name="Taken")
    invitation_decline(secret=links["Declined"])
    invitation_withdraw(place=places["Withdrawn"], by=designer)
    place_give_back(place=places["Back"], by=designer)
    Invitation.objects.filter(place=places["Anew"]).update(expires=timezone.now() - DAY)
    invited(places["Anew"], designer)

    assert told(timezone.now() + 29 * DAY) == []


@pytest.mark.parametrize(("days", "number"), [(6, 1), (8, 0)])
def test_what_ran_out_long_ago_is_no_news(
    offered: Place, designer: User, told: Told, days: int, number: int
) -> None:
    invitation, _ = invited(offered, designer)

    assert len(told(invitation.expires + days * DAY)) == number


def test_a_closed_round_tells_nothing(offered: Place, designer: User, told: Told) -> None:
    invitation, _ = invited(offered, designer)
    Round.objects.update(state=Round.State.CLOSED)

    assert told(invitation.expires) == []


def test_looking_for_them_is_one_query_for_any_number(opened: Round, designer: User) -> None:
    for number in range(12):
        invited(place_add(round=opened, name=f"Tester {number}", size="M", by=designer), designer)

    with CaptureQueriesContext(
        connection,
    ) as captured:
        invitations_ended_tell(now=timezone.now())

    assert len(captured) == 1
