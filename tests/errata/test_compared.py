"""An old edition against a new one: every number that changed, as tables and as errata."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from testround.errata.models import Erratum
from testround.errata.selectors import amendments_of, changes_between_sheets, compared_editions, stands_in
from testround.errata.services import drafts_from_editions, edition_correct, erratum_publish, finding_accept
from testround.kernel.amended import Amendment, amended
from testround.kernel.consequences import completed
from testround.kernel.round import Pattern as SheetDocument
from testround.patterns.fields import Scale
from testround.patterns.models import Edition
from testround.patterns.services import edition_create_next
from testround.people.models import User
from testround.rounds.models import Round
from testround.rounds.refusals import Refused
from tests.generated_editions import corrections, editions

MISPRINT = "printed-count:back_sts"


def next_edition(tested: Round, designer: User, **printed: dict[str, float]) -> Edition:
    """Edition 1.1, which prints these numbers otherwise."""
    document = tested.edition.document
    numbers = tuple(
        number.model_copy(update={"printed": {**(number.printed or {}), **printed.get(number.key, {})}})
        for number in document.numbers
    )
    return edition_create_next(
        edition=tested.edition,
        label="1.1",
        document=document.model_copy(update={"numbers": numbers}),
        by=designer,
    )


def test_every_number_that_changed_stands_beside_what_it_was(tested: Round, designer: User) -> None:
    new = next_edition(tested, designer, back_sts={"M": 114}, body_rows={"XS": 98, "S": 98})

    compared = compared_editions(tested.edition, new, Scale())

    assert [(change["subject"], change["was"], change["now"]) for change in compared.changes] == [
        ("back_sts", {"M": 118}, {"M": 114}),
        ("body_rows", {"XS": 96, "S": 96}, {"XS": 98, "S": 98}),
    ]
    # Neither follows from the other, so each is an erratum of its own.
    assert [len(group) for group in compared.groups] == [1, 1]
    assert compared.rest == ()


def test_drafts_are_made_of_what_no_erratum_has_yet(tested: Round, designer: User) -> None:
    erratum_publish(erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer)
    new = next_edition(tested, designer, back_sts={"M": 114}, body_rows={"XS": 98, "S": 98})

    (draft,) = drafts_from_editions(compared=compared_editions(tested.edition, new, Scale()), by=designer)

    assert (draft.edition, draft.round, draft.sizes) == (tested.edition, tested, ["XS", "S"])
    assert draft.text == "Rows to underarm: 98 rows in sizes XS and S, not 96."
    assert draft.why == "Edition 1.1 has it so."
    with pytest.raises(Refused) as refused:
        drafts_from_editions(compared=compared_editions(tested.edition, new, Scale()), by=designer)
    assert [problem.sentence for problem in refused.value.problems] == [
        "Every number that changed is in an erratum or a draft already."
    ]


def test_an_edition_made_of_its_errata_leaves_nothing_to_draft(tested: Round, designer: User) -> None:
    for finding in (MISPRINT, "finished-size:body_length"):
        erratum_publish(erratum=finding_accept(round=tested, finding_ids=[finding], by=designer), by=designer)
    new = edition_correct(round=tested, label="1.1", by=designer)

    compared = compared_editions(tested.edition, new, Scale())

    assert [change["subject"] for change in compared.changes] == ["back_sts", "body_rows"]
    assert compared.groups == ()
    # Its mended formulas are told beside its numbers.
    assert [change.place for change in compared.rest] == [
        "Rows to underarm, formula",
        "Hem to underarm, formula",
    ]


def test_however_the_next_edition_is_made_it_begins_with_what_is_published(
    client: Client, tested: Round, designer: User
) -> None:
    erratum_publish(erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer)
    finding_accept(round=tested, finding_ids=["finished-size:body_length"], by=designer)
    client.force_login(designer)
    pattern = tested.edition.pattern

    client.post(reverse("patterns:next_edition", args=[pattern.code, tested.edition.pk]), {"label": "1.1"})

    new = pattern.editions.get(label="1.1")
    printed = {number.key: number.printed for number in new.document.numbers}
    stood = {number.key: number.printed for number in tested.edition.document.numbers}
    assert printed["back_sts"] == {**stood["back_sts"], "M": 114}
    # A draft has told nobody anything.
    assert printed["body_rows"] == stood["body_rows"]


def test_what_the_newer_edition_prints_as_it_was_is_said_where_it_would_follow_from_what_changed(
    little_top: dict[str, Any],
) -> None:
    front = {
        "key": "front_sts",
        "label": "Front, cast on",
        "place": "Front, step 1",
        "unit": "st",
        "formula": "back_sts",
    }
    first = SheetDocument.model_validate({**little_top, "numbers": [*little_top["numbers"], front]})
    second = amended(
        first, [Amendment("back_sts", "st", {"S": 108}), Amendment("front_sts", "st", {"S": 104})]
    )

    changes = changes_between_sheets(first, second)

    assert [(change["subject"], change["was"], change["now"]) for change in changes] == [
        ("back_sts", {"S": 104}, {"S": 108}),
        # Nobody reads it in the first, where it is worked out.
        ("front_sts", {}, {"S": 104}),
    ]
    assert stands_in(amended(first, amendments_of(changes)))["front_sts"]["S"] == 104


def test_a_gauge_yarn_and_measurements_are_numbers_too(little_top: dict[str, Any]) -> None:
    before = SheetDocument.model_validate(little_top)
    after = before.model_copy(
        update={
            "gauges": (before.gauges[0].model_copy(update={"rows": 28.5}),),
            "yarn": {"M": 900.0},
            "dimensions": (
                before.dimensions[0].model_copy(update={"printed": {"S": 94.5}}),
                before.dimensions[1],
            ),
        }
    )

    changes = changes_between_sheets(before, after)

    assert [(change["subject"], change["unit"], change["now"]) for change in changes] == [
        ("body.row", "row/10 cm", {"rows": 28.5}),
        ("chest", "cm", {"S": 94.5}),
        ("yarn", "m", {"M": 900.0}),
    ]


def test_the_page_shows_the_two_newest_and_drafts_at_a_press(
    tested: Round, designer: User, client: Client
) -> None:
    new = next_edition(tested, designer, back_sts={"M": 114})
    client.force_login(designer)
    address = reverse("errata:compare", args=[tested.edition.pattern.code])

    page = client.get(address).content.decode()
    assert "1 number differs between edition 1.0 and edition 1.1." in page
    pressed = client.post(address, {"old": tested.edition.pk, "new": new.pk}, follow=True)

    assert pressed.redirect_chain == [(reverse("errata:desk", args=[tested.code]), 302)]
    assert Erratum.objects.get().changes[0]["now"] == {"M": 114}
    assert client.post(address, {"old": tested.edition.pk, "new": new.pk}).status_code == 422
    assert client.get(address, {"old": new.pk, "new": new.pk}).status_code == 200
    assert client.get(address, {"old": "999999"}).status_code == 404
    assert address in client.get(tested.edition.pattern.get_absolute_url()).content.decode()


def test_of_one_edition_the_page_says_how_there_comes_to_be_another(
    tested: Round, edition: Edition, designer: User, client: Client
) -> None:
    client.force_login(designer)

    def page_of(edition: Edition) -> str:
        address = reverse("errata:compare", args=[edition.pattern.code])
        return " ".join(client.get(address).content.decode().split())

    page = page_of(tested.edition)
    assert "Nothing so far: edition 1.0 is the only one." in page
    assert "Edition 1.0 stays as it was tested, and takes no new values." in page
    assert reverse("patterns:next_edition", args=[tested.edition.pattern.code, tested.edition_id]) in page

    Edition.objects.filter(pk=tested.edition_id).update(frozen_at=None)
    page = page_of(tested.edition)
    assert "No round has opened on edition 1.0 yet" in page
    assert "Make the next edition" not in page


def test_drafts_need_a_desk_to_stand_on(edition: Edition, designer: User) -> None:
    new = edition_create_next(edition=edition, label="1.1", by=designer)
    compared = compared_editions(edition, new, Scale())

    with pytest.raises(Refused) as refused:
        drafts_from_editions(compared=compared, by=designer)

    assert [problem.sentence for problem in refused.value.problems] == [
        "No round was made on edition 1.0, so there is no desk that drafts could stand on."
    ]


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_an_edition_plus_the_errata_between_prints_what_the_next_one_prints(data: st.DataObject) -> None:
    first = data.draw(editions())
    second = amended(first, completed(first, data.draw(corrections(first))))

    between = amended(first, amendments_of(changes_between_sheets(first, second)))

    # What the second prints a maker of the first finds as well, printed or, where it is the same, worked out.
    stands, stood = stands_in(between), stands_in(second)
    for number in second.numbers:
        for size in number.printed or {}:
            assert stands[number.key][size] == stood[number.key][size]
    assert [entry.printed for entry in between.dimensions] == [entry.printed for entry in second.dimensions]
