"""A tester's pages on a phone of 360 pixels, with scripts and without."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.models import Photo, Swatch
from testround.rounds.models import Place
from tests.browser.chromium import chromium
from tests.reports.pictures import SECRETS, phone_jpeg
from tests.reports.test_views import PAGES

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 360, "height": 740}
Phone = Callable[..., Any]

# Every field that a person fills in has a name that a screen reader says.
NAMELESS = """
() => [...document.querySelectorAll("main input:not([type=hidden]), main select, main textarea")]
  .filter((field) => !field.labels || ![...field.labels].some((label) => label.textContent.trim()))
  .map((field) => field.name)
"""
# What is pointed at by aria-describedby is there.
DANGLING = """
() => [...document.querySelectorAll("main [aria-describedby]")]
  .flatMap((field) => field.getAttribute("aria-describedby").split(" "))
  .filter((id) => !document.getElementById(id))
"""


@pytest.fixture
def phone(
    live_server: Any, tester: User, place: Place, signed_in: Callable[[User], Client]
) -> Iterator[Phone]:
    """A phone with the tester signed in, on one of the place's pages."""
    session = signed_in(tester).cookies["sessionid"].value
    with chromium() as browser:

        def open_page(name: str, **options: Any) -> Any:
            context = browser.new_context(viewport=PHONE, **options)
            context.set_default_timeout(10_000)
            context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
            page = context.new_page()
            page.goto(live_server.url + reverse(f"reports:{name}", args=[place.pk]))
            return page

        yield open_page
        # What the test itself read inside that loop had a connection of its own.
        connection.close()


def fill_swatch(page: Any, **values: str) -> None:
    for name, value in {"stitches": "22", "width": "10", "rows": "30", "height": "10", **values}.items():
        page.fill(f"#id_{name}", value)


def test_every_page_fits_the_phone_and_names_its_fields(phone: Phone, live_server: Any, place: Place) -> None:
    page = phone("place")
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda line: faults.append(line.text) if line.type == "error" else None)

    for name in PAGES:
        if name == "worksheet_pdf":
            continue
        page.goto(live_server.url + reverse(f"reports:{name}", args=[place.pk]))
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], name
        assert page.evaluate(NAMELESS) == [], name
        assert page.evaluate(DANGLING) == [], name

    assert faults == []


@pytest.mark.parametrize("name", ["swatch", "finished", "measures", "sitting", "counts"])
def test_a_refused_form_fits_the_phone_and_says_each_error_at_its_field(name: str, phone: Phone) -> None:
    page = phone(name)

    page.locator("form[data-draft] input[type=text]").first.fill("a lot")
    page.locator("form[data-draft] button[type=submit], button[form]").first.click()
    page.wait_for_selector(".form-errors")

    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert page.locator("main [aria-invalid=true]").count() >= 1
    assert page.evaluate(DANGLING) == []
    assert page.evaluate("document.activeElement.className") == "form-errors"


def test_a_swatch_is_sent_and_answered_without_scripts(phone: Phone) -> None:
    page = phone("swatch", java_script_enabled=False)

    fill_swatch(page, stitches="20")
    page.click("text=Send the swatch")

    assert page.inner_text("#answer h2") == "Not yet"
    assert "9.5 cm large" in page.inner_text("#answer .lede")
    assert Swatch.objects.get().stitches == 20


def test_what_was_typed_and_not_sent_is_there_again_until_it_has_arrived(phone: Phone) -> None:
    page = phone("swatch")
    fill_swatch(page)
    page.check("#id_state_1")
    page.wait_for_selector("text=Kept as you type")
    form = page.url

    page.goto(form)
    assert page.input_value("#id_stitches") == "22"
    assert page.is_checked("#id_state_1")
    assert "not sent yet is back" in page.inner_text(".draft-kept")

    page.click("text=Send the swatch")
    page.wait_for_selector("#answer")
    page.goto(form)
    assert page.input_value("#id_stitches") == ""
    assert page.locator(".draft-kept:visible").count() == 0


def test_a_draft_is_dropped_when_the_tester_starts_afresh(phone: Phone) -> None:
    page = phone("swatch")
    fill_swatch(page)
    page.wait_for_selector("text=Kept as you type")
    page.reload()

    with page.expect_response("**/draft/afresh/"):
        page.click("text=Start afresh")

    assert page.input_value("#id_stitches") == ""
    page.reload()
    assert page.input_value("#id_stitches") == ""


def test_a_photo_from_the_phone_is_shown_without_where_it_was_taken(
    phone: Phone, live_server: Any, tmp_path: Path
) -> None:
    file = tmp_path / "IMG_0001.jpg"
    file.write_bytes(phone_jpeg(orientation=6))
    page = phone("photo_new")

    page.set_input_files("#id_photo", file)
    page.fill("#id_caption", "Swatch, blocked")
    page.check("#id_seen")
    page.click("text=Send photos")
    page.wait_for_selector(".photos img")

    upright = "(image) => image.decode().then(() => image.naturalHeight > image.naturalWidth)"
    assert page.locator(".photos img").evaluate(upright)
    photo = Photo.objects.get()
    for width in (320, 800, 1600):
        shown = page.request.get(live_server.url + reverse("reports:photo", args=[photo.code, width]))
        assert shown.status == 200
        assert not [secret for secret in SECRETS if secret in shown.body()]
