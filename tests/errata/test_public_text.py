"""Published errata as plain text to paste, and as a document that keeps to its published schema."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse
from jsonschema import Draft202012Validator, FormatChecker

from testround.errata.models import Erratum
from testround.patterns.models import Edition
from testround.rounds.models import Round
from tests.errata.printed import change, misprint, published, unclear


@pytest.fixture
def public_edition(a_round: Round, settings) -> Edition:
    settings.SITE_URL = "https://testround.example.org"
    return a_round.edition


def text_of(edition: Edition, **query: str | int) -> str:
    response = Client().get(
        reverse("errata:text", args=[edition.pattern.code]), query, headers={"Accept-Language": "en"}
    )
    assert (response.status_code, response["Content-Type"]) == (200, "text/plain; charset=utf-8")
    return response.content.decode()


def document_of(edition: Edition) -> dict:
    response = Client().get(reverse("errata:document", args=[edition.pattern.code]))
    return json.loads(response.content)


def schema() -> dict:
    return json.loads(Client().get(reverse("api:schema", args=["errata"])).content)


def test_one_erratum_reads_as_a_letter_would_have_it(public_edition: Edition) -> None:
    misprint(public_edition, why="It is a misprint.")
    address = f"https://testround.example.org/errata/{public_edition.pattern.code}/1/"

    response = Client().get(reverse("errata:erratum_text", args=[public_edition.pattern.code, 1]))

    assert response.content.decode() == (
        "Erratum 1: Back, step 1\n"
        "Edition 1.0, size M, 2 March 2026\n"
        "\n"
        "Back, cast on: 114 stitches in size M, not 118.\n"
        "\n"
        "Back, step 1: Back, cast on, stitches\n"
        "  M: 114, was 118\n"
        "\n"
        "Why: It is a misprint.\n"
        "\n"
        f"{address}\n"
    )


def test_the_list_begins_with_what_it_is_of_and_where_it_is_kept(public_edition: Edition) -> None:
    misprint(public_edition)
    unclear(public_edition)

    lines = text_of(public_edition, size="M", units="in", terms="uk").splitlines()

    assert lines[:3] == [
        "Errata for Little top",
        "size M, inches, UK terms",
        f"https://testround.example.org/errata/{public_edition.pattern.code}/?size=M&units=in&terms=uk",
    ]
    assert [line for line in lines if line.startswith("Erratum")] == [
        "Erratum 1: Back, step 1",
        "Erratum 2: Edge",
    ]
    assert "Work 1 double crochet in each stitch." in lines
    assert "Then cast off." in lines
    assert "Why: It is 1 in short." in lines


def test_no_line_is_longer_than_a_mail_keeps_whole_but_for_addresses(public_edition: Edition) -> None:
    long = "Sew the shoulders with the right sides together, easing in whatever the back has to spare. " * 8
    unclear(public_edition, 1, text=long, why=long, place="Finishing, " * 15)

    lines = text_of(public_edition).splitlines()

    assert [line for line in lines if len(line) > 72 and not line.startswith("https://")] == []
    assert " ".join(" ".join(lines).split()).count("easing in whatever the back has to spare.") == 16


def test_a_copy_that_is_not_concerned_and_a_pattern_without_errata_are_told_so(
    public_edition: Edition,
) -> None:
    nothing = text_of(public_edition)
    misprint(public_edition)

    assert "No errata have been published for this pattern." in nothing
    assert "Nothing to change in this copy so far." in text_of(public_edition, size="XS")


def test_what_puts_another_right_says_so_in_text(public_edition: Edition) -> None:
    misprint(public_edition, 2, corrects=misprint(public_edition))

    lines = text_of(public_edition).splitlines()

    assert "Put right by erratum 2: where the two differ, that one holds." in lines
    assert "Puts right erratum 1." in lines


@pytest.fixture
def every_kind(public_edition: Edition) -> tuple[Erratum, ...]:
    first = misprint(public_edition)
    return (
        first,
        unclear(public_edition),
        misprint(public_edition, 3, corrects=first),
        published(
            public_edition,
            4,
            changes=[
                change("body_length", "cm", {"XS": 32, "S": 32, "M": 32}, {"XS": 35.5, "S": 35.5, "M": 35.5}),
                change("body", "st/10 cm", {"stitches": 22}, {"stitches": 23.5}),
            ],
        ),
    )


def test_the_document_keeps_to_the_schema_that_is_published_at_its_address(
    public_edition: Edition, every_kind: tuple[Erratum, ...]
) -> None:
    checker = Draft202012Validator(schema(), format_checker=FormatChecker())

    assert list(checker.iter_errors(document_of(public_edition))) == []
    Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("wrong", [{"version": 2}, {"format": "testround/findings"}, {"more": 1}], ids=str)
def test_the_schema_refuses_what_is_another_document(public_edition: Edition, wrong: dict) -> None:
    assert not Draft202012Validator(schema()).is_valid({**document_of(public_edition), **wrong})


def test_the_document_says_lengths_and_terms_in_each_way(
    public_edition: Edition, every_kind: tuple[Erratum, ...]
) -> None:
    _, words, _, measured = document_of(public_edition)["errata"]

    assert words["terms"] == "us"
    assert words["told"] == {
        "us": {
            "place": "Edge",
            "text": "Work 1 single crochet in each stitch.\nThen bind off.",
            "why": "It is 2.5 cm short.",
        },
        "uk": {
            "place": "Edge",
            "text": "Work 1 double crochet in each stitch.\nThen cast off.",
            "why": "It is 2.5 cm short.",
        },
    }
    length, gauge = measured["changes"]
    assert (length["was"]["XS"], length["now"]["XS"]) == (32, 35.5)
    assert {units: read["now"]["XS"] for units, read in length["read"].items()} == {
        "cm": "35.5 cm",
        "in": "14 in",
    }
    # 23.5 stitches in 10 cm are 23.5 × 10.16 / 10 = 23.876 in 4 inches, and gauges are said to the half.
    assert {units: read["now"]["stitches"] for units, read in gauge["read"].items()} == {
        "cm": "23 1/2",
        "in": "24",
    }


def test_the_document_says_which_erratum_puts_which_right(
    public_edition: Edition, every_kind: tuple[Erratum, ...]
) -> None:
    errata = document_of(public_edition)["errata"]

    assert [(each["corrects"], each["corrected_by"]) for each in errata] == [
        (None, [3]),
        (None, []),
        (1, []),
        (None, []),
    ]


def test_the_document_is_the_same_in_every_language(
    public_edition: Edition, every_kind: tuple[Erratum, ...]
) -> None:
    address = reverse("errata:document", args=[public_edition.pattern.code])

    answers = [Client().get(address, headers={"Accept-Language": language}) for language in ("en", "de")]

    assert answers[0].content == answers[1].content


def test_the_document_names_its_schema(public_edition: Edition) -> None:
    response = Client().get(reverse("errata:document", args=[public_edition.pattern.code]))

    assert response["Link"] == (
        "<https://testround.example.org/api/schema/errata.json>; "
        'rel="describedby"; type="application/schema+json"'
    )


def test_other_sites_may_read_every_form_for_programs_also_when_nothing_has_changed(
    public_edition: Edition, every_kind: tuple[Erratum, ...], client: Client
) -> None:
    for page in ("document", "feed", "text"):
        address = reverse(f"errata:{page}", args=[public_edition.pattern.code])
        first = client.get(address)
        again = client.get(address, headers={"If-None-Match": first["ETag"]})
        assert again.status_code == 304
        assert {each["Access-Control-Allow-Origin"] for each in (first, again)} == {"*"}
