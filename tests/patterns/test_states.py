"""Going back to what was saved before."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.changes import changes_between
from testround.patterns.fields import Scale
from testround.patterns.models import Edition, SheetState
from testround.patterns.services import (
    NothingBefore,
    SheetChanged,
    SheetFrozen,
    edition_create_next,
    edition_freeze,
    edition_go_back,
    edition_save,
    edition_undo,
    pattern_create,
)
from testround.patterns.states import MOST_STATES
from testround.people.held import held_of
from testround.people.models import User
from tests.patterns.test_views import fields_of, page_of

SignIn = Callable[[User], Client]
Count = Any


@pytest.fixture
def made(designer: User, little_top: dict[str, Any]) -> Edition:
    """An edition as a designer makes one, its first state kept."""
    return pattern_create(owner=designer, document=SheetDocument.model_validate(little_top))


def save_place(edition: Edition, place: str, by: User) -> Edition:
    """Save the sheet with other words in the place of its first number."""
    document = edition.sheet | {
        "numbers": [{**edition.sheet["numbers"][0], "place": place}, *edition.sheet["numbers"][1:]]
    }
    return edition_save(
        edition=edition,
        document=SheetDocument.model_validate(document),
        revision=edition.revision,
        by=by,
    )


def place_of(edition: Edition) -> str:
    return str(Edition.objects.get(pk=edition.pk).sheet["numbers"][0]["place"])


# Keeping


def test_every_save_is_kept_with_who_saved_it(made: Edition, designer: User) -> None:
    save_place(made, "Back, step 2", designer)

    kept = [
        (state.revision, state.before, state.saved_by, state.sheet["numbers"][0]["place"])
        for state in SheetState.objects.all()
    ]
    assert kept == [(2, 1, designer, "Back, step 2"), (1, None, designer, "Back, step 1")]


def test_a_sheet_from_before_states_were_kept_can_be_gone_back_to_as_well(
    edition: Edition, designer: User
) -> None:
    assert not SheetState.objects.exists()

    saved = save_place(edition, "Back, step 2", designer)
    edition_undo(edition=saved, revision=2, by=designer)

    assert place_of(edition) == "Back, step 1"
    first = SheetState.objects.get(revision=1)
    assert (first.saved_by, first.saved_at) == (None, edition.created)


def test_the_newest_thirty_states_are_kept_of_each_sheet(made: Edition, designer: User) -> None:
    other = edition_create_next(edition=made, label="1.1", by=designer)
    edition = made

    for n in range(MOST_STATES + 4):
        edition = save_place(edition, f"step {n}", designer)

    revisions = [state.revision for state in SheetState.objects.filter(edition=made)]
    assert revisions == list(range(35, 5, -1))
    assert SheetState.objects.filter(edition=other).count() == 1


# Going back


def test_pressed_again_and_again_it_goes_back_step_by_step_and_no_further(
    made: Edition, designer: User
) -> None:
    edition = made
    for place in ("one", "two", "three"):
        edition = save_place(edition, place, designer)

    places = []
    for _ in range(3):
        edition = edition_undo(edition=edition, revision=edition.revision, by=designer)
        places.append(place_of(edition))

    assert places == ["two", "one", "Back, step 1"]
    with pytest.raises(NothingBefore, match="no such earlier state"):
        edition_undo(edition=edition, revision=edition.revision, by=designer)
    assert place_of(edition) == "Back, step 1"


def test_what_was_gone_back_from_can_be_gone_back_to(made: Edition, designer: User) -> None:
    saved = save_place(save_place(made, "one", designer), "two", designer)
    undone = edition_undo(edition=saved, revision=3, by=designer)

    again = edition_go_back(edition=undone, to=3, revision=4, by=designer)

    assert place_of(again) == "two"
    assert again.revision == 5
    # One step back from there is what came before it when it was first saved.
    edition_undo(edition=again, revision=5, by=designer)
    assert place_of(again) == "one"


def test_after_going_back_a_new_save_steps_back_to_where_it_was_typed(made: Edition, designer: User) -> None:
    saved = save_place(save_place(made, "one", designer), "two", designer)
    undone = edition_undo(edition=saved, revision=3, by=designer)

    other = save_place(undone, "other", designer)
    edition_undo(edition=other, revision=5, by=designer)

    assert place_of(made) == "one"


def test_going_back_carries_title_number_and_terms(
    made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    other = SheetDocument.model_validate({**little_top, "title": "Other", "edition": "7"})
    saved = edition_save(edition=made, document=other, revision=1, by=designer, terms="uk")

    edition_undo(edition=saved, revision=2, by=designer)

    now = Edition.objects.select_related("pattern").get()
    assert (now.sheet, now.label, now.terms, now.pattern.title) == (little_top, "1.0", "us", "Little top")


def test_nobody_goes_back_over_what_somebody_else_has_just_saved(made: Edition, designer: User) -> None:
    saved = save_place(made, "one", designer)
    stale = Edition.objects.get(pk=made.pk)
    save_place(saved, "two", designer)

    with pytest.raises(SheetChanged):
        edition_undo(edition=stale, revision=stale.revision, by=designer)

    assert place_of(made) == "two"


def test_a_frozen_sheet_stays_as_it_is(made: Edition, designer: User) -> None:
    saved = save_place(made, "one", designer)
    edition_freeze(edition=saved)

    for revision in (saved.revision, 2):
        with pytest.raises(SheetFrozen):
            edition_undo(edition=saved, revision=revision, by=designer)
        with pytest.raises(SheetFrozen):
            edition_go_back(edition=saved, to=1, revision=revision, by=designer)


# The page


def states_page(edition: Edition) -> str:
    return reverse("patterns:states", args=[edition.pattern.code, edition.pk])


def test_the_states_are_listed_with_what_each_save_changed(
    signed_in: SignIn, made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["numbers"][0]["printed"]["S"] = 106
    del little_top["numbers"][0]["printed"]["M"]
    little_top["constants"].append({"key": "hem", "label": "Hem", "value": 5, "unit": "cm"})
    document = SheetDocument.model_validate(little_top)
    edition_save(edition=made, document=document, revision=1, by=designer)

    answer = signed_in(designer).get(states_page(made))

    newest, first = answer.context["listed"]
    assert [(change.place, change.was, change.now) for change in newest.changes] == [
        ("Hem", "", "added"),
        ("Back, cast on, printed, S", "104", "106"),
        ("Back, cast on, printed, M", "114", ""),
    ]
    assert (newest.is_now, first.is_now, first.is_first) == (True, False, True)
    assert "<p>Saved by Designer</p>" in answer.content.decode()


@pytest.mark.parametrize("n", [1, 12])
def test_the_page_costs_the_same_for_one_state_or_many(
    signed_in: SignIn, made: Edition, designer: User, n: int, django_assert_num_queries: Count
) -> None:
    edition = made
    for i in range(n):
        edition = save_place(edition, f"step {i}", designer)
    client = signed_in(designer)

    with django_assert_num_queries(4):  # session, user, edition with its pattern, states with their savers
        answer = client.get(states_page(made))

    assert len(answer.context["listed"]) == n + 1


def test_the_last_save_is_taken_back_from_the_sheets_page_without_scripts(
    signed_in: SignIn, made: Edition, designer: User
) -> None:
    client = signed_in(designer)
    client.post(page_of(made), {**fields_of(made), "numbers-0-place": "Typed"})
    shown = client.get(page_of(made)).content.decode()

    answer = client.post(states_page(made), {"action": "undo", "revision": "2"}, follow=True)

    assert "Take back this save" in shown
    assert "Gone back one step" in answer.content.decode()
    assert place_of(made) == "Back, step 1"


def test_any_state_of_the_list_can_be_gone_back_to(signed_in: SignIn, made: Edition, designer: User) -> None:
    save_place(save_place(made, "one", designer), "two", designer)

    answer = signed_in(designer).post(states_page(made), {"to": "2", "revision": "3"})

    assert (answer.status_code, place_of(made)) == (302, "one")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"to": "9", "revision": "2"}, "There is no such earlier state of this sheet"),
        ({"to": "²", "revision": "2"}, "There is no such earlier state of this sheet"),
        ({"to": "1", "revision": "1"}, "Somebody saved this sheet after the page was opened"),
        ({"action": "undo"}, "Somebody saved this sheet after the page was opened"),
        ({}, "There is no such earlier state of this sheet"),
    ],
)
def test_a_state_that_is_not_there_or_a_page_that_is_old_is_refused_with_a_sentence(
    signed_in: SignIn, made: Edition, designer: User, fields: dict[str, str], said: str
) -> None:
    save_place(made, "one", designer)

    answer = signed_in(designer).post(states_page(made), fields)

    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert place_of(made) == "one"


def test_an_earlier_number_that_another_edition_has_since_taken_is_refused(
    signed_in: SignIn, made: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    renamed = SheetDocument.model_validate({**little_top, "edition": "2.0"})
    saved = edition_save(edition=made, document=renamed, revision=1, by=designer)
    edition_create_next(edition=saved, label="1.0", by=designer)

    answer = signed_in(designer).post(states_page(made), {"action": "undo", "revision": "2"})

    assert answer.status_code == 422
    assert "has an edition 1.0 already" in answer.content.decode()


def test_who_saves_over_another_is_told_who_saved_what_meanwhile(
    signed_in: SignIn, made: Edition, designer: User, other_designer: User
) -> None:
    typed = {**fields_of(made), "numbers-0-place": "Typed by the second"}
    saved = save_place(made, "Saved by the first", designer)
    SheetState.objects.filter(revision=saved.revision).update(saved_by=other_designer)

    answer = signed_in(designer).post(page_of(made), typed)

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Saved by Other designer," in page
    assert [(c.place, c.was, c.now) for c in answer.context["meanwhile"].changes] == [
        ("Back, cast on, place in the text", "Back, step 1", "Saved by the first")
    ]
    assert place_of(made) == "Saved by the first"


# Whose it is


def test_a_person_reads_which_saves_were_theirs_and_leaves_the_sheet_when_they_go(
    made: Edition, designer: User, other_designer: User
) -> None:
    saved = save_place(made, "one", designer)
    SheetState.objects.filter(revision=saved.revision).update(saved_by=other_designer)

    (shelf,) = [shelf for shelf in held_of(other_designer) if shelf.key == "saves"]
    other_designer.delete()

    assert [(row["pattern"], row["edition"], row["how"]) for row in shelf.rows] == [
        ("Little top", "1.0", "typed")
    ]
    assert SheetState.objects.get(revision=2).saved_by is None
    assert SheetState.objects.get(revision=2).sheet["numbers"][0]["place"] == "one"


# What differs


def test_what_differs_is_said_in_the_readers_unit(little_top: dict[str, Any]) -> None:
    after = {**little_top, "measures": [{**little_top["measures"][0], "values": {"XS": 81.28, "S": 86}}]}

    changes = changes_between(little_top, after)

    assert [(change.place, *change.texts(Scale(units="in"), "knit")) for change in changes] == [
        ("Full bust, body measurement, XS", "29 7/8", "32"),
        ("Full bust, body measurement, M", "37 3/4", ""),
    ]


def test_nothing_differs_between_a_sheet_and_itself(little_top: dict[str, Any]) -> None:
    assert changes_between(little_top, little_top) == []


def test_an_entry_under_another_key_is_one_taken_out_and_one_added(little_top: dict[str, Any]) -> None:
    after = {**little_top, "constants": [{**little_top["constants"][0], "key": "bust_ease"}]}

    assert [(c.where, c.was, c.now) for c in changes_between(little_top, after)] == [
        ("Ease at bust", "removed", None),
        ("Ease at bust", None, "added"),
    ]
