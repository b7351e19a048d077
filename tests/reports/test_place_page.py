"""The tester's own page: one next thing, how it stands for time, and the rest folded by when it is needed."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from testround.people.models import User
from testround.reports.counting import events_take
from testround.reports.services import counts_submit, yarn_submit
from testround.rounds.models import Place
from tests.reports.test_views import said

Address = Callable[..., str]


def count_rows(place: Place, label: str, goal: int | None, rows: int, *ticked: str) -> None:
    code = str(uuid.uuid4())
    events: list[dict[str, Any]] = [
        {"id": code, "kind": "counter", "counter": code, "label": label, "goal": goal},
        {"id": str(uuid.uuid4()), "kind": "rows", "counter": code, "rows": rows},
    ]
    events += [{"id": str(uuid.uuid4()), "kind": "tick", "number": key, "done": True} for key in ticked]
    events_take(place=place, pattern=place.round.edition.document, events=events)


def open_groups(response: Any) -> list[str]:
    return re.findall(r'<details class="fold" open>\s*<summary>(.*?)</summary>', response.content.decode())


@pytest.mark.parametrize(
    ("state", "now"),
    [
        (Place.State.TAKEN, "Before you begin"),
        (Place.State.GAUGE_AGREED, "Before you begin"),
        (Place.State.MAKING, "While you work"),
        (Place.State.MEASURED, "When it is finished"),
        (Place.State.DONE, "When it is finished"),
    ],
)
def test_what_belongs_to_the_present_stage_is_open_and_the_rest_folded(
    state: str, now: str, as_tester: Client, address: Address, place: Place
) -> None:
    Place.objects.filter(pk=place.pk).update(state=state)

    assert open_groups(as_tester.get(address("place"))) == [now]


def test_counting_a_row_is_working(as_tester: Client, address: Address, place: Place) -> None:
    count_rows(place, "Back", 96, 48, "back_sts")

    page = as_tester.get(address("place"))

    assert open_groups(page) == ["While you work"]
    assert "Counting Back 48 of 96; 1 of 2 steps ticked" in said(page)


def test_the_designer_reads_the_totals_and_no_single_press(
    client: Client, place: Place, designer: User, as_tester: Client, address: Address
) -> None:
    count_rows(place, "Back", 96, 48, "back_sts")
    count_rows(place, "Left front", None, 7)
    mine = said(as_tester.get(address("sent")))

    client.force_login(designer)
    theirs = said(client.get(reverse("reports:of_tester", args=[place.round.code, place.pk])))

    for words in (mine, theirs):
        assert "Counted so far Back: 48 of 96 rows Left front: 7 rows 1 of 2 steps ticked" in words


def test_a_correction_stands_with_what_was_said_before(
    as_tester: Client, address: Address, place: Place, tester: User
) -> None:
    def send(worked: float) -> None:
        counts_submit(
            place=place,
            key=uuid.uuid4(),
            by=tester,
            counts={"back_sts": worked, "body_rows": 96},
            typed={"back_sts": f"{worked:g}", "body_rows": "96"},
        )

    send(104)
    send(106)
    yarn_submit(place=place, key=uuid.uuid4(), by=tester, metres=900, typed={"metres": "900"})
    yarn_submit(place=place, key=uuid.uuid4(), by=tester, metres=910, typed={"metres": "910"})

    words = said(as_tester.get(address("sent")))

    assert "Yarn used" in words
    assert "length 910 Before, you sent length 900 Correct" in words
    assert "106 stitches Before, you sent 104 stitches Correct" in words
    assert words.count("Before, you sent") == 2
    assert re.search(r"104 stitches Corrected on \d+ \w+ \d{4}, \d\d:\d\d; no longer counts.", words)


def test_a_count_is_corrected_where_it_stands(
    as_tester: Client, address: Address, place: Place, tester: User
) -> None:
    counts_submit(place=place, key=uuid.uuid4(), by=tester, counts={"back_sts": 104})

    page = as_tester.get(address("sent"))

    assert f'href="{address("counts")}?section=back#id_count_back_sts"' in page.content.decode()
    assert 'id="id_count_back_sts"' in as_tester.get(f"{address('counts')}?section=back").content.decode()


def test_the_pages_cost_the_same_however_much_was_counted(
    as_tester: Client, address: Address, place: Place
) -> None:
    def cost(page: str) -> int:
        cache.clear()
        with CaptureQueriesContext(connection) as captured:
            assert as_tester.get(address(page)).status_code == 200
        return len(captured)

    as_tester.get(address("place"))
    little = [cost(page) for page in ("place", "sent")]
    for n in range(9):
        count_rows(place, f"Piece {n}", None, 4, "back_sts")

    assert [cost(page) for page in ("place", "sent")] == little
