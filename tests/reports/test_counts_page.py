"""The counts of a long pattern, one section of its text at a time."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from testround.patterns.models import Edition
from testround.reports.models import Count, Draft
from testround.rounds.models import Place
from tests.reports.test_views import said, typed

Address = Callable[..., str]
SECTIONS = ("Back", "Fronts", "Sleeves")


@pytest.fixture
def long_pattern(edition: Edition, little_top: dict[str, Any]) -> None:
    """Twelve numbers in three sections."""
    little_top["numbers"] += [
        {
            "key": f"{section.lower()}_{step}",
            "label": f"{section}, number {step}",
            "place": f"{section}, step {step + 4}",
            "unit": "st",
            "formula": "10",
        }
        for section in SECTIONS
        for step in range(5 if section != "Back" else 2)
    ]
    edition.sheet = little_top
    edition.save()


def asked(response: Any) -> list[str]:
    return re.findall(r'name="count_(\w+)"', response.content.decode())


BACK = ["back_sts", "body_rows", "back_0", "back_1"]


@pytest.mark.usefixtures("long_pattern")
def test_one_section_is_asked_for_at_a_time_with_ways_to_the_others(
    as_tester: Client, address: Address
) -> None:
    first = as_tester.get(address("counts"))
    sleeves = as_tester.get(address("counts"), {"section": "sleeves"})

    assert asked(first) == BACK
    assert asked(sleeves) == [f"sleeves_{n}" for n in range(5)]
    assert "Back 0 of 4 sent Fronts 0 of 5 sent Sleeves 0 of 5 sent" in said(first)


@pytest.mark.usefixtures("long_pattern")
def test_sending_a_section_leads_to_the_next_and_back_to_what_is_left(
    as_tester: Client, address: Address
) -> None:
    counts = {"count_back_sts": "104", "count_body_rows": "96", "count_back_0": "10", "count_back_1": "10"}

    answer = as_tester.post(f"{address('counts')}?section=back", {"key": str(uuid.uuid4()), **counts})
    later = as_tester.get(address("counts"))

    assert answer.url == f"{address('counts')}?section=fronts"
    assert set(Count.objects.values_list("number", flat=True)) == set(BACK)
    assert asked(later) == [f"fronts_{n}" for n in range(5)]
    assert "Back 4 of 4 sent" in said(later)


@pytest.mark.usefixtures("long_pattern")
def test_after_the_last_section_comes_the_place(as_tester: Client, address: Address) -> None:
    answer = as_tester.post(
        f"{address('counts')}?section=sleeves", {"key": str(uuid.uuid4()), "count_sleeves_0": "10"}
    )

    assert answer.url == address("place")


@pytest.mark.usefixtures("long_pattern")
def test_a_section_sends_nothing_of_another(as_tester: Client, address: Address) -> None:
    answer = as_tester.post(
        f"{address('counts')}?section=back", {"key": str(uuid.uuid4()), "count_sleeves_0": "10"}
    )

    assert answer.status_code == 422
    assert not Count.objects.exists()


@pytest.mark.usefixtures("long_pattern")
def test_there_is_no_page_of_a_section_that_is_not(as_tester: Client, address: Address) -> None:
    assert as_tester.get(address("counts"), {"section": "hood"}).status_code == 404


@pytest.mark.usefixtures("long_pattern")
def test_what_is_typed_is_kept_by_section_without_scripts_too(as_tester: Client, address: Address) -> None:
    kept = as_tester.post(
        f"{address('counts')}?section=back",
        {"key": str(uuid.uuid4()), "count_back_sts": "1o4", "keep_for_later": "yes"},
    )
    elsewhere = as_tester.get(address("counts"), {"section": "sleeves"})
    back = as_tester.get(kept.url)

    assert kept.url == f"{address('counts')}?section=back&kept=1"
    assert [(draft.form, draft.values) for draft in Draft.objects.all()] == [
        ("counts back", {"count_back_sts": "1o4"})
    ]
    assert "Back 0 of 4 sent; written, not sent" in said(elsewhere)
    assert typed(back, "count_back_sts") == "1o4"
    assert not Count.objects.exists()


def test_a_short_pattern_has_all_its_counts_on_one_page(as_tester: Client, address: Address) -> None:
    page = as_tester.get(address("counts"))

    assert asked(page) == ["back_sts", "body_rows"]
    assert "of 2 sent" not in said(page)


@pytest.mark.usefixtures("long_pattern")
def test_the_page_costs_the_same_whatever_was_sent_and_kept(
    as_tester: Client, address: Address, place: Place
) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert as_tester.get(address("counts"), {"section": "back"}).status_code == 200
        return len(captured)

    little = cost()
    for section in ("back", "fronts", "sleeves"):
        Draft.objects.create(place=place, person=place.tester, form=f"counts {section}", at=place.changed)
    for number in BACK:
        Count.objects.create(place=place, number=number, worked=10)

    assert cost() == little
