"""Photos of a round side by side: of one size, of one measurement, and one after the other."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.models import Photo
from testround.reports.photos import photo_add
from testround.rounds.models import Place, Round
from tests.reports.pictures import phone_jpeg

SignIn = Callable[[User], Client]
SENT = [
    ("S", "chest", "Chest in S"),
    ("M", "chest", "Chest in M"),
    ("M", "body_length", "Hem in M"),
    ("M", "", "Back"),
]


@pytest.fixture
def address(a_round: Round) -> str:
    return reverse("reports:round_photos", args=[a_round.code])


@pytest.fixture
def sent(a_round: Round, django_capture_on_commit_callbacks: Any) -> dict[str, Photo]:
    """A photo from each of four testers, by its caption: two of the chest, one of the length, one of nothing named."""
    with django_capture_on_commit_callbacks(execute=True):
        for number, (size, dimension, caption) in enumerate(SENT):
            place = Place.objects.create(round=a_round, key=f"p{number}", name=f"Maker {number}", size=size)
            photo_add(place=place, data=phone_jpeg(), caption=caption, dimension=dimension)
    return {photo.caption or "": photo for photo in Photo.objects.all()}


def captions(page: str) -> list[str]:
    return re.findall(r'alt="([^"]+)"', page)


def neighbours(page: str) -> dict[str, str]:
    return dict(re.findall(r'<a rel="(prev|next)" href="([^"]+)"', page))


# Which ones


def test_all_photos_stand_in_wearing_order_newest_first_within_a_size(
    address: str, sent: dict[str, Photo], designer: User, signed_in: SignIn
) -> None:
    page = signed_in(designer).get(address).content.decode()

    assert captions(page) == ["Chest in S", "Back", "Hem in M", "Chest in M"]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"size": "M"}, ["Back", "Hem in M", "Chest in M"]),
        ({"dimension": "chest"}, ["Chest in S", "Chest in M"]),
        ({"size": "M", "dimension": "chest"}, ["Chest in M"]),
        # What the pattern does not have is not asked for.
        ({"size": "9XL", "dimension": "hat"}, ["Chest in S", "Back", "Hem in M", "Chest in M"]),
    ],
)
def test_photos_are_picked_by_size_and_by_what_they_show(
    address: str,
    sent: dict[str, Photo],
    designer: User,
    signed_in: SignIn,
    asked: dict[str, str],
    expected: list[str],
) -> None:
    page = signed_in(designer).get(address, asked).content.decode()

    assert captions(page) == expected


def test_each_photo_says_who_sent_it_in_which_size_and_what_it_shows(
    address: str, sent: dict[str, Photo], designer: User, signed_in: SignIn
) -> None:
    page = signed_in(designer).get(address, {"dimension": "body_length"}).content.decode()

    assert re.search(r">Maker 2</a>, M, Hem to underarm: Hem in M<", page)
    assert '<option value="body_length" selected>Hem to underarm</option>' in page


def test_where_nothing_fits_the_page_says_so_and_leads_back(
    address: str, sent: dict[str, Photo], designer: User, signed_in: SignIn
) -> None:
    page = signed_in(designer).get(address, {"size": "S", "dimension": "body_length"}).content.decode()

    assert "No photos of this yet" in page
    assert f'<a href="{address}">All photos</a>' in page


# One after the other


def test_one_photo_leads_to_its_neighbours_within_what_was_asked_for(
    address: str, sent: dict[str, Photo], designer: User, signed_in: SignIn
) -> None:
    client = signed_in(designer)

    first = client.get(address, {"size": "M", "photo": str(sent["Back"].code)}).content.decode()
    middle = client.get(address + neighbours(first)["next"].replace("&amp;", "&")).content.decode()

    assert "Photo 1 of 3" in first
    assert "prev" not in neighbours(first)
    assert captions(middle) == ["Hem in M"]
    assert neighbours(middle) == {
        "prev": f"?size=M&amp;photo={sent['Back'].code}",
        "next": f"?size=M&amp;photo={sent['Chest in M'].code}",
    }


def test_a_photo_that_is_not_among_those_asked_for_is_not_found(
    address: str, sent: dict[str, Photo], designer: User, signed_in: SignIn
) -> None:
    client = signed_in(designer)

    assert client.get(address, {"size": "S", "photo": str(sent["Back"].code)}).status_code == 404
    assert client.get(address, {"photo": "no-such-photo"}).status_code == 404


def test_another_designer_finds_no_photo(
    address: str, sent: dict[str, Photo], other_designer: User, signed_in: SignIn
) -> None:
    assert signed_in(other_designer).get(address, {"photo": str(sent["Back"].code)}).status_code == 404


@pytest.mark.parametrize("more", [0, 5])
def test_one_photo_costs_the_same_among_four_or_nine(
    address: str,
    sent: dict[str, Photo],
    designer: User,
    signed_in: SignIn,
    a_round: Round,
    more: int,
    django_capture_on_commit_callbacks: Any,
    django_assert_num_queries: Any,
) -> None:
    place = Place.objects.get(key="p0")
    with django_capture_on_commit_callbacks(execute=True):
        for number in range(more):
            photo_add(place=place, data=phone_jpeg(), caption=f"More {number}")
    client = signed_in(designer)

    # Session, user, round, the codes in their order, the photo with its place, what is allowed with it.
    with django_assert_num_queries(6):
        client.get(address, {"photo": str(sent["Back"].code)})


# What a tester says when sending


def test_a_tester_says_which_measurement_a_photo_shows(place: Place, tester: User, signed_in: SignIn) -> None:
    client = signed_in(tester)
    form = reverse("reports:photo_new", args=[place.pk])

    asked = client.get(form).content.decode()
    response = client.post(
        form,
        {
            "key": str(uuid.uuid4()),
            "photo": SimpleUploadedFile("chest.jpg", phone_jpeg()),
            "dimension": "chest",
            "seen": "on",
        },
    )

    assert '<option value="chest">Chest circumference</option>' in asked
    assert "The whole piece, or other" in asked
    assert response.status_code == 302
    assert Photo.objects.get().dimension == "chest"


def test_a_measurement_that_the_sheet_does_not_have_comes_back_with_what_was_typed(
    place: Place, tester: User, signed_in: SignIn
) -> None:
    response = signed_in(tester).post(
        reverse("reports:photo_new", args=[place.pk]),
        {
            "key": str(uuid.uuid4()),
            "photo": SimpleUploadedFile("hat.jpg", phone_jpeg()),
            "dimension": "hat",
            "caption": "A hat",
            "seen": "on",
        },
    )

    assert response.status_code == 422
    assert 'value="A hat"' in response.content.decode()
    assert not Photo.objects.exists()
