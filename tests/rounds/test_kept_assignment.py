"""What is kept of who should make what is what the round says now, and nobody reads it who may not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.patterns.models import Membership, Pattern
from testround.people.models import User
from testround.rounds.models import Candidate, Proposal, Round, SuppliedYarn, Vacancy
from testround.rounds.services import drafted, place_add, proposal_save
from tests.kept_pages import said, said_now
from tests.rounds.offers import candidate, five_for_four

SignIn = Callable[[User], Client]
Change = Callable[[Round, User], Any]

pytestmark = pytest.mark.django_db


def move_elm(round: Round, by: User) -> None:
    shown = drafted(round)
    key = next(person.id for person in shown.read.candidates if person.id not in shown.seats)
    proposal_save(round=round, by=by, revision=shown.draft.revision, moves={key: {"size": "S", "yarn": None}})


def fall_free(round: Round, by: User) -> None:
    place = place_add(round=round, name="Willow", size="S", by=by)
    Vacancy.objects.create(place=place, size="S", candidate=round.candidates.first())


BOTH: dict[str, Change] = {
    "somebody offers": lambda round, _: candidate(round, "fir", 86),
    "somebody withdraws": lambda round, _: Candidate.objects.filter(key="alder").update(state="withdrawn"),
    "another name": lambda round, _: Candidate.objects.filter(key="alder").update(name="Ash"),
    "a candidate measured otherwise": lambda round, _: Candidate.objects.filter(key="alder").update(
        measures={"bust": 96.0}
    ),
    "somebody moved by hand": move_elm,
    "a yarn under another name": lambda round, _: SuppliedYarn.objects.update(label="Another wool"),
    "the round under another name": lambda round, _: Round.objects.update(title="Second test"),
    "the pattern under another name": lambda round, _: Pattern.objects.update(title="Renamed"),
    "the round closed": lambda round, _: Round.objects.update(state=Round.State.CLOSED),
}
PROPOSAL: dict[str, Change] = {
    **BOTH,
    "a place taken": lambda round, by: place_add(round=round, name="Willow", size="S", by=by),
    "a place fallen free": fall_free,
    "somebody on the waiting list": lambda round, _: candidate(round, "fir", 90, state="waiting"),
    "another reach": lambda round, _: Proposal.objects.create(round=round, reach=7.5),
    "offers that stand for longer": lambda round, _: Round.objects.update(offer_days=12),
    "another plan": lambda round, _: Round.objects.update(places_plan={"least": {"M": 1}}),
    "read in inches": lambda _, by: User.objects.filter(pk=by.pk).update(units="in"),
}
ACCEPT: dict[str, Change] = {
    **BOTH,
    "another address": lambda round, _: Candidate.objects.filter(key="alder").update(email="ash@example.org"),
}
CASES = [
    *(pytest.param("proposal", change, id=f"proposal: {name}") for name, change in PROPOSAL.items()),
    *(pytest.param("proposal_accept", change, id=f"accept: {name}") for name, change in ACCEPT.items()),
]


@pytest.fixture
def gathered(opened: Round) -> Round:
    five_for_four(opened)
    return opened


@pytest.mark.parametrize(("page", "change"), CASES)
def test_what_changes_is_on_the_page_at_once(
    signed_in: SignIn, designer: User, gathered: Round, page: str, change: Change
) -> None:
    client, address = signed_in(designer), reverse(f"rounds:{page}", args=[gathered.code])
    before = said_now(client, address)
    said(client, address)

    change(gathered, designer)

    assert said_now(client, address) != before


def test_the_day_until_which_offers_stand_moves_on_with_the_days(
    signed_in: SignIn, designer: User, gathered: Round, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, address = signed_in(designer), reverse("rounds:proposal_accept", args=[gathered.code])
    before = said(client, address)
    tomorrow = timezone.now() + dt.timedelta(days=1)
    monkeypatch.setattr(timezone, "now", lambda: tomorrow)
    client.force_login(designer)

    assert said(client, address) != before


def test_an_editor_is_not_offered_what_the_owner_may_do(
    signed_in: SignIn, designer: User, other_designer: User, gathered: Round
) -> None:
    Membership.objects.create(
        pattern=gathered.edition.pattern,
        role=Membership.Role.EDITOR,
        user=other_designer,
        secret_hash="x",
        expires=timezone.now(),
        joined_at=timezone.now(),
    )
    address = reverse("rounds:proposal", args=[gathered.code])

    owners = said(signed_in(designer), address)
    editors = said(signed_in(other_designer), address)

    assert "Accept and invite" in owners
    assert "Accept and invite" not in editors


def test_what_contradicts_after_it_was_kept_leads_back_to_the_proposal(
    signed_in: SignIn, designer: User, gathered: Round
) -> None:
    client, address = signed_in(designer), reverse("rounds:proposal_accept", args=[gathered.code])
    assert client.get(address).status_code == 200
    Proposal.objects.create(
        round=gathered,
        pins=[{"candidate": "alder", "size": "XS", "yarn": None}],
        exclusions=[{"candidate": "alder", "size": None}],
    )

    assert client.get(address).headers["Location"] == reverse("rounds:proposal", args=[gathered.code])
