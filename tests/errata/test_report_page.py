"""The report of a round, for the designer and a technical editor: as a page, and the same on paper."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import strip_tags

from testround.errata.papers import report
from testround.errata.selectors import report_facts
from testround.errata.services import erratum_publish, finding_accept, finding_decline
from testround.patterns.models import Edition
from testround.people.models import User
from testround.people.readers import Reader
from testround.rounds.models import Place, Round
from testround.rounds.services.credits import credit_choose
from tests.paper.scene import outline_of, read, text_of

SignIn = Callable[[User], Client]


def address(page: str, round_: Round) -> str:
    return reverse(f"errata:{page}", args=[round_.code])


def words_of(page: str) -> str:
    """What a page says within its main part, every run of white space one space."""
    main = page.partition("<main")[2].partition("</main>")[0]
    said = re.sub(r"<svg.*?</svg>", " ", main, flags=re.DOTALL).replace("<", " <")
    return re.sub(r"\s+", " ", html.unescape(strip_tags(said)))


@pytest.fixture
def named(tested: Round) -> Round:
    """A round whose testers have names that are to be told apart from numbers."""
    for place, name in zip(tested.places.order_by("pk"), ("Alder", "Birch", "Cedar"), strict=False):
        person = User.objects.create_user(email=f"{name.lower()}@example.org", name=name)
        Place.objects.filter(pk=place.pk).update(name=name, tester=person)
    return tested


def test_page_and_paper_have_the_same_parts_in_the_same_order(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    client = signed_in(designer)
    page = client.get(address("report", tested)).text
    paper = client.get(address("report_pdf", tested)).content

    titles = re.findall(r'<h[23] id="[^"]*">([^<]*)</h[23]>', page)
    assert [title for level, title in outline_of(paper) if level] == [
        html.unescape(title) for title in titles
    ]
    assert titles[:2] == ["At a glance", "Who tested what"]
    assert titles[-1] == "How this was worked out"


def test_page_and_paper_cannot_disagree(signed_in: SignIn, designer: User, tested: Round) -> None:
    told = report(report_facts(tested), Reader())
    client = signed_in(designer)
    page = words_of(client.get(address("report", tested)).text)
    paper = text_of(client.get(address("report_pdf", tested)).content)

    texts = [block.text for section in told.sections for block in section.blocks if block.kind == "text"]
    rows = [
        " ".join(cell for cell in row if cell)
        for section in told.sections
        for block in section.blocks
        if block.kind == "grid"
        for row in block.rows
    ]
    assert len(texts) > 10
    assert len(rows) > 40
    for said in (*texts, *rows):
        assert re.sub(r"\s+", " ", said) in page
        # A line of a paper may be broken at a hyphen or a slash.
        assert re.sub(r"\s", "", said) in re.sub(r"\s", "", paper)


def test_nobody_is_named_who_did_not_allow_it(signed_in: SignIn, designer: User, named: Round) -> None:
    birch = named.places.get(name="Birch")
    credit_choose(place=birch, thanked_as="", in_report=True, by=birch.tester)
    client = signed_in(designer)

    for said in (
        client.get(address("report", named)).text,
        text_of(client.get(address("report_pdf", named)).content),
    ):
        assert "Birch" in said
        assert "Tester 1" in said
        assert "Tester 3" in said
        assert "Alder" not in said
        assert "Cedar" not in said


def test_a_name_taken_back_is_gone_at_once_from_page_and_paper(
    signed_in: SignIn, designer: User, named: Round
) -> None:
    birch = named.places.get(name="Birch")
    credit_choose(place=birch, thanked_as="Bircha", in_report=True, by=birch.tester)
    client = signed_in(designer)
    first = client.get(address("report", named)).text
    assert "Tested by Bircha, and 8 others who prefer not to be named." in first
    client.get(address("report_pdf", named))

    credit_choose(place=birch, thanked_as="", in_report=False, by=birch.tester)

    assert "Birch" not in client.get(address("report", named)).text
    assert "Birch" not in text_of(client.get(address("report_pdf", named)).content)


def test_who_gave_a_place_back_is_called_by_number_whatever_they_allowed(
    signed_in: SignIn, designer: User, named: Round
) -> None:
    birch = named.places.get(name="Birch")
    credit_choose(place=birch, thanked_as="", in_report=True, by=birch.tester)
    Place.objects.filter(pk=birch.pk).update(state=Place.State.GIVEN_BACK)

    assert "Birch" not in signed_in(designer).get(address("report", named)).text


def test_it_says_what_is_published_accepted_declined_and_waits(
    signed_in: SignIn, designer: User, tested: Round
) -> None:
    client = signed_in(designer)
    before = words_of(client.get(address("report", tested)).text)
    erratum = erratum_publish(
        erratum=finding_accept(round=tested, finding_ids=["printed-count:back_sts"], by=designer), by=designer
    )
    finding_decline(
        round=tested, finding_id="finished-size:body_length", reason="Meant to be long.", by=designer
    )

    page = client.get(address("report", tested)).text
    paper = text_of(client.get(address("report_pdf", tested)).content)

    assert "Waiting for a decision" in before
    assert "Declined" not in before
    assert f'<a href="{erratum.get_absolute_url()}">1</a>' in page
    for said in (words_of(page), paper):
        assert "Published as errata Erratum Where Sizes Correction Published 1 Back, step 1 In size M" in said
        assert "Finished size: Hem to underarm amend Meant to be long." in said


def test_it_is_told_in_the_readers_unit_and_terms(signed_in: SignIn, designer: User, tested: Round) -> None:
    Edition.objects.filter(pk=tested.edition_id).update(terms="us")
    sheet = tested.edition.sheet
    sheet["dimensions"][1]["label"] = "Bind off to hem"
    Edition.objects.filter(pk=tested.edition_id).update(sheet=sheet)
    designer.units, designer.terms = User.Units.INCHES, "uk"
    designer.save()

    client = signed_in(designer)
    page = words_of(client.get(address("report", tested)).text)
    paper = text_of(client.get(address("report_pdf", tested)).content)

    for said in (page, paper):
        assert "Dimension: Cast off to hem" in said
        assert "Bind off" not in said
        assert "Every tester's piece, in in:" not in said


@pytest.mark.parametrize(("paper", "width"), [("", 595), ("letter", 612)])
def test_the_reader_chooses_the_paper(
    signed_in: SignIn, designer: User, tested: Round, paper: str, width: int
) -> None:
    response = signed_in(designer).get(address("report_pdf", tested), {"paper": paper})

    assert round(float(read(response.content).pages[0].mediabox.width)) == width


@pytest.mark.parametrize("page", ["report", "report_pdf"])
@pytest.mark.parametrize("testers", [3, 9])
def test_it_costs_the_same_for_few_testers_and_for_many(
    signed_in: SignIn,
    designer: User,
    round_of: Callable[..., Round],
    page: str,
    testers: int,
    nothing_kept: None,
    django_assert_num_queries,
) -> None:
    round_ = round_of(testers)
    client = signed_in(designer)

    with django_assert_num_queries(21):
        client.get(address(page, round_))
    # Kept: session, person, round, digest, and what it rests on beside.
    with django_assert_num_queries(8):
        client.get(address(page, round_))


def test_a_round_in_which_nobody_is_yet_has_its_report(
    signed_in: SignIn, designer: User, round_of: Callable[..., Round]
) -> None:
    response = signed_in(designer).get(address("report", round_of(0)))

    assert response.status_code == 200
    assert "Nobody is in this round yet." in response.text


def test_results_and_round_lead_to_it(signed_in: SignIn, designer: User, tested: Round) -> None:
    client = signed_in(designer)

    for page in (address("results", tested), tested.get_absolute_url()):
        assert f'href="{address("report", tested)}"' in client.get(page).text
