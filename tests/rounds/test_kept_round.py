"""What is kept of the pages of a round is how it stands now."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.patterns.models import Membership, Pattern
from testround.people.models import User
from testround.recent import forget_recent
from testround.reports.models import Sitting
from testround.rounds.models import (
    Candidate,
    DiaryEntry,
    Invitation,
    Nudge,
    Place,
    Round,
    SuppliedYarn,
    Vacancy,
)
from testround.rounds.services import invitation_create, place_add
from tests.kept_pages import said
from tests.rounds.offers import candidate, five_for_four

pytestmark = pytest.mark.django_db

PAGES = ("detail", "places", "candidates")
Change = Callable[[Round, Place, User], Any]


def fall_free(round: Round, place: Place, by: User) -> None:
    Place.objects.filter(pk=place.pk).update(state=Place.State.GIVEN_BACK)
    Vacancy.objects.create(place=place, size=place.size, candidate=round.candidates.first())


def nudge(round: Round, place: Place, by: User) -> None:
    Nudge.objects.create(place=place, person=by, by=by, day=timezone.localdate())


def of_place(**changes: Any) -> Change:
    return lambda _round, place, _by: Place.objects.filter(pk=place.pk).update(**changes)


def of_round(**changes: Any) -> Change:
    return lambda round, _place, _by: Round.objects.filter(pk=round.pk).update(**changes)


CHANGES: dict[str, tuple[Change, set[str]]] = {
    "somebody offers": (lambda round, *_: candidate(round, "fir", 86), {"candidates"}),
    "somebody withdraws": (
        lambda *_: Candidate.objects.filter(key="alder").update(state="withdrawn"),
        {"candidates"},
    ),
    "a candidate's name": (
        lambda *_: Candidate.objects.filter(key="alder").update(name="Ash"),
        {"candidates"},
    ),
    "a candidate's measure": (
        lambda *_: Candidate.objects.filter(key="alder").update(measures={"bust": 91.25}),
        {"candidates"},
    ),
    "a yarn's name": (
        lambda *_: (
            Candidate.objects.filter(key="alder").update(yarns=["wool_blue"]),
            SuppliedYarn.objects.update(label="Another wool"),
        ),
        {"candidates"},
    ),
    "another yarn": (
        lambda round, *_: SuppliedYarn.objects.create(round=round, key="n", label="N"),
        {"detail"},
    ),
    "a place": (
        lambda round, _place, by: place_add(round=round, name="Sorrel", size="M", by=by),
        {"detail", "places"},
    ),
    "a place's name": (of_place(name="Wren"), {"detail", "places"}),
    "a place's size": (of_place(size="M"), {"detail", "places"}),
    "a place's yarn": (of_place(yarn_label="Fenlight"), {"places"}),
    "a place taken": (of_place(state=Place.State.TAKEN), {"detail", "places"}),
    "a place given back": (of_place(state=Place.State.GIVEN_BACK), {"detail", "places"}),
    "a tester gone for good": (of_place(left_at=timezone.now()), {"detail"}),
    "a place fallen free": (fall_free, {"detail", "places"}),
    "somebody late": (
        lambda round, place, by: (
            Place.objects.filter(pk=place.pk).update(state=Place.State.TAKEN),
            Round.objects.update(swatches_due=timezone.localdate() - dt.timedelta(days=2)),
        ),
        {"detail", "places"},
    ),
    "a link": (
        lambda _round, place, by: invitation_create(place=place, by=by),
        {"detail", "places"},
    ),
    "the diary": (lambda round, *_: DiaryEntry.objects.create(round=round, text="Rain."), {"detail"}),
    "who wrote in the diary": (
        lambda *_: User.objects.filter(email="designer@example.org").update(name="Sorrel"),
        {"detail"},
    ),
    "hours sent": (
        lambda _round, place, _by: (
            Place.objects.filter(pk=place.pk).update(state=Place.State.MAKING),
            Sitting.objects.create(place=place, hours=7, part="back", done=0.3, day=timezone.localdate()),
        ),
        {"detail"},
    ),
    "the plan": (of_round(places_plan={"least": {"M": 3}}), {"detail"}),
    "the closing date": (of_round(closes=timezone.localdate() + dt.timedelta(days=9)), {"detail"}),
    "the round's state": (of_round(state=Round.State.CLOSED), {"detail", "places"}),
    "the round's title": (of_round(title="Second test"), {"detail", "places", "candidates"}),
    "the pattern's title": (lambda *_: Pattern.objects.update(title="Renamed"), {"detail", "places"}),
    "inches": (lambda *_: User.objects.update(units="in"), {"candidates"}),
}


@pytest.fixture
def place(opened: Round, designer: User) -> Place:
    five_for_four(opened)
    return place_add(round=opened, name="Willow", size="S", by=designer)


@pytest.fixture
def pages(opened: Round, place: Place, designer: User, client: Client) -> dict[str, tuple[Client, str]]:
    client.force_login(designer)
    return {name: (client, reverse(f"rounds:{name}", args=[opened.code])) for name in PAGES}


@pytest.mark.parametrize(("change", "on"), CHANGES.values(), ids=CHANGES)
def test_what_changes_is_on_every_page_that_shows_it_at_once(
    pages: dict[str, tuple[Client, str]],
    opened: Round,
    place: Place,
    designer: User,
    change: Change,
    on: set[str],
) -> None:
    before = {name: said(*page) for name, page in pages.items()}

    change(Round.objects.get(pk=opened.pk), place, designer)

    at_once = {name: said(*page) for name, page in pages.items()}
    cache.clear()
    forget_recent()
    made = {name: said(*page) for name, page in pages.items()}
    assert [name for name in pages if at_once[name] != made[name]] == []
    assert on - {name for name in pages if made[name] != before[name]} == set()


def test_a_link_that_runs_out_is_on_the_page_at_that_moment(
    pages: dict[str, tuple[Client, str]], place: Place, designer: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    invitation_create(place=place, by=designer)
    Invitation.objects.update(expires=timezone.now() + dt.timedelta(minutes=5))
    before = said(*pages["places"])
    later = timezone.now() + dt.timedelta(minutes=6)
    monkeypatch.setattr(timezone, "now", lambda: later)

    assert "Renew the link" in before
    assert "Renew the link" not in said(*pages["places"])


def test_a_day_that_passes_is_on_the_page_the_next_day(
    pages: dict[str, tuple[Client, str]], place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    Place.objects.filter(pk=place.pk).update(state=Place.State.TAKEN)
    Round.objects.update(swatches_due=timezone.localdate())
    in_time = said(*pages["detail"])
    days_on = timezone.now() + dt.timedelta(days=2)
    monkeypatch.setattr(timezone, "now", lambda: days_on)

    assert "swatch was due" not in in_time
    assert "swatch was due" in said(*pages["detail"])


def test_an_editor_is_not_shown_what_the_owner_may_do(
    pages: dict[str, tuple[Client, str]], opened: Round, other_designer: User
) -> None:
    Membership.objects.create(
        pattern=opened.edition.pattern,
        role=Membership.Role.EDITOR,
        user=other_designer,
        secret_hash="x",
        expires=timezone.now(),
        joined_at=timezone.now(),
    )
    owners, address = said(*pages["places"]), pages["places"][1]
    editor = Client()
    editor.force_login(other_designer)

    assert ">Invite<" in owners
    assert ">Invite<" not in said(editor, address)


def test_a_page_of_a_list_that_is_not_there_is_not_kept_in_place_of_another(
    pages: dict[str, tuple[Client, str]], opened: Round, designer: User
) -> None:
    client, address = pages["places"]
    first = said(client, address)

    assert said(client, f"{address}?page=99999").count("<tr>") == first.count("<tr>")
    assert said(client, address) == first
