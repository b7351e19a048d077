"""Yarn and hours of a round, and the gauges at which its pattern works, by the API."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.cache import cache
from django.http import HttpResponse

from testround.errata.selectors import analyses
from testround.rounds.models import Place, Round
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_requests import problem


@pytest.fixture
def at(tested: Round) -> str:
    return f"/rounds/{tested.code}"


def took(round: Round) -> list[float]:
    """Have everybody say how much yarn it took, each 30 m more than the one before."""
    places = list(round.places.order_by("pk"))
    metres = [900.0 + 30 * index for index in range(len(places))]
    for place, used in zip(places, metres, strict=True):
        Place.objects.filter(pk=place.pk).update(used_metres=used)
    return metres


def test_what_pieces_took_is_told_by_size_with_what_to_print(
    program: Program, at: str, tested: Round
) -> None:
    assert program.get(f"{at}/amounts").json() == {"amounts": []}
    metres = took(tested)

    (yarn,) = program.get(f"{at}/amounts").json()["amounts"]

    assert (yarn["kind"], yarn["unit"], yarn["makers"]) == ("yarn", "m", len(metres))
    assert [row["whole"] for row in yarn["took"]] == metres
    assert [size["size"] for size in yarn["sizes"]] == ["XS", "S", "M"]
    for size in yarn["sizes"]:
        assert size["least"] < size["low"] < size["typical"] < size["high"] < size["most"]
        assert (size["printed"], size["enough_for"], size["balls"]) == (None, None, None)
        assert size["proposed"] >= size["typical"]


def test_the_gauges_at_which_a_pattern_works_are_told_with_every_swatch(
    program: Program, at: str, tested: Round
) -> None:
    (gauge,) = program.get(f"{at}/gauges").json()["gauges"]
    (of_size,) = program.get(f"{at}/gauges?size=XS").json()["gauges"]

    assert (gauge["key"], gauge["stated"]) == ("body", {"st": 22.0, "row": 30.0})
    assert [(own["source"], round(own["st"])) for own in gauge["own"]] == [
        ("blocked", 22)
    ] * tested.places.count()
    # Fewer stitches, wider pieces: the region ends where the chest of a size is too large.
    few = gauge["region"]["few_st"]
    assert (few["st"] < 22, few["limit"]["dimension"], few["limit"]["too_large"]) == (True, "chest", True)
    assert gauge["standing"]["swatches"] == tested.places.count()
    assert {edge["limit"]["size"] for edge in of_size["region"]["boundary"] if edge["limit"]} == {"XS"}
    assert problem(program.get(f"{at}/gauges?size=XXL")) == (422, "invalid")


def test_reading_amounts_costs_the_same_for_three_testers_and_nine(
    program: Program, round_of: Callable[..., Round]
) -> None:
    rounds: dict[str, Round] = {}

    def begin(testers: int, title: str) -> None:
        rounds["now"] = round_of(testers, title=title)
        took(rounds["now"])

    def read() -> HttpResponse:
        # As in a process that has just begun.
        cache.clear()
        analyses.recent.clear()
        return program.get(f"/rounds/{rounds['now'].code}/amounts")

    begin(3, "Few")
    assert_costs_the_same(read, lambda: begin(9, "Many"))
