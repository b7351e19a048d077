"""What a designer reads of her testers' reports, and that nobody else does."""

from __future__ import annotations

import html
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.models import Photo
from testround.reports.photos import photo_add
from testround.reports.services import counts_submit, measures_submit, swatch_submit
from testround.rounds.models import Place
from tests.reports.pictures import phone_jpeg


def said(response: Any) -> str:
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", html.unescape(text)).replace("\N{NO-BREAK SPACE}", " ")


def sent_page(place: Place) -> str:
    return reverse("reports:of_tester", args=[place.round.code, place.pk])


def photos_page(place: Place) -> str:
    return reverse("reports:round_photos", args=[place.round.code])


def send_photos(place: Place, n: int, captures: Callable[..., Any]) -> None:
    with captures(execute=True):
        for number in range(n):
            photo_add(place=place, data=phone_jpeg(), caption=f"Photo {number}")


def test_the_designer_reads_what_a_tester_sent_as_it_was_typed(
    place: Place, tester: User, designer: User, signed_in: Callable[[User], Client]
) -> None:
    swatch_submit(
        place=place,
        key=uuid.uuid4(),
        by=tester,
        gauge="body",
        state="blocked",
        width=10.16,
        stitches=22.5,
        typed={"width": "4 in", "stitches": "22 1/2"},
    )
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 102.0})
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104.0})
    measures_submit(place=place, key=uuid.uuid4(), by=tester, measures={"bust": 87.5})

    words = said(signed_in(designer).get(sent_page(place)))

    assert "What Tester one sent" in words
    assert "22 1/2 stitches in 4 in" in words
    assert "Full bust 87.5 cm (the size is made for 86 cm)" in words
    assert "102 stitches Corrected since; no longer counts." in words
    assert "Correct " not in words, "reading is all the designer does here"


def test_what_is_odd_and_what_is_not_sent_stands_above_the_list(
    place: Place, tester: User, designer: User, signed_in: Callable[[User], Client]
) -> None:
    swatch_submit(
        place=place, key=uuid.uuid4(), by=tester, gauge="body", state="blocked", width=10, stitches=19.0
    )
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 140.0})

    words = said(signed_in(designer).get(sent_page(place)))

    assert "Odd By the swatch: Chest circumference would come out" in words
    assert "The piece is begun all the same. Counts far from what the text says: Back, cast on." in words
    assert "Sent 1 swatch, 1 of 2 counts Not sent 1 count, the hours, 2 finished measurements," in words


def test_of_somebody_who_sent_nothing_nothing_is_odd(
    place: Place, designer: User, signed_in: Callable[[User], Client]
) -> None:
    words = said(signed_in(designer).get(sent_page(place)))

    assert "Odd Nothing. Sent Nothing yet. Not sent a swatch, 2 counts, the hours," in words


@pytest.mark.parametrize("page", [sent_page, photos_page])
def test_to_anybody_but_the_rounds_designer_there_is_no_such_page(
    page: Callable[[Place], str],
    place: Place,
    client: Client,
    tester: User,
    other_designer: User,
    stranger: User,
) -> None:
    for person in (tester, other_designer, stranger):
        client.force_login(person)
        assert client.get(page(place)).status_code == 404

    client.logout()
    assert client.get(page(place)).status_code == 302


def test_a_place_is_not_read_under_another_rounds_address(
    place: Place, designer: User, signed_in: Callable[[User], Client]
) -> None:
    address = reverse("reports:of_tester", args=["another-round", place.pk])

    assert signed_in(designer).get(address).status_code == 404


def test_the_designer_sees_photos_that_are_ready_and_not_taken_back(
    place: Place,
    designer: User,
    signed_in: Callable[[User], Client],
    django_capture_on_commit_callbacks: Any,
) -> None:
    send_photos(place, 1, django_capture_on_commit_callbacks)
    photo_add(place=place, data=phone_jpeg(), caption="Still waiting")
    client = signed_in(designer)

    words = said(client.get(photos_page(place)))
    assert "Tester one , S: Photo 0" in words
    assert "Still waiting" not in words
    assert Photo.objects.get(caption="Photo 0").code.hex in client.get(
        sent_page(place)
    ).content.decode().replace("-", "")


@pytest.mark.parametrize("n_photos", [1, 3])
def test_the_photos_page_costs_the_same_for_one_photo_or_three(
    n_photos: int,
    place: Place,
    designer: User,
    signed_in: Callable[[User], Client],
    django_capture_on_commit_callbacks: Any,
    django_assert_num_queries: Any,
) -> None:
    send_photos(place, n_photos, django_capture_on_commit_callbacks)
    client = signed_in(designer)

    # Session, user, round, how many photos, the photos with their places, what is allowed with them.
    with django_assert_num_queries(6):
        response = client.get(photos_page(place))

    assert len(response.context["page"].object_list) == n_photos
