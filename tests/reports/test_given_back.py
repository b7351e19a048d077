"""What came from a place that was given back: the piece was real, so it counts until the designer leaves it out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from testround.people.models import User
from testround.reports.bridge import kernel_round
from testround.reports.models import Count, Finished, Photo, Sitting, Swatch
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors import round_page
from testround.rounds.services import place_count, place_give_back

SignIn = Callable[[User], Client]


@pytest.fixture
def given(place: Place, designer: User) -> Place:
    """A place given back by its tester after a swatch, the count it was begun with, and an evening's work."""
    Swatch.objects.create(place=place, gauge="body", state="blocked", width=10, stitches=22)
    Count.objects.create(place=place, number="back_sts", worked=104)
    Sitting.objects.create(place=place, part="body", hours=2.0, done=0.2, day=timezone.localdate())
    Place.objects.filter(pk=place.pk).update(agreed_at=timezone.now())
    place.refresh_from_db()
    return place_give_back(place=place, by=place.tester)


def read(round: Round) -> list[tuple[str, int, int, int]]:
    """Who is read, and of each how many swatches, counts and finished measurements."""
    return [
        (one.id, len(one.swatches), len(one.counts), len(one.finished)) for one in kernel_round(round).testers
    ]


def test_a_swatch_and_all_that_came_with_it_count_on(given: Place, a_round: Round) -> None:
    assert read(a_round) == [("t01", 1, 1, 0)]
    assert [sitting.hours for sitting in kernel_round(a_round).testers[0].sittings] == [2.0]


def test_finished_measurements_count_without_a_swatch(given: Place, a_round: Round) -> None:
    Swatch.objects.all().delete()
    Finished.objects.create(place=given, dimension="chest", state="blocked", values=[93.0])

    assert read(a_round) == [("t01", 0, 1, 1)]


def test_a_count_alone_is_no_piece_and_what_was_corrected_does_not_count(
    given: Place, a_round: Round
) -> None:
    Swatch.objects.update(superseded_at=timezone.now())

    assert read(a_round) == []


def test_its_photos_are_left_where_they_are(given: Place, a_round: Round) -> None:
    Photo.objects.create(place=given, name="a.jpg", sha256="0" * 64)

    assert kernel_round(a_round).testers[0].photos == ()


def test_its_size_still_wants_somebody_and_nobody_is_waited_for(given: Place, a_round: Round) -> None:
    page = round_page(a_round, today=timezone.localdate())

    assert (page.place_count, page.held_count, page.given_back) == (0, 0, 1)


def test_the_designer_leaves_it_out_by_hand_and_counts_it_again(
    given: Place, a_round: Round, designer: User
) -> None:
    place_count(place=given, counts=False, by=designer)
    place_count(place=given, counts=False, by=designer)
    without = read(a_round)
    place_count(place=given, counts=True, by=designer)

    assert (without, read(a_round)) == ([], [("t01", 1, 1, 0)])
    assert list(a_round.diary.order_by("pk").values_list("text", "by"))[-2:] == [
        (f"What came from {given.name}'s place is left out of the results.", designer.pk),
        (f"What came from {given.name}'s place counts in the results again.", designer.pk),
    ]


def test_nobody_leaves_out_a_place_that_somebody_works_on(
    place: Place, a_round: Round, designer: User
) -> None:
    with pytest.raises(Refused) as refused:
        place_count(place=place, counts=False, by=designer)

    assert refused.value.sentence == (
        f"{place.name}'s place is {place.state}: only what came from a place given back can be left out."
    )


def test_its_tester_and_strangers_leave_out_nothing(given: Place, tester: User, stranger: User) -> None:
    for person in (tester, stranger):
        with pytest.raises(PermissionDenied):
            place_count(place=given, counts=False, by=person)


def test_on_the_page_of_the_place_it_is_one_press(
    given: Place, a_round: Round, designer: User, signed_in: SignIn
) -> None:
    client = signed_in(designer)
    page = reverse("rounds:place_edit", args=[a_round.code, given.pk])
    count = reverse("rounds:place_count", args=[a_round.code, given.pk])

    before = client.get(page).text
    pressed = client.post(count, {"counts": "no"}, follow=True)
    client.post(count, {"counts": "yes"})

    assert f'action="{count}"' in before
    assert "still count: they are those of a real piece" in before
    assert pressed.redirect_chain == [(page, 302)]
    assert "The results leave it out." in pressed.text
    assert "Count it again" in pressed.text
    assert read(a_round) == [("t01", 1, 1, 0)]


def test_a_place_that_was_never_taken_has_nothing_to_leave_out(
    a_round: Round, designer: User, signed_in: SignIn
) -> None:
    place = Place.objects.create(round=a_round, key="t09", name="Gone", size="S", state="given back")

    page = signed_in(designer).get(reverse("rounds:place_edit", args=[a_round.code, place.pk])).text

    assert "In the results" not in page


def test_the_round_is_read_in_the_same_number_of_queries_for_any_number_given_back(
    a_round: Round, given: Place
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            kernel_round(Round.objects.select_related("edition").get(pk=a_round.pk))
        return len(captured)

    before = queries()
    for number in range(12):
        fields: dict[str, Any] = {"key": f"g{number}", "name": "Gone", "size": "S", "state": "given back"}
        gone = Place.objects.create(round=a_round, **fields)
        Swatch.objects.create(place=gone, gauge="body", state="blocked", width=10, stitches=22)

    assert queries() == before
    assert len(read(a_round)) == 13
