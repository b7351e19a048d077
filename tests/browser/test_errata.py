"""From a round's results to a correction that anybody can read, on the demo's own round."""

from __future__ import annotations

import io

import pytest
from pypdf import PdfReader

from testround.errata.models import Erratum
from testround.home import demo
from testround.rounds.models import Round
from tests.browser.conftest import Window, Windows

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

OWN_WORDS = "Cast on for the cuff with the numbers below; the earlier ones make it too wide."


@pytest.fixture
def fenlight(windows: Windows) -> Round:
    demo.load(lambda step: None)
    return Round.objects.get(edition__pattern__title="Fenlight Cardigan")


def at_the_desk(window: Window, fenlight: Round) -> None:
    """Signed in through the form, then results, one dimension and the desk, by their links."""
    page = window.page
    window.open("/account/login/")
    page.fill("#id_login", demo.DESIGNER)
    page.fill("#id_password", demo.PASSWORD)
    page.click("main button:text-is('Sign in')")
    page.wait_for_url(window.url + "/")
    window.open(f"/rounds/{fenlight.code}/")
    page.click("a.button:text-is('Results')")


def test_results_lead_from_the_finding_to_every_testers_piece(windows: Windows, fenlight: Round) -> None:
    for width in (360, 1280):
        window = windows(width)
        page = window.page
        at_the_desk(window, fenlight)

        assert page.inner_text("h1").replace("\n", " ") == "What came out wrong, and whose fault is it?"
        assert "17 of 23 testers sent finished measurements." in window.says(".lede")
        page.click("main .findings a:text-is('Finished size: Cuff')")

        assert page.inner_text("h1") == "Cuff"
        assert "Cuff comes out 1.7 cm larger than the pattern means in every size" in window.says()
        # Seventeen pieces were measured: each is a row, and what is left of it a point in the drawing.
        assert page.locator("table.points tbody tr").count() == 17
        assert page.locator("figure.plot svg").count() == 2
        page.click("summary:text('Every tester')")
        headings = page.locator("table.points thead th").all_inner_texts()
        assert headings[2:10] == [
            "Target", "Worked", "Expected", "Measured", "Off", "Counts", "Gauge", "Left"
        ]  # fmt: skip


@pytest.mark.parametrize("width", [360, 1280])
def test_a_finding_is_accepted_reworded_published_and_read_by_somebody_without_an_account(
    windows: Windows, fenlight: Round, width: int
) -> None:
    window = windows(width)
    page = window.page
    at_the_desk(window, fenlight)
    page.click("a.button:text('Decide what to correct')")
    cuff = page.locator("li.desk-finding", has=page.locator("h3:has-text('Finished size: Cuff')"))
    was_now = {
        name: cuff.locator(f"tr:has(th:text-is('{name}')) td").all_inner_texts() for name in ("Was", "Now")
    }
    # The cuffs come out 1.7 cm large. At 24 stitches in 10 cm of rib these are 4 stitches, one repeat of the rib.
    printed = [46, 46, 50, 50, 50, 50, 54, 54, 54]
    assert was_now == {"Was": [str(n) for n in printed], "Now": [str(n - 4) for n in printed]}

    cuff.locator("button:has-text('Accept')").click()
    page.wait_for_selector("h1:text('Draft of an erratum')")
    page.fill("#id_text", OWN_WORDS)
    page.click("button:text('Save and preview')")
    assert page.inner_text("h1") == "What will readers see?"
    assert OWN_WORDS in window.says(".as-published")
    assert Erratum.objects.filter(number__isnull=False).count() == 1
    page.click("button:text-is('Publish')")
    page.wait_for_selector("text=Erratum 2")

    pattern = fenlight.edition.pattern
    reader = windows(width)
    assert reader.open(f"/errata/{pattern.code}/") == 200
    assert reader.page.locator("article.erratum").count() == 2
    reader.page.select_option("#which-size", "XL")
    reader.page.click(".which-words > summary")
    reader.page.select_option("#which-units", "in")
    reader.page.click("text=Show what matters to me")

    # The misprint of the first erratum is in 2X alone.
    assert reader.says("p.answer") == "Yes: 1 correction for any edition, size XL."
    assert OWN_WORDS in reader.says()
    paper = PdfReader(
        io.BytesIO(reader.download(reader.page.get_attribute("a:text('PDF, A4')", "href") or ""))
    )
    text = " ".join(" ".join(sheet.extract_text() for sheet in paper.pages).split())
    # Half of what the cuff loses has to be increased again on each side of the sleeve: (90 − 46) / 2 is 22.
    wanted = [
        "2. Sleeves, step 1",
        OWN_WORDS,
        "Sleeve, cast on, stitches XL was 50 now 46",
        "Increase rows of each sleeve, Sleeves, step 3, stitches XL was 20 now 22",
    ]
    assert [words for words in wanted if words not in text] == []
