"""A designer who grades in a spreadsheet: values out, in again, and back, by forms alone."""

from __future__ import annotations

import csv
import io

import pytest

from testround.patterns.models import Edition
from testround.people.models import User
from tests.browser.conftest import Windows
from tests.browser.test_designer import upload_fenlight

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_values_go_out_come_back_changed_and_are_taken_back_without_scripts(
    windows: Windows, designer: User, width: int
) -> None:
    window = windows(width, java_script_enabled=False)
    window.sign_in(designer)
    page = window.page
    window.open("/patterns/new/")
    upload_fenlight(window)
    edition = Edition.objects.get()
    before = edition.sheet

    page.click("text=Spreadsheet files")
    link = page.get_attribute("a:has-text('Download as CSV')", "href")
    rows = list(csv.reader(io.StringIO(window.download(window.url + str(link)).decode("utf-8-sig"))))
    # The planted misprint, put right as a designer would in her spreadsheet.
    (sleeve,) = [row for row in rows if row[0] == "sleeve_sts"]
    sleeve[rows[0].index("2X")] = "96"
    out = io.StringIO()
    csv.writer(out, delimiter=";").writerows(rows)
    page.set_input_files(
        "#id_file", {"name": "values.csv", "mimeType": "text/csv", "buffer": out.getvalue().encode()}
    )
    page.click("text=See what would change")

    assert window.says("h1") == "One value would change"
    assert window.says("table") == "Sleeve stitches at underarm, printed Size Was Now 2X 69 96"
    assert "1 printed value of 333 is not what the formulas give" in window.says()
    assert window.fits()
    page.click("text=Put them in and save")
    page.wait_for_selector("text=The values from the file are saved")
    assert window.says(".desk-check-answer") == "1 printed value of 333 is not what the formulas give."

    page.click("button:has-text('Take back this save')")
    page.wait_for_selector("text=Gone back one step")

    edition.refresh_from_db()
    assert edition.sheet == before
    assert "2 printed values of 333" in window.says(".desk-check-answer")
    page.click("a:has-text('Earlier states')")
    page.wait_for_selector(".states")
    assert page.locator(".state").count() == 3
    assert window.fits()
