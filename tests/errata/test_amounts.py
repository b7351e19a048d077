"""The page of yarn and hours: what the pieces took and what should be printed."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from testround.people.models import User
from testround.reports.exchange import round_import
from testround.rounds.models import Round
from tests.errata.conftest import round_document

SignIn = Callable[[User], Client]
ROWS = {"XS": 92, "S": 104, "M": 114}


def who_took(pattern: dict[str, Any], testers: int, **printed: Any) -> bytes:
    """A round whose testers took a tenth of a metre for a stitch and two hundred stitches an hour, about."""
    document = round_document({**pattern, **printed}, testers)
    for index, tester in enumerate(document["testers"]):
        stitches = ROWS[tester["size"]] * 96 * (0.97 + 0.02 * (index % 4))
        tester["yarn"] = {"label": "Wool", "metres_per_ball": 200, "grams_per_ball": 100}
        tester["yarn_used"] = {"metres": round(0.1 * stitches)}
        tester["sittings"] = [{"part": "back", "hours": round(stitches / 200, 1), "done": 1}]
        tester["guess"] = {"hours": 30 + index}
    return json.dumps(document).encode()


@pytest.fixture
def taken(designer: User, little_top: dict[str, Any]) -> Callable[..., Round]:
    def make(testers: int = 9, **printed: Any) -> Round:
        return round_import(data=who_took(little_top, testers, **printed), owner=designer)

    return make


def address(round_: Round) -> str:
    return reverse("errata:amounts", args=[round_.code])


def text_of(response: Any) -> str:
    return " ".join(response.content.decode().split())


def test_it_says_what_to_print_for_every_size_in_metres_and_balls(
    signed_in: SignIn, designer: User, taken: Callable[..., Round]
) -> None:
    round_ = taken(yarn={"XS": 700, "S": 800, "M": 900}, hours={"XS": 44, "S": 50, "M": 55})

    response = signed_in(designer).get(address(round_))

    (yarn, hours) = response.context["amounts"]
    assert yarn.plot.summary.columns[:3] == ("Size", "Printed", "To print")
    assert [row[:3] for row in yarn.plot.summary.rows] == [
        ("XS", "700 (4)", "1000 (5)"),
        ("S", "800 (4)", "1200 (6)"),
        ("M", "900 (5)", "1200 (6)"),
    ]
    page = text_of(response)
    assert "balls of 200 m" in page
    assert [finding["verdict"] for finding in response.context["result"].findings] == ["amend", "holds"]
    assert "For nine in ten it takes" in page
    assert page.count("<svg") >= 2
    assert hours.plot.summary.columns[:3] == ("Size", "Printed", "To print")


def test_guesses_stand_beside_what_it_took(
    signed_in: SignIn, designer: User, taken: Callable[..., Round]
) -> None:
    response = signed_in(designer).get(address(taken(hours={"S": 50})))

    (table,) = response.context["result"].guesses
    assert (table.unit, len(table.rows), table.rows[0].guessed) == ("h", 9, 30)
    assert "Of 9 testers who guessed and finished, 9 took more than their guess" in text_of(response)


def test_amounts_are_recommended_where_nothing_is_printed(
    signed_in: SignIn, designer: User, taken: Callable[..., Round]
) -> None:
    response = signed_in(designer).get(address(taken()))

    assert response.context["result"].findings == ()
    assert "The pattern prints nothing of it yet" in text_of(response)
    assert response.context["amounts"][0].plot.summary.rows[1][:3] == ("S", "nothing", "1200 (6)")


def test_hours_come_with_the_reminder_of_long_sittings(
    signed_in: SignIn, designer: User, taken: Callable[..., Round]
) -> None:
    assert "9 sittings ran over two hours." in text_of(signed_in(designer).get(address(taken())))


@pytest.mark.parametrize(
    ("testers", "said"), [(0, "Nobody has said what it took yet"), (2, "Too few to say")]
)
def test_before_three_have_finished_the_page_says_what_it_waits_for(
    signed_in: SignIn, designer: User, taken: Callable[..., Round], testers: int, said: str
) -> None:
    assert said in text_of(signed_in(designer).get(address(taken(testers))))


def test_made_to_measure_is_by_the_square_metre(signed_in: SignIn, designer: User) -> None:
    data = (settings.BASE_DIR / "fixtures" / "quillwork.json").read_bytes()
    round_ = round_import(data=data, owner=designer)

    response = signed_in(designer).get(address(round_))

    (yarn,) = response.context["amounts"]
    assert yarn.title == "Yarn for a square metre"
    assert [row[0] for row in yarn.plot.summary.rows] == ["All"]
    assert "Yarn for a square metre, in metres for each square metre" in text_of(response)


def test_a_finding_on_yarn_is_named_once(
    signed_in: SignIn, designer: User, taken: Callable[..., Round]
) -> None:
    round_ = taken(yarn={"XS": 700, "S": 800, "M": 900})

    page = text_of(signed_in(designer).get(reverse("errata:results", args=[round_.code])))

    assert ">Yarn needed</a>" in page
    assert "Yarn: Yarn needed" not in page


def test_the_results_lead_to_it(signed_in: SignIn, designer: User, taken: Callable[..., Round]) -> None:
    round_ = taken(yarn={"XS": 700, "S": 800, "M": 900})

    page = text_of(signed_in(designer).get(reverse("errata:results", args=[round_.code])))

    assert page.count(f'href="{address(round_)}"') == 2  # at the finding, and among the evidence


@pytest.mark.usefixtures("nothing_kept")
@pytest.mark.parametrize("testers", [20, 100])
def test_it_costs_the_same_for_twenty_testers_or_a_hundred(
    signed_in: SignIn,
    designer: User,
    taken: Callable[..., Round],
    testers: int,
    django_assert_num_queries: Any,
) -> None:
    round_ = taken(testers, yarn={"S": 800})
    client = signed_in(designer)

    # session, user, round with pattern, places, seven kinds of report, yarns, candidates
    with django_assert_num_queries(17):
        client.get(address(round_))
