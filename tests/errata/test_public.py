"""Errata as anyone reads them, with no account."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.errata.models import Erratum
from testround.errata.services import (
    Wording,
    erratum_from_remarks,
    erratum_publish,
    erratum_reword,
    finding_accept,
)
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Round

MISPRINT = "printed-count:back_sts"
TOO_LONG = "finished-size:body_length"


def address(page: str, round_: Round, *args: int) -> str:
    return reverse(f"errata:{page}", args=[round_.edition.pattern.code, *args])


@pytest.fixture
def misprint(tested: Round, designer: User) -> Erratum:
    return erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=[MISPRINT], by=designer), by=designer
    )


@pytest.fixture
def too_long(tested: Round, misprint: Erratum, designer: User) -> Erratum:
    return erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer), by=designer
    )


def shown_numbers(response) -> list[int]:
    return [shown.erratum.number for shown in response.context["errata"]]


def test_a_reader_sees_only_what_matters_to_their_size(
    client: Client, tested: Round, misprint: Erratum, too_long: Erratum
) -> None:
    everything = client.get(address("list", tested))
    mine = client.get(address("list", tested), {"edition": tested.edition.pk, "size": "M"})
    smaller = client.get(address("list", tested), {"edition": tested.edition.pk, "size": "XS"})

    assert [shown_numbers(everything), shown_numbers(mine), shown_numbers(smaller)] == [[1, 2], [1, 2], [2]]
    assert "Yes: 1 correction" in smaller.content.decode()
    (table,) = smaller.context["errata"][0].tables
    assert table.caption == "Size XS"


def test_the_line_under_an_erratum_says_that_a_size_is_a_size(
    client: Client, tested: Round, misprint: Erratum
) -> None:
    page = client.get(address("list", tested)).content.decode()

    assert "Edition 1.0, only size M, <time" in page
    assert "1 correction in all, for size M only." in page


def test_a_copy_of_which_one_size_is_affected_is_not_called_affected_as_a_whole(
    client: Client, tested: Round, misprint: Erratum
) -> None:
    def answer(**asked: Any) -> str:
        page = client.get(address("list", tested), {"edition": tested.edition.pk, **asked}).content.decode()
        return page.partition('class="answer">')[2].partition("</p>")[0]

    assert answer() == (
        "<strong>In size M only: 1 correction</strong> for edition 1.0. Nothing changes in other sizes."
    )
    assert answer(size="M") == "<strong>Yes: 1 correction</strong> for edition 1.0, size M."


def test_sizes_stand_in_wearing_order_however_the_database_keeps_them(
    client: Client, tested: Round, misprint: Erratum, too_long: Erratum
) -> None:
    second = client.get(address("list", tested)).context["errata"][1]

    assert [row.size for row in second.tables[0].rows] == ["XS", "S", "M"]
    assert list(second.changes[0]["now"]) == ["XS", "S", "M"]


def test_a_copy_that_is_not_affected_is_told_so(client: Client, tested: Round, misprint: Erratum) -> None:
    response = client.get(address("list", tested), {"size": "XS"})

    assert shown_numbers(response) == []
    assert "No: nothing to change" in response.content.decode()


@pytest.mark.parametrize(
    "query", [{"size": "XXL"}, {"edition": "9999"}, {"edition": "x"}, {"units": "furlong"}]
)
def test_an_address_that_asks_for_what_there_is_not_shows_everything(
    client: Client, tested: Round, misprint: Erratum, query: dict[str, str]
) -> None:
    response = client.get(address("list", tested), query)

    assert (response.status_code, shown_numbers(response)) == (200, [1])


def test_each_erratum_has_an_address_of_its_own(client: Client, tested: Round, misprint: Erratum) -> None:
    response = client.get(misprint.get_absolute_url())

    assert response.status_code == 200
    assert "Back, cast on: 114 stitches in size M, not 118." in response.content.decode()
    assert client.get(address("erratum", tested, 2)).status_code == 404


def test_drafts_are_never_shown_to_anyone(
    client: Client, tested: Round, misprint: Erratum, designer: User
) -> None:
    draft = finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)
    erratum_reword(
        erratum=draft,
        wording=Wording(place="Secret place", text="Secret text", why="Secret why", sizes=[], now={}),
        by=designer,
    )

    answers = [client.get(address(page, tested)) for page in ("list", "document")]

    assert [response.status_code for response in answers] == [200, 200]
    assert not any(b"Secret" in response.content for response in answers)
    assert json.loads(answers[1].content)["errata"][0]["number"] == 1


def test_what_the_designer_wrote_is_shown_as_text_and_not_as_markup(
    client: Client, tested: Round, designer: User
) -> None:
    draft = erratum_from_remarks(
        round=tested, remark_ids=[Remark.objects.get(where="Back, step 3").pk], by=designer
    )
    attack = "<script>alert(1)</script>"
    erratum_reword(
        erratum=draft,
        wording=Wording(place=f"Back {attack}", text=f"Turn {attack}", why=f"So {attack}", sizes=[], now={}),
        by=designer,
    )
    erratum_publish(erratum=draft, by=designer)

    for page in (address("list", tested), address("erratum", tested, 1)):
        content = client.get(page).content.decode()
        assert attack not in content
        assert content.count("&lt;script&gt;alert(1)&lt;/script&gt;") >= 3
    assert client.get(address("pdf", tested)).status_code == 200


def test_remarks_and_testers_are_not_published(client: Client, tested: Round, misprint: Erratum) -> None:
    pages = [address("list", tested), address("erratum", tested, 1), address("document", tested)]

    for page in pages:
        content = client.get(page).content.decode()
        assert "Tester 00" not in content
        assert "Which side faces me?" not in content


# Terms and units


def test_a_uk_reader_gets_uk_terms(client: Client, tested: Round, misprint: Erratum, designer: User) -> None:
    draft = finding_accept(round=tested, finding_ids=[TOO_LONG], by=designer)
    erratum_reword(
        erratum=draft,
        wording=Wording(place="Edge", text="Work 1 single crochet.", why="", sizes=["S"], now={}),
        by=designer,
    )
    erratum_publish(erratum=draft, by=designer)

    uk = client.get(address("erratum", tested, 2), {"terms": "uk"}).content.decode()
    us = client.get(address("erratum", tested, 2), {"terms": "us"}).content.decode()

    assert "Work 1 double crochet." in uk
    assert "Work 1 single crochet." in us


# PDF and JSON


def test_the_document_carries_what_the_page_shows_and_the_sites_own_address(
    client: Client, tested: Round, misprint: Erratum, settings
) -> None:
    settings.SITE_URL = "https://testround.example.org"

    response = client.get(address("document", tested), headers={"Host": "localhost"})

    assert response["Content-Type"] == "application/json"
    assert response["Access-Control-Allow-Origin"] == "*"
    base = f"https://testround.example.org{address('list', tested)}"
    words = {"place": "Back, step 1", "text": misprint.text, "why": misprint.why}
    as_read = {"was": {"M": "118"}, "now": {"M": "114"}}
    assert json.loads(response.content) == {
        "format": "testround/errata",
        "version": 1,
        "pattern": {
            "title": "Little top",
            "address": base,
            "editions": [
                {
                    "label": "1.0",
                    "address": f"{base}editions/{tested.edition.pk}/",
                    "sizes": ["XS", "S", "M"],
                }
            ],
        },
        "errata": [
            {
                "number": 1,
                "address": f"{base}1/",
                "edition": "1.0",
                "terms": "us",
                "place": "Back, step 1",
                "sizes": ["M"],
                "changes": [
                    {
                        "subject": "back_sts",
                        "label": "Back, cast on",
                        "place": "Back, step 1",
                        "unit": "st",
                        "was": {"M": 118},
                        "now": {"M": 114},
                        "read": {"cm": as_read, "in": as_read},
                    }
                ],
                "text": "Back, cast on: 114 stitches in size M, not 118.",
                "why": misprint.why,
                "told": {"us": words, "uk": words},
                "corrects": None,
                "corrected_by": [],
                "stands_in": [],
                "corrected_in": [],
                "published": misprint.published_at.isoformat().replace("+00:00", "Z"),
            }
        ],
    }


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_errata_come_as_a_pdf(client: Client, tested: Round, misprint: Erratum, paper: str) -> None:
    response = client.get(address("pdf", tested), {"paper": paper})

    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF-")


# What there is nothing to know of


@pytest.mark.parametrize("page", ["list", "document", "feed", "text", "embed", "pdf"])
def test_a_pattern_in_an_open_round_says_that_there_are_none_so_far(
    client: Client, a_round: Round, page: str
) -> None:
    response = client.get(address(page, a_round))

    assert response.status_code == 200
    if page == "list":
        assert "None so far" in response.content.decode()


@pytest.mark.parametrize("page", ["list", "document", "feed", "text", "embed", "pdf"])
def test_a_pattern_whose_round_is_only_planned_is_not_to_be_guessed(
    client: Client, a_round: Round, page: str
) -> None:
    Round.objects.update(state=Round.State.PLANNED)

    assert client.get(address(page, a_round)).status_code == 404


def test_a_pattern_without_a_round_is_not_to_be_guessed(client: Client, edition: Edition) -> None:
    assert client.get(reverse("errata:list", args=[edition.pattern.code])).status_code == 404
    assert client.get(reverse("errata:list", args=["no-such"])).status_code == 404


def test_an_edition_that_is_not_out_is_not_among_the_choices(
    client: Client, tested: Round, misprint: Erratum
) -> None:
    Edition.objects.create(
        pattern=tested.edition.pattern,
        label="2.0-secret",
        sheet={**tested.edition.sheet, "edition": "2.0-secret"},
    )

    for page in ("list", "document"):
        assert "2.0-secret" not in client.get(address(page, tested)).content.decode()


@pytest.mark.parametrize("errata", [1, 3])
def test_the_list_costs_the_same_for_one_erratum_or_three(
    client: Client, tested: Round, misprint: Erratum, designer: User, errata: int, django_assert_num_queries
) -> None:
    for _ in range(errata - 1):
        draft = erratum_from_remarks(
            round=tested, remark_ids=[Remark.objects.get(where="Back, step 3").pk], by=designer
        )
        Erratum.objects.filter(pk=draft.pk).update(text="Words.")
        erratum_publish(erratum=draft, by=designer)

    # Two for its name, three for what it says, and two to be sure that the name still holds.
    with django_assert_num_queries(7):
        response = client.get(address("list", tested))

    assert len(response.context["errata"]) == errata


def test_only_reading_is_allowed(client: Client, tested: Round, misprint: Erratum) -> None:
    assert client.post(address("list", tested)).status_code == 405
    assert Pattern.objects.count() == 1
