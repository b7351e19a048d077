"""The designer's evidence on a phone: dots that say whose they are, tables in boxes of their own, photos by key."""

from __future__ import annotations

import pytest

from testround.home import demo
from testround.people.models import User
from testround.rounds.models import Round
from tests.browser.conftest import Window, Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def fenlight(windows: Windows) -> Round:
    demo.load(lambda step: None)
    return Round.objects.get(edition__pattern__title="Fenlight Cardigan")


@pytest.fixture
def phone(windows: Windows, fenlight: Round) -> Window:
    window = windows(360)
    window.sign_in(User.objects.get(email=demo.DESIGNER))
    return window


def test_a_name_in_the_table_leads_to_its_dot_and_shows_how_sure_it_is(
    phone: Window, fenlight: Round
) -> None:
    page = phone.page
    phone.open(f"/rounds/{fenlight.code}/gauges/")
    figures = page.locator("details.figures").first

    def crosses() -> int:
        visible = "ways => ways.filter(way => getComputedStyle(way).visibility === 'visible').length"
        return int(page.eval_on_selector_all(".plot-point .plot-pointed", visible))

    assert crosses() == 0

    figures.locator("summary").click()
    assert phone.fits()
    figures.locator("a:text-is('Fern')").last.click()

    assert page.locator(".plot-point:target > title").text_content() == "Fern, blocked: 22 1/2 × 28 3/4"
    assert crosses() == 1
    assert page.locator(".plot-pointed-name:visible").text_content() == "Fern"


@pytest.mark.parametrize("address", ["gauges", "results", "results/chest", "yarn-and-hours"])
def test_the_lettering_of_every_plot_is_at_least_eleven_pixels_high_on_a_phone(
    phone: Window, fenlight: Round, address: str
) -> None:
    phone.open(f"/rounds/{fenlight.code}/{address}/")

    sizes = phone.page.eval_on_selector_all(
        "svg.drawing text",
        "texts => texts.map(t => parseFloat(getComputedStyle(t).fontSize) * t.getScreenCTM().a)",
    )

    assert all(size >= 11 for size in sizes)
    assert bool(sizes) == (address != "results")
    assert phone.fits()


def test_the_table_of_results_scrolls_in_its_own_box_and_keeps_the_names_in_view(
    phone: Window, fenlight: Round
) -> None:
    phone.open(f"/rounds/{fenlight.code}/results/")
    box = phone.page.locator(".table-scroll:has(table.results)")
    name = box.locator("tbody th").first

    box.evaluate("box => { box.scrollLeft = 400 }")

    assert box.evaluate("box => box.scrollWidth > box.clientWidth && box.scrollLeft === 400")
    left = name.evaluate("name => name.getBoundingClientRect().left")
    assert left == box.evaluate("box => box.getBoundingClientRect().left")
    assert phone.fits()


def test_the_arrow_keys_leaf_through_the_photos_and_so_do_the_links(phone: Window, fenlight: Round) -> None:
    page = phone.page
    phone.open(f"/rounds/{fenlight.code}/photos/")
    page.locator(".photo-frame").first.click()
    page.wait_for_selector("main :text('Photo 1 of 6')")
    # The text is there before the script that hears the keys.
    page.wait_for_load_state("load")

    page.keyboard.press("ArrowRight")
    page.wait_for_selector("main :text('Photo 2 of 6')")
    page.focus("main a[rel=next]")
    page.keyboard.press("Enter")
    page.wait_for_selector("main :text('Photo 3 of 6')")
    page.wait_for_load_state("load")
    page.keyboard.press("ArrowLeft")

    page.wait_for_selector("main :text('Photo 2 of 6')")
