"""Whether a round is on course, its mails, and the pictures of its call, by the API."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from testround.outbox.models import Mail
from testround.people.models import User
from testround.recent import forget_recent
from testround.reports.call_pictures import picture_encode
from testround.reports.models import CallPicture
from testround.rounds.models import Place, Round
from tests.api.programs import Program, assert_costs_the_same
from tests.api.rows_rounds import a_picture
from tests.api.test_requests import problem
from tests.api.test_rounds import pointers
from tests.rounds.calls import in_days


def test_whether_every_size_is_on_course_is_told_with_who_is_late(
    program: Program, opened: Round, offered: Place, tester: User
) -> None:
    Place.objects.filter(pk=offered.pk).update(tester=tester, state=Place.State.TAKEN)
    Round.objects.filter(pk=opened.pk).update(state="swatching", swatches_due=in_days(-3))

    course = program.get(f"/rounds/{opened.code}/course").json()

    assert course["rows"][1] == {
        "size": "S",
        "least": 2,
        "most": 2,
        "held": 1,
        "offered": 0,
        "on_course": False,
        "likely_late": False,
        "sentence": "1 of 2 held; add a place and invite",
    }
    assert course["late"] == [
        {
            "place": offered.pk,
            "name": "Willow",
            "what": "swatch",
            "due": in_days(-3).isoformat(),
            "days": 3,
        }
    ]
    assert course["next_steps"][0] == "Willow's swatch is 3 days late."
    assert {name: course[name] for name in ("next_state", "places", "held", "measured", "late_count")} == {
        "next_state": "making",
        "places": 1,
        "held": 1,
        "measured": 0,
        "late_count": 1,
    }


def test_a_mail_that_failed_is_sent_once_more_or_left_at_that(program: Program, opened: Round) -> None:
    first, second = (
        Mail.objects.create(
            to="wren@example.org", name="Wren", subject=f"Mail {n}", about=opened.code, state="failed"
        )
        for n in (1, 2)
    )
    Mail.objects.create(to="wren@example.org", subject="Another round's", about="another", state="failed")
    path = f"/rounds/{opened.code}/mails"

    listed = program.get(path).json()["results"]
    sent = program.post(f"{path}/{first.pk}/again")
    left = program.post(f"{path}/{second.pk}/leave")

    assert listed == [
        {
            "id": second.pk,
            "subject": "Mail 2",
            "name": "Wren",
            "state": "failed",
            "created": listed[0]["created"],
        },
        {**listed[1], "id": first.pk, "subject": "Mail 1"},
    ]
    assert (sent.status_code, left.status_code) == (204, 204)
    assert program.get(path).json()["results"] == []
    assert problem(program.post(f"{path}/{first.pk}/again")) == (404, "not-found")
    first.refresh_from_db()
    assert first.state == Mail.State.WAITING


def test_a_picture_is_added_made_anew_and_taken_off_a_call(program: Program, called: Round) -> None:
    path = f"/rounds/{called.code}/call/pictures"

    made = program.post(path, a_picture(), **{"Content-Type": MULTIPART_CONTENT})
    picture = CallPicture.objects.get()
    picture_encode({"picture": picture.pk})
    one = f"{path}/{picture.code}"
    ready = program.get(one)
    removed = program.delete(one, match=ready.headers["ETag"])

    assert (made.status_code, made.headers["Location"]) == (201, f"/api/v1{one}")
    assert (made.json()["state"], made.json()["shows"], made.json()["width"]) == (
        "waiting",
        "The piece",
        None,
    )
    assert (ready.json()["state"], ready.json()["width"]) == ("ready", 400)
    assert ready.json()["url"].startswith(settings.SITE_URL)
    assert removed.status_code == 204
    assert not CallPicture.objects.exists()


def test_what_is_no_picture_is_refused_at_the_file(program: Program, called: Round) -> None:
    def send(**fields: Any) -> Any:
        return program.post(
            f"/rounds/{called.code}/call/pictures",
            encode_multipart(BOUNDARY, fields),
            **{"Content-Type": MULTIPART_CONTENT},
        )

    text = SimpleUploadedFile("photo.jpg", b"<svg xmlns='http://www.w3.org/2000/svg'/>", "image/jpeg")

    assert pointers(send(photo=text, shows="The piece")) == ["/photo"]
    assert pointers(send(shows="The piece")) == ["/photo"]
    assert not CallPicture.objects.exists()


def test_reading_the_course_the_mails_and_the_pictures_takes_as_many_queries_however_many_there_are(
    program: Program, called: Round, tester: User
) -> None:
    def more_places() -> None:
        for number in range(called.places.count(), called.places.count() + 3):
            called.places.create(key=f"x{number}", name="Rowan", size="S", tester=tester, state="taken")

    def more_mails() -> None:
        for number in range(3):
            Mail.objects.create(
                to="wren@example.org", subject=f"Mail {number}", about=called.code, state="failed"
            )

    def more_pictures() -> None:
        for number in range(3):
            CallPicture.objects.create(round=called, shows=f"Picture {number}")

    path = f"/rounds/{called.code}"

    def course() -> HttpResponse:
        # What was foretold is kept until something changes.
        cache.clear()
        forget_recent()
        return program.get(f"{path}/course")

    more_places()
    assert_costs_the_same(course, more_places)
    assert_costs_the_same(lambda: program.get(f"{path}/mails"), more_mails)
    assert_costs_the_same(lambda: program.get(f"{path}/call/pictures"), more_pictures)
