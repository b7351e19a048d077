"""What is kept of a sheet's page is the sheet as it stands now, for whoever may work on it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.models import Edition, Membership, Pattern
from testround.patterns.services import edition_freeze, edition_save
from testround.people.models import User
from tests.kept_pages import said, said_now

SignIn = Callable[[User], Client]
Change = Callable[[Edition, User], Any]

pytestmark = pytest.mark.django_db


def save(edition: Edition, by: User, **changes: Any) -> None:
    document = SheetDocument.model_validate({**edition.sheet, **changes})
    edition_save(edition=edition, document=document, revision=edition.revision, by=by)


CHANGES: dict[str, Change] = {
    "another title": lambda edition, by: save(edition, by, title="Larger top"),
    "another printed number": lambda edition, by: save(
        edition,
        by,
        numbers=[
            {**number, "printed": {**number["printed"], "S": 40}} if n == 0 else number
            for n, number in enumerate(edition.sheet["numbers"])
        ],
    ),
    "a save that changes nothing": save,
    "another name of the pattern": lambda edition, _: Pattern.objects.update(title="Renamed"),
    "another name of whoever saved it": lambda edition, by: (
        save(edition, by),
        User.objects.filter(pk=by.pk).update(name="Somebody Else"),
    ),
    "written past the services": lambda edition, _: Edition.objects.filter(pk=edition.pk).update(
        sheet={**edition.sheet, "yarn_per_m2": 777}
    ),
    "in other terms": lambda edition, _: Edition.objects.filter(pk=edition.pk).update(
        terms="uk", sheet={**edition.sheet, "craft": "crochet"}
    ),
    "frozen": lambda edition, _: edition_freeze(edition=edition),
    "read in inches": lambda _, by: User.objects.filter(pk=by.pk).update(units="in"),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_what_changes_of_a_sheet_is_on_its_page_at_once(
    signed_in: SignIn, designer: User, edition: Edition, change: Change
) -> None:
    client, address = signed_in(designer), edition.get_absolute_url()
    before = said_now(client, address)
    said(client, address)

    change(edition, designer)

    assert said_now(client, address) != before


def test_a_change_that_is_taken_back_brings_the_values_back(
    signed_in: SignIn, designer: User, edition: Edition
) -> None:
    client, address = signed_in(designer), edition.get_absolute_url()
    before = re.findall(r'<input name="[a-z].*?>', said(client, address))
    save(edition, designer, yarn_per_m2=777)
    edition.refresh_from_db()
    between = said(client, address)
    save(edition, designer, yarn_per_m2=None)

    assert "777" in between
    assert re.findall(r'<input name="[a-z].*?>', said(client, address)) == before


def test_what_is_asked_for_in_the_address_is_not_kept_for_others(
    signed_in: SignIn, designer: User, edition: Edition
) -> None:
    client, address = signed_in(designer), edition.get_absolute_url()
    plain = said(client, address)

    with_plot = said(client, f"{address}?plot=numbers-0")

    assert "<svg" in with_plot.partition("<main")[2]
    assert said(client, address) == plain


def test_two_who_work_on_a_sheet_read_the_same_and_each_saves_with_their_own_token(
    designer: User, other_designer: User, edition: Edition
) -> None:
    Membership.objects.create(
        pattern=edition.pattern,
        role=Membership.Role.EDITOR,
        user=other_designer,
        secret_hash="x",
        expires=timezone.now(),
        joined_at=timezone.now(),
    )
    clients = []
    for person in (designer, other_designer):
        clients.append(Client(enforce_csrf_checks=True))
        clients[-1].force_login(person)
    address = edition.get_absolute_url()
    pages = [client.get(address).content.decode() for client in clients]
    tokens = [
        re.search(r'csrfmiddlewaretoken" value="([^"]+)"', page.partition("<main")[2]) for page in pages
    ]

    answers = [
        client.post(address, {"csrfmiddlewaretoken": token[1], "action": "check"}).status_code
        for client, token in zip(clients, tokens, strict=True)
        if token is not None
    ]

    assert answers == [200, 200]
