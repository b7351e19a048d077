"""No page of this room says anything past the catalogue, beside what people wrote."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services import invitation_create, place_add
from tests.spoken import bracketed, own_words, unspoken

from .calls import confirmed, offer
from .conftest import path_of
from .offers import five_for_four


def main(html: str) -> str:
    """The page itself, without the frame around it, which leads to other rooms."""
    return html.partition('<main id="main" tabindex="-1">')[2].partition("</main>")[0]


def said(client: Client, paths: list[str]) -> dict[str, list[str]]:
    """What each of these pages says past the catalogue; all of them are there."""
    with bracketed():
        answers = {path: client.get(path) for path in paths}
    own = own_words()
    assert {path: page.status_code for path, page in answers.items()} == dict.fromkeys(paths, 200)
    return {path: pieces for path, page in answers.items() if (pieces := unspoken(main(page.text), own))}


@pytest.fixture
def full(called: Round, designer: User, tester: User) -> Round:
    """A round that gathers: some offer, one is on the list of places, one of them is held."""
    five_for_four(called)
    confirmed(called, "wren@example.org")
    free = place_add(round=called, name="Willow", size="S", yarn=called.yarns.get(), by=designer)
    invitation_create(place=free, email="willow@example.org", by=designer)
    held = place_add(round=called, name="Rowan", size="XS", by=designer)
    Place.objects.filter(pk=held.pk).update(tester=tester, state="taken")
    return called


def test_every_page_of_who_runs_a_round_speaks_through_the_catalogue(
    client: Client, full: Round, designer: User
) -> None:
    client.force_login(designer)
    free, held = full.places.order_by("pk")
    of_round = ["detail", "edit", "move", "diary", "yarns", "places", "place_new", "call_plan", "mails"]
    of_round += ["candidates", "proposal", "proposal_accept", "standing"]
    paths = [
        reverse("rounds:list"),
        *(reverse(f"rounds:{name}", args=[full.code]) for name in of_round),
        f"{reverse('rounds:candidates', args=[full.code])}?state=withdrawn",
        *(reverse(f"rounds:{name}", args=[full.code, free.pk]) for name in ("place_edit", "invite")),
        *(reverse(f"rounds:{name}", args=[full.code, held.pk]) for name in ("place_give_back", "nudge")),
        reverse("rounds:new", args=[full.edition.pk]),
        reverse("rounds:people", args=[full.edition.pattern.code]),
    ]

    assert said(client, paths) == {}


def test_every_page_of_a_tester_speaks_through_the_catalogue(
    client: Client, full: Round, tester: User
) -> None:
    held = full.places.get(tester=tester)
    client.force_login(tester)

    assert said(client, [reverse(f"rounds:{name}", args=[held.pk]) for name in ("give_back", "until")]) == {}


def test_every_page_behind_a_link_speaks_through_the_catalogue(
    client: Client, full: Round, designer: User
) -> None:
    free = full.places.get(tester=None)
    join = path_of(invitation_create(place=free, by=designer)[1])
    paths = [
        reverse("rounds:call", args=[full.call_code]),
        reverse("rounds:call_sent", args=[full.call_code]),
        reverse("rounds:offer", args=[offer(full, "fern@example.org")]),
        reverse("rounds:offer", args=[confirmed(full, "sorrel@example.org")[1]]),
        join,
        f"{join}no/",
    ]

    assert said(client, paths) == {}
