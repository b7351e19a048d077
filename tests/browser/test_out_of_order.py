"""The server answers 503 in the middle of a report: what was typed is still there, and goes out once it can."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import FileSystemStorage
from django.db import OperationalError
from django.urls import reverse

from testround.people.models import User
from testround.reports import services
from testround.reports.models import Photo, Remark
from testround.rounds.models import Place
from tests.browser.conftest import Window, Windows
from tests.reports.pictures import phone_jpeg

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
WORDS = 'Row 4: is it "knit" or <purl>?'
Break = Callable[[Any, str, Exception], None]


@pytest.fixture
def breaks(monkeypatch: pytest.MonkeyPatch) -> Break:
    """Have something of the server raise from now on, until it is undone."""

    def away(owner: Any, name: str, error: Exception) -> None:
        def broken(*_: Any, **__: Any) -> None:
            raise error

        monkeypatch.setattr(owner, name, broken)

    return away


def remark_at(window: Window, tester: User, place: Place) -> None:
    window.sign_in(tester)
    window.open(reverse("reports:remark", args=[place.pk]))
    window.page.fill("#id_remark", WORDS)


def texts() -> list[str]:
    return [remark.text for remark in Remark.objects.all()]


def forgive(window: Window, status: int) -> None:
    """Chromium writes on its console that such an answer came, which is what these tests are about."""
    told = f"the server responded with a status of {status}"
    window.faults[:] = [fault for fault in window.faults if told not in fault]


def test_a_report_waits_on_the_phone_through_a_503_and_goes_out_afterwards(
    windows: Windows, tester: User, place: Place, breaks: Break, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = windows(PHONE)
    remark_at(phone, tester, place)
    breaks(services, "remark_submit", OperationalError("the server closed the connection"))

    phone.page.click("text=Send the remark")
    phone.page.wait_for_selector("text=/Not sent yet: the server could not take it just now/")
    there = phone.page.input_value("#id_remark")
    phone.page.reload()
    after_reload = phone.page.input_value("#id_remark")
    sent_meanwhile = texts()
    monkeypatch.undo()
    forgive(phone, 503)
    phone.page.reload()
    phone.page.wait_for_selector("text=/has arrived/")

    assert (there, after_reload, sent_meanwhile) == (WORDS, WORDS, [])
    assert texts() == [WORDS]
    forgive(phone, 503)


def test_without_scripts_the_page_itself_keeps_it_for_one_press(
    windows: Windows, tester: User, place: Place, breaks: Break, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = windows(PHONE, java_script_enabled=False)
    remark_at(phone, tester, place)
    breaks(services, "remark_submit", OperationalError("the server closed the connection"))

    phone.page.click("text=Send the remark")
    said, sent_meanwhile = phone.says(), texts()
    monkeypatch.undo()
    with phone.page.expect_navigation():
        phone.page.click("button:has-text('Send it once more')")

    assert said.startswith("Out of order for a moment Testround does not get at its own records just now.")
    assert sent_meanwhile == []
    assert "Your remark has arrived." in phone.says("body")
    assert texts() == [WORDS]
    forgive(phone, 503)


def test_a_photo_for_which_there_is_no_room_says_so_on_its_line_and_is_tried_again(
    windows: Windows,
    tester: User,
    place: Place,
    breaks: Break,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    file = tmp_path / "IMG_1.jpg"
    file.write_bytes(phone_jpeg(orientation=6))
    phone = windows(PHONE)
    phone.sign_in(tester)
    phone.open(reverse("reports:photo_new", args=[place.pk]))
    breaks(FileSystemStorage, "save", OSError(errno.ENOSPC, "No space left on device"))
    phone.page.set_input_files("#id_photo", [file])
    phone.page.check("#id_seen")

    phone.page.click("text=Send photos")
    phone.page.wait_for_selector("text=/IMG_1.jpg: There is no room left on this server/")
    taken_meanwhile = Photo.objects.count()
    monkeypatch.undo()
    with phone.page.expect_navigation():
        phone.page.click("text=Try again")

    assert (taken_meanwhile, Photo.objects.count()) == (0, 1)
    forgive(phone, 503)
