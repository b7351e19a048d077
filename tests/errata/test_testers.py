"""Testers in the middle of it hear of an erratum that touches their size."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.errata.models import Erratum
from testround.errata.services import erratum_publish, finding_accept
from testround.errata.testers import errata_for, erratum_tell, places_told_of
from testround.errata.wording import means
from testround.outbox.models import Mail, Stopped
from testround.people.models import User
from testround.reports.models import Count
from testround.reports.models_phone import StepTick
from testround.rounds.models import Place, Round

MISPRINT = "printed-count:back_sts"


@pytest.fixture
def places(tested: Round, tester: User, stranger: User) -> dict[str, Place]:
    """The tester makes size M, a stranger size XS; nobody has sent a count yet."""
    held = {}
    for size, person in (("M", tester), ("XS", stranger)):
        place = tested.places.filter(size=size).order_by("pk")[0]
        place.tester, place.state = person, Place.State.MAKING
        place.save(update_fields=["tester", "state"])
        held[size] = place
    return held


def published(tested: Round, designer: User) -> Erratum:
    """Size M's cast-on was misprinted: 118, and 114 is right."""
    return erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer
    )


def news_of(place: Place) -> list[str]:
    return [one.text for one in errata_for(Place.objects.select_related("round", "tester").get(pk=place.pk))]


def not_sent(place: Place) -> None:
    Count.objects.filter(place=place).delete()


def test_who_is_not_there_yet_hears_what_to_work_instead(
    tested: Round, places: dict[str, Place], designer: User
) -> None:
    not_sent(places["M"])

    published(tested, designer)

    assert news_of(places["M"]) == [
        "Back, step 1, Back, cast on: work 114 stitches instead of 118. As far as you have told, you are not there "
        "yet; if you are, it stays as you made it."
    ]


def test_who_has_sent_the_count_hears_that_it_stays(
    tested: Round, places: dict[str, Place], designer: User
) -> None:
    Count.objects.filter(place=places["M"], number="back_sts").update(worked=118)

    published(tested, designer)

    assert news_of(places["M"]) == [
        "Back, step 1, Back, cast on: 114 stitches instead of 118. You have sent your count for this step: 118. It "
        "stays as you made it."
    ]


def test_who_has_worked_what_it_should_be_hears_that_nothing_changes(
    tested: Round, places: dict[str, Place], designer: User
) -> None:
    published(tested, designer)

    assert news_of(places["M"]) == [
        "Back, step 1, Back, cast on: you sent 114 stitches, which is what it should be. Nothing to change."
    ]


def test_who_has_ticked_the_step_off_hears_that_it_stays(
    tested: Round, places: dict[str, Place], designer: User
) -> None:
    not_sent(places["M"])
    StepTick.objects.create(place=places["M"], number="back_sts", done=True, at=timezone.now())

    published(tested, designer)

    assert news_of(places["M"]) == [
        "Back, step 1, Back, cast on: 114 stitches instead of 118. You have ticked this step off, so it stays as you "
        "made it."
    ]


def test_nobody_hears_of_a_size_that_is_not_theirs(
    tested: Round, places: dict[str, Place], designer: User, stranger: User
) -> None:
    erratum = published(tested, designer)

    assert news_of(places["XS"]) == []
    assert places_told_of(erratum) == [places["M"]]
    assert not Mail.objects.filter(person=stranger).exists()


def test_publishing_mails_each_tester_once_in_a_mail_they_can_switch_off(
    tested: Round, places: dict[str, Place], designer: User, tester: User
) -> None:
    erratum = published(tested, designer)
    erratum_tell(erratum=erratum)
    erratum_tell(erratum=erratum)

    mail = Mail.objects.get(person=tester)
    assert mail.subject == "Erratum 1 for Little top: what it means to you"
    assert (mail.kind, mail.about) == (Mail.Kind.NOTES, tested.code)

    Mail.objects.all().delete()
    Stopped.objects.create(person=tester, kind=Mail.Kind.NOTES)
    erratum_tell(erratum=erratum)
    assert not Mail.objects.filter(person=tester).exists()


@pytest.mark.parametrize("state", [Place.State.OFFERED, Place.State.DONE, Place.State.GIVEN_BACK])
def test_who_is_not_in_the_middle_of_it_gets_no_mail(
    state: str, tested: Round, places: dict[str, Place], designer: User
) -> None:
    Place.objects.filter(pk=places["M"].pk).update(state=state)

    assert places_told_of(published(tested, designer)) == []


def test_it_is_said_in_the_testers_units() -> None:
    chest = {"subject": "chest", "label": "Chest", "place": "Finished measurements", "unit": "cm"}
    change = {**chest, "was": {"M": 94.0}, "now": {"M": 98.0}}

    assert means([change], "M", sent={}, ticked=(), units="in") == (
        "Finished measurements, Chest: 38 5/8 in instead of 37 in.",
    )
    assert means([change], "M", sent={}, ticked=(), measured={"chest"}) == (
        "Finished measurements, Chest: 98 cm is meant, not 94 cm. What you measured stays as you sent it.",
    )
    assert means([change], "S", sent={}, ticked=()) == ()


def test_a_new_gauge_is_everybodys_and_own_numbers_stay() -> None:
    gauge = {"subject": "body.row", "label": "Stockinette", "place": "Gauge", "unit": "row/10 cm"}
    change = {**gauge, "was": {"rows": 30}, "now": {"rows": 28.5}}

    assert means([change], "", sent={}, ticked=()) == (
        "Stockinette: the gauge is 28 1/2 rows in 10 cm instead of 30. Your own numbers are worked from your own swatch "
        "and stay.",
    )


def test_the_testers_own_page_shows_it_as_new_at_a_cost_that_does_not_grow(
    tested: Round,
    places: dict[str, Place],
    designer: User,
    tester: User,
    client: Client,
    django_assert_num_queries: Any,
) -> None:
    published(tested, designer)
    client.force_login(tester)
    address = reverse("reports:place", args=[places["M"].pk])

    page = client.get(address).content.decode()
    assert "Erratum 1" in page
    assert "which is what it should be" in page

    place = Place.objects.select_related("round", "tester").get(pk=places["M"].pk)
    with django_assert_num_queries(5):  # errata, counts, ticks, measurements, when they looked
        list(errata_for(place))
    for _nth in range(3):
        other = Erratum.objects.create(
            pattern=tested.edition.pattern, edition=tested.edition, round=tested, place="Back", text="Words."
        )
        erratum_publish(erratum=other, by=designer)
    with django_assert_num_queries(5):
        list(errata_for(place))
