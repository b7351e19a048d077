"""The worksheet on screen: own numbers by section, the section one is at lying open."""

from __future__ import annotations

import io
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from pypdf import PdfReader

from testround.patterns.models import Edition
from testround.reports.models import StepTick
from testround.rounds.models import Place
from tests.reports.test_views import said

Address = Callable[..., str]


@pytest.fixture
def long_text(edition: Edition) -> Edition:
    """A sheet of three sections, four numbers each."""
    for section in ("Sleeves", "Yoke"):
        for step in range(1, 5):
            edition.sheet["numbers"].append(
                {
                    "key": f"{section.lower()}_{step}",
                    "label": f"{section} number {step}",
                    "place": f"{section}, step {step}",
                    "unit": "st",
                    "formula": f"{10 * step}",
                }
            )
    edition.save()
    return edition


def sections(response: Any) -> list[tuple[str, str, bool]]:
    """Every section with what is said of it, and whether it lies open."""
    found = re.findall(
        r'<details class="fold sheet-section" id="[^"]*"( open)?>\s*<summary><h2>([^<]*)</h2> <span[^>]*>([^<]*)',
        response.content.decode(),
    )
    return [(title, words, bool(is_open)) for is_open, title, words in found]


def send(as_tester: Client, address: Address, **counts: str) -> None:
    data = {f"count_{key}": value for key, value in counts.items()}
    response = as_tester.post(address("counts"), {"key": str(uuid.uuid4()), **data})
    assert response.status_code == 302


def test_the_section_one_is_at_lies_open_and_the_others_are_folded(
    long_text: Edition, as_tester: Client, address: Address
) -> None:
    before = sections(as_tester.get(address("worksheet")))
    send(as_tester, address, back_sts="104", body_rows="96")
    after = sections(as_tester.get(address("worksheet")))

    assert before == [
        ("Back", "2 numbers", True),
        ("Sleeves", "4 numbers", False),
        ("Yoke", "4 numbers", False),
    ]
    assert after == [
        ("Back", "all worked", False),
        ("Sleeves", "4 numbers", True),
        ("Yoke", "4 numbers", False),
    ]


def test_a_step_that_was_ticked_off_is_as_good_as_one_that_was_sent(
    long_text: Edition, as_tester: Client, address: Address, place: Place
) -> None:
    send(as_tester, address, back_sts="104")
    StepTick.objects.create(place=place, number="body_rows", done=True, at="2027-01-12T10:00:00Z")

    shown = sections(as_tester.get(address("worksheet")))

    assert shown[0] == ("Back", "all worked", False)
    assert shown[1] == ("Sleeves", "4 numbers", True)


def test_when_all_is_worked_the_next_thing_is_to_measure(as_tester: Client, address: Address) -> None:
    before = as_tester.get(address("worksheet")).content.decode()
    send(as_tester, address, back_sts="104", body_rows="96")
    after = as_tester.get(address("worksheet")).content.decode()

    assert re.findall(r'button-strong" href="([^"]*)"', before) == [f"{address('counts')}?section=back"]
    assert re.findall(r'button-strong" href="([^"]*)"', after) == [address("finished")]


def test_what_was_worked_stands_beside_the_number(as_tester: Client, address: Address) -> None:
    send(as_tester, address, back_sts="102")

    words = said(as_tester.get(address("worksheet")))

    assert "Back, cast on you worked 102 104 stitches" in words


def test_a_short_text_lies_open_as_a_whole(as_tester: Client, address: Address) -> None:
    send(as_tester, address, back_sts="104", body_rows="96")

    assert sections(as_tester.get(address("worksheet"))) == [("Back", "all worked", True)]


def test_a_shaping_at_a_place_without_numbers_stands_in_the_section_of_its_name(
    long_text: Edition, as_tester: Client, address: Address
) -> None:
    shaping = {"label": "Waist", "start": "back_sts", "end": "back_sts - 10", "over": "48"}
    long_text.sheet["shapings"] = [
        {"key": "waist", "place": "Back, step 9", **shaping},
        {"key": "collar", "place": "Collar", **shaping, "label": "Collar"},
    ]
    long_text.save()

    response = as_tester.get(address("worksheet"))

    assert [title for title, _, _ in sections(response)] == ["Back", "Sleeves", "Yoke", "Collar"]
    words = said(response)
    assert words.index("Back, step 9") < words.index("Sleeves, step 1")
    assert words.index("Yoke, step 4") < words.index("Collar 104 to 94 stitches over 48 rows")


def test_a_text_of_shapings_alone_is_shown_too(edition: Edition, as_tester: Client, address: Address) -> None:
    shaping = {
        "key": "waist",
        "label": "Waist",
        "start": "100",
        "end": "90",
        "over": "48",
        "place": "Back, step 1",
    }
    edition.sheet.update(numbers=[], parts=[], shapings=[shaping])
    edition.sheet["dimensions"] = [{"key": "ease_too", "label": "Ease", "tolerance": 1, "formula": "ease"}]
    edition.save()

    response = as_tester.get(address("worksheet"))

    assert [title for title, _, _ in sections(response)] == ["Back"]
    assert "100 to 90 stitches over 48 rows" in said(response)


def test_finished_measurements_have_their_letters_and_their_drawing(
    as_tester: Client, address: Address
) -> None:
    response = as_tester.get(address("worksheet"))

    assert "A Chest circumference 94.5 cm , fine within 2.5 cm" in said(response)
    assert '<g class="plot-dim dim-chest"><title>A: Chest circumference</title>' in response.content.decode()


def test_the_paper_leads_back_to_this_page(as_tester: Client, address: Address, settings: Any) -> None:
    settings.SITE_URL = "https://testround.example.org"

    paper = PdfReader(io.BytesIO(as_tester.get(address("worksheet_pdf")).content))

    first = paper.pages[0].extract_text().replace("\n", "")
    assert f"https://testround.example.org{address('worksheet')}" in first


@pytest.mark.parametrize("n_sent", [0, 2])
def test_the_worksheet_costs_the_same_whatever_was_sent(
    n_sent: int, long_text: Edition, as_tester: Client, address: Address, django_assert_num_queries: Any
) -> None:
    for n in range(n_sent):
        send(as_tester, address, back_sts=f"{103 + n}")
    as_tester.get(address("worksheet"))
    cache.clear()

    # Session, user, place; swatches and counts; counters, steps ticked; what was asked. Before
    # and after it, a name for all that the page rests on.
    with django_assert_num_queries(10):
        as_tester.get(address("worksheet"))
    with django_assert_num_queries(4):
        as_tester.get(address("worksheet"))
