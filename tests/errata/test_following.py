"""What a correction brings with it, before anything is published."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.errata.models import Erratum
from testround.errata.selectors import desk_of
from testround.errata.services import (
    edition_correct,
    erratum_complete,
    erratum_publish,
    finding_accept,
)
from testround.kernel.deskcheck import desk_check
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from tests.errata.conftest import round_document

MISPRINT = "printed-count:back_sts"
TOO_LONG = "finished-size:body_length"


@pytest.fixture
def tested(designer: User, little_top: dict[str, Any]) -> Round:
    """Nine testers of a top that prints its measurements, and a front whose cast-on follows the back's."""
    little_top["numbers"].append(
        {
            "key": "front_sts",
            "label": "Front, cast on",
            "place": "Front, step 1",
            "unit": "st",
            "formula": "back_sts",
            "printed": {"XS": 92, "S": 104, "M": 114},
        }
    )
    little_top["dimensions"][0]["printed"] = {"XS": 83.5, "S": 94.5, "M": 103.5}
    little_top["dimensions"][1]["printed"] = {"XS": 32, "S": 32, "M": 32}
    document = round_document(little_top, 9)
    return round_import(data=json.dumps(document).encode(), owner=designer)


def by_hand(tested: Round, **now: float) -> Erratum:
    """A draft that gives the back another cast-on."""
    return Erratum.objects.create(
        pattern=tested.edition.pattern,
        edition=tested.edition,
        round=tested,
        place="Back, step 1",
        text="Cast on otherwise.",
        sizes=list(now),
        changes=[
            {
                "subject": "back_sts",
                "label": "Back, cast on",
                "place": "Back, step 1",
                "unit": "st",
                "was": {"S": 104},
                "now": now,
                "finding": "",
            }
        ],
    )


def sentences(refused: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [problem.sentence for problem in refused.value.problems]


def test_an_erratum_that_leaves_printed_values_behind_is_not_published(tested: Round, designer: User) -> None:
    draft = by_hand(tested, S=108)

    with pytest.raises(Refused) as refused:
        erratum_publish(erratum=draft, by=designer)

    assert sentences(refused) == [
        "Front, cast on, size S: 104 is printed and no longer follows from what is corrected, which gives 108; "
        "correct it in this erratum as well.",
        "Chest circumference, size S: 94.5 cm is printed and no longer follows from the corrected counts, which "
        "give 98 cm; correct it in this erratum as well.",
    ]
    assert not Erratum.objects.published().exists()


def test_one_press_adds_what_has_to_change_with_it_and_then_it_is_published(
    tested: Round, designer: User
) -> None:
    draft = erratum_complete(erratum=by_hand(tested, S=108), by=designer)

    assert [(change["subject"], change["was"], change["now"]) for change in draft.changes] == [
        ("back_sts", {"S": 104}, {"S": 108}),
        ("front_sts", {"S": 104}, {"S": 108}),
        ("chest", {"S": 94.5}, {"S": 98}),
    ]
    assert erratum_publish(erratum=draft, by=designer).number == 1
    with pytest.raises(Refused):
        erratum_complete(erratum=draft, by=designer)


def test_a_count_that_breaks_its_multiple_is_not_published(tested: Round, designer: User) -> None:
    with pytest.raises(Refused) as refused:
        erratum_publish(erratum=by_hand(tested, S=107), by=designer)

    assert sentences(refused) == [
        "Back, cast on, size S: 107 is not a multiple of 2, which the pattern's formula keeps; the nearest are 106 "
        "and 108."
    ]


def test_counts_changed_for_a_measurement_leave_it_as_it_is_printed(tested: Round, designer: User) -> None:
    draft = finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)

    assert [(change["subject"], change.get("keeps")) for change in draft.changes] == [
        ("body_rows", ["body_length"])
    ]
    assert erratum_publish(erratum=draft, by=designer).number == 1


def test_the_next_edition_computes_as_it_prints(tested: Round, designer: User) -> None:
    for finding in (MISPRINT, TOO_LONG):
        erratum_publish(erratum=finding_accept(round=tested, finding_ids=[finding], by=designer), by=designer)

    edition = edition_correct(round=tested, label="1.1", by=designer)

    assert desk_check(edition.compiled).clean
    assert edition.document.dimensions[1].printed == {"XS": 32, "S": 32, "M": 32}
    rows = edition.document.numbers[1].printed["S"]
    assert edition.document.numbers[1].formula == f"multiple(32 * body.row - {96 - rows:g}, of=2)"


def test_the_draft_and_its_preview_say_what_follows_and_offer_to_add_it(
    tested: Round, client: Client, designer: User
) -> None:
    draft = by_hand(tested, S=108)
    client.force_login(designer)

    preview = client.get(reverse("errata:preview", args=[tested.code, draft.pk])).content.decode()

    for said in (
        "What follows from it",
        "This has to change with it",
        "Stitches of the whole piece",
        "9984",
        "10368",
    ):
        assert said in preview
    assert reverse("errata:publish", args=[tested.code, draft.pk]) not in preview

    response = client.post(reverse("errata:complete", args=[tested.code, draft.pk]), follow=True)
    assert "Added. Look over the numbers" in response.content.decode()
    preview = client.get(reverse("errata:preview", args=[tested.code, draft.pk])).content.decode()
    assert "everything printed follows from them" in preview
    assert reverse("errata:publish", args=[tested.code, draft.pk]) in preview


def test_drafts_that_do_not_stand_together_say_so(tested: Round, client: Client, designer: User) -> None:
    draft = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    by_hand(tested, S=108)
    client.force_login(designer)

    page = client.get(reverse("errata:draft", args=[tested.code, draft.pk])).content.decode()

    assert "Together with the other drafts:" in page
    assert "Front, cast on, size S: 104 is printed and no longer follows" in page


@pytest.mark.parametrize("drafts", [1, 4])
def test_a_preview_costs_the_same_whatever_else_is_drafted_and_published(
    drafts: int, tested: Round, client: Client, designer: User, django_assert_num_queries: Any
) -> None:
    draft = finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    for nth in range(drafts):
        other = by_hand(tested, S=108)
        if nth == 1:
            erratum_publish(erratum=erratum_complete(erratum=other, by=designer), by=designer)
    desk_of(tested)
    client.force_login(designer)
    address = reverse("errata:preview", args=[tested.code, draft.pk])
    client.get(address)

    with django_assert_num_queries(7):  # the last one is who will hear of it
        client.get(address)
