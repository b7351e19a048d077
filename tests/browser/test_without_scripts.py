"""Pages to read, and forms to send, in a browser that runs no scripts."""

from __future__ import annotations

import pytest

from testround.home import demo
from testround.people.models import User
from testround.reports.models import Count
from testround.rounds.models import Place, Round
from tests.browser.conftest import Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_every_page_that_is_read_can_be_read(windows: Windows) -> None:
    demo.load(lambda step: None)
    fenlight = Round.objects.get(edition__pattern__title="Fenlight Cardigan")
    errata = f"/errata/{fenlight.edition.pattern.code}/"
    visitor, studio, phone = (windows(java_script_enabled=False) for _ in range(3))
    studio.sign_in(User.objects.get(email=demo.DESIGNER))
    phone.sign_in(User.objects.get(email=demo.TESTERS["t05"]))
    place = Place.objects.get(round=fenlight, key="t05")

    for window, path, heading, words in [
        (visitor, "/", "Was it the pattern, the gauge, or one slip of the hook?", "Make an account"),
        (visitor, errata, "Errata for Fenlight Cardigan", "Erratum 1: Sleeves, step 3"),
        (visitor, f"{errata}1/", "Fenlight Cardigan", "96 stitches in size 2X, not 69"),
        (studio, f"/rounds/{fenlight.code}/", "Fenlight Cardigan: First test", "Is every size on course?"),
        (
            studio,
            f"/rounds/{fenlight.code}/results/",
            "What came out wrong, and whose fault is it?",
            "Across the back comes out 3.1 cm larger",
        ),
        (studio, f"/rounds/{fenlight.code}/results/chest/", "Chest, buttoned", "Every tester's piece"),
        (phone, f"/places/{place.pk}/", "Fenlight Cardigan, size S", "Everything there is to send"),
        (phone, f"/places/{place.pk}/worksheet/", "Your numbers, size S", "Decreases at each front neck"),
    ]:
        assert window.open(path) == 200
        assert window.page.inner_text("h1").replace("\n", " ") == heading
        assert words in window.says(), path
        for width in (360, 1280):
            window.page.set_viewport_size({"width": width, "height": 800})
            assert window.fits(), f"{path} at {width}"


@pytest.mark.parametrize("width", [360, 1280])
def test_counts_are_sent_by_a_plain_form(windows: Windows, place: Place, tester: User, width: int) -> None:
    window = windows(width, java_script_enabled=False)
    window.sign_in(tester)
    window.open(f"/places/{place.pk}/counts/")

    window.page.fill("input[name*=back_sts]", "102")
    window.page.click("text=Send the counts")

    assert "Your counts have arrived." in window.says("body")
    assert list(Count.objects.values_list("number", "worked")) == [("back_sts", 102)]
