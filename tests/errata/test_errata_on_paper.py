"""Published errata on paper: whose copy it is for, which paper, and where its code leads."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from testround.patterns.models import Edition
from testround.rounds.models import Round
from tests.errata.printed import change, misprint, next_edition, published, unclear
from tests.paper.scene import outline_of, read, text_of
from tests.paper.structure import Structure


@pytest.fixture
def first(a_round: Round) -> Edition:
    return a_round.edition


def paper(of: Edition, **query: str | int) -> bytes:
    response = Client().get(
        reverse("errata:pdf", args=[of.pattern.code]), query, headers={"Accept-Language": "en"}
    )
    assert response["Content-Type"] == "application/pdf"
    return response.content


def test_without_a_choice_it_says_which_editions_and_sizes_it_is_for(first: Edition) -> None:
    misprint(first)
    unclear(next_edition(first, "1.1", cast_on_m=114))

    text = text_of(paper(first))

    assert "Editions 1.0, 1.1, every size · 2 errata, the latest of 3 March 2026" in text
    assert "Lengths in centimetres. Stitches in the terms of each edition." in text


def test_for_one_copy_it_holds_what_matters_to_it_and_says_what_does_not(first: Edition) -> None:
    misprint(first)
    unclear(first)

    pdf = paper(first, edition=first.pk, size="S", units="in", terms="uk")
    text = text_of(pdf)

    assert outline_of(pdf)[1:] == [(1, "2. Edge")]
    assert "Edition 1.0, size S · 1 erratum, the latest of 3 March 2026" in text
    assert "Lengths in inches. Stitches in UK terms." in text
    assert "Work 1 double crochet in each stitch. Then cast off. Why: It is 1 in short." in text
    assert "Size S is not affected by these: erratum 1 (for M)." in text


def test_its_code_and_its_link_lead_to_the_page_of_that_very_copy(first: Edition, settings) -> None:
    settings.SITE_URL = "https://testround.example"
    misprint(first)
    here = f"https://testround.example/errata/{first.pattern.code}/"
    own = f"{here}?edition={first.pk}&size=M&units=in"

    made = Structure(paper(first, edition=first.pk, size="M", units="in", paper="letter"))

    (code,) = made.all("Figure")
    assert str(code.element.Alt) == f"QR code that leads to {own}"
    assert [str(one.A.URI) for one, _element in made.annotations] == [own, f"{here}1/"]
    assert [link.text for link in made.all("Link")] == [here, f"{here}1/"]


def test_an_erratum_that_was_wrong_says_which_one_holds_and_the_other_what_it_puts_right(
    first: Edition,
) -> None:
    wrong = misprint(first)
    published(
        first,
        2,
        corrects=wrong,
        sizes=["M"],
        changes=[change("back_sts", "st", {"M": 118}, {"M": 116})],
    )

    text = text_of(paper(first))

    assert "Put right by erratum 2: where the two differ, that one holds." in text
    assert text.index("Put right by erratum 2") < text.index("Puts right erratum 1.")


def test_a_copy_that_has_a_correction_already_is_told_so(first: Edition) -> None:
    misprint(first)
    newer = next_edition(first, "1.1", cast_on_m=114, released_at=first.created)

    assert "Edition 1.1 has these corrections already: erratum 1 (Back, step 1)." in text_of(
        paper(first, edition=newer.pk)
    )
    assert "Edition 1.1 has all of this corrected." in text_of(paper(first, edition=first.pk, size="M"))


def test_a_copy_with_nothing_to_change_is_told_so(first: Edition) -> None:
    misprint(first)

    text = text_of(paper(first, edition=first.pk, size="S"))

    assert "Edition 1.0, size S · no errata" in text
    assert "Nothing to change in this copy so far." in text


@pytest.mark.parametrize(("asked", "size"), [("", (595, 842)), ("a4", (595, 842)), ("letter", (612, 792))])
def test_the_address_decides_the_paper(first: Edition, asked: str, size: tuple[int, int]) -> None:
    misprint(first)

    (page,) = read(paper(first, paper=asked)).pages

    assert (round(page.mediabox.width), round(page.mediabox.height)) == size


def test_everybody_gets_the_same_paper_of_one_address(first: Edition, signed_in, designer) -> None:
    misprint(first)
    address = reverse("errata:pdf", args=[first.pattern.code])

    assert Client().get(address).content == signed_in(designer).get(address).content


@pytest.mark.parametrize("errata", [1, 4])
def test_it_costs_the_same_for_one_erratum_or_four(
    first: Edition, errata: int, django_assert_num_queries
) -> None:
    for number in range(1, errata + 1):
        misprint(first, number)

    # editions with their pattern, errata with theirs, who tested; and two for the name of what is sent
    with django_assert_num_queries(7):
        paper(first)


def test_a_number_that_stands_in_its_own_place_is_not_told_the_place_twice(first: Edition) -> None:
    misprint(first)

    assert "Back, cast on, stitches M was 118 now 114" in text_of(paper(first))
