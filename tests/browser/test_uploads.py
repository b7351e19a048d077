"""Photos from a phone: several in a row, with how far each has come, tried again when the way was cut, none twice."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from testround.people.models import User
from testround.reports.models import Photo, Submission
from testround.rounds.models import Place
from tests.browser.cable import Line, cable_to
from tests.browser.conftest import Windows
from tests.reports.pictures import phone_jpeg

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360


@pytest.fixture
def line(windows: Windows, live_server: Any, tester: User) -> Iterator[Line]:
    with cable_to(live_server.url) as cable:
        window = windows(PHONE, url=cable.url)
        window.sign_in(tester)
        yield Line(window, cable)
        window.context.close()
        window.faults.clear()


@pytest.fixture
def page(line: Line, place: Place) -> Page:
    line.window.open(f"/places/{place.pk}/photo/")
    return line.window.page


@pytest.fixture
def photos(tmp_path: Path) -> list[Path]:
    files = [tmp_path / f"IMG_{n}.jpg" for n in range(3)]
    for file in files:
        file.write_bytes(phone_jpeg(orientation=6))
    return files


def send(page: Page, *files: Path) -> None:
    page.set_input_files("#id_photo", list(files))
    page.fill("#id_caption", "Swatch, blocked")
    page.check("#id_seen")
    page.click("text=Send photos")


def test_who_sees_a_photo_and_what_is_taken_out_of_it_is_said_before(page: Page) -> None:
    words = page.inner_text("main")

    assert words.index("Where and when a photo was taken, and with what, is removed") < words.index(
        "Send photos"
    )


def test_several_photos_go_one_after_the_other(page: Page, photos: list[Path]) -> None:
    send(page, *photos)
    page.wait_for_selector(".photos img >> nth=2")

    assert Photo.objects.filter(caption="Swatch, blocked", state=Photo.State.READY).count() == 3


def test_which_measurement_a_photo_shows_goes_with_it(page: Page, photos: list[Path]) -> None:
    page.select_option("#id_dimension", index=1)
    shown = page.input_value("#id_dimension")

    send(page, photos[0])
    page.wait_for_selector(".photos img")

    assert Photo.objects.get().dimension == shown != ""


def test_a_photo_whose_way_was_cut_says_so_and_is_sent_at_a_tap(
    line: Line, page: Page, photos: list[Path]
) -> None:
    line.cable.pull()

    send(page, photos[0])
    page.wait_for_selector(".uploads:has-text('IMG_0.jpg: not sent: no connection')")
    assert not Photo.objects.exists()
    line.cable.plug_in()
    page.click("text=Try again")
    page.wait_for_selector(".photos img")

    assert Photo.objects.count() == 1


def test_an_answer_lost_on_the_way_makes_no_second_photo(
    line: Line, page: Page, place: Place, photos: list[Path]
) -> None:
    line.cable.pull_on_the_answer(f"/places/{place.pk}/photo/")

    send(page, photos[0])
    page.wait_for_selector("text=Try again")
    arrived = Photo.objects.count()
    line.plug_in()
    page.wait_for_selector(".photos img")

    assert (arrived, Photo.objects.count(), Submission.objects.count()) == (1, 1, 1)


def test_what_is_no_photo_is_told_by_name_and_holds_up_no_other(
    page: Page, photos: list[Path], tmp_path: Path
) -> None:
    words = tmp_path / "notes.jpg"
    words.write_bytes(b"Knit to the end.")

    send(page, words, photos[0])
    page.wait_for_selector(".uploads:has-text('IMG_0.jpg: has arrived')")

    refused = page.inner_text(".uploads li >> nth=0")
    assert refused.startswith("notes.jpg: Photo: ")
    assert "Leave it out" in refused
    assert "Try again" not in refused
    page.click("text=Leave it out")
    page.wait_for_selector(".photos img")
    assert Photo.objects.count() == 1


def test_how_far_it_has_come_is_shown_and_named(page: Page, photos: list[Path]) -> None:
    # Held up on the way, so that there is something to see.
    page.route("**/photo/", lambda route: None if route.request.method == "POST" else route.continue_())

    send(page, photos[0])
    page.wait_for_selector(".uploads progress")

    assert page.get_attribute(".uploads progress", "aria-label") == "IMG_0.jpg"
    assert "IMG_0.jpg: on its way" in page.inner_text(".uploads")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
