"""What a tester allows, each by itself and taken back at any time."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.models import Photo
from testround.reports.photos import PhotoRefused, photo_add, photo_encode
from testround.rounds.models import Candidate, Consent, Place, Round
from testround.rounds.services import invitation_accept, invitation_create, place_add
from testround.rounds.services.privacy import consents_set
from tests.reports.pictures import phone_jpeg

Address = Callable[..., str]


def standing(place: Place) -> set[str]:
    return set(place.consents.filter(withdrawn_at=None).values_list("kind", flat=True))


def files_under(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def photo_form(**more: Any) -> dict[str, Any]:
    upload = SimpleUploadedFile("a.jpg", phone_jpeg(), content_type="image/jpeg")
    return {"key": str(uuid.uuid4()), "photo": upload, "caption": "Front", **more}


@pytest.fixture
def shown_photo(place: Place, tester: User, django_capture_on_commit_callbacks: Any) -> Photo:
    with django_capture_on_commit_callbacks(execute=True):
        photo = photo_add(place=place, data=phone_jpeg(), key=uuid.uuid4(), by=tester, seen=True)
    photo_encode({"photo": photo.pk})
    photo.refresh_from_db()
    return photo


def test_nothing_is_allowed_unless_it_was_said(as_tester: Client, place: Place, address: Address) -> None:
    page = as_tester.get(address("consents"))

    assert standing(place) == set()
    # The two about thanks have a page of their own.
    assert [kind for kind in Consent.Kind.values if f'name="{kind}"' not in page.text] == ["thanks", "report"]
    assert "checked" not in page.text


def test_a_photo_is_sent_by_whoever_lets_it_be_seen_and_by_nobody_else(
    as_tester: Client, place: Place, address: Address
) -> None:
    without = as_tester.post(address("photo_new"), photo_form())
    with_it = as_tester.post(address("photo_new"), photo_form(seen="on"))
    again = as_tester.get(address("photo_new"))

    assert (without.status_code, with_it.status_code) == (422, 302)
    assert "Tick this to send a photo. Without it nobody could see the photo." in without.text
    assert standing(place) == {"seen"}
    # Said once, it stands.
    assert 'name="seen"' not in again.text


def test_each_kind_is_given_and_taken_back_by_itself(
    as_tester: Client, place: Place, address: Address
) -> None:
    as_tester.post(address("consents"), {"seen": "on", "pattern": "on", "standing": "on"})
    as_tester.post(address("consents"), {"seen": "on", "online": "on", "standing": "on"})

    assert standing(place) == {"seen", "online", "standing"}
    withdrawn = place.consents.get(kind="pattern")
    assert withdrawn.withdrawn_at > withdrawn.given_at
    assert [entry.text for entry in place.diary.order_by("pk")] == [
        "Tester one allows: the designer sees the photos; the published pattern shows the photos; other testers "
        "and onlookers see the tester's name where they see how the round stands.",
        "Tester one allows: the photos are shown online, where the design is.",
        "Tester one no longer allows: the published pattern shows the photos.",
    ]


def test_what_cannot_be_seen_cannot_be_shown(as_tester: Client, place: Place, address: Address) -> None:
    page = as_tester.post(address("consents"), {"online": "on"})

    assert page.status_code == 422
    assert "Whoever is to show your photos has to see them: tick this too, or untick the others." in page.text
    assert standing(place) == set()


def test_saving_twice_changes_nothing_twice(as_tester: Client, place: Place, address: Address) -> None:
    for _ in range(2):
        as_tester.post(address("consents"), {"seen": "on"})

    assert (place.consents.count(), place.diary.count()) == (1, 1)


def test_photos_that_may_not_be_seen_any_more_are_gone_from_every_page_and_from_the_disk(
    client: Client,
    shown_photo: Photo,
    place: Place,
    tester: User,
    designer: User,
    settings: Any,
    django_capture_on_commit_callbacks: Any,
) -> None:
    client.force_login(designer)
    picture = reverse("reports:photo", args=[shown_photo.code, 320])
    assert (client.get(picture).status_code, len(files_under(settings.MEDIA_ROOT)) > 0) == (200, True)

    with django_capture_on_commit_callbacks(execute=True):
        consents_set(place=place, kinds=set(), by=tester)

    assert client.get(picture).status_code == 404
    page = client.get(reverse("reports:round_photos", args=[place.round.code]))
    assert str(shown_photo.code) not in page.text
    assert files_under(settings.MEDIA_ROOT) == []


def test_files_stay_when_the_consent_stays_because_the_transaction_broke(
    shown_photo: Photo, place: Place, tester: User, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    before = files_under(settings.MEDIA_ROOT)

    with django_capture_on_commit_callbacks(execute=False):
        consents_set(place=place, kinds=set(), by=tester)

    # Nothing is deleted before the commit.
    assert files_under(settings.MEDIA_ROOT) == before


def test_a_photo_on_its_way_when_the_consent_goes_is_not_taken(place: Place, tester: User) -> None:
    consents_set(place=place, kinds={"seen"}, by=tester)
    consents_set(place=place, kinds=set(), by=tester)

    with pytest.raises(PhotoRefused, match="You have taken back that your photos may be seen"):
        photo_add(place=place, data=phone_jpeg(), key=uuid.uuid4(), by=tester)

    assert Photo.objects.count() == 0


def test_the_designer_reads_beside_each_photo_what_may_be_done_with_it(
    client: Client, shown_photo: Photo, place: Place, tester: User, designer: User
) -> None:
    consents_set(place=place, kinds={"seen", "online", "name"}, by=tester)
    client.force_login(designer)

    page = client.get(reverse("reports:round_photos", args=[place.round.code]))

    assert "Name beside it: yes. Online: yes. Otherwise it stays within the round." in " ".join(
        page.text.split()
    )


@pytest.mark.parametrize(
    ("address", "kept"), [("tester@example.org", {"online", "name"}), ("another@example.org", set())]
)
def test_what_was_allowed_with_the_offer_stands_at_the_place_of_whoever_offered(
    a_round: Round, designer: User, tester: User, address: str, kept: set[str]
) -> None:
    offer = Candidate.objects.create(
        round=a_round, key="c01", name="Fern", email=address, photo_online=True, photo_name=True
    )
    place = place_add(round=a_round, name="Fern", size="S", by=designer, candidate=offer)
    _, url = invitation_create(place=place, by=designer)

    invitation_accept(secret=url.rstrip("/").rsplit("/", 1)[-1], user=tester)

    assert standing(place) == kept
