"""Who is thanked for testing a pattern, as they wish to be named or not at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from testround.errata.selectors import credits_of
from testround.errata.selectors.credits import Credits
from testround.people.held import person_erase
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services.credits import credit_choose
from testround.rounds.services.privacy import purge
from tests.paper.scene import text_of

PersonNamed = Callable[[str], User]


@pytest.fixture
def person_named(django_user_model) -> PersonNamed:
    def make(name: str) -> User:
        return django_user_model.objects.create_user(email=f"{name.lower()}@example.org", name=name)

    return make


@pytest.fixture
def thanked(tested: Round, person_named: PersonNamed) -> Round:
    """Nine testers, three of whom gave a name."""
    for place, name in zip(tested.places.order_by("pk"), ("zoë", "Ärlin", "Anton"), strict=False):
        place.tester = person_named(f"p{place.pk}")
        place.save()
        credit_choose(place=place, thanked_as=name, in_report=False, by=place.tester)
    return tested


def list_page(round_: Round) -> str:
    return reverse("errata:list", args=[round_.edition.pattern.code])


def test_names_stand_in_the_order_of_the_alphabet_and_the_others_are_counted(thanked: Round) -> None:
    assert credits_of(thanked.edition.pattern) == Credits(("Anton", "Ärlin", "zoë"), 6)


@pytest.mark.parametrize(
    ("credits", "sentence"),
    [
        (Credits(), ""),
        (Credits(("Anton",)), "Tested by Anton."),
        (Credits(("Anton", "Ärlin", "zoë")), "Tested by Anton, Ärlin and zoë."),
        (Credits(("Anton",), 1), "Tested by Anton, and 1 other who prefers not to be named."),
        (
            Credits(("Anton", "Ärlin"), 6),
            "Tested by Anton and Ärlin, and 6 others who prefer not to be named.",
        ),
        (Credits((), 1), "Tested by 1 person."),
        (Credits((), 7), "Tested by 7 people."),
    ],
)
def test_the_thanks_are_one_sentence(credits: Credits, sentence: str) -> None:
    assert credits.sentence == sentence


def test_who_gave_a_place_back_or_sent_nothing_is_neither_named_nor_counted(thanked: Round) -> None:
    first, second, *_ = thanked.places.order_by("pk")
    Place.objects.filter(pk=first.pk).update(state=Place.State.GIVEN_BACK)
    Place.objects.filter(pk=second.pk).update(state=Place.State.TAKEN)

    assert credits_of(thanked.edition.pattern) == Credits(("Anton",), 6)


def test_one_person_with_two_places_is_thanked_once_by_what_they_typed_last(
    thanked: Round, person_named: PersonNamed
) -> None:
    first, *_, last = thanked.places.order_by("pk")
    last.tester = first.tester
    last.save()
    credit_choose(place=last, thanked_as="Zoe", in_report=False, by=last.tester)

    assert credits_of(thanked.edition.pattern) == Credits(("Anton", "Ärlin", "Zoe"), 5)


def test_an_edition_thanks_those_who_tested_it(
    thanked: Round, round_of: Callable[..., Round], client: Client
) -> None:
    other = round_of(2, "Another top")

    assert credits_of(thanked.edition.pattern, thanked.edition).names == ("Anton", "Ärlin", "zoë")
    assert credits_of(thanked.edition.pattern, other.edition) == Credits()
    page = client.get(list_page(thanked), {"edition": thanked.edition.pk}).text
    assert "Tested by Anton, Ärlin and zoë, and 6 others who prefer not to be named." in page


def test_the_public_page_and_its_paper_thank_them(client: Client, thanked: Round) -> None:
    page = client.get(list_page(thanked))
    paper = client.get(reverse("errata:pdf", args=[thanked.edition.pattern.code]))

    assert "Tested by Anton, Ärlin and zoë, and 6 others who prefer not to be named." in page.text
    assert "Tested by Anton, Ärlin and zoë, and 6 others" in text_of(paper.content)


def test_a_name_taken_back_is_gone_from_the_page_that_a_cache_asks_for_again(
    client: Client, thanked: Round
) -> None:
    kept = client.get(list_page(thanked))
    place = thanked.places.get(thanked_as="Anton")

    credit_choose(place=place, thanked_as="", in_report=False, by=place.tester)
    again = client.get(list_page(thanked), headers={"If-None-Match": kept["ETag"]})

    assert again.status_code == 200
    assert "Tested by Ärlin and zoë, and 7 others who prefer not to be named." in again.text
    assert "Anton" not in again.text


def test_a_person_erased_is_named_nowhere_and_still_counted(client: Client, thanked: Round) -> None:
    kept = client.get(list_page(thanked))

    person_erase(user=thanked.places.get(thanked_as="Anton").tester)
    again = client.get(list_page(thanked), headers={"If-None-Match": kept["ETag"]})

    assert "Tested by Ärlin and zoë, and 7 others who prefer not to be named." in again.text


def test_an_account_that_is_gone_without_its_erasure_is_not_named_either(thanked: Round) -> None:
    Place.objects.filter(thanked_as="Anton").update(tester=None)

    assert credits_of(thanked.edition.pattern) == Credits(("Ärlin", "zoë"), 7)


def test_thanks_outlast_the_day_on_which_what_is_private_goes_and_can_still_be_taken_back(
    thanked: Round,
) -> None:
    place = thanked.places.get(thanked_as="Anton")
    credit_choose(place=place, thanked_as="Anton", in_report=True, by=place.tester)
    Round.objects.filter(pk=thanked.pk).update(purge_on=dt.date(2026, 1, 1))
    purge(now=dt.datetime(2026, 1, 2, 12, tzinfo=dt.UTC))
    place.refresh_from_db()

    assert [consent.kind for consent in place.consents.all()] == ["thanks"]
    assert credits_of(thanked.edition.pattern).names == ("Anton", "Ärlin", "zoë")
    credit_choose(place=place, thanked_as="", in_report=False, by=place.tester)
    assert credits_of(thanked.edition.pattern).names == ("Ärlin", "zoë")


@pytest.mark.parametrize("testers", [3, 9])
def test_they_cost_one_query_for_few_and_for_many(
    round_of: Callable[..., Round], testers: int, django_assert_num_queries
) -> None:
    round_ = round_of(testers)

    with django_assert_num_queries(1):
        credits = credits_of(round_.edition.pattern)

    assert credits.others == testers
