from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.models import Edition, Pattern
from testround.patterns.selectors import editions_of, patterns_of
from testround.patterns.services import (
    PatternInUse,
    SheetChanged,
    SheetFrozen,
    SheetRefused,
    edition_create_next,
    edition_freeze,
    edition_save,
    next_label,
    pattern_create,
    pattern_delete,
)
from testround.people.models import User
from testround.rounds.models import Round


def sheet(document: dict[str, Any]) -> SheetDocument:
    return SheetDocument.model_validate(document)


def test_a_pattern_is_made_with_its_first_edition(designer: User, little_top: dict[str, Any]) -> None:
    edition = pattern_create(owner=designer, document=sheet(little_top))

    assert (edition.pattern.title, edition.label, edition.revision) == ("Little top", "1.0", 1)
    assert edition.sheet == little_top
    assert list(patterns_of(designer)) == [edition.pattern]


def test_nobody_reads_another_designers_patterns(edition: Edition, other_designer: User) -> None:
    assert list(patterns_of(other_designer)) == []
    assert list(editions_of(other_designer)) == []


def test_a_sheet_that_cannot_be_computed_is_not_stored(designer: User, little_top: dict[str, Any]) -> None:
    little_top["numbers"][0]["formula"] = "back_sts + 2"

    with pytest.raises(SheetRefused) as refusal:
        pattern_create(owner=designer, document=sheet(little_top))

    assert [str(problem) for problem in refusal.value.problems] == [
        "numbers[0].formula: “back_sts” is worked out from itself; use other names in its formula."
    ]
    assert not Pattern.objects.exists()


def test_saving_counts_the_revision_and_carries_title_and_label(
    edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["title"], little_top["edition"] = "Little vest", "1.1"

    edition_save(edition=edition, document=sheet(little_top), revision=1, by=designer)

    edition.refresh_from_db()
    assert (edition.revision, edition.label, edition.pattern.title) == (2, "1.1", "Little vest")
    assert edition.sheet == little_top


def test_the_second_of_two_people_saving_one_sheet_is_told(
    edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    first = {**little_top, "title": "First"}
    edition_save(edition=edition, document=sheet(first), revision=1, by=designer)

    with pytest.raises(SheetChanged, match="Nothing you typed is lost"):
        edition_save(edition=edition, document=sheet(little_top), revision=1, by=designer)

    edition.refresh_from_db()
    assert edition.sheet == first


def test_a_frozen_sheet_is_not_changed_and_the_next_edition_is_offered(
    edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    edition_freeze(edition=edition)

    with pytest.raises(SheetFrozen, match="Make the next edition"):
        edition_save(edition=edition, document=sheet(little_top), revision=2, by=designer)


def test_a_page_opened_before_the_freeze_cannot_save_after_it(
    edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    stale = Edition.objects.get(pk=edition.pk)
    edition_freeze(edition=edition)

    with pytest.raises(SheetFrozen):
        edition_save(edition=stale, document=sheet(little_top), revision=stale.revision, by=designer)


def test_freezing_twice_keeps_the_first_moment(edition: Edition) -> None:
    edition_freeze(edition=edition)
    first = Edition.objects.get(pk=edition.pk).frozen_at

    edition_freeze(edition=edition)

    assert Edition.objects.get(pk=edition.pk).frozen_at == first


def test_only_the_designer_saves(edition: Edition, other_designer: User, little_top: dict[str, Any]) -> None:
    with pytest.raises(PermissionDenied):
        edition_save(edition=edition, document=sheet(little_top), revision=1, by=other_designer)


def test_the_next_edition_has_the_same_sheet_under_its_own_label_and_is_not_frozen(
    edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    edition_freeze(edition=edition)

    following = edition_create_next(edition=edition, label="1.1", by=designer)

    assert following.sheet == {**little_top, "edition": "1.1"}
    assert (following.pattern, following.is_frozen, following.revision) == (edition.pattern, False, 1)


def test_the_next_edition_can_carry_a_correction(
    edition: Edition, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["numbers"][1]["formula"] = "multiple(30 * body.row, of=2)"

    following = edition_create_next(edition=edition, label="1.1", document=sheet(little_top), by=designer)

    assert following.sheet == {**little_top, "edition": "1.1"}


def test_two_editions_cannot_have_one_label(edition: Edition, designer: User) -> None:
    with pytest.raises(SheetRefused, match=r"has an edition 1\.0 already"):
        edition_create_next(edition=edition, label="1.0", by=designer)


def test_a_pattern_without_rounds_can_be_deleted(edition: Edition, designer: User) -> None:
    pattern_delete(pattern=edition.pattern, by=designer)

    assert not Pattern.objects.exists()


def test_a_pattern_with_a_round_is_kept(a_round: Round, designer: User) -> None:
    with pytest.raises(PatternInUse, match="has rounds"):
        pattern_delete(pattern=a_round.edition.pattern, by=designer)

    assert Pattern.objects.count() == 1


@pytest.mark.parametrize(
    ("label", "following"),
    [("1.0", "1.1"), ("0.9", "0.10"), ("09", "10"), ("first", "first 2"), ("2b", "3b")],
)
def test_the_label_offered_for_the_next_edition_counts_up(label: str, following: str) -> None:
    assert next_label(label) == following
