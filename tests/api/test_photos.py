"""Photos by a program: taken in only as photos that may be seen, made anew, and gone when they are taken back."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from PIL import Image

from testround.people.models import User
from testround.reports.models import Photo
from testround.reports.photos import photo_add, photo_encode
from testround.rounds.models import Place
from tests.api.programs import Program, assert_costs_the_same
from tests.api.rows_reports import a_photo
from tests.api.test_reports import asked, at, own
from tests.api.test_requests import problem
from tests.reports.pictures import phone_jpeg

__all__ = ["at", "own"]


def send(program: Program, at: str, body: bytes) -> Any:
    return program.post(f"{at}/photos", body, **{"Content-Type": MULTIPART_CONTENT})


def ready(place: Place, **more: Any) -> Photo:
    photo = photo_add(place=place, data=phone_jpeg(), **more)
    photo_encode({"photo": photo.pk})
    return Photo.objects.get(pk=photo.pk)


def test_a_photo_is_sent_made_anew_and_read_by_its_tester_and_the_designer(
    own: Program, program: Program, at: str, place: Place
) -> None:
    sent = send(own, at, a_photo())

    assert (sent.status_code, sent.json()["state"], sent.json()["renditions"]) == (201, "waiting", [])
    photo_encode({"photo": Photo.objects.get().pk})
    there = own.get(sent.headers["Location"]).json()
    assert there["state"] == "ready"
    width = there["renditions"][0]["width"]
    of_round = f"/rounds/{place.round.code}/photos"
    assert program.get(of_round).json()["results"] == [there]
    for file in (
        own.get(f"{at}/photos/{there['code']}/{width}"),
        program.get(f"{of_round}/{there['code']}/{width}"),
    ):
        picture = Image.open(io.BytesIO(file.content))
        assert (file.headers["Content-Type"], picture.width, len(picture.getexif())) == (
            "image/jpeg",
            width,
            0,
        )
        assert file.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"


def test_the_first_photo_says_that_it_may_be_seen_and_later_ones_need_not(own: Program, at: str) -> None:
    unsaid = send(own, at, a_photo(seen=False))
    said = send(own, at, a_photo())
    later = send(own, at, a_photo(seen=False))

    assert (problem(unsaid), [pointer for pointer, _ in asked(unsaid)]) == ((422, "invalid"), ["/seen"])
    assert (said.status_code, later.status_code) == (201, 201)


def test_what_is_no_photo_is_refused_at_the_file(own: Program, at: str) -> None:
    file = io.BytesIO(b"<svg xmlns='http://www.w3.org/2000/svg'/>")
    file.name = "photo.jpg"

    refused = send(own, at, encode_multipart(BOUNDARY, {"photo": file, "seen": "true"}))
    without = send(own, at, encode_multipart(BOUNDARY, {"seen": "true"}))
    as_json = own.post(f"{at}/photos", {"photo": "…"})

    assert [pointer for pointer, _ in asked(refused)] == ["/photo"]
    assert [pointer for pointer, _ in asked(without)] == ["/photo"]
    assert problem(as_json) == (415, "media-type")
    assert not Photo.objects.exists()


def test_a_photo_sent_twice_with_one_key_is_there_once(own: Program, at: str) -> None:
    answers = [
        own.post(f"{at}/photos", a_photo(), key="a-photo", **{"Content-Type": MULTIPART_CONTENT})
        for _ in range(2)
    ]

    assert answers[0].json() == answers[1].json()
    assert Photo.objects.count() == 1


def test_a_photo_that_was_taken_back_is_gone_for_everybody(
    own: Program, program: Program, at: str, place: Place
) -> None:
    photo = ready(place)
    one = f"{at}/photos/{photo.code}"

    removed = own.delete(one, match=own.get(one).headers["ETag"])

    assert removed.status_code == 204
    assert (own.get(one).status_code, own.get(f"{one}/320").status_code) == (404, 404)
    assert program.get(f"/rounds/{place.round.code}/photos").json()["results"] == []


def test_photos_are_chosen_by_what_they_show(program: Program, place: Place) -> None:
    shown, _other = ready(place, dimension="chest"), ready(place)

    found = program.get(f"/rounds/{place.round.code}/photos?dimension=chest").json()["results"]

    assert [one["code"] for one in found] == [str(shown.code)]


@pytest.mark.parametrize("of_round", [False, True])
def test_reading_photos_costs_the_same_for_one_or_three(
    own: Program, program: Program, at: str, place: Place, of_round: bool
) -> None:
    ready(place)

    def grow() -> None:
        for _ in range(2):
            ready(place)

    path = f"/rounds/{place.round.code}/photos" if of_round else f"{at}/photos"
    assert_costs_the_same(lambda: (program if of_round else own).get(path), grow)


def test_reading_one_photo_costs_the_same_for_one_or_three(
    own: Program, tester: User, at: str, place: Place
) -> None:
    one, others = ready(place), []

    assert_costs_the_same(
        lambda: own.get(f"{at}/photos/{others[-1].code if others else one.code}"),
        lambda: others.extend(ready(place) for _ in range(2)),
    )
