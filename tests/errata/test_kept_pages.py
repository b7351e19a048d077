"""What is kept of a round's results is what stands in it now, said to each reader as they like it, and to nobody else."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from testround.errata.selectors import analyses, read_round
from testround.people.models import User
from testround.reports.models import Finished
from testround.rounds.models import Round

SignIn = Callable[[User], Client]
PAGES = ["results", "gauges", "amounts", "desk"]

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nothing_kept")]


def one_more(round_: Round) -> None:
    """A tester measures again and takes back what was sent before."""
    first = Finished.objects.filter(place__round=round_, dimension="chest").order_by("pk")[0]
    Finished.objects.filter(pk=first.pk).update(values=[first.values[0] + 11])


def chest(client: Client, round_: Round) -> str:
    page = client.get(reverse("errata:dimension", args=[round_.code, "chest"]))
    return page.content.decode().partition("<main")[2]


def test_what_is_sent_is_in_the_results_at_once(signed_in: SignIn, designer: User, tested: Round) -> None:
    client = signed_in(designer)
    before = chest(client, tested)

    one_more(tested)

    assert chest(client, tested) != before


def test_a_change_that_is_undone_brings_back_what_stood_before(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    client = signed_in(designer)
    before = chest(client, tested)
    title = tested.edition.pattern.title

    tested.edition.pattern.title = "Another name"
    tested.edition.pattern.save()
    renamed = client.get(reverse("errata:results", args=[tested.code])).content.decode()
    tested.edition.pattern.title = title
    tested.edition.pattern.save()

    assert "Another name, edition" in renamed
    assert chest(client, tested) == before


def test_what_changes_while_it_is_read_is_kept_under_no_name(
    tested: Round, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = analyses.kernel_round

    def reading_slowly(round_: Round) -> object:
        read = whole(round_)
        one_more(tested)
        return read

    monkeypatch.setattr(analyses, "kernel_round", reading_slowly)
    torn = read_round(tested)
    monkeypatch.setattr(analyses, "kernel_round", whole)
    after = read_round(tested)

    assert torn.digest == ""
    assert after.digest
    assert after.round != torn.round
    assert after.round == whole(tested)


def test_each_reader_has_the_page_in_their_own_unit(signed_in: SignIn, designer: User, tested: Round) -> None:
    client = signed_in(designer)
    in_centimetres = chest(client, tested)

    User.objects.filter(pk=designer.pk).update(units="in")
    in_inches = chest(client, tested)

    assert " cm" in in_centimetres
    assert " in" in in_inches
    assert "±1 cm" not in in_inches
    assert in_inches != in_centimetres


@pytest.mark.parametrize("page", PAGES)
def test_what_was_kept_for_a_designer_is_shown_to_nobody_else(
    signed_in: SignIn, designer: User, stranger: User, tested: Round, page: str
) -> None:
    address = reverse(f"errata:{page}", args=[tested.code])
    assert signed_in(designer).get(address).status_code == 200

    assert signed_in(stranger).get(address).status_code == 404


def test_an_analysis_is_taken_up_from_the_cache_by_a_process_that_has_just_begun(
    tested: Round, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = read_round(tested)
    analyses.recent.clear()
    monkeypatch.setattr(analyses, "analyse", lambda _: pytest.fail("worked out again"))

    after = read_round(tested)

    assert after is not before
    assert (after.round, after.document, after.digest) == (before.round, before.document, before.digest)
