"""A round that nobody is in: its dates move it no further than to gathering, and its designer is asked."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.home.needs import Need
from testround.home.selectors import today_of
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.models import Candidate, Place, Round
from testround.rounds.selectors import round_page
from testround.rounds.services import (
    invitation_create,
    place_add,
    place_give_back,
    round_edit,
    round_move,
    rounds_follow_dates,
)
from testround.rounds.services.call import CallState, call_state

from .calls import in_days

SignIn = Callable[[User], Client]
Diary = Callable[[Round], list[str]]


@pytest.fixture
def begun(called: Round) -> Round:
    """A round whose call is open, which was to begin yesterday, and for which nobody has offered."""
    Round.objects.filter(pk=called.pk).update(
        opens=in_days(-1), moved_at=timezone.now() - dt.timedelta(days=20)
    )
    called.refresh_from_db()
    return called


def held(round: Round, state: str = Place.State.TAKEN, **fields: object) -> Place:
    return Place.objects.create(round=round, key="t01", name="Willow", size="S", state=state, **fields)


def state_after_its_dates(round: Round) -> str:
    rounds_follow_dates()
    round.refresh_from_db()
    return round.state


def day(date: dt.date) -> str:
    return f"{date.day} {date:%B %Y}"


def test_its_opening_day_leaves_it_gathering_with_its_call_open_and_its_diary_quiet(
    begun: Round, diary_of: Diary
) -> None:
    before = diary_of(begun)

    assert state_after_its_dates(begun) == "gathering"
    assert call_state(begun, confirmed=0) == CallState.OPEN
    assert diary_of(begun) == before


def test_its_designer_is_asked_today_and_on_its_page(begun: Round, designer: User) -> None:
    edit, move = f"/rounds/{begun.code}/edit/", f"/rounds/{begun.code}/move/"

    assert today_of(designer).needs[0] == Need(
        "Little top: First test",
        f"it was to begin on {day(in_days(-1))} and has no testers yet.",
        "Change the dates",
        edit,
        or_else=("Move it on by hand", move),
    )
    step = round_page(begun, today=in_days(0)).next_steps[0]
    assert (step.sentence, step.action, step.url) == (
        f"It was to begin on {day(in_days(-1))} and has no testers yet.",
        "Change the dates",
        edit,
    )


def test_both_ways_out_are_on_the_first_page(begun: Round, designer: User, signed_in: SignIn) -> None:
    body = signed_in(designer).get(reverse("home")).content.decode()

    assert f'href="/rounds/{begun.code}/edit/">Change the dates</a>' in body
    assert f'href="/rounds/{begun.code}/move/">Move it on by hand</a>' in body


@pytest.mark.parametrize("state", ["confirmed", "waiting", "placed"])
def test_somebody_who_offered_and_stays_is_in_it(begun: Round, designer: User, state: str) -> None:
    Candidate.objects.create(round=begun, key="c01", name="Rowan", state=state)

    assert [need for need in today_of(designer).needs if "has no testers" in need.sentence] == []
    assert round_page(begun, today=in_days(0)).next_steps[0].action != "Change the dates"
    assert state_after_its_dates(begun) == "swatching"


@pytest.mark.parametrize("state", ["offered", "withdrawn"])
def test_who_never_confirmed_or_has_withdrawn_is_not(begun: Round, state: str) -> None:
    Candidate.objects.create(round=begun, key="c01", name="Rowan", state=state)

    assert state_after_its_dates(begun) == "gathering"


def test_an_invitation_that_nobody_has_answered_moves_nothing_until_the_place_is_taken(
    begun: Round, designer: User, diary_of: Diary
) -> None:
    place = place_add(round=begun, name="Willow", size="S", by=designer)
    invitation_create(place=place, by=designer)
    assert state_after_its_dates(begun) == "gathering"

    Place.objects.filter(pk=place.pk).update(state=Place.State.TAKEN)

    assert state_after_its_dates(begun) == "swatching"
    assert diary_of(begun)[-1] == (
        f"Round moved from gathering to swatching: it was to open on {day(in_days(-1))}."
    )
    assert [need for need in today_of(designer).needs if need.or_else] == []


def test_her_hand_moves_it_all_the_same(begun: Round, designer: User) -> None:
    round_move(round=begun, state="swatching", by=designer)

    assert begun.state == "swatching"
    assert [need for need in today_of(designer).needs if need.or_else] == []


def test_a_later_date_ends_the_question(begun: Round, designer: User) -> None:
    round_edit(
        round=begun,
        by=designer,
        title=begun.title,
        opens=in_days(10),
        swatches_due=begun.swatches_due,
        closes=begun.closes,
        terms=begun.terms,
        places_plan=begun.places_plan,
    )

    assert [need for need in today_of(designer).needs if need.or_else] == []


def test_moved_back_after_its_date_it_is_not_asked_about(begun: Round, designer: User) -> None:
    Round.objects.filter(pk=begun.pk).update(moved_at=timezone.now())

    assert [need for need in today_of(designer).needs if need.or_else] == []


def test_a_call_opens_on_its_day_before_anybody_is_there(begun: Round, diary_of: Diary) -> None:
    Round.objects.filter(pk=begun.pk).update(state=Round.State.PLANNED, call_opens=in_days(-3))

    assert state_after_its_dates(begun) == "gathering"
    assert diary_of(begun)[-1] == (
        f"Round moved from planned to gathering: the call was to open on {day(in_days(-3))}."
    )


@pytest.mark.parametrize(
    ("state", "dates", "sentence"),
    [
        (
            "swatching",
            {"swatches_due": in_days(-2)},
            f"it was to have its swatches by {day(in_days(-2))} and nobody is in it.",
        ),
        ("making", {"closes": in_days(-2)}, f"it was to close on {day(in_days(-2))} and nobody is in it."),
    ],
)
def test_with_every_place_given_back_its_later_dates_move_it_no_more(
    begun: Round,
    designer: User,
    diary_of: Diary,
    state: str,
    dates: dict[str, dt.date],
    sentence: str,
) -> None:
    place = held(begun)
    Round.objects.filter(pk=begun.pk).update(state=state, **dates)
    place_give_back(place=place, by=designer)
    before = diary_of(begun)

    assert state_after_its_dates(begun) == state
    assert [need.sentence for need in today_of(designer).needs if need.or_else] == [sentence]
    assert diary_of(begun) == before


def test_those_who_left_for_good_are_in_it_no_more(begun: Round) -> None:
    held(begun, Place.State.DONE, left_at=timezone.now())

    assert state_after_its_dates(begun) == "gathering"


def test_somebody_in_another_round_is_not_in_this_one(begun: Round, edition: Edition) -> None:
    held(Round.objects.create(edition=edition, title="Other"))

    assert state_after_its_dates(begun) == "gathering"
