"""Pictures of the piece on the page of a call."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.patterns.models import Edition
from testround.people.models import User
from testround.reports import call_pictures as services
from testround.reports.models import CallPicture
from testround.reports.photos import PhotoRefused
from testround.rounds.models import DiaryEntry, Round
from testround.rounds.refusals import Refused
from testround.rounds.services import call_edit, call_open, round_open

from .pictures import SECRETS, phone_jpeg

SignIn = Callable[[User], Client]
SHOWS = "The top from the front"


@pytest.fixture
def called(edition: Edition, designer: User) -> Round:
    """A round with an open call."""
    round = round_open(edition=edition, by=designer, title="First test")
    call_edit(
        round=round,
        by=designer,
        call_opens=None,
        call_closes=timezone.localdate() + dt.timedelta(days=20),
        asked="Make one.",
        given="",
        terms="",
    )
    return call_open(round=round, by=designer)


@pytest.fixture
def picture(
    called: Round, designer: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> CallPicture:
    """A picture that is on the page."""
    with django_capture_on_commit_callbacks(execute=True):
        added = services.picture_add(round=called, data=phone_jpeg(), shows=SHOWS, by=designer)
    return CallPicture.objects.get(pk=added.pk)


def address(picture: CallPicture) -> str:
    return reverse("reports:call_picture", args=[picture.code])


def page(round: Round) -> str:
    return reverse("reports:call_pictures", args=[round.code])


def upload(data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile("photo.jpg", data, content_type="image/jpeg")


def files(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_a_picture_is_on_the_page_of_the_call(client: Client, called: Round, picture: CallPicture) -> None:
    body = client.get(reverse("rounds:call", args=[called.call_code])).content.decode()

    assert (
        f'<img src="{address(picture)}" width="{picture.width}" height="{picture.height}" alt="{SHOWS}">'
        in body
    )
    assert [entry.text for entry in DiaryEntry.objects.filter(text__contains="Picture")] == [
        f"Picture added to the call: {SHOWS}."
    ]


def test_nothing_of_where_it_was_taken_is_kept(client: Client, picture: CallPicture, settings: Any) -> None:
    response = client.get(address(picture))

    assert response["Content-Type"] == "image/jpeg"
    assert response["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert [secret for secret in SECRETS if secret in response.content] == []
    assert files(settings.MEDIA_ROOT) == [f"calls/{picture.code}.jpg"]


def test_before_the_call_opens_only_those_of_the_round_see_a_picture(
    signed_in: SignIn, called: Round, picture: CallPicture, designer: User, other_designer: User
) -> None:
    Round.objects.filter(pk=called.pk).update(state=Round.State.PLANNED)

    assert Client().get(address(picture)).status_code == 404
    assert signed_in(other_designer).get(address(picture)).status_code == 404
    assert signed_in(designer).get(address(picture)).status_code == 200


def test_a_picture_that_is_not_ready_is_shown_to_nobody(
    signed_in: SignIn, called: Round, designer: User
) -> None:
    waiting = services.picture_add(round=called, data=phone_jpeg(), shows=SHOWS, by=designer)

    assert signed_in(designer).get(address(waiting)).status_code == 404
    assert services.pictures_of(called) == []


def test_taken_away_its_file_is_gone(
    called: Round,
    picture: CallPicture,
    designer: User,
    settings: Any,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        services.picture_remove(picture=picture, by=designer)

    assert (called.call_pictures.count(), files(settings.MEDIA_ROOT)) == (0, [])


def test_what_is_no_picture_is_refused_and_nothing_is_kept(
    called: Round, designer: User, settings: Any
) -> None:
    with pytest.raises(PhotoRefused):
        services.picture_add(round=called, data=b"<svg/>", shows=SHOWS, by=designer)

    assert called.call_pictures.count() == 0


def test_a_call_has_so_many_pictures_at_most(called: Round, designer: User, settings: Any) -> None:
    for _ in range(services.MOST_PICTURES):
        services.picture_add(round=called, data=phone_jpeg(), shows=SHOWS, by=designer)

    with pytest.raises(Refused, match="at most 8 pictures"):
        services.picture_add(round=called, data=phone_jpeg(), shows=SHOWS, by=designer)

    assert called.call_pictures.count() == services.MOST_PICTURES
    assert len(files(settings.MEDIA_ROOT)) == services.MOST_PICTURES


def test_a_press_repeated_adds_one_picture(signed_in: SignIn, called: Round, designer: User) -> None:
    client, key = signed_in(designer), str(uuid.uuid4())

    answers = [
        client.post(page(called), {"photo": upload(phone_jpeg()), "shows": SHOWS, "key": key}).status_code
        for _ in range(2)
    ]

    assert (answers, called.call_pictures.count()) == ([302, 302], 1)


def test_what_is_wrong_with_a_picture_is_said_beside_it(
    signed_in: SignIn, called: Round, designer: User
) -> None:
    answer = signed_in(designer).post(page(called), {"photo": upload(b"no picture"), "shows": ""})

    assert answer.status_code == 422
    errors = answer.context["form"].errors
    assert list(errors["shows"]) == ["Say what is to be seen in it, for those who cannot see it."]
    assert errors["photo"]
    assert called.call_pictures.count() == 0


def test_the_page_says_first_what_the_call_shows(
    signed_in: SignIn, called: Round, designer: User, django_capture_on_commit_callbacks: Any
) -> None:
    page = reverse("reports:call_pictures", args=[called.code])
    client = signed_in(designer)

    none = client.get(page).text
    with django_capture_on_commit_callbacks(execute=True):
        services.picture_add(round=called, data=phone_jpeg(), shows="The top from the front", by=designer)
    one = client.get(page).text

    assert "The call shows no picture yet." in none
    assert "The call shows 1 picture." in one
    assert one.index("Take it away") < one.index("Add another picture")
