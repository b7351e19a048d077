"""Drafts: one for each form and person, the last that was typed, and nobody else's."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from testround.people.held import held_of, person_erase
from testround.people.models import User
from testround.reports.drafts import Kept, draft_at, draft_keep, form_known, worth_keeping
from testround.reports.models import Draft
from testround.reports.services import yarn_submit
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.services.privacy import places_forget

NOON = dt.datetime(2026, 5, 1, 12, tzinfo=dt.UTC)


def minutes(n: int) -> dt.datetime:
    return NOON + dt.timedelta(minutes=n)


def test_a_draft_is_kept_and_kept_again_in_one_row(place: Place, tester: User) -> None:
    first = draft_keep(place=place, person=tester, form="yarn", values={"metres": "10"}, at=minutes(0))
    second = draft_keep(place=place, person=tester, form="yarn", values={"metres": "1010"}, at=minutes(1))

    assert (first, second) == (Kept(1, True), Kept(2, True))
    assert Draft.objects.get().values == {"metres": "1010"}


def test_of_two_phones_the_one_typed_on_last_wins_whichever_comes_first(place: Place, tester: User) -> None:
    draft_keep(place=place, person=tester, form="yarn", values={"metres": "late"}, at=minutes(5))

    early = draft_keep(place=place, person=tester, form="yarn", values={"metres": "early"}, at=minutes(2))

    assert early == Kept(1, False)
    assert Draft.objects.get().values == {"metres": "late"}


def test_who_went_on_from_the_newest_is_taken_even_by_a_slow_clock(place: Place, tester: User) -> None:
    draft_keep(place=place, person=tester, form="yarn", values={"metres": "1"}, at=minutes(5))

    kept = draft_keep(
        place=place, person=tester, form="yarn", values={"metres": "12"}, at=minutes(-60), based_on=1
    )

    assert kept == Kept(2, True)
    assert Draft.objects.get().values == {"metres": "12"}


def test_a_clock_that_is_ahead_counts_as_now(place: Place, tester: User) -> None:
    ahead = timezone.now() + dt.timedelta(days=30)

    draft_keep(place=place, person=tester, form="yarn", values={"metres": "1"}, at=ahead)

    assert Draft.objects.get().at <= timezone.now()


def test_what_comes_late_of_a_form_that_was_sent_leaves_no_draft(place: Place, tester: User) -> None:
    key = uuid.uuid4()
    yarn_submit(place=place, key=key, by=tester, metres=1010)

    draft_keep(place=place, person=tester, form="yarn", values={"metres": "1010"}, key=key)

    assert not Draft.objects.exists()


def test_files_tokens_passwords_and_the_forms_number_are_never_kept() -> None:
    assert worth_keeping(
        {
            "csrfmiddlewaretoken": "secret",
            "key": "a-number",
            "password": "secret",
            "new_Password1": "secret",
            "keep_chest": "on",
            "photo": {"a": "file"},
            3: "three",
            "hours": "2:30",
        }
    ) == {"hours": "2:30"}


@pytest.mark.parametrize(
    "values",
    [
        {"remark": "x" * 20_001},
        {"n" * 81: "x"},
        {f"field_{n}": "x" for n in range(401)},
    ],
)
def test_more_than_any_form_has_is_not_kept(values: dict[str, str]) -> None:
    assert worth_keeping(values) is None


@pytest.mark.parametrize(
    ("form", "known"),
    [
        ("swatch", True),
        ("counts", True),
        ("counts back", True),
        ("yarn back", False),
        ("login", False),
        ("", False),
    ],
)
def test_only_the_forms_of_a_place_have_drafts(form: str, known: bool) -> None:
    assert form_known(form) is known


def test_each_persons_draft_is_their_own(place: Place, tester: User, stranger: User) -> None:
    draft_keep(place=place, person=tester, form="measures", values={"body_bust": "87.123"})

    assert draft_at(place, stranger, "measures") is None
    assert [list(shelf.rows) for shelf in held_of(stranger) if shelf.key == "drafts"] == [[]]
    (held,) = [list(shelf.rows) for shelf in held_of(tester) if shelf.key == "drafts"]
    assert [row["typed"] for row in held] == [{"body_bust": "87.123"}]


def test_drafts_go_with_what_is_private_and_with_the_person(place: Place, tester: User) -> None:
    draft_keep(place=place, person=tester, form="measures", values={"body_bust": "87.123"})
    places_forget([place])
    assert not Draft.objects.exists()

    draft_keep(place=place, person=tester, form="measures", values={"body_bust": "87.123"})
    person_erase(user=tester)
    assert not Draft.objects.exists()


def test_once_what_is_private_is_deleted_no_draft_is_kept(place: Place, tester: User) -> None:
    Round.objects.filter(pk=place.round_id).update(purged_at=timezone.now())

    with pytest.raises(Refused):
        draft_keep(place=place, person=tester, form="measures", values={"body_bust": "87"})
