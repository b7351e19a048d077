"""A tester's way on a phone of 360 pixels, from the link in a mail to a photo on the designer's page."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from testround.people.models import User
from testround.reports.models import Photo, Submission, Swatch
from testround.rounds.models import Invitation, Place, Round
from testround.rounds.services import invitation_create, place_add
from tests.browser.conftest import Window, Windows
from tests.reports.pictures import SECRETS, phone_jpeg

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = 360
GPS = 0x8825


@pytest.fixture
def link(a_round: Round, designer: User, windows: Windows) -> str:
    """What a tester finds in the mail: the way to a place in size S."""
    a_round.terms = "Show nothing before it is published."
    a_round.save(update_fields=["terms"])
    seat = place_add(round=a_round, name="Willow", size="S", by=designer)
    return invitation_create(place=seat, email="willow@example.org", by=designer)[1]


@pytest.fixture
def phone(windows: Windows) -> Window:
    return windows(PHONE)


@pytest.fixture
def seated(phone: Window, place: Place, tester: User) -> Window:
    """The phone of a tester who measures in inches and has a place in size S."""
    tester.units = "in"
    tester.save(update_fields=["units"])
    phone.sign_in(tester)
    return phone


def fill_swatch(window: Window, **typed: str) -> None:
    for name, value in {"stitches": "23", "width": "4 1/8", "rows": "31", "height": "4 1/8", **typed}.items():
        window.page.fill(f"#id_{name}", value)


def test_the_invitation_says_what_it_asks_before_it_asks(phone: Window, link: str) -> None:
    status = phone.open(link)

    said = phone.says()
    assert status == 200
    assert phone.page.inner_text("h1") == "A place for you: Little top"
    told = [
        "Designer asks you to knit this before it is published",
        "Your size S",
        "Show nothing before it is published.",
        "Who sees what you send",
        "Body measurements: you, Designer, and whoever edits the pattern beside them.",
        "Photos: the same, if you allow it when you send one.",
        "Your email address: you and Designer.",
        "Take the place",
    ]
    assert [words for words in told if words not in said] == []
    # A link at the top leads past it; what is pressed in the end stands after all of it.
    assert sorted(told, key=said.rindex) == told
    # Reading it has kept nothing: the place is still on offer and nobody has been made an account.
    assert Place.objects.get().state == Place.State.OFFERED
    assert not User.objects.filter(email="willow@example.org").exists()


def test_a_yes_in_inches_takes_the_place_and_shows_the_numbers_in_inches(phone: Window, link: str) -> None:
    page = phone.page
    phone.open(link)

    page.check("#id_units_1")
    page.check("#id_agree")
    page.click("button:text('Take the place')")
    page.wait_for_url("**/places/*/")

    place = Place.objects.get()
    assert (place.state, place.tester.email, place.tester.units) == ("taken", "willow@example.org", "in")
    page.click("text=Worksheet")
    page.click("text=What it should measure when finished")
    # 2 × 104 stitches at 22 in 10 cm are 94.5 cm, which is 37 1/4 in.
    assert "Chest circumference 37 1/4 in, fine within 1 in" in phone.says()


def test_without_a_yes_to_the_terms_nothing_is_taken_and_what_was_typed_stays(
    phone: Window, link: str
) -> None:
    phone.open(link)

    phone.page.fill("#id_name", "Wil")
    phone.page.click("button:text('Take the place')")
    phone.page.wait_for_selector("[aria-invalid=true]")

    assert "Say yes to the terms to take the place." in phone.says()
    assert phone.page.input_value("#id_name") == "Wil"
    assert Place.objects.get().state == Place.State.OFFERED


def test_the_second_to_follow_a_link_is_told_that_it_has_ended(
    phone: Window, link: str, windows: Windows
) -> None:
    phone.open(link)
    phone.page.check("#id_agree")
    phone.page.click("button:text('Take the place')")
    phone.page.wait_for_url("**/places/*/")
    somebody_else = windows(PHONE)

    status = somebody_else.open(link)

    assert status == 410
    assert somebody_else.page.inner_text("h1") == "This link has ended"
    assert somebody_else.says(".lede") == (
        "This link has been used. If it was you who used it, sign in with the address you gave; "
        "your place is under “Today”."
    )
    assert "Willow" not in somebody_else.says()
    # To the tester whose place it is, the link still leads home.
    phone.open(link)
    assert phone.page.url.endswith(f"/places/{Place.objects.get().pk}/")
    assert Invitation.objects.count() == 1


@pytest.mark.parametrize(
    ("stitches", "verdict", "reason"),
    [
        # 23 stitches in 4 1/8 in are 21.95 in 10 cm, and 31 rows 29.59: 96 rows come out at 32.4 cm for 32.
        (
            "23",
            "This will do",
            "Hem to underarm is hit hardest and would come out 1/8 in large; up to 3/4 in is fine.",
        ),
        # 20 stitches are 19.09 in 10 cm: the chest comes out 208 / 1.909 = 109.0 cm, 14.4 cm (5 5/8 in) too large.
        ("20", "Not yet", "Chest circumference would come out 5 5/8 in large; up to 1 in is fine."),
    ],
)
def test_a_swatch_in_inches_is_answered_at_once(
    seated: Window, place: Place, stitches: str, verdict: str, reason: str
) -> None:
    seated.open(f"/places/{place.pk}/swatch/")

    fill_swatch(seated, stitches=stitches)
    seated.page.click("text=Send the swatch")
    seated.page.wait_for_selector("#answer")

    assert seated.says("#answer h2") == verdict
    assert seated.says("#answer .lede") == reason
    assert "cm" not in seated.says("#answer")
    swatch = Swatch.objects.get()
    # 4.125 × 2.54 cm; what was typed is kept beside it.
    assert (swatch.stitches, round(swatch.width, 4)) == (float(stitches), 10.4775)
    seated.open(f"/places/{place.pk}/sent/")
    assert f"{stitches} stitches in 4 1/8 in" in seated.says()


def test_a_swatch_without_width_is_refused_and_stays_as_typed(seated: Window, place: Place) -> None:
    seated.open(f"/places/{place.pk}/swatch/")

    fill_swatch(seated, width="0")
    seated.page.click("text=Send the swatch")
    seated.page.wait_for_selector(".form-errors")

    assert (
        seated.says(".field-error >> nth=0")
        == "Width: “0” is not above zero; write the length, as in 36 1/4 in."
    )
    typed = {name: seated.page.input_value(f"#id_{name}") for name in ("stitches", "width", "rows", "height")}
    assert typed == {"stitches": "23", "width": "0", "rows": "31", "height": "4 1/8"}
    assert not Submission.objects.exists()


def test_two_presses_make_one_report(seated: Window, place: Place) -> None:
    seated.open(f"/places/{place.pk}/swatch/")
    fill_swatch(seated)

    seated.page.dblclick("text=Send the swatch")
    seated.page.wait_for_selector("#answer")

    assert Swatch.objects.count() == 1


def test_two_presses_make_one_report_without_scripts_too(
    windows: Windows, place: Place, tester: User
) -> None:
    window = windows(PHONE, java_script_enabled=False)
    window.sign_in(tester)
    window.open(f"/places/{place.pk}/swatch/")
    fill_swatch(window, width="10", height="10")

    window.page.dblclick("text=Send the swatch")
    window.page.wait_for_selector("#answer")

    assert Swatch.objects.count() == 1


def test_the_worksheet_on_paper_has_the_testers_own_numbers(seated: Window, place: Place) -> None:
    seated.open(f"/places/{place.pk}/worksheet/")

    address = seated.page.get_attribute("a:text('US Letter')", "href")
    data = seated.download(address)

    paper = PdfReader(io.BytesIO(data))
    assert [round(float(length)) for length in paper.pages[0].mediabox[2:]] == [612, 792]
    text = " ".join("".join(page.extract_text() for page in paper.pages).split())
    # Size S: 104 stitches, 96 rows, a chest of 94.5 cm and 32 cm to the underarm; nothing of the other sizes.
    wanted = ["Little top", "Tester one", "104", "96", "37 1/4 in", "12 5/8 in"]
    assert [words for words in wanted if words not in text] == []
    assert [words for words in ("92", "114") if words in text] == []


def test_no_picture_of_an_uploaded_photo_knows_where_it_was_taken(
    seated: Window, place: Place, tmp_path: Path, windows: Windows, designer: User, stranger: User
) -> None:
    taken = tmp_path / "IMG_0001.jpg"
    taken.write_bytes(phone_jpeg(orientation=6))
    with Image.open(taken) as as_taken:
        assert as_taken.getexif().get_ifd(GPS)
    seated.open(f"/places/{place.pk}/photo/")

    seated.page.set_input_files("#id_photo", taken)
    seated.page.fill("#id_caption", "Swatch, blocked")
    seated.page.check("#id_seen")
    seated.page.click("text=Send photos")
    seated.page.wait_for_selector("img[alt='Swatch, blocked']")

    photo = Photo.objects.get()
    studio = windows(1280)
    studio.sign_in(designer)
    studio.open(f"/rounds/{place.round.code}/photos/")
    assert studio.page.locator("img[alt='Swatch, blocked']").count() == 1
    for window in (seated, studio):
        for width in (320, 800, 1600):
            data = window.download(f"/photos/{photo.code}/{width}/")
            with Image.open(io.BytesIO(data)) as shown:
                exif = shown.getexif()
                assert (shown.format, dict(exif), exif.get_ifd(GPS)) == ("JPEG", {}, {})
                assert shown.height > shown.width
            assert [secret for secret in SECRETS if secret in data] == []
    outside = windows(PHONE)
    outside.sign_in(stranger)
    assert outside.context.request.get(f"/photos/{photo.code}/320/").status == 404
