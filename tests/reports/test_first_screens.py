"""What the first screen of a tester's pages answers: which number, when it is due, how much is left, what is next."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from testround.people.models import User
from testround.reports.services import counts_submit
from testround.rounds.models import Place
from tests.reports.test_views import said

Address = Callable[..., str]
WHICH = "Work the bold number as it is printed."


def test_where_another_number_stands_beside_the_worksheet_says_which_is_worked(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), {**good_swatch, "stitches": "20"})

    assert WHICH in said(as_tester.get(address("worksheet")))
    assert "keep to what your own gauge would need only where the answer to your swatch said so." in said(
        as_tester.get(address("counts"))
    )


def test_where_the_gauge_needs_the_printed_number_nothing_is_said_of_another(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), good_swatch)

    for page in ("worksheet", "counts"):
        words = said(as_tester.get(address(page)))
        assert "gauge would need" not in words
        assert WHICH not in words


def due(place: Place, *, swatch: dt.date | None = None, closes: dt.date | None = None) -> None:
    place.round.swatches_due, place.round.closes = swatch, closes
    place.round.save()


def test_a_swatch_that_is_late_is_said_to_be_wanted_still(
    as_tester: Client, address: Address, place: Place
) -> None:
    due(place, swatch=dt.date(2026, 1, 13), closes=timezone.localdate() + dt.timedelta(days=60))

    words = said(as_tester.get(address("place")))

    assert "You are in: size S, " in words
    assert "swatch until 13 January" in words
    assert "It was due 13 January; still wanted." in words


@pytest.mark.parametrize("days", [0, 5])
def test_what_is_not_due_before_today_is_not_late(
    days: int, as_tester: Client, address: Address, place: Place
) -> None:
    due(place, swatch=timezone.localdate() + dt.timedelta(days=days))

    assert "still wanted" not in said(as_tester.get(address("place")))


def test_after_the_round_has_closed_counts_are_wanted_still(
    as_tester: Client, address: Address, place: Place, tester: User
) -> None:
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104})
    due(place, swatch=dt.date(2026, 1, 13), closes=dt.date(2026, 2, 1))

    assert "Everything was due 1 February; still wanted." in said(as_tester.get(address("place")))


def test_the_hours_so_far_stand_above_the_timer_and_the_timer_above_the_form(
    as_tester: Client, address: Address
) -> None:
    as_tester.post(address("sitting"), {"key": str(uuid.uuid4()), "hours": "3", "done": "30"})

    words = said(as_tester.get(address("sitting")))

    assert words.index("hours so far") < words.index("Start the timer") < words.index("Or log one by hand")


def test_a_step_whose_count_was_sent_is_behind_the_tester(
    as_tester: Client, address: Address, place: Place, tester: User
) -> None:
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104})

    page = as_tester.get(address("counting"))

    assert "Back 1 of 2 behind you" in said(page)
    assert re.findall(r'name="tick" value="(\w+)"', page.content.decode()) == ["body_rows"]


def test_the_section_with_something_left_is_open_and_chosen_to_be_counted(
    as_tester: Client, address: Address, place: Place, tester: User
) -> None:
    edition = place.round.edition
    edition.sheet["numbers"].append(
        {"key": "cuff", "label": "Cuff", "place": "Sleeves, step 1", "unit": "st", "formula": "40"}
    )
    edition.save()
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104, "body_rows": 96})

    page = as_tester.get(address("counting")).content.decode()

    assert re.findall(r'<details class="steps" open data-section>\s*<summary>(\w+)', page) == ["Sleeves"]
    assert re.findall(r'<option value="(\w+)"[^>]* selected', page) == ["sleeves"]


def test_the_counting_page_says_what_comes_next_in_the_text(
    as_tester: Client, address: Address, place: Place, tester: User
) -> None:
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104})

    first = said(as_tester.get(address("counting")))
    as_tester.post(address("counting"), {"key": str(uuid.uuid4()), "counter": "", "tick": "body_rows"})
    last = said(as_tester.get(address("counting")))

    assert "You count no rows yet." in first
    assert "Next in the pattern: Back, step 3: Rows to underarm 96 rows" in first
    assert "data-count-next hidden" in as_tester.get(address("counting")).text
    assert "Back, step 3: Rows to underarm 96 rows" not in last


def test_how_one_is_thanked_now_is_said_first(as_tester: Client, address: Address, place: Place) -> None:
    before = said(as_tester.get(address("credit")))
    as_tester.post(address("credit"), {"thanked_as": "Kelp", "in_report": "on"})
    after = said(as_tester.get(address("credit")))

    assert "You are not named in public" in before
    assert "The report of the round calls you “Tester” with a number." in before
    assert (
        f"You chose to be thanked in public as Kelp . The report of the round calls you {place.name}."
        in after
    )


def test_whether_photos_may_be_seen_now_is_said_before_one_is_sent(
    as_tester: Client, address: Address
) -> None:
    before = said(as_tester.get(address("photo_new")))
    as_tester.post(address("consents"), {"seen": "on"})
    after = said(as_tester.get(address("photo_new")))

    assert "you, and, once you allow it below, Designer and whoever edits the pattern." in before
    assert "you, Designer and whoever edits the pattern. You allow that now." in after


def test_beside_what_may_be_done_with_photos_stands_who_sees_measurements(
    as_tester: Client, address: Address
) -> None:
    page = as_tester.get(address("consents"))

    assert "Measurements that you send are seen by Designer and whoever edits the pattern;" in said(page)
    assert f'href="{address("measures")}">Change them, or take them back' in page.text


@pytest.mark.parametrize(
    ("guess", "sentence"),
    [
        ({}, "Guess the hours, the yarn or both before you begin."),
        ({"hours": "48"}, "You guessed 48 hours, and no yarn yet."),
        ({"hours": "48", "metres": "1000 yd"}, "You guessed 48 hours and 914 m of yarn."),
    ],
)
def test_a_guess_that_was_sent_is_told_from_one_that_was_not(
    guess: dict[str, str], sentence: str, as_tester: Client, address: Address
) -> None:
    if guess:
        as_tester.post(address("guess"), {"key": str(uuid.uuid4()), **guess})

    assert sentence in said(as_tester.get(address("guess")))
