"""Drafts on two phones, and reports whose way is cut: nothing is lost, nothing comes twice, and the page says so."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from testround.people.models import User
from testround.reports.models import Draft, Remark, Submission, Swatch
from testround.rounds.models import Place
from tests.browser.cable import Line, cable_to
from tests.browser.conftest import Window, Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
KEPT_TOO = "text=Kept as you type, for you alone, here and in your account."
SWATCH = {"stitches": "22", "width": "10", "rows": "30", "height": "10"}


@pytest.fixture
def line(windows: Windows, live_server: Any, tester: User) -> Iterator[Line]:
    with cable_to(live_server.url) as cable:
        window = windows(PHONE, url=cable.url)
        window.sign_in(tester)
        yield Line(window, cable)
        window.context.close()
        window.faults.clear()


@pytest.fixture
def phone(windows: Windows, tester: User) -> Window:
    window = windows(PHONE)
    window.sign_in(tester)
    return window


def fill(page: Page, **typed: str) -> None:
    for name, value in {**SWATCH, **typed}.items():
        page.fill(f"#id_{name}", value)


def path(name: str, place: Place) -> str:
    return reverse(f"reports:{name}", args=[place.pk])


# -- drafts ------------------------------------------------------------------------------------------------


def test_what_was_typed_on_one_phone_is_there_on_the_other(
    phone: Window, place: Place, windows: Windows, tester: User
) -> None:
    phone.open(path("swatch", place))
    fill(phone.page)
    phone.page.wait_for_selector(KEPT_TOO)
    other = windows(PHONE)
    other.sign_in(tester)

    other.open(path("swatch", place))

    assert {name: other.page.input_value(f"#id_{name}") for name in SWATCH} == SWATCH
    assert "not sent yet is back, kept from" in other.says(".draft-kept")
    with other.page.expect_response("**/draft/afresh/"):
        other.page.click("text=Start afresh")
    other.page.wait_for_selector(".draft-kept", state="hidden")
    assert other.page.input_value("#id_stitches") == ""
    other.page.reload()
    assert other.page.input_value("#id_stitches") == ""
    assert not Draft.objects.exists()
    # The first phone had given its draft away, and does not bring it back.
    phone.page.reload()
    assert phone.page.input_value("#id_stitches") == ""


def test_closing_the_page_at_once_keeps_what_was_typed_for_the_other_phone(
    phone: Window, place: Place
) -> None:
    phone.open(path("remark", place))
    phone.page.fill("#id_remark", "Row 4 does not add up")

    phone.page.goto("about:blank")
    phone.page.wait_for_timeout(1000)

    assert [draft.values["remark"] for draft in Draft.objects.all()] == ["Row 4 does not add up"]


def test_files_and_tokens_are_kept_nowhere(phone: Window, place: Place) -> None:
    phone.open(path("swatch", place))
    fill(phone.page)
    phone.page.wait_for_selector(KEPT_TOO)

    kept = phone.page.evaluate("Object.values(localStorage).join()")
    token = phone.page.input_value("main form.form [name=csrfmiddlewaretoken] >> nth=0")

    assert '"stitches":"22"' in kept
    assert token not in kept
    assert sorted(Draft.objects.get().values) == ["height", "rows", "state", "stitches", "tool", "width"]


def test_a_draft_of_one_person_is_not_shown_to_another_on_the_same_phone(
    phone: Window, place: Place, stranger: User
) -> None:
    phone.open(path("swatch", place))
    fill(phone.page)
    phone.page.wait_for_selector(KEPT_TOO)
    Place.objects.filter(pk=place.pk).update(tester=stranger)

    phone.context.clear_cookies()
    phone.sign_in(stranger)
    phone.open(path("swatch", place))

    assert phone.page.input_value("#id_stitches") == ""
    assert phone.page.locator(".draft-kept:visible").count() == 0


# -- a report whose way is cut -----------------------------------------------------------------------------


def test_a_report_sent_without_a_network_says_so_and_goes_out_when_it_is_back(
    line: Line, place: Place
) -> None:
    page = line.window.page
    line.window.open(path("swatch", place))
    fill(page)
    line.pull()

    page.click("text=Send the swatch")
    page.wait_for_selector("[role=status]:has-text('Not sent yet: no connection')")

    assert {name: page.input_value(f"#id_{name}") for name in SWATCH} == SWATCH
    assert "kept on this phone" in line.window.says(".phone-says")
    assert not Submission.objects.exists()
    line.plug_in()
    page.wait_for_selector("#answer")
    assert "Your swatch has arrived." in line.window.says(".messages")
    assert Swatch.objects.get().stitches == 22


def test_an_answer_lost_in_the_middle_of_sending_makes_one_report(line: Line, place: Place) -> None:
    page = line.window.page
    line.window.open(path("swatch", place))
    fill(page)
    line.cable.pull_on_the_answer(path("swatch", place))

    page.click("text=Send the swatch")
    page.wait_for_selector("text=/Not sent yet: no/")
    arrived = Swatch.objects.count()
    line.plug_in()
    page.wait_for_selector("#answer")

    assert (arrived, Swatch.objects.count(), Submission.objects.count()) == (1, 1, 1)


def test_it_is_sent_by_hand_too_with_what_was_written_since(line: Line, place: Place) -> None:
    page = line.window.page
    line.window.open(path("remark", place))
    page.fill("#id_remark", "Row 4")
    line.cable.pull()
    page.click("text=Send the remark")
    page.wait_for_selector("text=/Not sent yet: no/")
    page.fill("#id_remark", "Row 4 does not add up")
    line.cable.plug_in()

    page.click("text=Send it now")
    page.wait_for_url(f"**{path('place', place)}")

    assert [remark.text for remark in Remark.objects.all()] == ["Row 4 does not add up"]


def test_what_waits_goes_out_from_any_page_of_the_place(line: Line, place: Place) -> None:
    page = line.window.page
    line.window.open(path("remark", place))
    page.fill("#id_remark", "Row 4 does not add up")
    line.cable.pull()
    page.click("text=Send the remark")
    page.wait_for_selector("text=/Not sent yet: no/")
    line.cable.plug_in()

    line.window.open(path("place", place))
    page.wait_for_selector("text=What waited on this phone has arrived: Where did you stumble?")
    page.reload()
    page.wait_for_timeout(500)

    assert Remark.objects.count() == 1
    line.window.open(path("remark", place))
    assert page.input_value("#id_remark") == ""


def test_what_waited_and_is_refused_is_not_lost_and_leads_back_to_its_form(line: Line, place: Place) -> None:
    page = line.window.page
    line.window.open(path("swatch", place))
    fill(page, width="0")
    line.cable.pull()
    page.click("text=Send the swatch")
    page.wait_for_selector("text=/Not sent yet: no/")
    line.cable.plug_in()

    line.window.open(path("place", place))
    page.click("text=Look it over")
    page.wait_for_url(f"**{path('swatch', place)}")

    assert (page.input_value("#id_width"), page.input_value("#id_stitches")) == ("0", "22")
    assert not Submission.objects.exists()


def test_who_is_signed_out_meanwhile_is_told_and_sends_after_signing_in(
    line: Line, place: Place, tester: User
) -> None:
    page = line.window.page
    line.window.open(path("remark", place))
    page.fill("#id_remark", "Row 4 does not add up")
    line.window.context.clear_cookies(name="sessionid")

    page.click("text=Send the remark")
    page.wait_for_selector("text=Not sent yet: you are signed out.")
    line.window.sign_in(tester)
    line.window.open(path("place", place))
    page.wait_for_selector("text=What waited on this phone has arrived")

    assert [remark.text for remark in Remark.objects.all()] == ["Row 4 does not add up"]


def test_signing_out_without_a_network_loses_nothing(line: Line, place: Place) -> None:
    page = line.window.page
    line.window.open(path("remark", place))
    page.fill("#id_remark", "Row 4 does not add up")
    line.pull()

    page.click("header >> text=Menu")
    page.click("text=Sign out")
    page.wait_for_selector("text=You are not signed out: there is no connection.")

    assert "Row 4 does not add up" in page.evaluate("Object.values(localStorage).join()")
