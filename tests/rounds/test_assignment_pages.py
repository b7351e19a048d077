"""The pages of candidates and of who should make what, as a designer uses them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from testround.kernel.round import SuppliedYarn as YarnDocument
from testround.patterns.models import Edition
from testround.people.models import User
from testround.rounds.clock import end_of_day
from testround.rounds.models import Candidate, Place, Proposal, Round, Vacancy
from testround.rounds.services import (
    drafted,
    invitation_create,
    invitation_decline,
    place_give_back,
    proposal_save,
    round_open,
    today_for,
)
from tests.rounds.conftest import secret_of
from tests.rounds.offers import FIRST_ANSWER, candidate, five_for_four


@pytest.fixture
def page(opened: Round, designer: User, signed_in: Callable[[User], Client]) -> Client:
    five_for_four(opened)
    return signed_in(designer)


def words(response: HttpResponse) -> str:
    """The text of a page, without tags."""
    return " ".join(re.sub(r"<[^>]+>", " ", response.text).replace("\N{NO-BREAK SPACE}", " ").split())


def proposal(round: Round) -> str:
    return reverse("rounds:proposal", args=[round.code])


def chosen(round: Round, **sizes: str) -> dict[str, str]:
    """What the form of seats sends: everybody as they stand, but for those given."""
    shown = drafted(round)
    data = {"action": "seats", "revision": str(shown.draft.revision)}
    for person in shown.read.candidates:
        seat = shown.seats.get(person.id)
        data[f"size_{person.id}"] = sizes.get(person.id, (seat.size or "") if seat else "out")
        data[f"yarn_{person.id}"] = (seat.yarn or "") if seat else ""
    return data


def accepting(round: Round, **more: str) -> dict[str, str]:
    shown = drafted(round)
    return {
        "revision": str(shown.draft.revision),
        "seen": shown.seen,
        "until": today_for(round).isoformat(),
        **more,
    }


# Candidates


def test_candidates_stand_against_the_sizes_with_what_they_said(opened: Round, page: Client) -> None:
    candidate(
        opened, "fir", 90, wishes=["M", "9X"], yarns=["wool_blue"], own_yarn=True, tests_before=3, email=""
    )

    said = words(page.get(reverse("rounds:candidates", args=[opened.code]), {"sort": "name"}))

    assert "6 who offer" in said
    assert "Without an email address, so that you hand over the link yourself: Fir." in said
    assert (
        "Fir Fir wishes for size 9X, which the pattern does not have; that wish is left out. "
        "Full bust 90 cm S, 4 cm off M, 9X own yarn; Wool, supplied 3 1 Dec 2026"
    ) in said


@pytest.mark.parametrize(
    ("sort", "order"),
    [
        ("answered", ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]),
        ("name", ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]),
        ("fit", ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]),
        ("experience", ["Elm", "Alder", "Birch", "Cedar", "Dogwood"]),
        ("wish", ["Cedar", "Alder", "Birch", "Dogwood", "Elm"]),
    ],
)
def test_candidates_can_be_put_in_order(opened: Round, page: Client, sort: str, order: list[str]) -> None:
    opened.candidates.filter(key="elm").update(tests_before=2)
    opened.candidates.filter(key="cedar").update(wishes=["XS"])

    shown = page.get(reverse("rounds:candidates", args=[opened.code]), {"sort": sort}).context["page"]

    assert [row.candidate.name for row in shown] == order


def test_somebody_who_waits_can_be_let_in(opened: Round, page: Client) -> None:
    person = candidate(opened, "fir", 90, state="waiting")

    page.post(reverse("rounds:candidate_take_back", args=[opened.code, person.pk]))

    person.refresh_from_db()
    assert person.state == "confirmed"


# The proposal


def test_the_proposal_says_who_why_and_what_is_short(opened: Round, page: Client) -> None:
    opened.places_plan = {"least": {"XS": 2, "S": 2}, "most": {"S": 2}}
    opened.save()

    said = words(page.get(proposal(opened)))

    assert (
        "4 of 5 candidates would have a place; too few for XS. 1 is left out; the reason is in the table. "
        "This is the best that can be done, and proven to be."
    ) in said
    assert "With a place Alder XS, Birch S, Cedar S, Elm M Without a place Dogwood" in said
    assert "XS is left short: 1 of 2. Only one candidate could make XS." in said
    assert "Bust within 0.5 cm of S; S needed two." in said
    assert "S is full, and no other size is within reach or wished for. In reserve: first for S." in said


def test_a_move_by_hand_shows_at_once_what_it_costs(opened: Round, page: Client) -> None:
    answer = page.post(proposal(opened), chosen(opened, birch="out", dogwood="S"))
    said = words(page.get(proposal(opened)))

    assert (answer.status_code, answer.headers["Location"]) == (302, proposal(opened))
    assert "2 moved by hand. Against the best that was proposed: 1.0 cm more misfit in all" in said
    assert "By hand; the proposal had no place for them. Bust within 1 cm of S" in said
    assert "No place, by hand; the proposal had S in own yarn." in said


def test_lengths_in_the_cost_are_in_the_readers_unit(opened: Round, page: Client, designer: User) -> None:
    designer.units = "in"
    designer.save()
    page.post(proposal(opened), chosen(opened, birch="out", dogwood="S"))

    assert "3/8 in more misfit in all" in words(page.get(proposal(opened)))


def test_a_move_back_to_what_was_proposed_is_no_move(opened: Round, page: Client) -> None:
    page.post(proposal(opened), chosen(opened, birch="out"))

    page.post(proposal(opened), chosen(opened, birch="S"))

    assert Proposal.objects.get().moves == {}


def test_keeping_somebody_pins_them_and_the_rest_is_proposed_around_it(opened: Round, page: Client) -> None:
    page.post(proposal(opened), {**chosen(opened, dogwood="S"), "keep_dogwood": "on"})

    assert Proposal.objects.get().pins == [{"candidate": "dogwood", "size": "S", "yarn": None}]
    assert {key: seat.size for key, seat in drafted(opened).seats.items()} == {
        "alder": "XS",
        "birch": "S",
        "dogwood": "S",
        "elm": "M",
    }


def test_what_is_kept_is_said_to_cost_what_it_costs(opened: Round, page: Client) -> None:
    before = words(page.get(proposal(opened)))
    page.post(proposal(opened), {**chosen(opened, dogwood="S"), "keep_dogwood": "on"})

    said = words(page.get(proposal(opened)))

    assert "What your word costs" not in before
    # Dogwood, 1 cm off S, has the place of Cedar, who is half a centimetre off and answered earlier.
    assert (
        "What your word costs You keep some to a place, or to none. Against the best without that: "
        "0.5 cm more misfit in all later answers placed"
    ) in said
    assert (
        "1 is left out; the reason is in the table. "
        "With what you keep to, this is the best that can be done, and proven to be."
    ) in said


def test_names_come_before_the_totals_of_sizes(opened: Round, page: Client) -> None:
    said = words(page.get(proposal(opened)))

    assert said.index("Candidates, by the size proposed") < said.index("How many for each size")


def test_what_is_kept_and_was_proposed_anyway_costs_nothing(opened: Round, page: Client) -> None:
    page.post(proposal(opened), {**chosen(opened), "keep_birch": "on"})

    assert "it costs nothing: the result is as good as the best without that." in words(
        page.get(proposal(opened))
    )


def test_no_longer_kept_means_back_to_the_proposal(opened: Round, page: Client) -> None:
    page.post(proposal(opened), {**chosen(opened, dogwood="S"), "keep_dogwood": "on"})

    page.post(proposal(opened), chosen(opened))

    draft = Proposal.objects.get()
    assert (draft.pins, draft.moves) == ([], {})
    assert "dogwood" not in drafted(opened).seats


def test_moves_can_be_kept_while_the_rest_is_proposed_anew(opened: Round, page: Client) -> None:
    page.post(proposal(opened), chosen(opened, birch="out"))

    page.post(proposal(opened), {"action": "around", "revision": "1"})

    draft = Proposal.objects.get()
    assert (draft.exclusions, draft.moves) == ([{"candidate": "birch", "size": None}], {})
    assert "dogwood" in drafted(opened).seats


def test_moves_can_be_undone(opened: Round, page: Client) -> None:
    page.post(proposal(opened), chosen(opened, birch="out"))

    page.post(proposal(opened), {"action": "undo", "revision": "1"})

    assert Proposal.objects.get().moves == {}


def test_a_second_tab_is_told_and_keeps_what_was_chosen(opened: Round, page: Client) -> None:
    second = chosen(opened, alder="M")
    page.post(proposal(opened), chosen(opened, birch="out"))

    answer = page.post(proposal(opened), second)

    assert answer.status_code == 422
    assert "This draft was changed since you opened the page" in words(answer)
    assert answer.context["seats"]["size_alder"].value() == "M"
    assert '<input type="hidden" name="revision" value="1"' in answer.text
    assert Proposal.objects.get().moves == {"birch": None}
    again = page.post(proposal(opened), {**second, "revision": "1"})
    assert again.status_code == 302
    assert Proposal.objects.get().moves == {"alder": {"size": "M", "yarn": None}}


def test_a_size_that_is_not_there_cannot_be_chosen(opened: Round, page: Client) -> None:
    answer = page.post(proposal(opened), chosen(opened, birch="9X"))

    assert answer.status_code == 422
    assert "Birch: the pattern has no such size; choose one, or “no place”." in words(answer)
    assert not Proposal.objects.exists()


def test_a_pin_that_contradicts_is_answered_in_a_sentence(opened: Round, page: Client) -> None:
    page.post(proposal(opened), {"action": "word", "revision": "0", "person": "elm", "word": "out:M"})

    answer = page.post(
        proposal(opened), {"action": "word", "revision": "1", "person": "elm", "word": "pin:M"}
    )

    assert answer.status_code == 422
    assert "Elm is pinned to M and excluded from it; drop one of the two." in words(answer)
    assert Proposal.objects.get().pins == []


def test_a_word_can_be_dropped(opened: Round, page: Client) -> None:
    page.post(proposal(opened), {"action": "word", "revision": "0", "person": "elm", "word": "out:"})
    assert "Elm has no place" in words(page.get(proposal(opened)))

    page.post(proposal(opened), {"action": "word", "revision": "1", "drop": "out0", "word": "pin:"})

    assert Proposal.objects.get().exclusions == []


def limits(**more: str) -> dict[str, str]:
    return {"action": "limits", "revision": "0", "reach": "5", "offer_days": "7", **more}


def test_least_above_most_is_said_beside_the_size_and_kept(opened: Round, page: Client) -> None:
    answer = page.post(proposal(opened), limits(least_1="3", most_1="2"))

    assert answer.status_code == 422
    assert "Size S takes at most 2 but needs at least 3: raise one." in words(answer)
    assert answer.context["limits"]["least_1"].value() == "3"


def test_limits_are_saved_in_the_unit_that_is_read(opened: Round, page: Client, designer: User) -> None:
    designer.units = "in"
    designer.save()

    page.post(proposal(opened), limits(reach="3", most_1="3", invite_next="on", offer_days="4"))

    opened.refresh_from_db()
    assert Proposal.objects.get().reach == pytest.approx(7.62)
    assert (opened.places_plan, opened.invite_next, opened.offer_days) == ({"most": {"S": 3}}, True, 4)


def test_a_reach_that_is_no_length_is_said_and_kept(opened: Round, page: Client) -> None:
    answer = page.post(proposal(opened), limits(reach="far"))

    assert answer.status_code == 422
    assert "Reach: “far” cannot be read as a number" in words(answer)


def test_a_draft_that_contradicts_by_now_is_said_and_can_be_mended(
    opened: Round, page: Client, designer: User
) -> None:
    pins = [{"candidate": key, "size": "S", "yarn": None} for key in ("birch", "cedar")]
    proposal_save(round=opened, by=designer, revision=0, pins=pins)
    opened.places_plan = {"most": {"S": 1}}
    opened.save()

    said = words(page.get(proposal(opened)))
    posted = page.post(proposal(opened), {"action": "seats", "revision": "1"})

    assert "S takes 1 at most, and this pin would make 2; raise its most or drop a pin." in said
    assert posted.status_code == 302
    page.post(proposal(opened), {"action": "word", "revision": "1", "drop": "pin1", "word": "pin:"})
    assert "This cannot be proposed" not in words(page.get(proposal(opened)))


# Accepting it


def test_accepting_invites_by_mail_and_hands_over_the_links_of_the_others_once(
    opened: Round, page: Client, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    opened.candidates.filter(key="elm").update(email="")
    address = reverse("rounds:proposal_accept", args=[opened.code])
    before = words(page.get(address))

    data = accepting(opened)
    with django_capture_on_commit_callbacks(execute=True):
        answer = page.post(address, data)
    again = page.post(address, data, follow=True)

    assert "Invite 4 people?" in before
    assert "Each is offered the place below and has it by mail" in before
    assert "1 left no email address : you get the link on the next page" in before
    assert answer.status_code == 200
    assert "3 invited by mail, 1 to be told by you" in words(answer)
    assert len(re.findall(r'value="http[^"]*/rounds/join/[^"]+/"', answer.text)) == 1
    assert answer.headers["Cache-Control"] == "no-store, private"
    assert sorted(letter.to[0] for letter in mail.outbox) == [
        "alder@example.org",
        "birch@example.org",
        "cedar@example.org",
    ]
    assert "accepted already; nobody is invited twice" in words(again)
    assert opened.places.count() == 4


def test_where_nobody_left_an_address_no_mail_is_promised(opened: Round, page: Client) -> None:
    opened.candidates.update(email="")

    said = words(page.get(reverse("rounds:proposal_accept", args=[opened.code])))

    assert "None of them left an email address: you get the links on the next page" in said
    assert "by mail" not in said


def test_a_link_that_was_handed_over_leads_to_the_place(opened: Round, page: Client) -> None:
    opened.candidates.exclude(key="elm").delete()
    opened.candidates.update(email="")
    answer = page.post(reverse("rounds:proposal_accept", args=[opened.code]), accepting(opened))
    url = re.findall(r'value="(http[^"]*/rounds/join/[^"]+/)"', answer.text)[0]

    invitation = Client().get(url)

    assert invitation.status_code == 200
    assert reverse("rounds:decline", args=[secret_of(url)]) in invitation.text


def test_accepting_what_has_changed_shows_it_again_and_invites_nobody(opened: Round, page: Client) -> None:
    data = accepting(opened)
    candidate(opened, "fir", 75.9)

    answer = page.post(reverse("rounds:proposal_accept", args=[opened.code]), data)

    assert answer.status_code == 422
    assert "Nobody is invited yet" in words(answer)
    assert not opened.places.exists()
    fresh = {name: answer.context["form"][name].value() for name in ("revision", "seen")}
    assert (
        page.post(reverse("rounds:proposal_accept", args=[opened.code]), {**data, **fresh}).status_code == 200
    )


def test_a_day_that_is_past_is_said_beside_it(opened: Round, page: Client) -> None:
    answer = page.post(
        reverse("rounds:proposal_accept", args=[opened.code]), accepting(opened, until="2020-01-01")
    )

    assert answer.status_code == 422
    assert "That day is past: pick today or a later one." in words(answer)
    assert not opened.places.exists()


# Places that fell free


@pytest.fixture
def declined(opened: Round, page: Client, django_capture_on_commit_callbacks: Callable[..., Any]) -> Client:
    """Birch has said no, and Dogwood is next."""
    page.post(reverse("rounds:proposal_accept", args=[opened.code]), accepting(opened))
    opened.candidates.filter(key="dogwood").update(email="")
    place = opened.places.get(name="Birch")
    _, url = invitation_create(place=place, by=opened.edition.pattern.owner)
    with django_capture_on_commit_callbacks(execute=True):
        invitation_decline(secret=secret_of(url))
    return page


def test_the_first_page_says_who_is_next_and_one_press_invites_them(opened: Round, declined: Client) -> None:
    today = declined.get(reverse("home"))
    vacancy = Vacancy.objects.get()
    address = reverse("rounds:vacancy_invite", args=[opened.code, vacancy.pk])

    assert "Birch's place in S fell free; Dogwood is next in reserve. Invite Dogwood" in words(today).replace(
        "&#x27;", "'"
    )
    assert f'action="{address}"' in today.text
    answer = declined.post(address, {"candidate": str(vacancy.candidate_id)})
    again = declined.post(address, {"candidate": str(vacancy.candidate_id)})

    # Dogwood left no address: the link is given, this once.
    assert "/rounds/join/" in answer.text
    assert again.status_code == 302
    assert opened.places.get(name="Dogwood").state == Place.State.OFFERED
    assert "Dogwood is next" not in words(declined.get(reverse("home")))


def test_the_proposal_shows_the_place_that_fell_free_with_the_next_and_why(
    opened: Round, declined: Client
) -> None:
    said = words(declined.get(proposal(opened))).replace("&#x27;", "'")

    assert "Birch's place in S fell free. Next in reserve: Dogwood , size S. Bust within 1 cm of S" in said


def test_the_buttons_beside_a_place_that_fell_free_are_taken_from_a_browser(
    opened: Round, declined: Client, designer: User
) -> None:
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(designer)
    vacancy = Vacancy.objects.get()
    address = reverse("rounds:vacancy_invite", args=[opened.code, vacancy.pk])
    form = re.search(
        rf'action="{address}">.*?name="csrfmiddlewaretoken" value="([^"]+)"',
        browser.get(proposal(opened)).text,
    )

    assert form is not None
    sent = {"csrfmiddlewaretoken": form[1], "candidate": str(vacancy.candidate_id)}
    assert browser.post(address, sent).status_code == 200
    assert opened.places.get(name="Dogwood").state == Place.State.OFFERED


def test_the_proposal_leads_to_those_who_wait(opened: Round, declined: Client) -> None:
    none = words(declined.get(proposal(opened)))
    opened.candidates.filter(key="dogwood").update(state="waiting")

    answer = declined.get(proposal(opened))

    assert "waiting list" not in none
    assert "1 on the waiting list , who can be taken into reserve" in words(answer)
    assert f'href="{reverse("rounds:candidates", args=[opened.code])}?state=waiting"' in answer.text


def test_a_place_can_be_left_free_from_the_page(opened: Round, declined: Client) -> None:
    declined.post(reverse("rounds:vacancy_leave", args=[opened.code, Vacancy.objects.get().pk]))

    assert Vacancy.objects.get().state == "left"
    assert "fell free" not in words(declined.get(proposal(opened)))


# Made to measure


def test_a_made_to_measure_round_gives_places_by_yarn_alone(
    edition: Edition,
    little_top: dict[str, Any],
    designer: User,
    signed_in: Callable[[User], Client],
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    little_top |= {"kind": "made-to-measure", "sizes": []}
    little_top["measures"] = [{"key": "bust", "label": "Full bust"}]
    for number in little_top["numbers"]:
        del number["printed"]
    edition.sheet = little_top
    edition.save()
    blue = YarnDocument(key="blue", label="Blue wool", makers=1)
    round = round_open(edition=edition, by=designer, title="To measure", yarns=[blue])
    for key in ("alder", "birch"):
        candidate(round, key, 90, yarns=["blue"])
    client = signed_in(designer)

    before = words(client.get(proposal(round)))
    client.post(proposal(round), {**chosen(round, alder="out", birch=""), "yarn_birch": "blue"})
    moved = words(client.get(proposal(round)))
    client.post(reverse("rounds:proposal_accept", args=[round.code]), accepting(round))
    with django_capture_on_commit_callbacks(execute=True):
        place_give_back(place=round.places.get(), by=designer)

    assert "1 of 2 candidates would have a place." in before
    assert "Made to measure, so any measures do." in before
    assert "No makers are left of Blue wool, the yarn they named" in before
    assert "later answers placed" in moved
    assert [(place.name, place.size, place.yarn_label) for place in round.places.all()] == [
        ("Birch", None, "Blue wool")
    ]
    # Alder was left out by hand and is not asked of themselves.
    assert "Birch's place fell free. Nobody without a place can have one" in words(
        client.get(proposal(round))
    ).replace("&#x27;", "'")


# However many offer


def queries_of(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert client.get(address).status_code == 200
    return len(captured)


@pytest.mark.parametrize("name", ["candidates", "proposal", "proposal_accept"])
def test_pages_ask_as_little_for_five_hundred_candidates_as_for_five(
    opened: Round, page: Client, name: str
) -> None:
    address = reverse(f"rounds:{name}", args=[opened.code])
    few = queries_of(page, address)
    Candidate.objects.bulk_create(
        Candidate(
            round=opened,
            key=f"c{n:03}",
            name=f"Candidate {n}",
            measures={"bust": 74 + n % 25},
            wishes=["S"] if n % 3 else [],
            yarns=["wool_blue"] if n % 4 else [],
            own_yarn=n % 2 == 0,
            answered=FIRST_ANSWER,
        )
        for n in range(495)
    )

    assert queries_of(page, address) == few
    if name != "proposal_accept":
        assert page.get(address).text.count("<tr") < 70


def test_the_page_of_a_round_leads_to_the_proposal_while_people_offer_and_nobody_is_placed(
    opened: Round, page: Client
) -> None:
    said = words(page.get(opened.get_absolute_url()))

    assert "5 people offer to test. Who should make what?" in said


def test_the_page_of_a_round_says_which_place_fell_free(opened: Round, declined: Client) -> None:
    said = words(declined.get(opened.get_absolute_url())).replace("&#x27;", "'")

    assert "Birch's place in S fell free; Dogwood is next in reserve. See who is next" in said


def test_the_mail_to_a_candidate_says_why_they_get_it_and_until_when(
    opened: Round, page: Client, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        page.post(reverse("rounds:proposal_accept", args=[opened.code]), accepting(opened))

    day = today_for(opened)
    said = " ".join(mail.outbox[0].body.split())
    assert f"works once, until {day.day} {day:%B %Y}; the place is then offered to somebody else." in said
    assert "You get this mail because you offered to test." in said


def test_an_offer_can_be_given_more_time_with_a_new_link(opened: Round, page: Client) -> None:
    page.post(reverse("rounds:proposal_accept", args=[opened.code]), accepting(opened))
    place = opened.places.get(name="Birch")
    address = reverse("rounds:invite", args=[opened.code, place.pk])
    later = today_for(opened) + dt.timedelta(days=10)

    before = page.get(address).context["form"]
    past = page.post(address, {"email": "", "until": "2020-01-01"})
    given = page.post(address, {"email": "", "until": later.isoformat()})

    assert (before["email"].value(), before["until"].value()) == ("birch@example.org", today_for(opened))
    assert (past.status_code, given.status_code) == (422, 200)
    assert "That day is past: pick today or a later one." in words(past)
    place.refresh_from_db()
    assert place.offered_until == end_of_day(opened, later)
    assert place.invitations.get(withdrawn_at=None).expires == place.offered_until


def test_a_place_made_by_hand_has_no_last_day_to_ask_for(
    offered: Place, designer: User, client: Client
) -> None:
    client.force_login(designer)

    form = client.get(reverse("rounds:invite", args=[offered.round.code, offered.pk])).context["form"]

    assert list(form.fields) == ["email"]


# A closed round


def test_a_closed_round_says_why_its_proposal_cannot_be_accepted(opened: Round, page: Client) -> None:
    gone = Place.objects.create(round=opened, key="t09", name="Gone", size="S", state=Place.State.GIVEN_BACK)
    Vacancy.objects.create(place=gone, candidate=opened.candidates.get(key="dogwood"), size="S")
    Round.objects.filter(pk=opened.pk).update(state=Round.State.CLOSED)
    why = (
        "Closed: this round is closed, so nobody can be invited to it any more. To invite all the same, "
        "move it back to measuring first."
    )
    accept = reverse("rounds:proposal_accept", args=[opened.code])

    shown, asked = page.get(proposal(opened)), page.get(accept)
    pressed = page.post(accept, accepting(opened))

    assert why in words(shown)
    assert "Accept it and invite" not in words(shown)
    assert "Invite Dogwood" not in words(shown)
    for response, status in ((asked, 200), (pressed, 422)):
        assert response.status_code == status
        assert why in words(response)
        assert "Nobody can be invited" in words(response)
        assert "Invite 4" not in words(response)
        assert f'href="/rounds/{opened.code}/move/"' in response.text
    assert not Place.objects.exclude(pk=gone.pk).exists()


def test_a_round_that_is_open_says_nothing_of_being_closed(opened: Round, page: Client) -> None:
    assert "Closed:" not in words(page.get(proposal(opened)))
    assert "Closed:" not in words(page.get(reverse("rounds:proposal_accept", args=[opened.code])))
