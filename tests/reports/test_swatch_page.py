"""The page of the swatch: how to make one, and what the garment would come out like at its gauge."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.rounds.models import Place
from tests.reports.test_views import said, skirt

__all__ = ["skirt"]

Address = Callable[..., str]


def described(response: Any) -> list[str]:
    """The descriptions of the drawings that compare, in the order of the page."""
    found = re.findall(r'<desc id="made-[^"]*">([^<]*)</desc>', response.content.decode())
    return [text.replace("&amp;", "&") for text in found]


def test_before_there_is_a_swatch_how_to_make_one_lies_open(as_tester: Client, address: Address) -> None:
    response = as_tester.get(address("swatch"))
    page = response.content.decode()

    assert '<details class="swatch-how" id="how" open>' in page
    assert '<title id="swatch-how-title">How a swatch is measured</title>' in page
    assert "at least 15 cm each way" in said(response)
    assert "melt under steam and heat" in said(response)
    assert described(response) == []


def test_in_inches_the_ruler_is_too(as_tester: Client, address: Address, tester: User) -> None:
    tester.units = "in"
    tester.save()

    words = said(as_tester.get(address("swatch")))

    assert "at least 6 in each way" in words
    assert "count over 4 in or more" in words


def test_the_garment_is_drawn_as_it_would_come_out_over_what_it_should_be(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), {**good_swatch, "stitches": "20"})

    response = as_tester.get(address("swatch"))

    # Size S: 104 stitches twice at 2.2 to the centimetre are 94.5 cm, at 2 they are 104; tolerance 2.5 cm.
    assert described(response) == [
        "Back to scale, full line as it should be, dashed as it would come out. "
        "Chest circumference: 104 cm, 9.5 cm more than 94.5 cm; beyond the 2.5 cm that are fine. "
        "Hem to underarm: 32 cm, as it should be."
    ]
    words = said(response)
    assert (
        words.index("Not yet") < words.index("What it would come out like") < words.index("Back: too far off")
    )
    assert '<details class="swatch-how" id="how">' in response.content.decode()


def test_a_swatch_that_will_do_is_drawn_and_said_to_be_within(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), good_swatch)

    words = said(as_tester.get(address("swatch")))

    assert "Back: within what is fine" in words
    assert "Chest circumference: 94.5 cm, as it should be." in words


def test_inches_are_to_the_eighth_in_what_is_drawn(
    as_tester: Client, address: Address, tester: User, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), {**good_swatch, "stitches": "20"})
    tester.units = "in"
    tester.save()

    page = said(as_tester.get(address("swatch")))

    # 104 cm are 40.94 in, 9.4545 cm are 3.72 in: to the eighth 41 and 3 3/4.
    assert "↔ 41 in (+3 3/4 in)" in page


def test_a_piece_made_to_measure_follows_the_gauge_and_is_not_compared(
    skirt: Place,
    as_tester: Client,
    good_swatch: dict[str, Any],
) -> None:
    page = reverse("reports:swatch", args=[skirt.pk])
    as_tester.post(page, {**good_swatch, "gauge": "sc", "stitches": "17", "rows": "21"})

    response = as_tester.get(page)

    assert "your own numbers are worked out from this gauge" in said(response).lower()
    assert described(response) == []


@pytest.mark.parametrize("n_swatches", [1, 4])
def test_the_answer_costs_the_same_for_one_swatch_or_several(
    n_swatches: int,
    as_tester: Client,
    address: Address,
    good_swatch: dict[str, Any],
    django_assert_num_queries: Any,
) -> None:
    for n in range(n_swatches):
        as_tester.post(address("swatch"), {**good_swatch, "key": str(uuid.uuid4()), "stitches": f"{20 + n}"})
    as_tester.get(address("swatch"))
    cache.clear()

    # Session, user, place, and what was sent: swatches, counts, finished measurements; the draft. Before and after
    # it, a name for all that the page rests on.
    with django_assert_num_queries(9):
        as_tester.get(address("swatch"))
    with django_assert_num_queries(4):
        as_tester.get(address("swatch"))
