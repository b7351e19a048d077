"""Who steps in when a place is declined, runs out or is given back."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core import mail
from django.db import connections
from django.test import Client
from django.utils import timezone

from testround.people.models import User
from testround.rounds.models import Candidate, Invitation, Place, Round, Vacancy
from testround.rounds.refusals import InvitationEnded, Refused
from testround.rounds.services import (
    AlreadyAccepted,
    StaleDraft,
    candidate_take_back,
    drafted,
    invitation_accept,
    invitation_check,
    invitation_create,
    invitation_decline,
    invitation_of_secret,
    offers_expire,
    place_give_back,
    place_move,
    places_add,
    proposal_accept,
    proposal_save,
    round_move,
    today_for,
    vacancy_invite,
    vacancy_leave,
)
from testround.rounds.services.vacancies import offers_changed
from tests.rounds.conftest import secret_of
from tests.rounds.offers import candidate, five_for_four

DAY = dt.timedelta(days=1)

Links = dict[str, str]
"""The secret of each candidate's link, by name."""


def accept(round: Round, by: User) -> Links:
    shown = drafted(round)
    offered = proposal_accept(
        round=round,
        by=by,
        revision=shown.draft.revision,
        seen=shown.seen,
        until=today_for(round) + 7 * DAY,
    )
    return {one.place.name: secret_of(one.url) for one in offered}


@pytest.fixture
def invited(
    opened: Round, designer: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> Iterator[Links]:
    """Alder in XS, Birch and Cedar in S, Elm in M are invited; Dogwood, 1 cm from S, is in reserve.

    What follows a commit is done at once.
    """
    five_for_four(opened)
    with django_capture_on_commit_callbacks(execute=True):
        links = accept(opened, designer)
    mail.outbox.clear()
    with django_capture_on_commit_callbacks(execute=True):
        yield links


@pytest.fixture
def after_commit(django_capture_on_commit_callbacks: Callable[..., Any]) -> Callable[..., Any]:
    def run(service: Callable[..., Any], **arguments: Any) -> Any:
        with django_capture_on_commit_callbacks(execute=True):
            return service(**arguments)

    return run


def next_for(name: str) -> tuple[str | None, str | None, str]:
    vacancy = Vacancy.objects.select_related("candidate").get(place__name=name)
    return (vacancy.candidate.name if vacancy.candidate else None, vacancy.size, vacancy.state)


# How a place falls free


def test_a_no_by_the_link_gives_the_place_back_tells_the_designer_and_proposes_the_next(
    opened: Round, invited: Links, after_commit: Callable[..., Any], diary_of: Callable[[Round], list[str]]
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"], cause="No time this spring")

    assert opened.places.get(name="Birch").state == "given back"
    assert "Birch moved from offered to given back: said no, thank you: No time this spring." in diary_of(
        opened
    )
    assert opened.candidates.get(key="birch").state == "withdrawn"
    (letter,) = mail.outbox
    assert letter.to == ["designer@example.org"]
    assert "Why: No time this spring" in letter.body
    assert next_for("Birch") == ("Dogwood", "S", "open")


def test_a_second_no_is_no_second_change(
    opened: Round, invited: Links, after_commit: Callable[..., Any], diary_of: Callable[[Round], list[str]]
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])
    before = diary_of(opened)

    after_commit(invitation_decline, secret=invited["Birch"])

    assert diary_of(opened) == before
    assert len(mail.outbox) == 1


def test_a_declined_link_takes_no_place_any_more(invited: Links, after_commit: Callable[..., Any]) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])

    with pytest.raises(InvitationEnded, match="You said no to this place"):
        invitation_check(invitation_of_secret(invited["Birch"]))


def test_a_place_that_is_taken_cannot_be_declined_by_its_link(
    opened: Round, invited: Links, tester: User, after_commit: Callable[..., Any]
) -> None:
    after_commit(invitation_accept, secret=invited["Birch"], user=tester)

    with pytest.raises(InvitationEnded, match="This link has been used"):
        invitation_decline(secret=invited["Birch"])

    assert opened.places.get(name="Birch").state == "taken"


def test_offers_run_out_after_their_last_day_and_not_before(
    opened: Round, invited: Links, tester: User, after_commit: Callable[..., Any], diary_of: Any
) -> None:
    after_commit(invitation_accept, secret=invited["Alder"], user=tester)
    until = opened.places.get(name="Birch").offered_until
    assert until is not None

    assert after_commit(offers_expire, now=until - dt.timedelta(seconds=1)) == 0
    assert after_commit(offers_expire, now=until) == 3
    assert after_commit(offers_expire, now=until) == 0

    states = dict(opened.places.values_list("size", "state"))
    assert (states["XS"], states["S"], states["M"]) == ("taken", "given back", "given back")
    last = today_for(opened) + 7 * DAY
    said = f"Birch moved from offered to given back: the offer stood until {last.day} {last:%B %Y}."
    assert said in diary_of(opened)


def test_an_offer_made_by_hand_does_not_run_out(offered: Place) -> None:
    assert offers_expire(now=timezone.now() + 400 * DAY) == 0


def test_a_renewed_link_lasts_as_long_as_the_offer(opened: Round, invited: Links, designer: User) -> None:
    place = opened.places.get(name="Birch")

    invitation, _ = invitation_create(place=place, by=designer)

    assert invitation.expires == place.offered_until


def test_whoever_gives_a_place_back_after_starting_is_replaced_and_nobody_who_started_moves(
    opened: Round, invited: Links, tester: User, designer: User, after_commit: Callable[..., Any]
) -> None:
    for name in ("Birch", "Cedar"):
        user = tester if name == "Birch" else User.objects.create_user(f"{name}@example.org", name=name)
        after_commit(invitation_accept, secret=invited[name], user=user)
    birch = opened.places.get(name="Birch")
    after_commit(place_move, place=birch, state="making", by=tester)
    before = list(opened.places.exclude(pk=birch.pk).values_list("key", "size", "state"))

    after_commit(place_give_back, place=birch, by=tester, cause="")

    assert next_for(birch.name) == ("Dogwood", "S", "open")
    assert list(opened.places.exclude(pk=birch.pk).values_list("key", "size", "state")) == before


def test_two_places_that_fall_free_get_two_different_people(
    opened: Round, invited: Links, after_commit: Callable[..., Any]
) -> None:
    candidate(opened, "fir", 85.5)

    after_commit(invitation_decline, secret=invited["Birch"])
    after_commit(invitation_decline, secret=invited["Cedar"])

    # Fir is 0.5 cm from S, Dogwood 1 cm.
    assert next_for("Birch") == ("Fir", "S", "open")
    assert next_for("Cedar") == ("Dogwood", "S", "open")


def test_where_nobody_in_reserve_can_have_it_that_is_said(
    invited: Links, after_commit: Callable[..., Any]
) -> None:
    after_commit(invitation_decline, secret=invited["Alder"])

    vacancy = Vacancy.objects.get(place__name="Alder")
    assert (vacancy.candidate, vacancy.state) == (None, "open")
    assert vacancy.why.startswith("Nobody without a place can have one of size XS")


def test_whoever_was_left_out_by_hand_is_not_next(
    opened: Round, designer: User, after_commit: Callable[..., Any]
) -> None:
    five_for_four(opened)
    proposal_save(round=opened, by=designer, revision=0, exclusions=[{"candidate": "dogwood", "size": None}])
    links = accept(opened, designer)

    after_commit(invitation_decline, secret=links["Birch"])

    assert next_for("Birch")[0] is None


def test_a_place_of_a_round_without_candidates_leaves_nothing_to_fill(offered: Place, designer: User) -> None:
    place_give_back(place=offered, by=designer)

    assert not Vacancy.objects.exists()


def test_a_closed_round_looks_for_nobody(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any]
) -> None:
    after_commit(round_move, round=opened, state="closed", by=designer)

    after_commit(place_give_back, place=opened.places.get(name="Birch"), by=designer)

    assert next_for("Birch") == (None, None, "left")


# Inviting the next


def test_the_next_is_invited_with_one_press_until_the_days_of_the_round_are_over(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any], diary_of: Any
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])
    mail.outbox.clear()
    vacancy = Vacancy.objects.get(place__name="Birch")

    place, url = after_commit(vacancy_invite, vacancy=vacancy, candidate=vacancy.candidate, by=designer)

    assert (place.name, place.size, place.state) == ("Dogwood", "S", "offered")
    assert timezone.localdate(place.offered_until) == today_for(opened) + 7 * DAY
    assert [letter.to for letter in mail.outbox] == [["dogwood@example.org"]]
    assert url.partition("/rounds/join/")[2]
    assert next_for("Birch") == ("Dogwood", "S", "filled")
    assert any(
        said.startswith("Dogwood, next in reserve, was invited in place of Birch")
        for said in diary_of(opened)
    )


def test_a_second_press_invites_nobody_again(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any]
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])
    vacancy = Vacancy.objects.select_related("candidate").get(place__name="Birch")
    first, _ = after_commit(vacancy_invite, vacancy=vacancy, candidate=vacancy.candidate, by=designer)

    second, url = after_commit(vacancy_invite, vacancy=vacancy, candidate=vacancy.candidate, by=designer)

    assert (second.pk, url) == (first.pk, "")
    assert Invitation.objects.filter(place=first).count() == 1


def test_nobody_is_invited_who_is_not_the_next_any_more(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any]
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])
    vacancy = Vacancy.objects.get(place__name="Birch")

    with pytest.raises(Refused, match="Somebody else is next by now"):
        vacancy_invite(vacancy=vacancy, candidate=opened.candidates.get(key="elm"), by=designer)

    Candidate.objects.filter(key="dogwood").update(state="withdrawn")
    with pytest.raises(Refused, match="Dogwood does not offer any more"):
        vacancy_invite(vacancy=vacancy, candidate=opened.candidates.get(key="dogwood"), by=designer)
    assert not opened.places.filter(name="Dogwood").exists()


def test_a_round_that_says_so_invites_the_next_by_itself(
    opened: Round, invited: Links, after_commit: Callable[..., Any], diary_of: Any
) -> None:
    Round.objects.filter(pk=opened.pk).update(invite_next=True, offer_days=3)

    after_commit(invitation_decline, secret=invited["Birch"])

    place = opened.places.get(name="Dogwood")
    assert (place.size, place.state) == ("S", "offered")
    assert timezone.localdate(place.offered_until) == today_for(opened) + 3 * DAY
    assert sorted(letter.to[0] for letter in mail.outbox) == ["designer@example.org", "dogwood@example.org"]
    assert any("was invited by the round itself in place of Birch" in said for said in diary_of(opened))


@pytest.mark.parametrize("hindrance", ["no address", "measuring"])
def test_by_itself_a_round_invites_nobody_without_an_address_and_nobody_too_late(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any], hindrance: str
) -> None:
    Round.objects.filter(pk=opened.pk).update(invite_next=True)
    if hindrance == "no address":
        opened.candidates.filter(key="dogwood").update(email="")
    else:
        round_move(round=opened, state="measuring", by=designer)

    after_commit(invitation_decline, secret=invited["Birch"])

    assert next_for("Birch") == ("Dogwood", "S", "open")
    assert not opened.places.filter(name="Dogwood").exists()


def test_a_place_can_be_left_free(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any], diary_of: Any
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])
    vacancy = Vacancy.objects.get(place__name="Birch")

    assert after_commit(vacancy_leave, vacancy=vacancy, by=designer)
    assert not after_commit(vacancy_leave, vacancy=vacancy, by=designer)

    assert next_for("Birch") == (None, "S", "left")
    assert diary_of(opened).count("Nobody is invited in place of Birch.") == 1


def test_whoever_said_no_can_be_taken_back_into_reserve(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any], diary_of: Any
) -> None:
    after_commit(invitation_decline, secret=invited["Elm"])
    elm = opened.candidates.get(key="elm")

    after_commit(candidate_take_back, candidate=elm, by=designer)

    assert opened.candidates.get(key="elm").state == "confirmed"
    assert "Elm is in reserve again." in diary_of(opened)
    # Of all in reserve Elm is the one whom M fits.
    assert next_for("Elm") == ("Elm", "M", "open")


def test_an_offer_that_was_never_confirmed_cannot_be_put_into_reserve(opened: Round, designer: User) -> None:
    person = candidate(opened, "fir", 86, state="offered")

    with pytest.raises(Refused, match="Fir cannot be put into reserve: their offer is not open"):
        candidate_take_back(candidate=person, by=designer)


# In the same second


def at_once(*jobs: Callable[[], object]) -> list[object]:
    """What each job returned or raised, all of them begun at the same moment."""
    start, results = threading.Barrier(len(jobs)), list[object]([None] * len(jobs))

    def run(index: int) -> None:
        try:
            start.wait(timeout=10)
            results[index] = jobs[index]()
        except BaseException as error:
            results[index] = error
        finally:
            connections["default"].close()

    threads = [threading.Thread(target=run, args=[index]) for index in range(len(jobs))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return results


def test_of_people_who_take_one_place_in_the_same_second_exactly_one_gets_it(
    shared_by_threads: None, opened: Round, designer: User
) -> None:
    five_for_four(opened)
    secret = accept(opened, designer)["Birch"]
    people = [User.objects.create_user(f"p{i}@example.org", name=f"P{i}") for i in range(4)]

    results = at_once(
        *(lambda user=user: invitation_accept(secret=secret, user=user) for user in people)  # type: ignore[misc]
    )

    assert sum(isinstance(result, Place) for result in results) == 1
    assert sum(isinstance(result, InvitationEnded) for result in results) == 3
    assert opened.places.filter(state=Place.State.TAKEN).count() == 1


def test_a_place_taken_and_declined_in_the_same_second_is_one_of_the_two(
    shared_by_threads: None, opened: Round, designer: User, tester: User
) -> None:
    five_for_four(opened)
    secret = accept(opened, designer)["Birch"]

    taken, declined = at_once(
        lambda: invitation_accept(secret=secret, user=tester), lambda: invitation_decline(secret=secret)
    )

    outcomes = (type(taken).__name__, type(declined).__name__)
    assert outcomes in {("Place", "InvitationEnded"), ("InvitationEnded", "Place")}
    place = Invitation.objects.exclude(used_at=None, declined_at=None).get().place
    assert place.state == ("taken" if isinstance(taken, Place) else "given back")


def test_a_proposal_accepted_in_two_tabs_at_once_invites_everybody_once(
    shared_by_threads: None, opened: Round, designer: User
) -> None:
    five_for_four(opened)
    seen = drafted(opened).seen

    def press() -> object:
        return proposal_accept(
            round=Round.objects.get(pk=opened.pk),
            by=designer,
            revision=0,
            seen=seen,
            until=today_for(opened) + DAY,
        )

    results = at_once(press, press, press)

    assert sum(isinstance(result, list) for result in results) == 1
    assert sum(isinstance(result, AlreadyAccepted | StaleDraft) for result in results) == 2
    assert sorted(opened.places.values_list("name", flat=True)) == ["Alder", "Birch", "Cedar", "Elm"]
    assert Invitation.objects.count() == 4


def test_the_next_in_reserve_invited_in_two_tabs_at_once_gets_one_place(
    shared_by_threads: None, opened: Round, designer: User
) -> None:
    five_for_four(opened)
    invitation_decline(secret=accept(opened, designer)["Birch"])
    vacancy = Vacancy.objects.get()
    assert vacancy.candidate is not None

    results = at_once(
        *[lambda: vacancy_invite(vacancy=vacancy, candidate=vacancy.candidate, by=designer)] * 3
    )

    assert [result for result in results if isinstance(result, BaseException)] == []
    assert opened.places.filter(name="Dogwood").count() == 1
    assert Invitation.objects.filter(place__name="Dogwood").count() == 1


def test_a_link_to_say_no_works_without_an_account(client: Client, opened: Round, invited: Links) -> None:
    address = f"/rounds/join/{invited['Birch']}/no/"

    page = client.get(address)
    said = client.post(address, {"cause": ""})
    again = client.get(address)

    assert (page.status_code, said.status_code, again.status_code) == (200, 200, 410)
    assert "Thank you for saying so" in said.text
    assert "You said no to this place" in again.text
    assert page.headers["Referrer-Policy"] == "strict-origin"


def test_a_place_made_by_hand_or_by_a_proposal_fills_one_of_its_size_that_fell_free(
    opened: Round, invited: Links, designer: User, after_commit: Callable[..., Any]
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])
    after_commit(invitation_decline, secret=invited["Cedar"])

    after_commit(places_add, round=opened, names=["Willow"], size="S", by=designer)
    after_commit(accept, round=opened, by=designer)

    filled = Vacancy.objects.order_by("pk").values_list("place__name", "filled_by__name", "state")
    assert list(filled) == [("Birch", "Willow", "filled"), ("Cedar", "Dogwood", "filled")]


def test_somebody_new_is_next_for_a_place_that_nobody_could_have(
    opened: Round, invited: Links, after_commit: Callable[..., Any]
) -> None:
    after_commit(invitation_decline, secret=invited["Alder"])
    assert next_for("Alder")[0] is None
    candidate(opened, "fir", 76)

    after_commit(offers_changed, round=opened)

    assert next_for("Alder") == ("Fir", "XS", "open")


def test_what_is_kept_of_who_is_next_holds_no_measures(
    invited: Links, after_commit: Callable[..., Any]
) -> None:
    after_commit(invitation_decline, secret=invited["Birch"])

    assert Vacancy.objects.get().why == ""
