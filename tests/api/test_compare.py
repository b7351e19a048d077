"""Two editions beside each other by a program, and drafts of what differs."""

from __future__ import annotations

import json
from typing import Any

import pytest

from testround.patterns.models import Edition
from testround.rounds.models import Round
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_reports import asked


def newer(edition: Edition, **changes: Any) -> Edition:
    """A next edition with another cast-on in size M, and whatever else is given."""
    sheet = json.loads(json.dumps(edition.sheet))
    sheet["numbers"][0]["printed"]["M"] = 116
    sheet |= {"edition": f"1.{Edition.objects.count()}", **changes}
    return Edition.objects.create(pattern=edition.pattern, label=sheet["edition"], sheet=sheet)


@pytest.fixture
def at(edition: Edition) -> str:
    return f"/patterns/{edition.pattern.code}/compare"


def test_what_a_newer_edition_prints_otherwise_is_told_and_drafted_once(
    program: Program, at: str, edition: Edition, a_round: Round
) -> None:
    new = newer(edition)
    both = {"old": edition.pk, "new": new.pk}
    read = f"{at}?old={edition.pk}&new={new.pk}"

    told = program.get(read).json()
    drafts = program.post(at, both).json()["drafts"]
    again = program.post(at, both)

    assert [(one["subject"], one["was"], one["now"]) for one in told["changes"]][:1] == [
        ("back_sts", {"M": 114.0}, {"M": 116.0})
    ]
    assert told["lacking"][0][0] == told["changes"][0]
    assert [draft["round"] for draft in drafts] == [a_round.code]
    assert drafts[0]["changes"][0]["now"] == {"M": 116.0}
    assert program.get(f"/rounds/{a_round.code}/drafts").json()["results"] == drafts
    assert (again.status_code, program.get(read).json()["lacking"]) == (422, [])


def test_two_editions_of_the_pattern_are_to_be_named(program: Program, at: str, edition: Edition) -> None:
    one = edition.pk

    unread = program.get(f"{at}?old={one}&new=x").json()["errors"]
    undrafted = [asked(program.post(at, {"old": one, "new": new})) for new in (one, one + 1000)]

    assert [fault["parameter"] for fault in unread] == ["new"]
    assert [[pointer for pointer, _ in faults] for faults in undrafted] == [["/new"], ["/new"]]


def test_comparing_costs_the_same_for_one_difference_or_many(
    program: Program, at: str, edition: Edition
) -> None:
    news = [newer(edition)]

    assert_costs_the_same(
        lambda: program.get(f"{at}?old={edition.pk}&new={news[-1].pk}"),
        lambda: news.append(
            newer(edition, constants=[{"key": "ease", "label": "Ease", "value": 9, "unit": "cm"}])
        ),
    )
