"""A photo's way: checked at the door, made anew after the answer, seen by two people and nobody else."""

from __future__ import annotations

import io
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from testround.outbox.models import Work
from testround.people.models import User
from testround.reports import encoding
from testround.reports.models import Photo, Submission
from testround.reports.photos import PhotoRefused, photo_add, photo_encode, photo_remove, reencode
from testround.rounds.models import Place
from tests.reports.pictures import SECRETS, bomb_header, phone_jpeg, saved

Address = Callable[..., str]


@pytest.fixture
def after_commit(django_capture_on_commit_callbacks: Any) -> Any:
    """What follows a commit is done at the end of the block."""
    return lambda: django_capture_on_commit_callbacks(execute=True)


@pytest.fixture
def ready_photo(place: Place, after_commit: Any) -> Photo:
    with after_commit():
        photo = photo_add(place=place, data=phone_jpeg(), caption="Swatch, blocked")
    photo.refresh_from_db()
    return photo


def files_under(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def upload(data: bytes, name: str = "IMG_20270103_0912.jpg") -> SimpleUploadedFile:
    # The name and the type that a browser claims are not to be believed.
    return SimpleUploadedFile(name, data, content_type="image/jpeg")


def form(data: bytes, **more: Any) -> dict[str, Any]:
    return {
        "key": str(uuid.uuid4()),
        "photo": upload(data),
        "caption": "Swatch, blocked",
        "seen": "on",
        **more,
    }


def test_a_photo_waits_unserved_until_it_has_been_made_anew(
    as_tester: Client, address: Address, settings: Any
) -> None:
    response = as_tester.post(address("photo_new"), form(phone_jpeg()))

    assert response.status_code == 302
    photo = Photo.objects.get()
    assert photo.state == Photo.State.WAITING
    assert files_under(settings.MEDIA_ROOT) == [f"incoming/{photo.code}.upload"]
    assert as_tester.get(reverse("reports:photo", args=[photo.code, 320])).status_code == 404
    assert "is being made ready" in as_tester.get(address("photo_new")).content.decode()


def test_no_file_that_is_kept_carries_where_the_photo_was_taken(ready_photo: Photo, settings: Any) -> None:
    assert ready_photo.state == Photo.State.READY
    kept = files_under(settings.MEDIA_ROOT)
    folder = f"photos/{ready_photo.code}"
    assert kept == [f"{folder}/320.jpg", f"{folder}/400.jpg", f"{folder}/original.jpg"]
    for name in kept:
        data = (Path(settings.MEDIA_ROOT) / name).read_bytes()
        assert encoding.is_bare_jpeg(data)
        assert not [secret for secret in SECRETS if secret in data]
        assert dict(Image.open(io.BytesIO(data)).getexif()) == {}


def test_what_is_known_of_a_photo_fits_its_files(ready_photo: Photo) -> None:
    with ready_photo.original.open("rb") as file:
        assert encoding.sha256_of(file.read()) == ready_photo.sha256
    assert (ready_photo.width, ready_photo.height) == (400, 300)
    assert list(ready_photo.renditions.values_list("width", "height")) == [(320, 240), (400, 300)]
    assert ready_photo.incoming.name == ""


def test_the_name_of_the_file_on_the_phone_is_not_kept(
    as_tester: Client, address: Address, place: Place
) -> None:
    as_tester.post(address("photo_new"), form(phone_jpeg()))

    photo = Photo.objects.get()
    assert photo.name == f"{place.key}-{photo.code.hex[:8]}.jpg"
    assert "IMG_2027" not in photo.incoming.name


def test_work_that_runs_twice_makes_a_photo_once(ready_photo: Photo, settings: Any) -> None:
    before = files_under(settings.MEDIA_ROOT), list(ready_photo.renditions.values())

    photo_encode({"photo": ready_photo.pk})

    assert (files_under(settings.MEDIA_ROOT), list(ready_photo.renditions.values())) == before


def test_work_that_was_cut_short_starts_over(place: Place, settings: Any, after_commit: Any) -> None:
    photo = photo_add(place=place, data=phone_jpeg())
    left_over = Path(settings.MEDIA_ROOT) / "photos" / str(photo.code) / "320.jpg"
    left_over.parent.mkdir(parents=True)
    left_over.write_bytes(b"half a file")

    with after_commit():
        photo_encode({"photo": photo.pk})

    photo.refresh_from_db()
    assert photo.state == Photo.State.READY
    assert photo.renditions.first().file.name == f"photos/{photo.code}/320.jpg"
    assert encoding.is_bare_jpeg(left_over.read_bytes())


def test_an_upload_that_was_lost_is_said_to_be_lost(place: Place, settings: Any) -> None:
    photo = photo_add(place=place, data=phone_jpeg())
    (Path(settings.MEDIA_ROOT) / photo.incoming.name).unlink()

    photo_encode({"photo": photo.pk})

    photo.refresh_from_db()
    assert photo.state == Photo.State.REFUSED
    assert photo.problem == "The file did not get through. Please send the photo again."


def test_an_upload_that_turns_out_broken_leaves_its_sentence_and_no_file(place: Place, settings: Any) -> None:
    photo = photo_add(place=place, data=phone_jpeg())
    (Path(settings.MEDIA_ROOT) / photo.incoming.name).write_bytes(phone_jpeg()[:2000])

    photo_encode({"photo": photo.pk})

    photo.refresh_from_db()
    assert photo.state == Photo.State.REFUSED
    assert photo.problem == "The file is cut off or damaged. Choose the photo again and send it once more."
    assert files_under(settings.MEDIA_ROOT) == []


def test_a_photo_of_ours_that_is_imported_again_is_the_same_photo(
    ready_photo: Photo, after_commit: Any
) -> None:
    with ready_photo.original.open("rb") as file:
        exported = file.read()

    with after_commit():
        again = photo_add(place=ready_photo.place, data=exported, name="swatch.jpg")
        assert again.sha256 == ready_photo.sha256, "known before the work is done"

    again.refresh_from_db()
    assert (again.state, again.sha256, again.name) == (Photo.State.READY, ready_photo.sha256, "swatch.jpg")


def test_an_upload_that_is_not_stored_leaves_no_file(place: Place, settings: Any) -> None:
    with pytest.raises(PhotoRefused):
        photo_add(place=place, data=b"<svg/>")

    assert not Photo.objects.exists()
    assert not Path(settings.MEDIA_ROOT).exists() or files_under(settings.MEDIA_ROOT) == []


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "The file is empty."),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "This file is not a photo we can read."),
        (b"<!doctype html><script>alert(1)</script>", "This file is not a photo we can read."),
        (b"PK\x03\x04" + b"\0" * 100, "This file is not a photo we can read."),
        (phone_jpeg()[:1500], "The file is cut off or damaged."),
        (bomb_header(), "up to 80 million are taken."),
    ],
    ids=["empty", "svg", "html", "zip", "cut off", "bomb"],
)
def test_a_file_that_is_no_photo_comes_back_with_a_sentence_and_the_caption_kept(
    data: bytes, sentence: str, as_tester: Client, address: Address, settings: Any
) -> None:
    response = as_tester.post(address("photo_new"), form(data))

    assert response.status_code == 422
    page = response.content.decode()
    assert sentence in page
    assert 'value="Swatch, blocked"' in page
    assert not Photo.objects.exists()
    assert not Submission.objects.exists()
    assert not Work.objects.exists()


def test_a_file_over_the_limit_comes_back_with_a_sentence(
    as_tester: Client, address: Address, settings: Any
) -> None:
    settings.PHOTO_MAX_BYTES = 1024 * 1024

    response = as_tester.post(address("photo_new"), form(phone_jpeg() + b"\0" * 3 * 1024 * 1024))

    assert response.status_code == 422
    assert "The file is 3 MB; up to 1 MB are taken." in response.content.decode()


def test_a_form_without_a_photo_comes_back(as_tester: Client, address: Address) -> None:
    response = as_tester.post(address("photo_new"), {"key": str(uuid.uuid4()), "caption": "Front"})

    assert response.status_code == 422
    assert "Choose a photo first." in response.content.decode()


def test_a_photo_that_is_sent_twice_is_one_photo(as_tester: Client, address: Address) -> None:
    key = str(uuid.uuid4())

    answers = [as_tester.post(address("photo_new"), form(phone_jpeg(), key=key)) for _ in range(2)]

    assert [answer.url for answer in answers] == [address("photo_new")] * 2
    assert Photo.objects.count() == 1


def test_two_photos_under_one_number_are_not_taken_for_one(as_tester: Client, address: Address) -> None:
    key = str(uuid.uuid4())
    as_tester.post(address("photo_new"), form(phone_jpeg(), key=key))

    response = as_tester.post(address("photo_new"), form(saved(Image.new("RGB", (9, 9)), "PNG"), key=key))

    assert response.status_code == 422
    assert "This form had already been sent and has arrived." in response.content.decode()
    assert key not in response.content.decode()


def test_the_tester_and_the_rounds_designer_see_a_photo_and_nobody_else(
    ready_photo: Photo,
    client: Client,
    tester: User,
    designer: User,
    other_designer: User,
    stranger: User,
) -> None:
    url = reverse("reports:photo", args=[ready_photo.code, 320])
    seen = {}
    for person in (tester, designer, other_designer, stranger):
        client.force_login(person)
        seen[person.name] = client.get(url).status_code
    client.logout()
    seen["signed out"] = client.get(url).status_code

    assert seen == {
        "Tester one": 200,
        "Designer": 200,
        "Other designer": 404,
        "Stranger": 404,
        "signed out": 302,
    }


def test_another_tester_of_the_round_does_not_see_it(
    ready_photo: Photo, client: Client, stranger: User, place: Place
) -> None:
    Place.objects.create(round=place.round, key="t02", name="Tester two", tester=stranger, size="M")
    client.force_login(stranger)

    assert client.get(reverse("reports:photo", args=[ready_photo.code, 320])).status_code == 404


def test_a_photo_is_served_as_nothing_but_a_picture(ready_photo: Photo, as_tester: Client) -> None:
    response = as_tester.get(reverse("reports:photo", args=[ready_photo.code, 320]))

    assert response.headers["Content-Type"] == "image/jpeg"
    assert response.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert "private" in response.headers["Cache-Control"]
    assert encoding.is_bare_jpeg(response.content)


@pytest.mark.parametrize(("asked", "given"), [(1, 320), (320, 320), (321, 400), (1600, 400), (99999, 400)])
def test_the_narrowest_rendition_that_is_wide_enough_is_served(
    asked: int, given: int, ready_photo: Photo, as_tester: Client
) -> None:
    response = as_tester.get(reverse("reports:photo", args=[ready_photo.code, asked]))

    assert Image.open(io.BytesIO(response.content)).width == given


def test_a_photo_taken_back_is_gone_with_its_files(
    ready_photo: Photo, as_tester: Client, address: Address, settings: Any, after_commit: Any
) -> None:
    with after_commit():
        response = as_tester.post(address("photo_gone", ready_photo.code))

    assert response.status_code == 302
    assert files_under(settings.MEDIA_ROOT) == []
    assert as_tester.get(reverse("reports:photo", args=[ready_photo.code, 320])).status_code == 404
    assert Photo.objects.get().superseded_at is not None


def test_a_photo_taken_back_before_it_was_ready_is_not_made_after_all(
    place: Place, tester: User, settings: Any, after_commit: Any
) -> None:
    with after_commit():
        photo = photo_add(place=place, data=phone_jpeg())
        photo_remove(photo=photo, by=tester)

    assert files_under(settings.MEDIA_ROOT) == []
    assert not photo.renditions.exists()


def test_nobody_takes_back_another_persons_photo(
    ready_photo: Photo, client: Client, designer: User, address: Address
) -> None:
    client.force_login(designer)

    assert client.post(address("photo_gone", ready_photo.code)).status_code == 404
    assert Photo.objects.filter(superseded_at=None).exists()


def test_one_function_makes_the_photos_of_the_form_and_of_the_importer(place: Place) -> None:
    encoded = reencode(phone_jpeg())

    assert [picture.width for picture in encoded.renditions] == [320, 400]
