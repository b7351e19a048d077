"""Is my copy affected? What an erratum of one edition means for a copy of another."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.errata.models import Erratum
from testround.errata.selectors import Standing, standing_of
from testround.patterns.models import Edition, Pattern
from testround.rounds.models import Round
from tests.errata.printed import change, misprint, next_edition, published, unclear
from tests.errata.test_public_caching import headers


@pytest.fixture
def first(a_round: Round) -> Edition:
    return a_round.edition


def page(of: Edition, **query: str | int) -> str:
    return (
        Client()
        .get(reverse("errata:list", args=[of.pattern.code]), query, headers={"Accept-Language": "en"})
        .content.decode()
    )


def answer(of: Edition, **query: str | int) -> str:
    """What the page answers, in words alone."""
    inside = page(of, **query).partition('class="answer">')[2].partition("</p>")[0]
    return inside.replace("<strong>", "").replace("</strong>", "")


@pytest.mark.parametrize(
    ("prints", "expected"),
    [(114, Standing.CORRECTED), (118, Standing.STANDS), (120, Standing.OTHER)],
)
def test_a_number_is_corrected_or_stands_or_is_another_one(
    first: Edition, prints: int, expected: Standing
) -> None:
    erratum = misprint(first)

    assert standing_of(erratum, next_edition(first, "1.1", cast_on_m=prints)) is expected
    assert standing_of(erratum, first) is Standing.OWN


def test_an_erratum_of_several_numbers_stands_where_one_of_them_does(first: Edition) -> None:
    erratum = published(
        first,
        1,
        changes=[
            change("back_sts", "st", {"S": 104, "M": 118}, {"S": 106, "M": 114}),
            change("body", "st/10 cm", {"stitches": 22}, {"stitches": 23}),
        ],
    )
    half_way = next_edition(first, "1.1", cast_on_m=114)

    assert standing_of(erratum, half_way) is Standing.STANDS
    # Size M's cast-on is right, but the stated gauge, which is every size's, is not.
    assert standing_of(erratum, half_way, "M") is Standing.STANDS
    half_way.sheet["gauges"][0]["stitches"] = 23
    assert standing_of(erratum, half_way, "M") is Standing.CORRECTED
    assert standing_of(erratum, half_way, "S") is Standing.STANDS


def test_a_number_that_an_edition_does_not_print_is_the_one_that_its_formula_gives(first: Edition) -> None:
    erratum = misprint(first)
    computed = next_edition(first, "1.1", cast_on_m=118)
    del computed.sheet["numbers"][0]["printed"]

    # (96 + 8) / 2 × 2.2 is 114.4, to the nearest multiple of 2: 114.
    assert standing_of(erratum, computed) is Standing.CORRECTED


@pytest.mark.parametrize("subject", ["yarn", "hours"])
def test_yarn_and_hours_are_read_where_they_stand_on_the_sheet(first: Edition, subject: str) -> None:
    erratum = published(
        first,
        1,
        changes=[
            {
                "subject": subject,
                "label": subject,
                "place": "Materials",
                "unit": "m" if subject == "yarn" else "h",
                "was": {"M": 900},
                "now": {"M": 1000},
                "finding": "",
            }
        ],
    )
    later = next_edition(first, "1.1", cast_on_m=114)

    assert standing_of(erratum, later) is Standing.OTHER
    later.sheet[subject] = {"M": 1000}
    assert standing_of(erratum, later) is Standing.CORRECTED
    later.sheet[subject] = {"M": 900}
    assert standing_of(erratum, later) is Standing.STANDS


def test_whether_words_are_corrected_only_the_designer_can_say(first: Edition) -> None:
    erratum = unclear(first)
    later = next_edition(first, "1.1", cast_on_m=114)

    assert standing_of(erratum, later) is Standing.STANDS
    later.corrected = [2]
    assert standing_of(erratum, later) is Standing.CORRECTED


# What the page answers


def released(first: Edition, label: str, cast_on_m: int, **said: Any) -> Edition:
    return next_edition(first, label, cast_on_m=cast_on_m, released_at=dt.datetime.now(dt.UTC), **said)


def test_a_copy_of_a_later_edition_that_has_the_correction_is_told_so(first: Edition) -> None:
    misprint(first)
    later = released(first, "1.1", 114)

    assert answer(first, edition=later.pk) == "No: nothing to change in edition 1.1 so far."
    said = page(first, edition=later.pk)
    assert "Edition 1.1 has these corrections already: <a" in said
    assert "erratum 1 (Back, step 1)" in said


def test_a_copy_of_a_later_edition_with_the_same_misprint_is_told_of_it(first: Edition) -> None:
    misprint(first)
    later = released(first, "1.1", 118)

    assert answer(first, edition=later.pk, size="M") == "Yes: 1 correction for edition 1.1, size M."
    assert "Written for edition 1.0. Edition 1.1 has the same there" in page(
        first, edition=later.pk, size="M"
    )


def test_a_change_of_words_is_shown_to_other_editions_with_its_doubt(first: Edition) -> None:
    unclear(first)
    later = released(first, "1.1", 114)

    said = page(first, edition=later.pk)

    assert "Written for edition 1.0. Where edition 1.1 reads the same, it holds for that one too." in said


def test_a_size_that_is_not_concerned_is_told_so_and_which_ones_are(first: Edition) -> None:
    misprint(first)

    assert (
        answer(first, edition=first.pk, size="XS") == "No: nothing to change in edition 1.0, size XS so far."
    )
    assert "Size XS is not affected by these: <a" in page(first, edition=first.pk, size="XS")
    assert "erratum 1 (for M)" in page(first, edition=first.pk, size="XS")


def test_who_holds_an_old_edition_is_told_which_one_has_it_all(first: Edition) -> None:
    misprint(first)
    half = released(first, "1.1", 118)
    whole = released(first, "1.2", 114)
    Edition.objects.filter(pk=whole.pk).update(created=whole.created + dt.timedelta(days=1))

    assert "Edition 1.2 has all of this corrected." in page(first, edition=first.pk)
    assert "has all of this corrected" not in page(first, edition=whole.pk)
    assert "Edition 1.2 has all of this corrected." in page(first, edition=half.pk)


def test_a_pattern_made_to_measure_is_asked_for_no_size(first: Edition) -> None:
    sheet = {**first.sheet, "kind": "made-to-measure", "sizes": []}
    Edition.objects.filter(pk=first.pk).update(sheet=sheet)
    unclear(first)

    said = page(first)

    assert "My size" not in said
    assert "Choose your edition to see only what matters to you." in said
    assert answer(first, edition=first.pk, size="M") == "Yes: 1 correction for edition 1.0."


def test_an_edition_has_a_page_of_its_own_that_asks_for_the_size_alone(first: Edition) -> None:
    misprint(first)
    unclear(first)
    address = reverse("errata:edition", args=[first.pattern.code, first.pk])

    said = Client().get(address, {"size": "XS"}, headers={"Accept-Language": "en"}).content.decode()

    assert "<h1>Errata for Little top, edition 1.0</h1>" in said
    assert "My edition" not in said
    assert "Erratum 2: Edge" in said
    assert "Erratum 1: Back" not in said
    assert f'action="{address}"' in said


def test_what_was_put_right_names_what_holds(first: Edition) -> None:
    misprint(first, 2, corrects=misprint(first))
    one = reverse("errata:erratum", args=[first.pattern.code, 1])

    older = Client().get(one).content.decode()
    newer = Client().get(one.replace("/1/", "/2/")).content.decode()

    assert "<strong>Put right by <a href=" in older
    assert "where the two differ, that one holds." in older
    assert "Puts right <a href=" in newer


@pytest.mark.parametrize("editions", [1, 4])
@pytest.mark.parametrize("errata", [1, 4])
def test_a_page_for_one_copy_costs_the_same_however_much_is_published(
    first: Edition, editions: int, errata: int, django_assert_num_queries
) -> None:
    for number in range(1, errata + 1):
        misprint(first, number, corrects=Erratum.objects.first())
    for number in range(1, editions):
        released(first, f"1.{number}", 114)

    # Two for its name, three for what it says, and two to be sure that the name still holds.
    with django_assert_num_queries(7):
        page(first, edition=first.pk, size="M")


# What is not out is nowhere to be guessed


def everywhere(code: str, edition: int, number: int) -> list[str]:
    one = [code]
    return [
        *(
            reverse(f"errata:{name}", args=one)
            for name in ("list", "pdf", "document", "feed", "text", "embed")
        ),
        reverse("errata:edition", args=[code, edition]),
        reverse("errata:erratum", args=[code, number]),
        reverse("errata:erratum_text", args=[code, number]),
    ]


def answers(addresses: list[str]) -> set[tuple[int, bytes, tuple[tuple[str, str], ...]]]:
    found = [Client().get(address) for address in addresses]
    return {(each.status_code, each.content, tuple(sorted(headers(each).items()))) for each in found}


def test_a_pattern_that_is_not_out_answers_as_one_that_there_is_not(first: Edition) -> None:
    Round.objects.update(state=Round.State.PLANNED)
    Erratum.objects.create(pattern=first.pattern, edition=first, place="Secret place", text="Secret text")

    hidden = answers(everywhere(first.pattern.code, first.pk, 1)[:5])
    nothing = answers(everywhere("no-such", 1, 1)[:5])

    assert len(hidden) == 1
    assert hidden == nothing
    assert {status for status, *_ in hidden} == {404}
    for address in everywhere(first.pattern.code, first.pk, 1):
        response = Client().get(address)
        assert response.status_code == 404
        assert "Little top" not in response.text
        assert "Secret" not in response.text


def test_a_draft_an_unused_number_and_an_edition_in_the_drawer_answer_alike(first: Edition) -> None:
    misprint(first)
    draft = Erratum.objects.create(pattern=first.pattern, edition=first, place="Secret", text="Secret")
    drawer = next_edition(first, "2.0-secret", cast_on_m=114)
    code = first.pattern.code

    tried = [
        *(reverse("errata:erratum", args=[code, number]) for number in (0, 2, draft.pk + 1, 10**30)),
        *(reverse("errata:erratum_text", args=[code, number]) for number in (0, 2, 10**30)),
        *(reverse("errata:edition", args=[code, pk]) for pk in (drawer.pk, drawer.pk + 1, 10**30)),
    ]

    found = answers(tried)
    assert {(status, content) for status, content, _ in found} == {(404, Client().get(tried[0]).content)}
    # Nor does it say that something is there to a program that has it already.
    for address in tried:
        assert Client().get(address, headers={"If-None-Match": "*"}).status_code == 404


def test_what_is_not_out_changes_no_answer_and_no_name_of_one(first: Edition) -> None:
    misprint(first)
    addresses = everywhere(first.pattern.code, first.pk, 1)
    before = [Client().get(address)["ETag"] for address in addresses]

    Erratum.objects.create(pattern=first.pattern, edition=first, place="Secret", text="Secret")
    next_edition(first, "2.0-secret", cast_on_m=114)

    after = [Client().get(address) for address in addresses]
    assert [each["ETag"] for each in after] == before
    assert not any(b"ecret" in each.content for each in after)


def test_an_edition_of_another_pattern_is_not_found_under_this_one(first: Edition) -> None:
    other = Pattern.objects.create(owner=first.pattern.owner, title="Other")
    others = Edition.objects.create(
        pattern=other, label="of-the-other", sheet=first.sheet, released_at=dt.datetime.now(dt.UTC)
    )

    crossed = Client().get(reverse("errata:edition", args=[first.pattern.code, others.pk]))

    assert crossed.status_code == 404
    assert "of-the-other" not in page(first, edition=others.pk)
