"""A designer's round with its own words, and places in it."""

from __future__ import annotations

import datetime as dt

import pytest

from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services import invitation_create, place_add, round_open
from testround.rounds.services.call import call_open
from tests.outbox.databases import shared_by_threads

from .calls import in_days, written

__all__ = ["shared_by_threads"]

BLUE = YarnDocument(
    key="wool_blue",
    label="Wool, supplied",
    weight=4,
    fibre="wool",
    metres_per_ball=200,
    grams_per_ball=100,
    makers=2,
)


@pytest.fixture
def opened(edition: Edition, designer: User) -> Round:
    """A round opened on the little top, with dates, terms, a plan and one supplied yarn."""
    return round_open(
        edition=edition,
        by=designer,
        title="First test",
        opens=dt.date(2027, 1, 11),
        swatches_due=dt.date(2027, 1, 25),
        closes=dt.date(2027, 3, 8),
        terms="Show nothing before publication.",
        places_plan={"least": {"XS": 1, "S": 2}, "most": {"S": 2}},
        yarns=[BLUE],
    )


@pytest.fixture
def called(edition: Edition, designer: User) -> Round:
    """A round that gathers testers by an open call, in a week in which it begins next month."""
    round = round_open(
        edition=edition,
        by=designer,
        title="First test",
        opens=in_days(30),
        swatches_due=in_days(44),
        closes=in_days(90),
        terms="Show nothing before publication.",
        places_plan={"least": {"XS": 1, "S": 2}},
        yarns=[BLUE],
    )
    return call_open(round=written(round, designer), by=designer)


@pytest.fixture
def offered(opened: Round, designer: User) -> Place:
    """A place in size S in the supplied yarn, which nobody holds."""
    return place_add(round=opened, name="Willow", size="S", yarn=opened.yarns.get(), by=designer)


@pytest.fixture
def link(offered: Place, designer: User) -> str:
    """The path of an invitation to it."""
    return path_of(invitation_create(place=offered, by=designer)[1])


def path_of(url: str) -> str:
    return url[url.index("/rounds/join/") :]


def secret_of(url: str) -> str:
    return url.rstrip("/").rsplit("/", 1)[-1]
