"""A published erratum stays as it is, whatever tries to change it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.errata.forms import DraftForm
from testround.errata.models import Erratum, PublishedForGood
from testround.errata.services import (
    Wording,
    errata_merge,
    erratum_publish,
    erratum_reword,
    finding_accept,
)
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.rounds.models import Round
from testround.rounds.refusals import Refused

MISPRINT = "printed-count:back_sts"
TOO_LONG = "finished-size:body_length"
CHANGED = "a published erratum is never changed"
REMOVED = "a published erratum is never removed"
CORRECTS = "an erratum puts right a published one of its own pattern"


@pytest.fixture
def published(tested: Round, designer: User) -> Erratum:
    return erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer
    )


@pytest.fixture
def draft(published: Erratum, tested: Round, designer: User) -> Erratum:
    return finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)


def row_of(erratum: Erratum) -> dict[str, Any]:
    return Erratum.objects.filter(pk=erratum.pk).values().get()


def wording(erratum: Erratum, **instead: Any) -> Wording:
    return Wording(
        **{"place": erratum.place, "text": erratum.text, "why": "", "sizes": [], "now": {}, **instead}
    )


# One that puts another right


def test_a_draft_says_which_published_erratum_it_puts_right(
    published: Erratum, draft: Erratum, designer: User
) -> None:
    data = {"place": "Back, step 1", "text": "Cast on 112.", "sizes": ["XS", "S", "M"], "corrects": "1"}
    form = DraftForm(data, erratum=draft, units="cm")
    assert form.is_valid(), form.errors

    erratum_reword(erratum=draft, wording=form.wording(), by=designer)
    later = erratum_publish(erratum=draft, by=designer)

    assert later.corrects == published
    assert list(published.corrected_by.all()) == [later]
    assert form.fields["corrects"].choices == [("", "None"), (1, "Erratum 1: Back, step 1")]


def test_a_pattern_without_published_errata_has_none_to_put_right(tested: Round, designer: User) -> None:
    first = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    assert "corrects" not in DraftForm(erratum=first, units="cm").fields


def test_what_is_not_published_of_the_pattern_cannot_be_put_right(
    published: Erratum, draft: Erratum, round_of: Callable[..., Round], designer: User
) -> None:
    other = round_of(9, title="Other top")
    of_other = finding_accept(round=other, finding_ids=[MISPRINT], by=designer)

    with pytest.raises(Refused) as unknown:
        erratum_reword(erratum=draft, wording=wording(draft, corrects=2), by=designer)
    for wrong in (of_other, draft):
        with pytest.raises(IntegrityError), transaction.atomic():
            Erratum.objects.filter(pk=draft.pk).update(corrects=wrong)
    with pytest.raises(IntegrityError, match=CORRECTS), transaction.atomic():
        Erratum.objects.filter(pk=of_other.pk).update(corrects=published)
    with pytest.raises(IntegrityError, match=CORRECTS), transaction.atomic():
        Erratum.objects.create(pattern=other.edition.pattern, edition=other.edition, corrects=published)

    assert [problem.sentence for problem in unknown.value.problems] == [
        "This pattern has no erratum 2 that is published; choose one that readers can see."
    ]
    assert row_of(draft)["corrects_id"] is None


def test_drafts_made_into_one_put_right_what_one_of_them_does(
    published: Erratum, draft: Erratum, tested: Round, designer: User
) -> None:
    other = Erratum.objects.create(
        pattern=published.pattern, edition=published.edition, round=tested, place="Back", corrects=published
    )

    merged = errata_merge(round=tested, draft_ids=[draft.pk, other.pk], by=designer)

    assert (merged.pk, row_of(merged)["corrects_id"]) == (draft.pk, published.pk)


def test_drafts_that_put_right_different_errata_stay_apart(
    published: Erratum, draft: Erratum, tested: Round, designer: User
) -> None:
    second = erratum_publish(erratum=draft, by=designer)
    of_each = [
        Erratum.objects.create(
            pattern=each.pattern, edition=each.edition, round=tested, place="Back", corrects=each
        ).pk
        for each in (published, second)
    ]

    with pytest.raises(Refused) as refused:
        errata_merge(round=tested, draft_ids=of_each, by=designer)

    assert [problem.sentence for problem in refused.value.problems] == [
        "These drafts put right different errata (1, 2), and one erratum says of one other that it does: leave "
        "them apart."
    ]
    assert Erratum.objects.drafts().count() == 2


# Whatever tries


RAW = {
    "text": ("UPDATE errata_erratum SET text = 'Other.' WHERE id = {id}", CHANGED),
    "id": ("UPDATE errata_erratum SET id = 4711 WHERE id = {id}", CHANGED),
    "day": ("UPDATE errata_erratum SET published_at = NULL, number = NULL WHERE id = {id}", CHANGED),
    "created": ("UPDATE errata_erratum SET created = published_at WHERE id = {id}", CHANGED),
    "corrects": ("UPDATE errata_erratum SET corrects_id = {draft} WHERE id = {id}", f"{CHANGED}|{CORRECTS}"),
    "another account": ("UPDATE errata_erratum SET published_by_id = {stranger} WHERE id = {id}", CHANGED),
    "another round": ("UPDATE errata_erratum SET round_id = {round} WHERE id = {id}", CHANGED),
    "remove": ("DELETE FROM errata_erratum WHERE id = {id}", REMOVED),
    "remove all": ("DELETE FROM errata_erratum", REMOVED),
}
ONE_DATABASE = {
    "sqlite": {
        "replace": ("REPLACE INTO errata_erratum SELECT * FROM errata_erratum WHERE id = {id}", CHANGED),
    },
    "postgresql": {"truncate": ("TRUNCATE errata_erratum CASCADE", REMOVED)},
}


def refused_by_the_database(statement: str, match: str, **named: Any) -> None:
    with (
        pytest.raises(IntegrityError, match=match),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement.format(**named))


@pytest.mark.parametrize(("statement", "match"), RAW.values(), ids=RAW)
def test_no_statement_changes_or_removes_what_is_published(
    statement: str,
    match: str,
    published: Erratum,
    draft: Erratum,
    round_of: Callable[..., Round],
    stranger: User,
) -> None:
    other = round_of(1, title="Other top")
    before = row_of(published)

    refused_by_the_database(
        statement, match, id=published.pk, draft=draft.pk, round=other.pk, stranger=stranger.pk
    )

    assert row_of(published) == before


def test_no_statement_of_one_database_alone_does_either(published: Erratum) -> None:
    before = row_of(published)

    # What is checked at the end of a transaction is checked now, so that nothing else stands in the way.
    connection.check_constraints()
    for statement, match in ONE_DATABASE[connection.vendor].values():
        refused_by_the_database(statement, match, id=published.pk)

    assert row_of(published) == before


def _bulk_update(published: Erratum) -> None:
    published.text = "Other."
    Erratum.objects.bulk_update([published], ["text"])


def _bulk_create(published: Erratum) -> None:
    published.text = "Other."
    Erratum.objects.bulk_create(
        [published], update_conflicts=True, unique_fields=["id"], update_fields=["text"]
    )


def _save(published: Erratum, **kwargs: Any) -> None:
    published.text = "Other."
    published.save(**kwargs)


TRIES: dict[str, Callable[[Erratum], Any]] = {
    "save": _save,
    "save of one field": lambda published: _save(published, update_fields=["text"]),
    "forced insert": lambda published: _save(published, force_insert=True),
    "bulk_update": _bulk_update,
    "bulk_create": _bulk_create,
    "update": lambda published: Erratum.objects.filter(pk=published.pk).update(text="Other."),
    "update through the pattern": lambda published: published.pattern.errata.update(text="Other."),
    "update_or_create": lambda published: Erratum.objects.update_or_create(
        {"text": "Other."}, pk=published.pk
    ),
    "delete": lambda published: published.delete(),
    "delete of all": lambda published: Erratum.objects.all().delete(),
    "raw delete": lambda published: Erratum.objects.all()._raw_delete("default"),
    "its pattern": lambda published: published.pattern.delete(),
    "its patterns": lambda published: Pattern.objects.all().delete(),
    "its edition": lambda published: published.edition.delete(),
    "its editions": lambda published: Edition.objects.all().delete(),
}


@pytest.mark.parametrize("attempt", TRIES.values(), ids=TRIES)
def test_no_way_through_the_program_changes_or_removes_it(
    attempt: Callable[[Erratum], Any], published: Erratum
) -> None:
    before = row_of(published)

    with pytest.raises((PublishedForGood, IntegrityError, ProtectedError)), transaction.atomic():
        attempt(Erratum.objects.get(pk=published.pk))

    assert row_of(published) == before


def test_what_it_says_outlives_its_round_and_its_people(
    published: Erratum, tested: Round, designer: User, stranger: User
) -> None:
    Pattern.objects.filter(pk=published.pattern_id).update(owner=stranger)
    before = row_of(published)

    tested.delete()
    designer.delete()

    assert row_of(published) == {**before, "round_id": None, "published_by_id": None}


@pytest.mark.django_db(transaction=True)
def test_the_command_that_empties_a_database_leaves_one_that_holds_published_errata(
    designer: User, a_round: Round
) -> None:
    # Made as it is without the tests' own way of emptying the database between them.
    flush = connection.ops.sql_flush
    draft = Erratum.objects.create(
        pattern=a_round.edition.pattern,
        edition=a_round.edition,
        number=1,
        published_at=timezone.now(),
        place="Back",
    )
    connection.ops.sql_flush = lambda *args, **kwargs: flush(*args, **kwargs)[1:-1]
    try:
        with pytest.raises(Exception, match="couldn't be flushed"):
            call_command("flush", verbosity=0, interactive=False)
    finally:
        del connection.ops.sql_flush

    assert Erratum.objects.get().pk == draft.pk


def test_no_page_changes_it(published: Erratum, tested: Round, designer: User, client: Client) -> None:
    before = row_of(published)
    client.force_login(designer)
    code, pk = tested.code, published.pk
    form = {
        "place": "Other.",
        "text": "Other.",
        "sizes": ["XS", "S", "M"],
        "draft": [pk, pk],
        "finding": MISPRINT,
    }
    pages = [
        reverse(f"errata:{name}", args=[code, pk])
        for name in ("draft", "preview", "publish", "complete", "discard")
    ]
    pages += [
        reverse(f"errata:{name}", args=[code])
        for name in ("accept", "decline", "wait", "undo", "merge", "from_remarks", "undo_remark")
    ]
    pages += [published.get_absolute_url(), reverse("errata:list", args=[published.pattern.code])]

    for address in pages:
        for method in ("post", "put", "patch", "delete"):
            answer = getattr(client, method)(address, form if method == "post" else "")

            assert answer.status_code < 500
            assert row_of(published) == before, (method, address)


def test_the_sheet_it_corrects_is_kept_as_readers_have_it(
    published: Erratum, tested: Round, designer: User
) -> None:
    assert Edition.objects.get(pk=published.edition_id).is_frozen
