from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from testround.home.needs import Need
from testround.home.selectors import today_of
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.models import Candidate, Place, Round
from testround.rounds.selectors import round_page
from testround.rounds.services import invitation_create, place_add

SignIn = Callable[[User], Client]


def in_days(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


def test_signed_out_the_first_page_says_what_this_is_and_how_to_come_in(client: Client, db: None) -> None:
    response = client.get(reverse("home"))

    body = response.content.decode()
    assert response.status_code == 200
    assert reverse("account_signup") in body
    assert reverse("account_login") in body
    assert "knitting and crochet patterns" in body
    assert f'href="{reverse("mailbox")}"' not in body


def test_a_new_account_is_told_where_to_start(signed_in: SignIn, stranger: User) -> None:
    response = signed_in(stranger).get(reverse("home"))

    assert "Nothing here yet" in response.content.decode()


def test_a_designer_sees_what_her_rounds_need(designer: User, edition: Edition) -> None:
    empty = Round.objects.create(edition=edition, title="Empty")
    late = Round.objects.create(edition=edition, title="Late", swatches_due=in_days(-2), closes=in_days(20))
    Place.objects.create(round=late, key="t01", name="Ash", size="S", state="taken")
    Place.objects.create(round=late, key="t02", name="Oak", size="S", state="making")
    Place.objects.create(round=late, key="t03", name="Yew", size="S", state="offered")
    linked = place_add(round=late, name="Elm", size="M", by=designer)
    invitation_create(place=linked, by=designer)
    ready = Round.objects.create(edition=edition, title="Ready", closes=in_days(-1))
    Place.objects.create(round=ready, key="t01", name="Ash", size="S", state="done")
    Round.objects.create(edition=edition, title="Over", state="closed")

    today = today_of(designer)

    assert today.needs == [
        Need(
            "Little top: Late",
            "1 offered place has no open link, so nobody can take it.",
            "Invite",
            f"/rounds/{late.code}/places/?state=offered",
        ),
        Need(
            "Little top: Late",
            "Ash is late, and has no account to be written to.",
            "Since when?",
            f"/rounds/{late.code}/#late",
        ),
        Need("Little top: Ready", "everybody has measured.", "Read the results", ready.get_absolute_url()),
        Need("Little top: Empty", "it has no places yet.", "Add places", f"/rounds/{empty.code}/places/new/"),
    ]
    assert [round.title for round in today.rounds] == ["Ready", "Late", "Empty"]


def test_what_somebody_waits_for_comes_first_then_what_is_late_then_what_will_soon_be(
    designer: User, tester: User, place: Place
) -> None:
    """Across rounds, and a tester's own work among a designer's."""
    closes = in_days(20)
    Round.objects.create(edition=place.round.edition, title="Empty", closes=closes)
    calling = Round.objects.create(edition=place.round.edition, title="Calling", closes=closes)
    Candidate.objects.create(round=calling, key="c01", name="Hazel", state="confirmed")
    place.round.swatches_due = in_days(-3)
    place.round.state = "making"
    place.round.save()
    place.tester = None
    place.save()
    Place.objects.create(
        round=place.round,
        key="t02",
        name="Me",
        tester=designer,
        size="M",
        state="making",
        measures_until=in_days(2),
    )

    needs = today_of(designer).needs

    assert [(need.pressing.name, need.sentence) for need in needs] == [
        ("WAITED_FOR", "1 person offers to test."),
        ("LATE", f"{place.name} is late, and has no account to be written to."),
        ("SOON", "your finished measurements are due in 2 days."),
        ("SOON", "no day is set on which names, body measurements, photos and words are deleted."),
        ("ANY_DAY", "it has no places yet."),
    ]


def test_offers_lead_to_who_should_make_what_rather_than_to_a_place_by_hand(
    designer: User, edition: Edition
) -> None:
    round = Round.objects.create(edition=edition, title="Offered", state="gathering", purge_on=in_days(200))
    for key, state in (("c1", "confirmed"), ("c2", "confirmed"), ("c3", "waiting"), ("c4", "offered")):
        round.candidates.create(key=key, name=key, state=state)

    assert today_of(designer).needs == [
        Need(
            "Little top: Offered",
            "2 people offer to test.",
            "Who should make what?",
            f"/rounds/{round.code}/proposal/",
        )
    ]


@pytest.mark.parametrize(
    ("state", "purge_on", "asked"),
    [
        ("planned", None, False),
        ("gathering", None, True),
        ("making", None, True),
        ("making", in_days(200), False),
        ("closed", None, True),
        ("closed", in_days(200), False),
    ],
)
def test_a_round_that_has_begun_without_a_day_for_deleting_is_asked_for_one(
    signed_in: SignIn, designer: User, edition: Edition, state: str, purge_on: dt.date | None, asked: bool
) -> None:
    round = Round.objects.create(edition=edition, title="Old", state=state, purge_on=purge_on)
    Place.objects.create(round=round, key="t01", name="Ash", size="S", state="taken")
    need = Need(
        "Little top: Old",
        "no day is set on which names, body measurements, photos and words are deleted.",
        "Set the day",
        f"/rounds/{round.code}/edit/#id_purge_on",
    )

    assert today_of(designer).needs == ([need] if asked else [])
    if asked:
        assert 'id="id_purge_on"' in signed_in(designer).get(need.url).content.decode()


def test_a_closed_round_that_nobody_was_in_is_asked_for_no_day(designer: User, edition: Edition) -> None:
    Round.objects.create(edition=edition, title="Old", state="closed")

    assert today_of(designer).needs == []


def test_a_closed_round_with_offers_alone_is_asked_for_the_day_too(
    designer: User, other_designer: User, edition: Edition
) -> None:
    round = Round.objects.create(edition=edition, title="Old", state="closed")
    round.candidates.create(key="c1", name="Rowan", state="waiting")

    assert [need.action for need in today_of(designer).needs] == ["Set the day"]
    assert today_of(other_designer).needs == []


@pytest.mark.parametrize(
    ("swatches", "closes", "swatch_until", "measures_until", "late"),
    [
        (-2, 20, None, None, True),
        (-2, 20, 1, None, False),
        (-2, 20, 0, None, False),
        (-2, 20, -1, None, True),
        (-9, -2, None, None, True),
        (-9, -2, -3, 1, True),
        (-9, -2, 1, 1, False),
        (None, None, -1, None, True),
        (None, None, None, None, False),
    ],
)
def test_on_every_list_of_the_late_a_day_of_ones_own_counts(
    designer: User,
    edition: Edition,
    swatches: int | None,
    closes: int | None,
    swatch_until: int | None,
    measures_until: int | None,
    late: bool,
) -> None:
    dates = {"swatches_due": swatches, "closes": closes}
    own = {"swatch_until": swatch_until, "measures_until": measures_until}
    round = Round.objects.create(
        edition=edition, title="Test", **{key: n if n is None else in_days(n) for key, n in dates.items()}
    )
    Place.objects.create(
        round=round,
        key="t01",
        name="Ash",
        size="S",
        state="taken",
        **{key: n if n is None else in_days(n) for key, n in own.items()},
    )

    said = [need.sentence for need in today_of(designer).needs]
    page = round_page(round, today=in_days(0))

    assert ("Ash is late, and has no account to be written to." in said) is late
    assert [one.place.name for one in page.late] == (["Ash"] if late else [])
    assert any("1 person is late" in step.sentence for step in page.next_steps) is late


@pytest.mark.parametrize(
    ("state", "swatches", "closes", "needs"),
    [
        ("taken", 3, 60, [("your swatch is due in 3 days.", "Send the swatch")]),
        ("taken", 0, 60, [("your swatch is due today.", "Send the swatch")]),
        (
            "taken",
            -1,
            60,
            [("your swatch is late by 1 day; what comes late is taken all the same.", "Send the swatch")],
        ),
        ("taken", None, None, [("your swatch is awaited.", "Send the swatch")]),
        ("making", -30, 30, []),
        ("making", -30, 7, [("your finished measurements are due in 7 days.", "Send measurements")]),
        ("measured", -30, -1, []),
        ("given back", 3, 60, []),
    ],
)
def test_a_tester_sees_what_is_due_next(
    place: Place,
    tester: User,
    state: str,
    swatches: int | None,
    closes: int | None,
    needs: list[tuple[str, str]],
) -> None:
    Round.objects.filter(pk=place.round_id).update(
        swatches_due=None if swatches is None else in_days(swatches),
        closes=None if closes is None else in_days(closes),
    )
    Place.objects.filter(pk=place.pk).update(state=state)

    today = today_of(tester)

    assert [(need.about, need.sentence, need.action, need.url) for need in today.needs] == [
        ("Little top, size S", sentence, action, place.get_absolute_url()) for sentence, action in needs
    ]


@pytest.mark.parametrize(
    ("state", "said", "action", "page"),
    [
        ("taken", "You have not sent a swatch yet.", "Send a swatch", "swatch"),
        ("making", "You are making it.", "Send counts", "counts"),
    ],
)
def test_the_card_of_a_place_says_how_it_stands_and_leads_to_the_next_step(
    signed_in: SignIn, place: Place, tester: User, state: str, said: str, action: str, page: str
) -> None:
    Place.objects.filter(pk=place.pk).update(
        state=state, likely_from=dt.date(2027, 3, 2), likely_until=dt.date(2027, 3, 9)
    )

    body = signed_in(tester).get(reverse("home")).content.decode()

    assert said in body
    assert f'href="{reverse(f"reports:{page}", args=[place.pk])}">{action}</a>' in body
    assert "Likely finished 2 March to 9 March." in body
    assert "Give this place back" not in body


def test_nobody_sees_what_is_anothers(
    signed_in: SignIn, other_designer: User, stranger: User, place: Place
) -> None:
    for person in (other_designer, stranger):
        body = signed_in(person).get(reverse("home")).content.decode()

        assert "Little top" not in body
        assert "Tester one" not in body


def test_the_first_page_costs_the_same_for_one_of_each_or_three_and_many_who_are_late(
    signed_in: SignIn, designer: User, edition: Edition
) -> None:
    client = signed_in(designer)
    queries = []
    for number, testers in enumerate((1, 6, 6)):
        round = Round.objects.create(
            edition=edition, title=f"Round {number}", closes=in_days(-1), state="making"
        )
        Place.objects.create(round=round, key="me", name="Me", size="S", tester=designer, state="making")
        Place.objects.create(round=round, key="open", name="Ash", size="S", state="offered")
        for n in range(testers):
            person = User.objects.create_user(f"{number}-{n}@example.org", name=f"Oak {number}-{n}")
            Place.objects.create(
                round=round, key=f"t{n}", name=person.name, size="S", tester=person, state="making"
            )
        with CaptureQueriesContext(connection) as captured:
            response = client.get(reverse("home"))
        queries.append(len(captured))

    assert len(response.context["today"].rounds) == len(response.context["today"].places) == 3
    assert queries == [queries[0]] * 3


def test_what_is_due_is_said_in_the_testers_language(
    signed_in: SignIn, tester: User, place: Place, german: Callable[[dict[str, str]], None]
) -> None:
    german(
        {
            "your swatch is due in {n} day.\x00your swatch is due in {n} days.": (
                "deine Probe ist in {n} Tag fällig.\x00deine Probe ist in {n} Tagen fällig."
            ),
            "What needs you today?": "Was steht heute an?",
        }
    )
    Place.objects.filter(pk=place.pk).update(tester=tester, state=Place.State.TAKEN)
    Round.objects.filter(pk=place.round_id).update(swatches_due=in_days(3), closes=in_days(60))
    tester.language = "de"
    tester.save()

    page = signed_in(tester).get(reverse("home")).content.decode()

    assert "Was steht heute an?" in page
    assert "Deine Probe ist in 3 Tagen fällig." in page
