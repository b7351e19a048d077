"""A designer's way from nothing to an invitation in the post, by forms alone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings

from testround.people.models import User
from testround.rounds.models import Invitation, Place, Round
from tests.browser.conftest import Window, Windows

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.parametrize("width", [360, 1280]),
]

FENLIGHT = Path(settings.BASE_DIR) / "fixtures" / "fenlight.json"


def upload_fenlight(window: Window) -> None:
    window.open("/patterns/new/")
    window.page.set_input_files("#id_file", FENLIGHT)
    window.page.click("text=Upload")
    window.page.wait_for_selector("#desk-check")


def test_an_account_is_made_and_leads_to_a_first_pattern(windows: Windows, width: int) -> None:
    window = windows(width)
    page = window.page

    window.open("/")
    page.click("main >> text=Make an account")
    page.fill("#id_name", "Fen")
    page.fill("#id_email", "fen@example.org")
    page.fill("#id_password1", "wool-and-patience")
    page.click("text=Make the account")
    page.wait_for_url(window.url + "/")

    person = User.objects.get()
    assert (person.email, person.name) == ("fen@example.org", "Fen")
    page.click("main a[href='/patterns/new/'] >> nth=0")
    assert page.inner_text("h1") == "Bring in a pattern"


def test_a_pattern_from_a_file_is_told_its_two_misprints(
    windows: Windows, designer: User, width: int
) -> None:
    window = windows(width)
    window.sign_in(designer)

    upload_fenlight(window)

    assert window.page.inner_text("h1") == "Are the numbers of Fenlight Cardigan right?"
    # The two that are planted: digits swapped in one count, and one measurement of another size's width.
    assert window.says("#desk-check") == (
        "Desk check 2 printed values of 333 are not what the formulas give. "
        "Sleeve stitches at underarm, size 2X (Sleeves, step 3): 69 is printed and the formula gives 96, 27 more. "
        "Chest, buttoned, size 4X: 162.5 cm is printed and the counts give 156.6 cm at the stated gauge, "
        "5.9 cm less. That is beyond the tolerance of 3 cm. 1 thing to look at, which may well be meant"
    )
    assert window.page.locator("#desk-check ul.check-list >> nth=0").locator("li").count() == 2


def test_a_formula_on_a_blank_sheet_gives_its_numbers_while_it_is_typed(
    windows: Windows, designer: User, width: int
) -> None:
    window = windows(width)
    window.sign_in(designer)
    page = window.page
    window.open("/patterns/new/")

    page.fill("#id_title", "Marsh scarf")
    page.fill("#id_sizes", "S, M")
    page.fill("#id_stitches", "20")
    page.fill("#id_rows", "28")
    page.click("text=Start the sheet")
    page.click("button[name=add][value=numbers]")
    page.fill("[name=numbers-0-label]", "Cast on")
    page.fill("#id_numbers-0-formula", "multiple(30 * body.st, of=2)")

    # 20 stitches in 10 cm are 2 for each centimetre.
    page.wait_for_selector("#c-numbers-0-0:has-text('60')")
    page.fill("#id_numbers-0-formula", "multiple(31 * body.st, of=4)")
    page.wait_for_selector("#c-numbers-0-1:has-text('64')")

    assert window.says("#c-numbers-0-0") == "= 64"
    assert window.fits()
    page.click("text=Save the sheet")
    page.wait_for_load_state()
    assert page.input_value("#id_numbers-0-formula") == "multiple(31 * body.st, of=4)"


def test_a_round_is_opened_and_a_tester_invited_by_mail(windows: Windows, designer: User, width: int) -> None:
    window = windows(width)
    window.sign_in(designer)
    page = window.page
    upload_fenlight(window)
    window.open("/patterns/")
    page.click("text=Fenlight Cardigan")
    page.click("text=Open a round")

    page.fill("#id_title", "Spring test")
    page.fill("#id_swatches_due", "2027-03-01")
    page.fill("#id_closes", "2027-05-01")
    page.click("main button:text('Open the round')")
    assert page.inner_text("h1") == "Fenlight Cardigan: Spring test"

    page.click("a:text('Add places')")
    page.fill("#id_names", "Willow")
    page.select_option("#id_size", "2X")
    page.click("main button:text-is('Add')")
    assert page.inner_text("h1") == "Invite Willow, size 2X"

    page.fill("#id_email", "willow@example.org")
    page.click("text=Make the link")
    link = page.input_value("#link")

    round_ = Round.objects.get()
    assert round_.edition.frozen_at is not None
    assert list(Place.objects.values_list("name", "size", "state")) == [("Willow", "2X", "offered")]
    assert re.fullmatch(re.escape(window.url) + r"/rounds/join/[\w-]{20,}/", link)
    # Whoever reads the database has no link.
    assert link.rstrip("/").rsplit("/", 1)[1] not in str(list(Invitation.objects.values()))

    window.open("/mail/")
    assert "To willow@example.org" in window.says()
    assert page.get_attribute("main a[href*='/rounds/join/']", "href") == link
