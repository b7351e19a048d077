"""A tester's pages: what they answer, what they refuse and keep, and whose they are."""

from __future__ import annotations

import html
import io
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.reports.models import Count, Finished, Remark, Sitting, Submission, Swatch
from testround.reports.services import swatch_submit
from testround.rounds.models import Place, Round

Address = Callable[..., str]

PAGES = [
    "place",
    "swatch",
    "counts",
    "finished",
    "sitting",
    "remark",
    "fit",
    "guess",
    "yarn",
    "measures",
    "photo_new",
    "worksheet",
    "worksheet_pdf",
    "sent",
]
READ_ONLY = {"place", "worksheet", "worksheet_pdf", "sent"}


def key() -> str:
    return str(uuid.uuid4())


def said(response: Any) -> str:
    """The page's words, without its tags."""
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", html.unescape(text)).replace("\N{NO-BREAK SPACE}", " ")


def typed(response: Any, name: str) -> str:
    """What stands in a field."""
    found = re.search(rf'<input[^>]*name="{name}"[^>]*>', response.content.decode())
    assert found, f"no field {name}"
    value = re.search(r'value="([^"]*)"', found[0])
    return html.unescape(value[1]) if value else ""


@pytest.fixture
def in_inches(tester: User) -> User:
    tester.units, tester.tools = "in", "us"
    tester.save()
    return tester


@pytest.fixture
def skirt(designer: User, tester: User) -> Place:
    """A crocheted skirt made to measure, in US terms, held by the tester."""
    sheet = {
        "title": "Little skirt",
        "edition": "1.0",
        "craft": "crochet",
        "kind": "made-to-measure",
        "gauges": [{"key": "sc", "label": "Single crochet", "stitches": 16, "rows": 20, "tool_mm": 4.0}],
        "sizes": [],
        "measures": [
            {"key": "waist", "label": "Waist", "how": "Where you bend sideways."},
            {"key": "hip", "label": "Full hip"},
        ],
        "numbers": [
            {
                "key": "waist_ch",
                "label": "Foundation single crochet",
                "place": "Waistband, step 1",
                "unit": "st",
                "formula": "multiple(waist * sc.st, of=4)",
            }
        ],
        "dimensions": [
            {"key": "band", "label": "Waistband", "tolerance": 2, "formula": "waist_ch / sc.st"},
        ],
    }
    pattern = Pattern.objects.create(owner=designer, title="Little skirt")
    edition = Edition.objects.create(pattern=pattern, label="1.0", sheet=sheet, terms="us")
    a_round = Round.objects.create(edition=edition, title="Skirts", state=Round.State.SWATCHING)
    return Place.objects.create(
        round=a_round, key="t01", name="Tester one", tester=tester, state=Place.State.TAKEN
    )


# -- whose pages -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES)
def test_a_tester_opens_every_page_of_their_place(page: str, as_tester: Client, address: Address) -> None:
    assert as_tester.get(address(page)).status_code == 200


@pytest.mark.parametrize("page", [*PAGES, "done"])
@pytest.mark.parametrize("method", ["get", "post"])
def test_to_anybody_else_there_is_no_such_page(
    page: str,
    method: str,
    client: Client,
    address: Address,
    designer: User,
    other_designer: User,
    stranger: User,
) -> None:
    no_such_page = 405 if method == "get" and page == "done" else 404
    if method == "post" and page in READ_ONLY:
        no_such_page = 405
    for person in (designer, other_designer, stranger):
        client.force_login(person)
        assert getattr(client, method)(address(page)).status_code == no_such_page

    client.logout()
    answer = getattr(client, method)(address(page))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("account_login"))


def test_a_place_that_was_given_back_is_no_longer_the_testers(
    as_tester: Client, address: Address, place: Place
) -> None:
    Place.objects.filter(pk=place.pk).update(state=Place.State.GIVEN_BACK)

    assert as_tester.get(address("place")).status_code == 404
    assert as_tester.post(address("remark"), {}).status_code == 404


def test_the_list_shows_the_testers_own_places_and_no_others(
    as_tester: Client, place: Place, stranger: User
) -> None:
    Place.objects.create(round=place.round, key="t02", name="Tester two", tester=stranger, size="M")

    words = said(as_tester.get(reverse("reports:places")))

    assert "Little top Size S · taken" in words
    assert "Next: Make a swatch and send it. You hear at once" in words
    assert "Size M" not in words


def test_a_person_without_a_place_is_told_how_to_come_by_one(client: Client, stranger: User) -> None:
    client.force_login(stranger)

    page = client.get(reverse("reports:places"))

    assert "You test no pattern yet" in said(page)
    assert f'href="{reverse("rounds:list")}">Go to the rounds you run' in page.text


# -- the place ---------------------------------------------------------------------------------------------


def test_the_place_says_what_is_being_made_and_the_one_next_thing(
    as_tester: Client, address: Address
) -> None:
    words = said(as_tester.get(address("place")))

    assert "Little top, size S" in words
    assert "Make a swatch and send it" in words
    assert "Stockinette, blocked: 22 st and 30 rows over 10 cm, 4 mm" in words


def next_thing(client: Client, address: Address) -> str:
    found = re.search(r'<h2 id="next">(.*?)</h2>', client.get(address("place")).content.decode())
    assert found
    return found[1]


def test_the_next_thing_follows_what_was_sent(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    seen = [next_thing(as_tester, address)]
    sends: list[tuple[str, dict[str, Any]]] = [
        ("swatch", {**good_swatch, "key": key(), "stitches": "18"}),
        ("swatch", {**good_swatch, "key": key(), "stitches": "26"}),
        ("counts", {"key": key(), "count_back_sts": "104"}),
        ("counts", {"key": key(), "count_body_rows": "96"}),
        ("finished", {"key": key(), "state": "blocked", "read_chest_1": "93", "read_body_length_1": "32"}),
        ("yarn", {"key": key(), "metres": "1010"}),
        ("done", {}),
    ]

    for page, data in sends:
        assert as_tester.post(address(page), data).status_code == 302
        seen.append(next_thing(as_tester, address))

    assert seen == [
        "Make a swatch and send it",
        "Try another needle and swatch again",
        # Two swatches on one needle count together: 22 stitches in 10 cm.
        "Take your worksheet and begin",
        "Send counts as you work",
        "Measure the finished piece",
        "Say how much yarn it took",
        "Show it, and say how it fits",
        "You are done",
    ]


def test_a_piece_made_to_measure_begins_with_the_measures(skirt: Place, as_tester: Client) -> None:
    words = said(as_tester.get(reverse("reports:place", args=[skirt.pk])))

    assert "Give your measurements" in words


# -- swatch ------------------------------------------------------------------------------------------------


def test_a_swatch_is_answered_at_once(
    as_tester: Client, address: Address, good_swatch: dict[str, Any], place: Place
) -> None:
    response = as_tester.post(address("swatch"), good_swatch, follow=True)

    assert response.redirect_chain == [(address("swatch") + "#answer", 302)]
    assert "This will do Every finished measurement comes out as the pattern means it." in said(response)
    place.refresh_from_db()
    assert place.state == Place.State.GAUGE_AGREED


def test_a_swatch_that_will_not_do_is_told_what_comes_out_how_far_off_and_what_to_try(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    words = said(as_tester.post(address("swatch"), {**good_swatch, "stitches": "20"}, follow=True))

    # 104 stitches at 20 in 10 cm are 52 cm, twice that is 104; at 22 they are 94.5: 9.5 cm too much.
    assert "Not yet Chest circumference would come out 9.5 cm large; up to 2.5 cm is fine." in words
    assert "meant 94.5 cm, yours 104 cm +9.5 cm, too far fine up to 2.5 cm" in words
    assert re.search(r"\b3(\.\d+)? mm", words), "a smaller needle is advised"


def test_a_swatch_that_was_not_washed_is_to_be_measured_again_after_washing(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    unwashed = said(as_tester.post(address("swatch"), {**good_swatch, "state": "worked"}, follow=True))
    washed = said(as_tester.post(address("swatch"), {**good_swatch, "key": key()}, follow=True))

    assert "Your swatch was not washed." in unwashed
    assert "Your swatch was not washed." not in washed


def test_a_swatch_in_inches_is_kept_in_centimetres_and_shown_back_as_typed(
    in_inches: User, as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    data = {**good_swatch, "tool": "6", "width": "4", "stitches": "22 1/4", "height": "4 1/8", "rows": "31"}

    words = said(as_tester.post(address("swatch"), data, follow=True))

    swatch = Swatch.objects.get()
    assert (swatch.width, swatch.stitches, swatch.rows, swatch.tool_mm) == (10.16, 22.25, 31, 4.0)
    assert swatch.height == pytest.approx(4.125 * 2.54)
    assert swatch.typed == {
        "width": "4 in",
        "stitches": "22 1/4",
        "height": "4 1/8 in",
        "rows": "31",
        "tool": "6",
    }
    # 31 rows in 4 1/8 in are 29.6 in 10 cm: 96 rows make 32.4 cm, an eighth of an inch more than 32.
    assert "Hem to underarm is hit hardest and would come out 1/8 in large; up to 3/4 in is fine." in words
    sent = "22 1/4 stitches in 4 in; 31 rows in 4 1/8 in; US 6 (4 mm); measured blocked"
    assert sent in said(as_tester.get(address("sent")))


BAD_SWATCHES = [
    ({"width": "0"}, "“0” is not above zero; write the length, as in 10 cm."),
    ({"width": "-10"}, "is not above zero"),
    ({"width": "abc"}, "“abc” cannot be read as a number"),
    ({"width": "NaN"}, "“NaN” cannot be read as a number"),
    ({"stitches": "1e300"}, "“1e300” cannot be read as a number"),
    ({"stitches": "inf"}, "“inf” cannot be read as a number"),
    ({"stitches": "99999999"}, "is more than a million; check the number."),
    ({"stitches": "0"}, "There is at least a part of one in any swatch"),
    ({"width": ""}, "Write the width they were counted over too, or empty both."),
    ({"rows": ""}, "Write the rows you counted up it too, or empty both."),
    ({"width": "", "stitches": "", "height": "", "rows": ""}, "Write a width with its stitches"),
    ({"tool": "banana"}, "“banana” cannot be read as a number"),
    ({"gauge": "sleeve"}, "Select a valid choice."),
    ({"state": "wet"}, "Select a valid choice."),
    ({"key": ""}, "The form lost its number on the way."),
    ({"key": "1"}, "The form's number was changed on the way."),
]


@pytest.mark.parametrize(("wrong", "sentence"), BAD_SWATCHES)
def test_a_swatch_that_cannot_be_meant_comes_back_with_a_sentence_and_all_that_was_typed(
    wrong: dict[str, str],
    sentence: str,
    as_tester: Client,
    address: Address,
    good_swatch: dict[str, Any],
    place: Place,
) -> None:
    data = {**good_swatch, **wrong}

    response = as_tester.post(address("swatch"), data)

    assert response.status_code == 422
    assert sentence.split(", as in")[0].removesuffix(".") in said(response)
    assert {name: typed(response, name) for name in ("tool", "width", "stitches", "height", "rows")} == {
        name: data[name] for name in ("tool", "width", "stitches", "height", "rows")
    }
    assert not Swatch.objects.exists()
    assert not Submission.objects.exists()
    place.refresh_from_db()
    assert place.state == Place.State.TAKEN


def test_inches_sent_as_centimetres_are_asked_about_and_kept_when_they_are_right(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    data = {**good_swatch, "width": "4", "stitches": "22"}

    asked = as_tester.post(address("swatch"), data)
    assert asked.status_code == 422
    assert "Are these inches, written as centimetres?" in said(asked)
    assert not Swatch.objects.exists()

    kept = as_tester.post(address("swatch"), {**data, "keep": "on"})
    assert kept.status_code == 302
    assert Swatch.objects.get().width == 4


def test_two_submissions_of_one_form_are_one_swatch_with_one_answer(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    answers = [as_tester.post(address("swatch"), good_swatch) for _ in range(2)]

    assert [(answer.status_code, answer.url) for answer in answers] == [
        (302, address("swatch") + "#answer")
    ] * 2
    assert Swatch.objects.count() == 1


def test_a_form_changed_after_it_was_sent_comes_back_under_a_new_number(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), good_swatch)

    response = as_tester.post(address("swatch"), {**good_swatch, "stitches": "23"})

    assert response.status_code == 422
    assert "This form had already been sent and has arrived." in said(response)
    assert typed(response, "stitches") == "23"
    fresh = typed(response, "key")
    assert fresh != good_swatch["key"]
    again = as_tester.post(address("swatch"), {**good_swatch, "stitches": "23", "key": fresh})
    assert again.status_code == 302
    assert sorted(Swatch.objects.values_list("stitches", flat=True)) == [22, 23]


def test_a_swatch_is_corrected_from_what_was_sent(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), {**good_swatch, "stitches": "26 1/2"})
    page = address("swatch") + f"?corrects={Swatch.objects.get().pk}"
    assert page in html.unescape(as_tester.get(address("sent")).content.decode())

    form = as_tester.get(page)
    assert typed(form, "stitches") == "26 1/2"
    assert typed(form, "width") == "10 cm"
    as_tester.post(page, {**good_swatch, "key": key()})

    current = Swatch.objects.get(superseded_at=None)
    assert current.stitches == 22
    assert Swatch.objects.count() == 2


def test_a_correction_sent_twice_is_one_and_a_second_correction_of_the_same_is_refused(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), {**good_swatch, "stitches": "26"})
    page = address("swatch") + f"?corrects={Swatch.objects.get().pk}"
    correction = {**good_swatch, "key": key()}

    answers = [as_tester.post(page, correction).status_code for _ in range(2)]
    second = as_tester.post(page, {**good_swatch, "key": key(), "stitches": "24"})

    assert answers == [302, 302]
    assert second.status_code == 422
    assert "That one had been corrected already." in said(second)
    assert [row.stitches for row in Swatch.objects.filter(superseded_at=None)] == [22]


def test_where_no_needle_helps_the_next_thing_is_not_another_swatch(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    # 96 rows at 25 in 10 cm are 38.4 cm instead of 32; the stitches are right.
    as_tester.post(address("swatch"), {**good_swatch, "rows": "25"})

    assert next_thing(as_tester, address) == "Take your worksheet and begin by the tape"


@pytest.mark.parametrize("which", ["0", "abc", "-1", "9" * 30, "another"])
def test_only_an_own_row_is_corrected(
    which: str, as_tester: Client, address: Address, place: Place, stranger: User
) -> None:
    other = Place.objects.create(round=place.round, key="t02", name="Two", tester=stranger, size="M")
    swatch_submit(
        place=other, key=uuid.uuid4(), by=stranger, gauge="body", state="blocked", width=10.0, stitches=22.0
    )
    pk = Swatch.objects.get().pk if which == "another" else which

    assert as_tester.get(address("swatch") + f"?corrects={pk}").status_code == 404


# -- counts ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "question"),
    [
        ("12", "Please count once more, or say that it is right."),
        ("52", "Was half of it counted?"),
        ("140", "Were two digits swapped?"),
    ],
)
def test_a_count_that_can_hardly_be_meant_is_asked_about_once(
    typed: str, question: str, as_tester: Client, address: Address, place: Place
) -> None:
    sent = {"key": key(), "count_back_sts": typed, "count_body_rows": "96"}

    asked = as_tester.post(address("counts"), sent)

    assert asked.status_code == 422
    assert f"Back, cast on is given as {typed}, and the text says 104. {question}" in said(asked)
    assert "It is right, keep it" in said(asked)
    assert not Count.objects.filter(place=place).exists()

    as_tester.post(address("counts"), {**sent, "keep_back_sts": "on"})

    assert dict(Count.objects.filter(place=place).values_list("number", "worked")) == {
        "back_sts": float(typed),
        "body_rows": 96.0,
    }


def test_counts_are_sent_a_few_at_a_time(as_tester: Client, address: Address) -> None:
    page = as_tester.get(address("counts"))
    assert "Back, step 1 Back, cast on The text says 104 stitches." in said(page)

    response = as_tester.post(
        address("counts"), {"key": key(), "count_back_sts": "102", "count_body_rows": ""}
    )

    assert response.url == address("place")
    assert list(Count.objects.values_list("number", "worked")) == [("back_sts", 102)]
    assert "You sent 102." in said(as_tester.get(address("counts")))


@pytest.mark.parametrize("value", ["1e300", "-4", "NaN", "abc", "inf"])
def test_one_count_that_cannot_be_meant_keeps_all_from_being_stored(
    value: str, as_tester: Client, address: Address
) -> None:
    response = as_tester.post(
        address("counts"), {"key": key(), "count_back_sts": "104", "count_body_rows": value}
    )

    assert response.status_code == 422
    assert typed(response, "count_back_sts") == "104"
    assert typed(response, "count_body_rows") == value
    assert 'id="id_count_body_rows_error"' in response.content.decode()
    assert not Count.objects.exists()
    assert not Submission.objects.exists()


@pytest.mark.parametrize("page", [page for page in PAGES if page not in READ_ONLY])
def test_a_post_with_nothing_at_all_comes_back(page: str, as_tester: Client, address: Address) -> None:
    response = as_tester.post(address(page))

    assert response.status_code == 422
    assert "The form lost its number on the way." in said(response)


@pytest.mark.parametrize("page", ["counts", "finished", "fit", "guess", "yarn"])
def test_a_form_with_nothing_in_it_comes_back(page: str, as_tester: Client, address: Address) -> None:
    response = as_tester.post(address(page), {"key": key(), "state": "blocked"})

    assert response.status_code == 422
    assert "Nothing is" in said(response)
    assert not Submission.objects.exists()


# -- finished measurements ---------------------------------------------------------------------------------


def test_repeat_readings_are_kept_in_their_order_and_as_typed(
    in_inches: User, as_tester: Client, address: Address
) -> None:
    response = as_tester.post(
        address("finished"),
        {
            "key": key(),
            "state": "blocked",
            "read_chest_1": "37 1/4",
            "read_chest_2": "37",
            "read_chest_3": "94.5 cm",
        },
    )

    assert response.status_code == 302
    row = Finished.objects.get()
    assert row.values == [pytest.approx(94.615), pytest.approx(93.98), pytest.approx(94.5)]
    assert row.typed == {"values": ["37 1/4 in", "37 in", "94.5 cm"]}
    assert "You sent 37 1/4 in, 37 in, 94.5 cm." in said(as_tester.get(address("finished")))


def test_the_page_says_how_each_one_is_measured(as_tester: Client, address: Address) -> None:
    words = said(as_tester.get(address("finished")))

    assert "measure straight across under the arms, then double." in words


@pytest.mark.parametrize(
    ("reading", "question"),
    [
        ("47", "Was it measured across one side only, and not all the way round?"),
        ("37", "Are these inches, written as centimetres?"),
        ("59", "Were two digits swapped?"),
        ("945", "Are these millimetres, or is the decimal point missing?"),
        ("32", "It is about what Hem to underarm should be: was that measured instead?"),
        ("61", "Please measure once more, or say that it is right."),
    ],
)
def test_an_odd_measurement_is_asked_about_with_the_likely_cause_and_kept_when_it_is_right(
    reading: str, question: str, as_tester: Client, address: Address
) -> None:
    data = {"key": key(), "state": "blocked", "read_chest_1": reading, "read_body_length_1": "32"}

    asked = as_tester.post(address("finished"), data)
    assert asked.status_code == 422
    assert question in said(asked)
    assert typed(asked, "read_chest_1") == reading
    assert 'name="keep_chest"' in asked.content.decode()
    assert 'name="keep_body_length"' not in asked.content.decode()
    assert not Finished.objects.exists()

    kept = as_tester.post(address("finished"), {**data, "keep_chest": "on"})
    assert kept.status_code == 302
    assert Finished.objects.get(dimension="chest").values == [float(reading)]


def test_what_the_designer_wrote_is_never_taken_for_the_pages_own_markup(
    as_tester: Client, address: Address, edition: Edition
) -> None:
    attack = "<script>alert(1)</script>"
    edition.sheet["dimensions"][0].update(label=attack, how=attack)
    edition.sheet["numbers"][0].update(label=attack, place=attack)
    edition.sheet["measures"][0].update(label=attack, how=attack)
    edition.sheet["gauges"][0].update(label=attack)
    edition.sheet["parts"][0].update(label=attack)
    edition.save()

    harmless = []
    for page in PAGES:
        if page != "worksheet_pdf":
            answers = [as_tester.get(address(page)), as_tester.post(address(page), {"key": "wrong"})]
            assert all(attack not in answer.content.decode() for answer in answers)
            if any("&lt;script&gt;" in answer.content.decode() for answer in answers):
                harmless.append(page)
    assert {"swatch", "counts", "finished", "sitting", "measures", "worksheet"} <= set(harmless)


# -- body measurements -------------------------------------------------------------------------------------


def test_who_sees_body_measurements_is_said_before_they_are_given(
    as_tester: Client, address: Address
) -> None:
    words = said(as_tester.get(address("measures")))

    assert words.index("Who sees them") < words.index("Full bust")


@pytest.mark.parametrize(
    ("typed_in", "question"), [("36", "inches"), ("3", "inches"), ("900", "millimetres")]
)
def test_an_absurd_body_measurement_is_asked_about(
    typed_in: str, question: str, as_tester: Client, address: Address, place: Place
) -> None:
    asked = as_tester.post(address("measures"), {"key": key(), "body_bust": typed_in})

    assert asked.status_code == 422
    assert question in said(asked)
    assert typed(asked, "body_bust") == typed_in
    place.refresh_from_db()
    assert place.measures == {}


def test_body_measurements_are_kept_shown_back_and_taken_back(
    in_inches: User, as_tester: Client, address: Address, place: Place
) -> None:
    as_tester.post(address("measures"), {"key": key(), "body_bust": "34 1/2"})
    place.refresh_from_db()
    assert place.measures == {"bust": pytest.approx(87.63)}
    assert typed(as_tester.get(address("measures")), "body_bust") == "34 1/2 in"

    as_tester.post(address("measures"), {"key": key(), "body_bust": ""})
    place.refresh_from_db()
    assert place.measures == {}


def test_a_piece_made_to_measure_needs_every_measure(skirt: Place, as_tester: Client) -> None:
    page = reverse("reports:measures", args=[skirt.pk])

    response = as_tester.post(page, {"key": key(), "body_waist": "70"})

    assert response.status_code == 422
    assert "Full hip : Your numbers are worked out from this one; write it in." in said(response)
    assert typed(response, "body_waist") == "70"


def test_a_piece_made_to_measure_gets_its_own_numbers(skirt: Place, as_tester: Client) -> None:
    def page(name: str) -> str:
        return reverse(f"reports:{name}", args=[skirt.pk])

    as_tester.post(page("measures"), {"key": key(), "body_waist": "70", "body_hip": "96"})
    swatch = {"key": key(), "gauge": "sc", "state": "blocked", "width": "10", "stitches": "18"}
    answer = as_tester.post(page("swatch"), {**swatch, "height": "10", "rows": "20"}, follow=True)

    assert "This will do Your own numbers are worked out from this gauge." in said(answer)
    # 70 cm at 18 in 10 cm is 126; the nearest multiple of 4, halves going up, is 128.
    assert "Foundation single crochet 128 stitches" in said(as_tester.get(page("worksheet")))
    # Nothing is printed for one maker: the numbers are the worksheet's.
    assert "Your worksheet says 128 stitches." in said(as_tester.get(page("counts")))


def test_a_shaping_stands_among_the_numbers_in_words_on_the_page_and_on_paper(
    place: Place, as_tester: Client, address: Address
) -> None:
    # Size S prints 104 stitches; ten fewer two at a time are 5 times, and 48 rows = 2 · 9 + 3 · 10.
    edition = place.round.edition
    waist = {"key": "waist", "label": "Waist", "start": "back_sts", "end": "back_sts - 10", "over": "48"}
    edition.sheet["shapings"] = [{**waist, "each": 2, "places": 2, "at": "each end"}]
    edition.save()

    page = said(as_tester.get(address("worksheet")))
    paper = as_tester.get(address("worksheet_pdf"))

    words = "Decrease 1 stitch at each end of every 9th row twice, then of every 10th row 3 times."
    text = " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(paper.content)).pages)
    assert f"Waist 104 to 94 stitches over 48 rows {words}" in page
    assert f"Waist: 104 to 94 stitches over 48 rows {words}" in re.sub(r"\s+", " ", text)


@pytest.mark.parametrize(
    ("written_in", "label", "reads", "said_as"),
    [
        ("us", "Foundation double crochet", "us", "Foundation double crochet"),
        ("us", "Foundation double crochet", "uk", "Foundation treble"),
        ("uk", "Foundation double crochet", "uk", "Foundation double crochet"),
        ("uk", "Foundation double crochet", "us", "Foundation single crochet"),
    ],
)
def test_crochet_terms_are_in_the_testers_own_dialect_on_the_page_and_on_paper(
    written_in: str,
    label: str,
    reads: str,
    said_as: str,
    skirt: Place,
    tester: User,
    as_tester: Client,
) -> None:
    tester.terms = reads
    tester.save()
    edition = skirt.round.edition
    edition.terms = written_in
    edition.sheet["gauges"][0]["label"] = "Fabric"
    edition.sheet["numbers"][0]["label"] = label
    edition.save()

    page = said(as_tester.get(reverse("reports:worksheet", args=[skirt.pk])))
    paper = as_tester.get(reverse("reports:worksheet_pdf", args=[skirt.pk]))

    text = " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(paper.content)).pages)
    assert said_as in page
    assert said_as in re.sub(r"\s+", " ", text)


# -- the smaller forms -------------------------------------------------------------------------------------


def test_a_long_sitting_brings_a_reminder_to_rest(as_tester: Client, address: Address) -> None:
    data = {"key": key(), "part": "back", "hours": "4:30", "done": "40"}

    words = said(as_tester.post(address("sitting"), data, follow=True))

    assert "Your hours have arrived. That was a sitting of 4.5 hours. Pause, stretch and rest" in words
    row = Sitting.objects.get()
    assert (row.part, row.hours, row.done, row.typed) == ("back", 4.5, 0.4, {"hours": "4:30", "done": "40"})


def test_a_short_sitting_brings_none(as_tester: Client, address: Address) -> None:
    words = said(as_tester.post(address("sitting"), {"key": key(), "hours": "0:45"}, follow=True))

    assert "Your hours have arrived." in words
    assert "Pause, stretch" not in words


@pytest.mark.parametrize("hours", ["", "0", "-1", "abc", "1e300", "NaN", "9000"])
def test_hours_that_cannot_be_meant_come_back(hours: str, as_tester: Client, address: Address) -> None:
    response = as_tester.post(address("sitting"), {"key": key(), "hours": hours, "done": "40"})

    assert response.status_code == 422
    assert typed(response, "hours") == hours
    assert typed(response, "done") == "40"
    assert not Sitting.objects.exists()


def test_a_remark_is_tied_to_a_place_in_the_text(as_tester: Client, address: Address) -> None:
    data = {"key": key(), "where": "Back, step 3", "kind": "unclear", "remark": "Which side faces me?"}

    assert as_tester.post(address("remark"), data).status_code == 302

    row = Remark.objects.get()
    assert (row.where, row.kind, row.text) == ("Back, step 3", "unclear", "Which side faces me?")


def test_a_remark_can_say_the_place_in_other_words(as_tester: Client, address: Address) -> None:
    data = {"key": key(), "where": "", "where_other": "Page 4, foot", "kind": "typo", "remark": "“teh”"}

    as_tester.post(address("remark"), data)

    assert Remark.objects.get().where == "Page 4, foot"


@pytest.mark.parametrize(
    "wrong", [{"remark": ""}, {"remark": "x" * 5001}, {"where": "Nowhere"}, {"kind": "rude"}]
)
def test_a_remark_that_cannot_be_taken_comes_back(
    wrong: dict[str, str], as_tester: Client, address: Address
) -> None:
    data = {"key": key(), "where": "", "where_other": "Page 4", "kind": "typo", "remark": "Here", **wrong}

    response = as_tester.post(address("remark"), data)

    assert response.status_code == 422
    assert typed(response, "where_other") == "Page 4"
    assert not Remark.objects.exists()


def test_fit_yarn_and_guess_are_kept_and_shown_again(
    as_tester: Client, address: Address, place: Place
) -> None:
    as_tester.post(address("fit"), {"key": key(), "fit_chest": "too-small"})
    as_tester.post(address("yarn"), {"key": key(), "metres": "1100 yd", "grams": "505"})
    as_tester.post(address("guess"), {"key": key(), "hours": "35"})

    place.refresh_from_db()
    assert (place.used_metres, place.used_grams) == (pytest.approx(1005.84), 505)
    assert (place.guess_hours, place.guess_metres) == (35, None)
    assert '<option value="too-small" selected>' in as_tester.get(address("fit")).content.decode()
    assert typed(as_tester.get(address("yarn")), "metres") == "1100 yd"
    assert typed(as_tester.get(address("guess")), "hours") == "35"


@pytest.mark.parametrize(
    ("page", "field"), [("yarn", "metres"), ("yarn", "grams"), ("guess", "hours"), ("guess", "metres")]
)
@pytest.mark.parametrize("value", ["0", "-1", "1e300", "NaN", "abc"])
def test_amounts_that_cannot_be_meant_come_back(
    page: str, field: str, value: str, as_tester: Client, address: Address, place: Place
) -> None:
    response = as_tester.post(address(page), {"key": key(), field: value})

    assert response.status_code == 422
    assert typed(response, field) == value
    assert not Submission.objects.exists()


# -- looking back, and paper -------------------------------------------------------------------------------


def test_what_was_sent_is_shown_as_typed_newest_first_with_what_no_longer_counts(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), good_swatch)
    as_tester.post(address("counts"), {"key": key(), "count_back_sts": "102"})
    as_tester.post(address("counts"), {"key": key(), "count_back_sts": "104"})
    as_tester.post(address("measures"), {"key": key(), "body_bust": "87,5"})

    response = as_tester.get(address("sent"))

    words = said(response)
    order = ["Your own measurements", "104 stitches", "102 stitches", "22 stitches in 10 cm"]
    assert [words.index(what) for what in order] == sorted(words.index(what) for what in order)
    assert "Full bust 87,5 cm" in words
    assert "<s>102 stitches</s>" in response.content.decode()
    assert "<s>104 stitches</s>" not in response.content.decode()


def test_what_came_late_is_marked_and_taken(as_tester: Client, address: Address, a_round: Round) -> None:
    a_round.state = Round.State.CLOSED
    a_round.save()

    answer = as_tester.post(address("counts"), {"key": key(), "count_back_sts": "104"}, follow=True)

    assert "It came after the date; it is taken all the same, and marked as late." in said(answer)
    assert "Came after the date." in said(as_tester.get(address("sent")))


@pytest.mark.parametrize(("paper", "points"), [("", (595, 842)), ("?paper=letter", (612, 792))])
def test_the_worksheet_comes_on_either_paper(
    paper: str, points: tuple[int, int], as_tester: Client, address: Address
) -> None:
    response = as_tester.get(address("worksheet_pdf") + paper)

    assert response.headers["Content-Type"] == "application/pdf"
    assert 'filename="worksheet-little-top-s-tester-one.pdf"' in response.headers["Content-Disposition"]
    page = PdfReader(io.BytesIO(response.content)).pages[0]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == points
    assert "Back, cast on" in page.extract_text()


# -- how often the database is asked -----------------------------------------------------------------------


@pytest.mark.parametrize("page", [page for page in PAGES if page != "worksheet_pdf"])
def test_a_page_asks_the_database_as_often_for_much_as_for_little(
    page: str,
    as_tester: Client,
    address: Address,
    place: Place,
    good_swatch: dict[str, Any],
    django_assert_num_queries: Any,
) -> None:
    def send_one_of_each(n: int) -> None:
        as_tester.post(address("swatch"), {**good_swatch, "key": key(), "stitches": f"{21 + n}"})
        as_tester.post(address("counts"), {"key": key(), "count_back_sts": f"{100 + n}"})
        as_tester.post(address("finished"), {"key": key(), "state": "blocked", "read_chest_1": f"{90 + n}"})
        as_tester.post(address("sitting"), {"key": key(), "hours": f"{n}"})
        as_tester.post(address("remark"), {"key": key(), "kind": "typo", "remark": f"{n}"})
        as_tester.post(address("fit"), {"key": key(), "fit_chest": "right"})
        as_tester.post(address("yarn"), {"key": key(), "metres": f"{1000 + n}"})
        as_tester.post(address("measures"), {"key": key(), "body_bust": f"{85 + n}"})

    send_one_of_each(1)
    as_tester.get(address(page))
    with CaptureQueriesContext(connection) as little:
        as_tester.get(address(page))
    asked = len(little)
    for n in range(2, 5):
        send_one_of_each(n)
    as_tester.get(address(page))

    with django_assert_num_queries(asked):
        as_tester.get(address(page))


@pytest.mark.parametrize("n_places", [1, 3])
def test_the_list_costs_the_same_for_one_place_or_three(
    n_places: int, as_tester: Client, place: Place, tester: User, django_assert_num_queries: Any
) -> None:
    for n in range(1, n_places):
        Place.objects.create(round=place.round, key=f"t{n + 1:02d}", name="One", tester=tester, size="M")

    # Session, user, how many places, the places with their rounds; swatches, counts and finished measurements of all.
    with django_assert_num_queries(7):
        response = as_tester.get(reverse("reports:places"))

    assert len(response.context["page"].object_list) == n_places
