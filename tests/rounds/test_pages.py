from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.outbox.mailbox import mails
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.rounds import services
from testround.rounds.models import DiaryEntry, Invitation, Nudge, Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.selectors import round_page

SignIn = Callable[[User], Client]


def errors_of(response: Any) -> dict[str, list[str]]:
    return {field: list(errors) for field, errors in response.context["form"].errors.items()}


@pytest.fixture
def pages(offered: Place) -> dict[str, str]:
    """Every page of a round that its designer opens, by name."""
    code = offered.round.code
    of_round = ("detail", "edit", "move", "diary", "yarns", "places", "place_new")
    of_place = ("place_edit", "place_give_back", "invite")
    return {name: reverse(f"rounds:{name}", args=[code]) for name in of_round} | {
        name: reverse(f"rounds:{name}", args=[code, offered.pk]) for name in of_place
    }


def test_every_page_of_a_round_opens_for_its_designer(
    signed_in: SignIn, designer: User, pages: dict[str, str]
) -> None:
    client = signed_in(designer)

    assert {name: client.get(page).status_code for name, page in pages.items()} == dict.fromkeys(pages, 200)


def test_no_page_of_a_round_is_there_for_anybody_else(
    signed_in: SignIn, other_designer: User, tester: User, link: str, pages: dict[str, str]
) -> None:
    for person in (other_designer, tester):
        client = signed_in(person)

        assert {name: client.get(page).status_code for name, page in pages.items()} == dict.fromkeys(
            pages, 404
        )
        assert {
            name: client.post(page, {"state": "closed"}).status_code
            for name, page in pages.items()
            if name not in ("detail", "diary", "places")
        } == {name: 404 for name in pages if name not in ("detail", "diary", "places")}


def test_signed_out_every_page_asks_to_sign_in(client: Client, pages: dict[str, str]) -> None:
    for page in [*pages.values(), reverse("rounds:list")]:
        response = client.get(page)

        assert (response.status_code, response["Location"]) == (302, f"/account/login/?next={page}")


# -- the list ----------------------------------------------------------------------------------------------


def test_the_list_has_my_rounds_and_nobody_elses(
    signed_in: SignIn, designer: User, other_designer: User, offered: Place
) -> None:
    mine = signed_in(designer).get(reverse("rounds:list"))
    theirs = signed_in(other_designer).get(reverse("rounds:list"))

    assert [(round, round.place_count, round.held_count) for round in mine.context["page"]] == [
        (offered.round, 1, 0)
    ]
    assert list(theirs.context["page"]) == []


@pytest.mark.parametrize("n", [1, 4])
def test_the_list_costs_the_same_for_one_round_or_four(
    signed_in: SignIn, designer: User, edition: Edition, n: int, django_assert_num_queries: Any
) -> None:
    for number in range(n):
        round = Round.objects.create(edition=edition, title=f"Round {number}")
        Place.objects.create(round=round, key="t01", name="One", size="S")
    client = signed_in(designer)

    with django_assert_num_queries(4):  # session, user, how many, rounds with counts
        response = client.get(reverse("rounds:list"))

    assert len(response.context["page"]) == n


# -- opening -----------------------------------------------------------------------------------------------


def plan(**changed: str) -> dict[str, str]:
    """What the form of a round sends."""
    return {
        "title": "First test",
        "opens": "2027-01-11",
        "swatches_due": "2027-01-25",
        "closes": "2027-03-08",
        "terms": "Show nothing before publication.",
        "least_0": "1",
        "most_0": "",
        "least_1": "2",
        "most_1": "3",
        "least_2": "",
        "most_2": "",
    } | changed


def test_a_round_is_opened_on_a_page(signed_in: SignIn, designer: User, edition: Edition) -> None:
    client = signed_in(designer)

    shown = client.get(reverse("rounds:new", args=[edition.pk]))
    response = client.post(reverse("rounds:new", args=[edition.pk]), plan())

    round = Round.objects.get()
    edition.refresh_from_db()
    assert "who sees measurements and photos" in shown.content.decode()
    assert "pain is a matter for a health professional" in shown.content.decode()
    assert (response.status_code, response["Location"]) == (302, round.get_absolute_url())
    assert round.places_plan == {"least": {"XS": 1, "S": 2}, "most": {"S": 3}}
    assert (round.opens, round.closes) == (dt.date(2027, 1, 11), dt.date(2027, 3, 8))
    assert edition.is_frozen


@pytest.mark.parametrize(
    ("changed", "errors"),
    [
        ({"title": ""}, {"title": ["Give the round a title, as in “First test”."]}),
        (
            {"closes": "soon"},
            {"closes": ["This is no date: write year, month and day, as in 2027-01-25."]},
        ),
        (
            {"closes": "2027-01-12"},
            {
                "closes": [
                    "The round cannot close before it opens and its swatches are due: pick a later date."
                ]
            },
        ),
        ({"least_1": "1e300"}, {"least_1": ["Write a whole number from 0 to 20000."]}),
        ({"least_1": "-1"}, {"least_1": ["Write a whole number from 0 to 20000."]}),
        ({"least_1": "5"}, {"most_1": ["Size S takes at most 3 but needs at least 5: raise one."]}),
    ],
)
def test_a_refused_plan_comes_back_with_its_sentences_and_what_was_typed(
    signed_in: SignIn, designer: User, edition: Edition, changed: dict[str, str], errors: dict[str, list[str]]
) -> None:
    typed = plan(terms="Terms of my own.", **changed)

    response = signed_in(designer).post(reverse("rounds:new", args=[edition.pk]), typed)

    assert response.status_code == 422
    assert errors_of(response) == errors
    assert {name: response.context["form"][name].value() for name in typed} == typed
    assert "Terms of my own." in response.content.decode()
    assert not Round.objects.exists()


def test_an_edition_with_problems_has_no_form_but_says_what_to_mend(
    signed_in: SignIn, designer: User, little_top: dict[str, Any]
) -> None:
    little_top["numbers"][0]["formula"] = "bust * waist"
    pattern = Pattern.objects.create(owner=designer, title="Broken")
    broken = Edition.objects.create(pattern=pattern, label="1.0", sheet=little_top)

    response = signed_in(designer).get(reverse("rounds:new", args=[broken.pk]))

    assert response.status_code == 422
    assert "numbers[0].formula" in response.content.decode()


def test_another_designers_edition_is_not_there(
    signed_in: SignIn, other_designer: User, edition: Edition
) -> None:
    response = signed_in(other_designer).post(reverse("rounds:new", args=[edition.pk]), plan())

    assert response.status_code == 404
    assert not Round.objects.exists()


def test_dates_are_changed_on_a_page(signed_in: SignIn, designer: User, opened: Round) -> None:
    page = reverse("rounds:edit", args=[opened.code])
    client = signed_in(designer)

    shown = client.get(page).context["form"]
    response = client.post(page, plan(closes="2027-04-01"))
    refused = client.post(page, plan(closes="2026-04-01"))

    opened.refresh_from_db()
    assert (shown["closes"].value(), shown["least_1"].value()) == (dt.date(2027, 3, 8), 2)
    assert response.status_code == 302
    assert refused.status_code == 422
    assert opened.closes == dt.date(2027, 4, 1)


# -- moving ------------------------------------------------------------------------------------------------


def test_one_press_moves_a_round_on(signed_in: SignIn, designer: User, opened: Round) -> None:
    response = signed_in(designer).post(reverse("rounds:move", args=[opened.code]), {"state": "gathering"})

    opened.refresh_from_db()
    assert (response.status_code, opened.state) == (302, "gathering")


def test_a_move_that_cannot_be_is_refused_on_the_page(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    services.round_move(round=opened, state="measuring", by=designer)

    response = signed_in(designer).post(
        reverse("rounds:move", args=[opened.code]), {"state": "planned", "cause": "once more from the start"}
    )

    opened.refresh_from_db()
    assert (response.status_code, opened.state) == (422, "measuring")
    assert errors_of(response) == {
        "state": ["A round cannot go there from where it is: choose one of the states offered."]
    }
    assert "once more from the start" in response.content.decode()


# -- the page of a round -----------------------------------------------------------------------------------


def seat(round: Round, number: int, **values: Any) -> Place:
    return Place.objects.create(
        round=round,
        key=f"p{number:03d}",
        name=f"Person {number}",
        **({"size": "S", "state": "taken"} | values),
    )


def test_the_page_of_a_round_counts_each_size_at_each_stage(opened: Round) -> None:
    seat(opened, 1, size="XS", state="making")
    seat(opened, 2, state="taken")
    seat(opened, 3, state="offered")
    seat(opened, 4, size="M", state="done")
    seat(opened, 5, size="M", state="given back")

    page = round_page(opened, today=dt.date(2027, 1, 20))

    found = {
        row.size: ({cell.state: cell.count for cell in row.cells if cell.count}, row.on_course, row.sentence)
        for row in page.rows
    }
    assert found == {
        "XS": ({"making": 1}, True, "on course"),
        "S": ({"offered": 1, "taken": 1}, False, "1 of 2 held; 1 offered, not yet taken"),
        "M": ({"done": 1}, True, "all measured"),
    }
    assert page.answer == "Not quite: look at S."
    assert (page.place_count, page.held_count, page.measured_count, page.given_back) == (4, 3, 1, 1)


def test_a_made_to_measure_round_has_one_row(designer: User, little_top: dict[str, Any]) -> None:
    little_top |= {"kind": "made-to-measure", "sizes": []}
    del little_top["measures"][0]["values"]
    for number in little_top["numbers"]:
        del number["printed"]
    pattern = Pattern.objects.create(owner=designer, title="Quillwork Skirt")
    edition = Edition.objects.create(pattern=pattern, label="1.0", sheet=little_top)
    round = services.round_open(edition=edition, by=designer, title="To measure")
    services.place_add(round=round, name="Ash", size=None, measures={"bust": 91.4}, by=designer)

    page = round_page(round, today=dt.date(2027, 1, 20))

    assert [(row.size, row.sentence) for row in page.rows] == [
        (None, "0 of 1 held; 1 offered, not yet taken")
    ]
    assert page.answer == "Not quite: 0 of 1 held; 1 offered, not yet taken."
    with pytest.raises(Refused, match="made to measure: leave the size empty"):
        services.place_add(round=round, name="Oak", size="S", by=designer)


def test_testers_of_a_file_who_have_no_size_yet_are_not_lost(opened: Round) -> None:
    seat(opened, 1, size=None)

    page = round_page(opened, today=dt.date(2027, 1, 20))

    assert [row.size for row in page.rows] == ["XS", "S", "M", None]
    assert [place.name for place in page.rows[-1].cells[1].places] == ["Person 1"]


def test_who_is_late_is_told_by_what_is_missing_and_since_when(opened: Round) -> None:
    seat(opened, 1, state="taken")
    seat(opened, 2, state="making")
    seat(opened, 3, state="measured")
    seat(opened, 4, state="offered")

    def late_on(day: dt.date) -> list[tuple[str, str, int]]:
        return [(late.place.name, late.what, late.days) for late in round_page(opened, today=day).late]

    assert late_on(dt.date(2027, 1, 25)) == []
    assert late_on(dt.date(2027, 1, 27)) == [("Person 1", "swatch", 2)]
    assert late_on(dt.date(2027, 3, 9)) == [
        ("Person 1", "finished measurements", 1),
        ("Person 2", "finished measurements", 1),
    ]


def test_whoever_is_late_for_the_longest_is_named_first_until_a_word_was_sent(
    opened: Round, tester: User
) -> None:
    for number in (1, 2):
        seat(opened, number, state="taken", tester=tester if number == 2 else None)
    late = opened.places.get(tester=tester)
    day = dt.date(2027, 1, 27)

    def steps(**rights: bool) -> list[tuple[str, str, str]]:
        page = round_page(opened, today=day, **rights)
        return [(step.sentence, step.action, step.url) for step in page.next_steps][:2]

    nudge = reverse("rounds:nudge", args=[opened.code, late.pk])
    named = ("Person 2's swatch is 2 days late.", "Nudge Person 2", nudge)
    dates = (
        "2 people are late. A later date for everybody?",
        "Change the dates",
        reverse("rounds:edit", args=[opened.code]),
    )
    assert steps() == [named, dates]
    assert steps(may_nudge=False)[0] == dates

    Nudge.objects.create(place=late, person=tester, day=day - dt.timedelta(days=1))

    assert steps()[0] == dates


def test_a_round_of_nobody_leads_to_its_call(edition: Edition, designer: User) -> None:
    round = services.round_open(edition=edition, title="Empty", by=designer)

    def steps() -> list[tuple[str, str]]:
        return [
            (step.sentence, step.action) for step in round_page(round, today=dt.date(2027, 1, 12)).next_steps
        ]

    written = steps()
    round.call_code = "a-code"

    add = ("No place yet for XS, S, M.", "Add places")
    assert written == [
        ("Nobody is in it yet: write a call that anybody can answer, or add those you know.", "Find testers"),
        add,
    ]
    assert steps() == [("No offer counts so far.", "See the call"), add]


def test_a_size_of_which_the_plan_wants_nobody_asks_for_no_place(edition: Edition, designer: User) -> None:
    round = services.round_open(
        edition=edition,
        title="Two sizes",
        places_plan={"least": {"XS": 0, "M": 0}, "most": {"M": 0}},
        by=designer,
    )
    page = round_page(round, today=dt.date(2027, 1, 12))

    assert [step.sentence for step in page.next_steps][-1] == "No place yet for S."
    assert {row.size: (row.on_course, row.sentence) for row in page.rows} == {
        "XS": (True, "needs nobody"),
        "S": (False, "0 of 1 held; add a place and invite"),
        "M": (True, "not to be tested"),
    }


def test_the_next_steps_follow_from_what_is_missing(opened: Round, designer: User) -> None:
    def steps() -> list[tuple[str, str]]:
        return [
            (step.sentence, step.action) for step in round_page(opened, today=dt.date(2027, 1, 12)).next_steps
        ]

    empty = steps()
    places = [
        services.place_add(round=opened, name=name, size=size, by=designer)
        for name, size in (("Ash", "XS"), ("Oak", "S"), ("Yew", "S"), ("Elm", "M"))
    ]
    unlinked = steps()
    for place in places:
        services.invitation_create(place=place, by=designer)

    assert empty[1:] == [("No place yet for XS, S, M.", "Add places")]
    assert unlinked == [("Ash and 3 more cannot join yet: there is no open link.", "Invite Ash")]
    assert steps() == []


def test_a_cell_shows_the_first_names_and_how_many_more(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    for number in range(30):
        seat(opened, number)

    response = signed_in(designer).get(opened.get_absolute_url())

    cell = next(cell for row in response.context["page"].rows for cell in row.cells if cell.count)
    assert (len(cell.places), cell.count, cell.more) == (8, 30, 22)
    assert "and 22 more" in response.content.decode()


@pytest.mark.parametrize("n", [2, 30])
def test_the_page_of_a_round_costs_the_same_for_two_places_or_thirty(
    signed_in: SignIn, designer: User, opened: Round, n: int, django_assert_num_queries: Any
) -> None:
    for number in range(n):
        services.diary_write(round=opened, text="Something", by=designer, place=seat(opened, number))
    client = signed_in(designer)

    # session, user, round with its edition, places with their links, how many offer, what fell free, diary, yarns;
    # for the forecast places again, swatches, counts, finished measurements, sittings, and twice what they hold;
    # before and after it, of all that a page of a round rests on, what it says and which links have run out
    with django_assert_num_queries(24):
        response = client.get(opened.get_absolute_url())
    # session, user, round, and those again: the page is kept
    with django_assert_num_queries(6):
        client.get(opened.get_absolute_url())

    assert response.context["page"].place_count == n


@pytest.mark.parametrize("n", [1, 5])
def test_lists_of_places_and_of_the_diary_cost_the_same_for_one_row_or_five(
    signed_in: SignIn, designer: User, opened: Round, n: int, django_assert_num_queries: Any
) -> None:
    for number in range(n):
        services.diary_write(round=opened, text="Something", by=designer, place=seat(opened, number))
    client = signed_in(designer)

    # session, user, round, how many, rows, stages; and of what is kept, twice what it rests on and which links have
    # run out
    for page, queries in (("places", 12), ("diary", 5)):
        with django_assert_num_queries(queries):
            client.get(reverse(f"rounds:{page}", args=[opened.code]))


def test_the_list_of_places_can_be_narrowed_to_a_size_and_a_stage(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    wanted = seat(opened, 1, size="M", state="swatch sent")
    seat(opened, 2, size="M")
    seat(opened, 3, size="S", state="swatch sent")

    response = signed_in(designer).get(
        reverse("rounds:places", args=[opened.code]), {"size": "M", "state": "swatch sent"}
    )

    assert list(response.context["page"]) == [wanted]


@pytest.mark.parametrize(
    "query", ["size=%00", "state=%00", "size=XXL&state=eaten", "page=%00", "page=-1", "page=1e9"]
)
def test_a_list_asked_for_what_is_not_there_shows_all_of_it(
    signed_in: SignIn, designer: User, opened: Round, query: str
) -> None:
    seat(opened, 1)

    response = signed_in(designer).get(f"{reverse('rounds:places', args=[opened.code])}?{query}")

    assert (response.status_code, len(response.context["page"])) == (200, 1)


@pytest.mark.parametrize(
    "address",
    ["%00/", "%00/edit/", "nobody/", "{code}/places/99999999999999999999/", "new/99999999999999999999/"],
)
def test_an_address_that_nothing_has_is_not_there(
    signed_in: SignIn, designer: User, opened: Round, address: str
) -> None:
    response = signed_in(designer).get(f"/rounds/{address.format(code=opened.code)}")

    assert response.status_code == 404


def test_names_are_shown_as_text_whatever_they_hold(signed_in: SignIn, designer: User, opened: Round) -> None:
    services.place_add(round=opened, name="<script>alert(1)</script>", size="S", by=designer)

    body = signed_in(designer).get(opened.get_absolute_url()).content.decode()

    assert "<script>alert" not in body
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in body


# -- places ------------------------------------------------------------------------------------------------


def test_one_place_is_added_and_its_invitation_offered_next(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    response = signed_in(designer).post(
        reverse("rounds:place_new", args=[opened.code]),
        {"names": "Willow", "size": "S", "yarn": str(opened.yarns.get().pk), "measure_bust": "36 in"},
    )

    place = opened.places.get()
    assert response["Location"] == reverse("rounds:invite", args=[opened.code, place.pk])
    assert (place.name, place.size, place.yarn_label) == ("Willow", "S", "Wool, supplied")
    assert place.measures == {"bust": pytest.approx(91.44)}


def test_several_places_are_added_by_a_name_on_each_line(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    response = signed_in(designer).post(
        reverse("rounds:place_new", args=[opened.code]),
        {"names": "Ash\r\n\r\n Oak \r\nYew", "size": "XS", "yarn": "own", "label": "Linen", "weight": "3"},
    )

    assert response["Location"] == reverse("rounds:places", args=[opened.code])
    assert list(opened.places.values_list("name", "size", "yarn_label", "yarn_weight")) == [
        ("Ash", "XS", "Linen", 3),
        ("Oak", "XS", "Linen", 3),
        ("Yew", "XS", "Linen", 3),
    ]


@pytest.mark.parametrize(
    ("changed", "errors"),
    [
        ({"names": " \n "}, {"names": ["Say how this tester is to be called, a first name or “Tester 5”."]}),
        ({"size": "XXL"}, {"size": ["The pattern has no such size: choose one."]}),
        ({"yarn": "999"}, {"yarn": ["This round does not supply that yarn: choose one of these."]}),
        (
            {"names": "A\nB", "measure_bust": "90"},
            {"names": ["Body measurements belong to one person: add this place alone, or leave them empty."]},
        ),
        ({"fibre": "wool"}, {"label": ["Name the yarn too, or leave all of its details empty."]}),
        (
            {"names": "A\nB\nC"},
            {
                "size": [
                    "Size S takes at most 2 testers in this round and has them: choose another size, or raise the "
                    "most in the round's plan."
                ]
            },
        ),
    ],
)
def test_a_refused_place_comes_back_with_its_sentence_and_what_was_typed(
    signed_in: SignIn, designer: User, opened: Round, changed: dict[str, str], errors: dict[str, list[str]]
) -> None:
    typed = {"names": "Willow", "size": "S", "yarn": "own"} | changed

    response = signed_in(designer).post(reverse("rounds:place_new", args=[opened.code]), typed)

    assert response.status_code == 422
    assert errors_of(response) == errors
    assert {name: response.context["form"][name].value() for name in typed} == typed
    assert not opened.places.exists()


@pytest.mark.parametrize("typed", ["ninety", "0", "-3", "1e300", "NaN", "90000"])
def test_a_measure_that_is_no_length_is_refused_beside_its_field(
    signed_in: SignIn, designer: User, opened: Round, typed: str
) -> None:
    response = signed_in(designer).post(
        reverse("rounds:place_new", args=[opened.code]),
        {"names": "Willow", "size": "S", "yarn": "own", "measure_bust": typed},
    )

    assert response.status_code == 422
    assert list(errors_of(response)) == ["measure_bust"]
    assert errors_of(response)["measure_bust"][0].startswith("Full bust: ")
    assert not opened.places.exists()


@pytest.mark.parametrize(
    ("typed", "question"),
    [
        ("36", "Are these inches, written as centimetres? That would make it 91.4 cm."),
        ("900", "Are these millimetres, or is the decimal point missing? That would make it 90 cm."),
    ],
)
def test_a_measure_that_hardly_any_body_has_is_asked_about_once(
    signed_in: SignIn, designer: User, opened: Round, typed: str, question: str
) -> None:
    client, page = signed_in(designer), reverse("rounds:place_new", args=[opened.code])
    place = {"names": "Willow", "size": "S", "yarn": "own", "measure_bust": typed}

    asked = client.post(page, place)

    assert asked.status_code == 422
    assert list(errors_of(asked)) == ["measure_bust"]
    assert errors_of(asked)["measure_bust"][0].endswith(question)
    assert "They are right, keep them" in asked.content.decode()
    assert not opened.places.exists()

    client.post(page, place | {"keep": "on"})

    assert opened.places.get().measures == {"bust": float(typed)}


def test_saving_a_place_untouched_changes_nothing_however_it_is_shown(
    signed_in: SignIn, designer: User, offered: Place
) -> None:
    designer.units = "in"
    designer.save()
    # A sixteenth of an inch, which the page rounds to an eighth for the eye.
    Place.objects.filter(pk=offered.pk).update(measures={"bust": 36.0625 * 2.54})
    client = signed_in(designer)
    page = reverse("rounds:place_edit", args=[offered.round.code, offered.pk])

    form = client.get(page).context["form"]
    shown = {field.name: field.value() for field in form if field.value() is not None}
    response = client.post(page, shown)

    offered.refresh_from_db()
    assert response.status_code == 302
    assert offered.measures == {"bust": 36.0625 * 2.54}
    assert offered.yarn_label == "Wool, supplied"
    assert not offered.diary.filter(text__contains="changed").exists()


def test_a_place_is_given_back_on_a_page_of_its_own(
    signed_in: SignIn, designer: User, offered: Place
) -> None:
    page = reverse("rounds:place_give_back", args=[offered.round.code, offered.pk])
    client = signed_in(designer)

    response = client.post(page, {"cause": "no time"})
    again = client.post(page, {"cause": "no time"})

    offered.refresh_from_db()
    assert (response.status_code, again.status_code, offered.state) == (302, 302, "given back")
    assert DiaryEntry.objects.filter(text__contains="given back: no time").count() == 1


def test_the_pages_lead_to_what_a_tester_sent(signed_in: SignIn, designer: User, place: Place) -> None:
    client = signed_in(designer)
    pages = [place.round.get_absolute_url(), reverse("rounds:place_edit", args=[place.round.code, place.pk])]

    found = {
        href
        for page in pages
        for href in re.findall(r'href="(/[^"?#]*)', client.get(page).content.decode().split("<main")[1])
    }

    assert reverse("reports:of_tester", args=[place.round.code, place.pk]) in found
    assert {href: client.get(href).status_code for href in found} == dict.fromkeys(found, 200)


def test_a_tester_gives_back_the_own_place_and_the_designer_is_told(
    signed_in: SignIn,
    tester: User,
    place: Place,
    settings: Any,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    settings.EMAIL_BACKEND = "testround.outbox.mailbox.FolderBackend"
    page = reverse("rounds:give_back", args=[place.pk])
    client = signed_in(tester)

    shown = client.get(page)
    with django_capture_on_commit_callbacks(execute=True):
        response = client.post(page, {"cause": "sore wrists"})

    place.refresh_from_db()
    assert (shown.status_code, response.status_code, place.state) == (200, 302, "given back")
    assert [(mail.to, mail.subject) for mail in mails()] == [
        ("designer@example.org", "Tester one gave a place back: Little top: First test")
    ]
    assert "Why: sore wrists" in mails()[0].text
    assert client.get(page).status_code == 404


def test_only_its_holder_gives_a_place_back_there(
    client: Client, signed_in: SignIn, designer: User, stranger: User, place: Place
) -> None:
    page = reverse("rounds:give_back", args=[place.pk])

    assert Client().post(page)["Location"] == f"/account/login/?next={page}"
    assert [signed_in(person).post(page).status_code for person in (designer, stranger)] == [404, 404]
    place.refresh_from_db()
    assert place.state == "taken"


def test_a_tester_who_is_done_keeps_the_place(signed_in: SignIn, tester: User, place: Place) -> None:
    Place.objects.filter(pk=place.pk).update(state="done")

    response = signed_in(tester).post(reverse("rounds:give_back", args=[place.pk]), {"cause": "too late"})

    assert response.status_code == 422
    assert "A place that is done cannot become given back" in response.content.decode()
    assert "too late" in response.content.decode()


def test_a_done_place_is_not_given_back(signed_in: SignIn, designer: User, place: Place) -> None:
    Place.objects.filter(pk=place.pk).update(state="done")

    response = signed_in(designer).post(
        reverse("rounds:place_give_back", args=[place.round.code, place.pk]), {"cause": ""}
    )

    assert response.status_code == 422
    assert "A place that is done cannot become given back" in response.content.decode()


def test_the_place_of_another_round_is_not_there(
    signed_in: SignIn, designer: User, opened: Round, place: Place
) -> None:
    response = signed_in(designer).get(reverse("rounds:place_edit", args=[opened.code, place.pk]))

    assert response.status_code == 404


# -- inviting ----------------------------------------------------------------------------------------------


def test_a_link_is_shown_once_and_never_again(
    signed_in: SignIn, designer: User, offered: Place, settings: Any
) -> None:
    page = reverse("rounds:invite", args=[offered.round.code, offered.pk])
    client = signed_in(designer)

    made = client.post(page, {"email": ""})
    later = client.get(page)

    url = made.context["url"]
    assert url.startswith(f"{settings.SITE_URL}/rounds/join/")
    assert url in made.content.decode()
    assert "no-store" in made["Cache-Control"]
    assert "/rounds/join/" not in later.content.decode()
    assert later.context["links"].open == Invitation.objects.get()


def test_an_address_that_is_none_is_refused_and_no_link_made(
    signed_in: SignIn, designer: User, offered: Place
) -> None:
    response = signed_in(designer).post(
        reverse("rounds:invite", args=[offered.round.code, offered.pk]), {"email": "willow at home"}
    )

    assert response.status_code == 422
    assert errors_of(response) == {
        "email": ["This is no email address: write it as in name@example.org, or leave it empty."]
    }
    assert "willow at home" in response.content.decode()
    assert not Invitation.objects.exists()


def test_a_link_is_withdrawn(signed_in: SignIn, designer: User, offered: Place, link: str) -> None:
    response = signed_in(designer).post(
        reverse("rounds:invite_withdraw", args=[offered.round.code, offered.pk])
    )

    assert response.status_code == 302
    assert Client().get(link).status_code == 410


def test_inviting_to_a_taken_place_is_refused(signed_in: SignIn, designer: User, place: Place) -> None:
    response = signed_in(designer).post(
        reverse("rounds:invite", args=[place.round.code, place.pk]), {"email": ""}
    )

    assert response.status_code == 422
    assert not Invitation.objects.exists()


# -- yarns -------------------------------------------------------------------------------------------------


def test_yarns_are_supplied_on_a_page_and_get_keys_for_the_file(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    page = reverse("rounds:yarns", args=[opened.code])
    client = signed_in(designer)

    for label in ("Wool, supplied", "2-ply Ä!"):
        client.post(page, {"label": label, "metres_per_ball": "200", "makers": "3"})
    refused = client.post(page, {"label": "", "metres_per_ball": "a lot"})

    assert list(opened.yarns.values_list("key", "label", "makers")) == [
        ("wool_blue", "Wool, supplied", 2),
        ("wool_supplied", "Wool, supplied", 3),
        ("yarn_2_ply", "2-ply Ä!", 3),
    ]
    assert refused.status_code == 422
    assert errors_of(refused) == {
        "label": ["Name the yarn, as in “Wool, supplied”."],
        "metres_per_ball": ["Write the metres on the ball band as a number, as in 200."],
    }
    assert "a lot" in refused.content.decode()


def test_a_yarn_is_taken_off_by_its_designer_alone(
    signed_in: SignIn, designer: User, other_designer: User, opened: Round
) -> None:
    page = reverse("rounds:yarn_remove", args=[opened.code, opened.yarns.get().pk])

    theirs = signed_in(other_designer).post(page)
    kept = opened.yarns.count()
    mine = signed_in(designer).post(page)

    assert (theirs.status_code, kept, mine.status_code, opened.yarns.count()) == (404, 1, 302, 0)


def test_the_diary_says_who_did_it_or_that_a_date_made_the_program(
    signed_in: SignIn, designer: User, opened: Round
) -> None:
    Place.objects.create(round=opened, key="t01", name="Willow", size="S", state=Place.State.TAKEN)
    services.rounds_follow_dates(now=timezone.make_aware(dt.datetime(2027, 1, 12)))

    body = signed_in(designer).get(reverse("rounds:diary", args=[opened.code])).content.decode()

    assert "Round moved from planned to swatching: it was to open on 11 January 2027." in body
    assert "By the program" in body
