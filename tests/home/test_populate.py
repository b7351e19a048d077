"""A database filled with invented rounds, of which a few are made and the others copied."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from testround.home.populate import populate
from testround.home.populate.documents import Course, Design
from testround.patterns.models import Pattern
from testround.people.models import User
from testround.reports.models import Finished, Submission
from testround.rounds.models import DiaryEntry, Place, Round

# One pattern to each of two designers.
DESIGNS = (
    Design("quillwork", (Course("closed", 3, 200), Course("making", 2, 40)), errata=2),
    Design("quillwork", (Course("measuring", 3, 66), Course("gathering", 0, -10, candidates=3)), errata=1),
)
pytestmark = pytest.mark.django_db


def filled(designers: int = 2, seed: int = 1) -> dict[str, int]:
    return populate(designers=designers, seed=seed, say=lambda _: None, designs=DESIGNS)


@pytest.fixture(autouse=True)
def outside_a_transaction(monkeypatch: pytest.MonkeyPatch) -> None:
    # Counting what is in the tables frees space as well, which no transaction may.
    monkeypatch.setattr("testround.home.populate.analyse_tables", lambda: None)


def test_each_designer_has_rounds_of_the_same_sizes() -> None:
    found = filled(designers=4)

    sizes = [
        (round_.state, round_.places.count(), round_.candidates.count())
        for round_ in Round.objects.order_by("pk")
    ]
    halves = [("closed", 3, 0), ("making", 2, 0)], [("measuring", 3, 0), ("gathering", 0, 3)]
    assert sizes == [*halves[0], *halves[1], *halves[0], *halves[1]]
    assert (found["rounds"], found["places"], found["patterns"]) == (8, 16, 4)
    assert found["submissions"] == Submission.objects.count()


def test_people_places_and_reports_hang_together() -> None:
    filled()

    assert Place.objects.filter(tester=None).count() == 0
    for submission in Submission.objects.select_related("place"):
        assert submission.by_id == submission.place.tester_id
    for entry in DiaryEntry.objects.exclude(place=None).select_related("place"):
        assert entry.text.startswith(entry.place.name)
    for row in Finished.objects.select_related("submission"):
        assert row.submission.place_id == row.place_id
    one, two = Pattern.objects.order_by("pk")
    assert (one.owner, two.owner) == tuple(User.objects.filter(email__startswith="designer").order_by("pk"))


def test_every_round_has_a_code_of_its_own() -> None:
    filled(designers=4)

    codes = list(Round.objects.values_list("code", flat=True))
    assert len(set(codes)) == len(codes) == 8


@pytest.mark.parametrize("page", ["rounds:detail", "errata:results", "rounds:diary"])
def test_its_pages_open_like_anybodys(page: str, client: Client) -> None:
    filled()
    for round_ in Round.objects.filter(state__in=["closed", "measuring"]):
        client.force_login(round_.edition.pattern.owner)
        assert client.get(reverse(page, args=[round_.code])).status_code == 200


def test_what_is_written_afterwards_gets_a_key_of_its_own() -> None:
    filled()
    last = Round.objects.order_by("pk").last()
    assert last is not None

    made = Round.objects.create(edition=last.edition, title="Another")

    assert made.pk > last.pk


def test_nobody_can_sign_in_to_the_accounts() -> None:
    filled()

    assert not any(person.has_usable_password() for person in User.objects.all())


def test_invented_people_are_not_mixed_with_real_ones(designer: User) -> None:
    with pytest.raises(CommandError, match="is in use: there are 1 people and 0 errata in it"):
        call_command("populate", designers=1)

    assert Round.objects.count() == 0


@pytest.mark.parametrize("designers", [0, 10_001])
def test_a_number_of_designers_that_makes_no_sense_is_refused(designers: int) -> None:
    with pytest.raises(CommandError, match="choose a number from 1 to 10000"):
        call_command("populate", designers=designers)
