"""What is kept of the call, and of how a round stands, is what they say now; what a reader has of their own is theirs."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.patterns.models import Edition
from testround.people.models import User
from testround.recent import forget_recent
from testround.reports.models import CallPicture, Photo, Remark
from testround.rounds.models import Consent, Place, Round, SuppliedYarn
from testround.rounds.services import place_add
from testround.rounds.services.call import call_close
from tests.kept_pages import said, said_now

pytestmark = pytest.mark.django_db

Change = Callable[[Round, User], Any]


def of_round(**changes: Any) -> Change:
    return lambda round, _by: Round.objects.filter(pk=round.pk).update(**changes)


CALL: dict[str, Change] = {
    "what is asked": of_round(asked="Sit up straight."),
    "what is given": of_round(given="A ball of wool."),
    "the terms": of_round(terms="Be kind."),
    "the dates": of_round(closes=timezone.localdate()),
    "what is done with photos": of_round(photo_uses=["face"]),
    "a child's garment": of_round(for_child=True),
    "the sizes that are sought": of_round(places_plan={"most": {"S": 0}}),
    "another yarn": lambda round, _: SuppliedYarn.objects.create(round=round, key="new", label="New wool"),
    "a yarn's name": lambda *_: SuppliedYarn.objects.update(label="Another wool"),
    "the designer's name": lambda _, by: User.objects.filter(pk=by.pk).update(name="Sorrel"),
    "the sheet": lambda round, _: Edition.objects.filter(pk=round.edition_id).update(
        sheet={**round.edition.sheet, "yarn_per_m2": 777}
    ),
    "a picture": lambda round, _: CallPicture.objects.create(
        round=round, state=Photo.State.READY, shows="Front", width=9, height=9, file="calls/a.jpg"
    ),
    "a call that is closed": lambda round, by: call_close(round=round, by=by),
}


@pytest.mark.parametrize("change", CALL.values(), ids=CALL)
def test_what_changes_of_a_call_is_on_its_page_at_once(
    client: Client, called: Round, designer: User, change: Change
) -> None:
    address = reverse("rounds:call", args=[called.call_code])
    before = said_now(client, address)
    said(client, address)

    change(Round.objects.get(pk=called.pk), designer)

    assert said_now(client, address) != before


def test_two_who_open_a_call_each_have_a_key_and_a_token_of_their_own(called: Round) -> None:
    address = reverse("rounds:call", args=[called.call_code])
    pages = [Client().get(address).content.decode() for _visitor in range(3)]

    keys = {found for page in pages for found in re.findall(r'name="key" value="([^"]+)"', page)}
    tokens = {re.findall(r'csrfmiddlewaretoken" value="([^"]+)"', page)[-1] for page in pages}
    assert (len(keys), len(tokens)) == (3, 3)


STANDING: dict[str, Change] = {
    "a place": lambda round, by: place_add(round=round, name="Sorrel", size="M", by=by),
    "a place given back": lambda *_: Place.objects.update(state=Place.State.GIVEN_BACK),
    "who allows to be named": lambda *_: Consent.objects.create(
        place=Place.objects.get(), kind=Consent.Kind.STANDING
    ),
    "a name that is shown": lambda *_: (
        Consent.objects.create(place=Place.objects.get(), kind=Consent.Kind.STANDING),
        Place.objects.update(name="Wren"),
    ),
    "a remark": lambda *_: Remark.objects.create(place=Place.objects.get(), kind="unclear", text="Hm"),
    "the dates": of_round(closes=timezone.localdate()),
    "the state": of_round(state=Round.State.CLOSED),
}


@pytest.mark.parametrize("change", STANDING.values(), ids=STANDING)
def test_how_a_round_stands_is_how_it_stands_now(
    client: Client, opened: Round, offered: Place, designer: User, change: Change
) -> None:
    client.force_login(designer)
    address = reverse("rounds:standing", args=[opened.code])
    before = said_now(client, address)
    said(client, address)

    change(Round.objects.get(pk=opened.pk), designer)
    at_once = said(client, address)
    cache.clear()
    forget_recent()

    assert said(client, address) == at_once != before
