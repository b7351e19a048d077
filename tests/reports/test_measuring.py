"""The pages on which a tester measures: the drawing, the letters, and the question asked while they type."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from testround.patterns.models import Edition
from testround.people.models import User
from testround.reports.models import Finished
from testround.rounds.models import Place
from tests.reports.test_views import said

Address = Callable[..., str]


def opened(response: Any) -> list[str]:
    """The pieces that lie open on the page, by their names."""
    return re.findall(
        r'<details class="fold measure-piece" id="[^"]*" open>\s*<summary><h2>([^<]*)',
        response.content.decode(),
    )


def lettered(response: Any) -> list[tuple[str, str]]:
    """Every question with the letter it has on the drawing."""
    found = re.findall(
        r'<span class="measure-letter">(\w+)</span> ([^<]*)</legend>', response.content.decode()
    )
    return [(letter, label.strip()) for letter, label in found]


# -- the drawing -------------------------------------------------------------------------------------------


def test_every_question_has_the_letter_of_its_line_on_the_drawing(
    as_tester: Client, address: Address
) -> None:
    response = as_tester.get(address("finished"))
    page = response.content.decode()

    # The chest goes over two pieces of cloth that are one number here: doubled, it lies on the back.
    assert lettered(response) == [("A", "Chest circumference"), ("B", "Hem to underarm")]
    for key, label in (("chest", "A: Chest circumference"), ("body_length", "B: Hem to underarm")):
        assert f'<g class="plot-dim dim-{key}"><title>{label}</title>' in page
        assert f'data-dimension="{key}"' in page


def test_the_drawing_is_described_and_gives_no_target_away(as_tester: Client, address: Address) -> None:
    page = as_tester.get(address("finished")).content.decode()

    described = re.findall(r"<desc[^>]*>([^<]*)</desc>", page)
    assert described == [
        "Back, to scale. Where to measure: A, Chest circumference; B, Hem to underarm.",
    ]
    # Size M is meant to be 104 cm around.
    assert "104" not in described[0]


def test_of_a_tester_without_a_size_the_drawing_says_that_it_is_not_to_scale(
    as_tester: Client, address: Address, place: Place
) -> None:
    place.size = None
    place.save()

    response = as_tester.get(address("finished"))

    assert len(lettered(response)) == 2
    assert "Not to scale: its numbers are not known yet." in said(response)


def test_the_first_piece_of_which_something_is_missing_lies_open(
    as_tester: Client, address: Address, edition: Edition
) -> None:
    edition.sheet["dimensions"].append(
        {"key": "ease_at_bust", "label": "Ease", "tolerance": 1, "formula": "ease"}
    )
    edition.save()

    before = as_tester.get(address("finished"))
    data = {"key": str(uuid.uuid4()), "state": "blocked", "read_chest_1": "94", "read_body_length_1": "32"}
    as_tester.post(address("finished"), data)
    after = as_tester.get(address("finished"))

    assert opened(before) == ["Back"]
    assert opened(after) == ["Put together"]
    assert "2 of 2 sent" in said(after)


def test_a_refused_form_opens_what_was_typed_and_what_is_to_be_mended(
    as_tester: Client, address: Address, edition: Edition
) -> None:
    edition.sheet["dimensions"].append(
        {"key": "ease_at_bust", "label": "Ease", "tolerance": 1, "formula": "ease"}
    )
    edition.save()

    refused = as_tester.post(
        address("finished"), {"key": str(uuid.uuid4()), "state": "blocked", "read_ease_at_bust_2": "a lot"}
    )

    assert refused.status_code == 422
    assert opened(refused) == ["Put together"]
    assert 'value="a lot"' in refused.content.decode()


def test_the_caution_about_steam_stands_where_it_is_laid_flat(as_tester: Client, address: Address) -> None:
    words = said(as_tester.get(address("finished")))

    assert "follow the care symbols on the yarn’s label" in words
    assert "melt under steam and heat" in words


# -- the question while typing -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reading", "question"),
    [
        ("47", "Was it measured across one side only, and not all the way round? That would make it 94 cm."),
        ("37", "Are these inches, written as centimetres? That would make it 94 cm."),
        ("32", "It is about what Hem to underarm should be: was that measured instead?"),
    ],
)
def test_an_odd_value_is_asked_about_at_once_with_its_likely_cause(
    reading: str, question: str, as_tester: Client, address: Address
) -> None:
    response = as_tester.post(address("finished_question", "chest"), {"read_chest_1": reading})

    words = said(response)
    assert response.status_code == 200
    assert question in words
    assert "Yes, that is what I measured" in words
    assert 'name="keep_chest"' in response.content.decode()
    assert not Finished.objects.exists()


def test_who_has_said_that_it_is_right_need_not_say_it_again(as_tester: Client, address: Address) -> None:
    response = as_tester.post(
        address("finished_question", "chest"), {"read_chest_1": "47", "keep_chest": "on"}
    )

    assert re.search(r'<input[^>]*name="keep_chest"[^>]*checked', response.content.decode())


@pytest.mark.parametrize("reading", ["94", "", "ninety"])
def test_what_is_near_or_cannot_be_read_yet_is_not_asked_about(
    reading: str, as_tester: Client, address: Address
) -> None:
    response = as_tester.post(address("finished_question", "chest"), {"read_chest_1": reading})

    assert response.status_code == 200
    assert response.content.strip() == b""


def test_inches_are_asked_about_in_inches(as_tester: Client, address: Address, tester: User) -> None:
    tester.units = "in"
    tester.save()

    words = said(as_tester.post(address("finished_question", "chest"), {"read_chest_1": "18 1/2"}))

    assert "Chest circumference is given as 18 1/2 in, and about 37 1/4 in was expected." in words
    assert "That would make it 37 in." in words


def test_a_body_measurement_is_asked_about_at_once(as_tester: Client, address: Address) -> None:
    odd = as_tester.post(address("measure_question", "bust"), {"body_bust": "900"})
    usual = as_tester.post(address("measure_question", "bust"), {"body_bust": "88"})

    assert "millimetres" in said(odd)
    assert 'name="keep_bust"' in odd.content.decode()
    assert usual.content.strip() == b""


@pytest.mark.parametrize("page", ["finished_question", "measure_question"])
def test_of_what_the_pattern_does_not_measure_there_is_no_question(
    page: str, as_tester: Client, address: Address
) -> None:
    assert as_tester.post(address(page, "moon"), {}).status_code == 404


@pytest.mark.parametrize(("page", "key"), [("finished_question", "chest"), ("measure_question", "bust")])
def test_nobody_else_may_ask(
    page: str, key: str, client: Client, stranger: User, signed_in: Any, address: Address
) -> None:
    assert signed_in(stranger).post(address(page, key), {}).status_code == 404


@pytest.mark.parametrize("n_sent", [0, 3])
def test_a_question_costs_the_same_whatever_was_sent(
    n_sent: int, as_tester: Client, address: Address, django_assert_num_queries: Any
) -> None:
    for n in range(n_sent):
        as_tester.post(
            address("finished"), {"key": str(uuid.uuid4()), "state": "blocked", "read_chest_1": f"{93 + n}"}
        )

    # Session, user, place, finished measurements. What everybody has who makes the size needs no swatch.
    with django_assert_num_queries(4):
        as_tester.post(address("finished_question", "chest"), {"read_chest_1": "47"})


# -- body measurements -------------------------------------------------------------------------------------


def test_how_each_is_taken_is_said_also_where_the_pattern_does_not(
    as_tester: Client, address: Address, edition: Edition
) -> None:
    edition.sheet["measures"][0].pop("how", None)
    edition.save()

    words = said(as_tester.get(address("measures")))

    assert "Around the fullest part, under the arms, with the tape level and snug but not tight" in words
    assert words.index("Who sees them") < words.index("Around the fullest part")


def test_a_question_of_the_sent_form_is_what_its_field_points_at(as_tester: Client, place: Place) -> None:
    page = reverse("reports:measures", args=[place.pk])

    refused = as_tester.post(page, {"key": str(uuid.uuid4()), "body_bust": "900"}).content.decode()

    assert 'aria-describedby="id_body_bust_error"' in refused
    assert refused.count('id="id_body_bust_error"') == 1
