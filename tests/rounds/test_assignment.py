"""Who makes what: the draft, what it costs, and the invitations that come of it.

Expected seats are worked out by hand from the differences to XS 76, S 86 and M 96 cm.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from testround.kernel import assignment
from testround.people.models import User
from testround.rounds.bridge import seated_round
from testround.rounds.models import Candidate, Invitation, Place, Proposal, Round
from testround.rounds.refusals import Refused
from testround.rounds.services import (
    AlreadyAccepted,
    StaleDraft,
    drafted,
    place_add,
    proposal_accept,
    proposal_limits,
    proposal_save,
    today_for,
)
from tests.rounds.offers import candidate, five_for_four

DAY = dt.timedelta(days=1)


def seats(round: Round) -> dict[str, str | None]:
    return {key: seat.size for key, seat in drafted(round).seats.items()}


def accept(round: Round, by: User, days: int = 7) -> list[str]:
    """Accept the draft as it is now; the names of those invited."""
    shown = drafted(round)
    offered = proposal_accept(
        round=round,
        by=by,
        revision=shown.draft.revision,
        seen=shown.seen,
        until=today_for(round) + days * DAY,
    )
    return [one.place.name for one in offered]


# The draft


def test_a_round_without_a_draft_shows_the_best_answer(opened: Round) -> None:
    five_for_four(opened)

    assert seats(opened) == {"alder": "XS", "birch": "S", "cedar": "S", "elm": "M"}
    assert not Proposal.objects.exists()


def test_only_confirmed_offers_are_placed(opened: Round) -> None:
    people = five_for_four(opened)
    for key, state in (("alder", "offered"), ("birch", "waiting"), ("cedar", "withdrawn"), ("elm", "placed")):
        Candidate.objects.filter(pk=people[key].pk).update(state=state)

    assert seats(opened) == {"dogwood": "S"}


def test_a_move_by_hand_is_kept_and_its_cost_is_said(opened: Round, designer: User) -> None:
    five_for_four(opened)

    proposal_save(
        round=opened, by=designer, revision=0, moves={"birch": None, "dogwood": {"size": "S", "yarn": None}}
    )

    shown = drafted(opened)
    assert seats(opened) == {"alder": "XS", "cedar": "S", "dogwood": "S", "elm": "M"}
    assert shown.cost is not None
    assert shown.cost.broken == ()
    # Dogwood is 1 cm from S where Birch is 0 cm, and answered after Birch.
    assert shown.cost.differences == ("1.0 cm more misfit in all", "later answers placed")


def test_a_move_that_a_size_has_no_room_for_is_kept_and_said_to_break_the_rule(
    opened: Round, designer: User
) -> None:
    five_for_four(opened)

    proposal_save(round=opened, by=designer, revision=0, moves={"dogwood": {"size": "S", "yarn": None}})

    shown = drafted(opened)
    assert shown.cost is not None
    assert shown.cost.broken == ("S takes 2 at most and has 3.",)


def test_pins_and_exclusions_are_kept_and_the_rest_is_proposed_anew(opened: Round, designer: User) -> None:
    five_for_four(opened)

    proposal_save(
        round=opened,
        by=designer,
        revision=0,
        pins=[{"candidate": "dogwood", "size": "S", "yarn": None}],
        exclusions=[{"candidate": "elm", "size": None}],
    )

    assert seats(opened) == {"alder": "XS", "birch": "S", "dogwood": "S"}


def test_a_pin_that_contradicts_is_refused_by_name_and_nothing_is_saved(
    opened: Round, designer: User
) -> None:
    five_for_four(opened)

    with pytest.raises(Refused) as refused:
        proposal_save(
            round=opened,
            by=designer,
            revision=0,
            pins=[{"candidate": "elm", "size": "M", "yarn": None}],
            exclusions=[{"candidate": "elm", "size": "M"}],
        )

    assert refused.value.sentence == "Elm is pinned to M and excluded from it; drop one of the two."
    assert not Proposal.objects.exists()


def test_more_pins_than_a_size_takes_are_refused(opened: Round, designer: User) -> None:
    five_for_four(opened)

    with pytest.raises(
        Refused, match="S takes 2 at most, and this pin would make 3; raise its most or drop a pin"
    ):
        proposal_save(
            round=opened,
            by=designer,
            revision=0,
            pins=[{"candidate": key, "size": "S", "yarn": None} for key in ("birch", "cedar", "dogwood")],
        )


def test_least_above_most_is_refused_and_changes_nothing(opened: Round, designer: User) -> None:
    five_for_four(opened)

    with pytest.raises(Refused, match="Size S takes at most 1 but needs at least 2: raise one"):
        proposal_limits(
            round=opened,
            by=designer,
            revision=0,
            reach=5,
            places_plan={"least": {"S": 2}, "most": {"S": 1}},
            invite_next=False,
            offer_days=7,
        )

    opened.refresh_from_db()
    assert opened.places_plan == {"least": {"XS": 1, "S": 2}, "most": {"S": 2}}


def test_limits_change_the_plan_and_the_reach_at_once_and_the_diary_says_so(
    opened: Round, designer: User, diary_of: Callable[[Round], list[str]]
) -> None:
    five_for_four(opened)

    proposal_limits(
        round=opened,
        by=designer,
        revision=0,
        reach=0.75,
        places_plan={"most": {"S": 3}},
        invite_next=True,
        offer_days=5,
    )

    opened.refresh_from_db()
    # Dogwood and Elm are 1 cm from the nearest size.
    assert seats(opened) == {"alder": "XS", "birch": "S", "cedar": "S"}
    assert diary_of(opened)[-1] == (
        "Plan changed: how many testers each size needs; the next in reserve is invited at once; offers to the "
        "next in reserve stand for 5 days."
    )


def test_a_plan_that_a_second_tab_wants_to_change_stays_as_it_is(opened: Round, designer: User) -> None:
    five_for_four(opened)
    proposal_save(round=opened, by=designer, revision=0, reach=4)

    with pytest.raises(StaleDraft):
        proposal_limits(
            round=opened,
            by=designer,
            revision=0,
            reach=6,
            places_plan=None,
            invite_next=True,
            offer_days=3,
        )

    opened.refresh_from_db()
    assert (opened.places_plan is None, opened.invite_next, opened.offer_days) == (False, False, 7)


def test_a_stale_draft_is_not_saved_over_the_newer_one(opened: Round, designer: User) -> None:
    five_for_four(opened)
    proposal_save(round=opened, by=designer, revision=0, moves={"elm": None})

    with pytest.raises(StaleDraft, match="This draft was changed since you opened the page"):
        proposal_save(round=opened, by=designer, revision=0, moves={"alder": None})

    assert Proposal.objects.get().moves == {"elm": None}


def test_a_wish_for_a_size_that_is_not_there_is_left_out_and_stays_stored(opened: Round) -> None:
    person = candidate(opened, "alder", 76.5, wishes=["9X", "S"], yarns=["gone", "wool_blue"])

    (read,) = seated_round(opened).candidates

    assert (read.wishes, read.yarns) == (("S",), ("wool_blue",))
    person.refresh_from_db()
    assert (person.wishes, person.yarns) == (["9X", "S"], ["gone", "wool_blue"])


def test_a_yarn_with_fewer_makers_than_places_is_refused_in_a_sentence(opened: Round, designer: User) -> None:
    blue = opened.yarns.get()
    for name in ("One", "Two"):
        place_add(round=opened, name=name, size="S", yarn=blue, by=designer)
    blue.makers = 1
    blue.save()
    candidate(opened, "alder", 76.5)

    with pytest.raises(Refused) as refused:
        drafted(opened)

    assert refused.value.sentence == (
        "1 is fewer than the 2 testers who already make in Wool, supplied; raise it or change their yarn."
    )


def test_a_draft_forgets_those_who_offer_no_more_and_says_when_a_yarn_is_gone(
    opened: Round, designer: User
) -> None:
    people = five_for_four(opened)
    candidate(opened, "fir", 96, yarns=["wool_blue"])
    proposal_save(
        round=opened,
        by=designer,
        revision=0,
        pins=[{"candidate": "fir", "size": "M", "yarn": "wool_blue"}],
        moves={"elm": None},
    )
    Candidate.objects.filter(pk=people["elm"].pk).update(state="withdrawn")
    opened.yarns.all().delete()

    shown = drafted(opened)

    assert shown.cost is None
    assert shown.asked.lost == ("The pin of fir: wool_blue is not supplied any more, so it is left out.",)


# Accepting it


def test_accepting_offers_each_place_until_the_end_of_the_day_and_mails_a_link(
    opened: Round,
    designer: User,
    diary_of: Callable[[Round], list[str]],
    django_capture_on_commit_callbacks: Callable[..., object],
) -> None:
    designer.time_zone = "America/New_York"
    designer.save()
    opened = Round.objects.get(pk=opened.pk)
    five_for_four(opened)

    with django_capture_on_commit_callbacks(execute=True):
        invited = accept(opened, designer)

    assert invited == ["Alder", "Birch", "Cedar", "Elm"]
    places = list(opened.places.order_by("pk"))
    assert [(place.name, place.size, place.state) for place in places] == [
        ("Alder", "XS", "offered"),
        ("Birch", "S", "offered"),
        ("Cedar", "S", "offered"),
        ("Elm", "M", "offered"),
    ]
    until = places[0].offered_until
    assert until is not None
    last = today_for(opened) + 7 * DAY
    assert timezone.localdate(until, timezone=ZoneInfo("America/New_York")) == last
    assert {place.candidate.state for place in places if place.candidate} == {"placed"}
    assert {invitation.expires for invitation in Invitation.objects.all()} == {until}
    assert sorted(to for sent in mail.outbox for to in sent.to) == [
        "alder@example.org",
        "birch@example.org",
        "cedar@example.org",
        "elm@example.org",
    ]
    # The day at the designer's, although it is the next one in UTC by then.
    assert f"until {last.day} {last:%B %Y}" in " ".join(mail.outbox[0].body.split())
    assert diary_of(opened)[-1] == (
        f"Proposal accepted: 4 places offered until {last.day} {last:%B %Y}; 1 without a place."
    )
    assert opened.candidates.get(key="dogwood").state == "confirmed"


def test_a_supplied_yarn_and_the_measures_go_with_the_place(opened: Round, designer: User) -> None:
    candidate(opened, "alder", 76.5, yarns=["wool_blue"])

    accept(opened, designer)

    place = opened.places.get()
    assert (place.yarn_label, place.metres_per_ball, place.measures) == (
        "Wool, supplied",
        200,
        {"bust": 76.5},
    )


def test_nobody_without_an_address_is_mailed_and_the_link_is_given(
    opened: Round, designer: User, django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    candidate(opened, "alder", 76.5, email="")
    shown = drafted(opened)

    with django_capture_on_commit_callbacks(execute=True):
        (offered,) = proposal_accept(
            round=opened, by=designer, revision=0, seen=shown.seen, until=today_for(opened)
        )

    assert not offered.mailed
    assert "/rounds/join/" in offered.url
    assert mail.outbox == []


def test_accepting_twice_invites_nobody_twice(opened: Round, designer: User) -> None:
    five_for_four(opened)
    shown = drafted(opened)
    press = {"round": opened, "by": designer, "revision": 0, "seen": shown.seen, "until": today_for(opened)}
    proposal_accept(**press)

    with pytest.raises(AlreadyAccepted, match="accepted already; nobody is invited twice"):
        proposal_accept(**press)

    assert opened.places.count() == 4


def test_what_was_not_looked_at_is_not_accepted(opened: Round, designer: User) -> None:
    five_for_four(opened)
    seen = drafted(opened).seen
    candidate(opened, "fir", 75.9)

    with pytest.raises(StaleDraft, match="Nobody is invited yet"):
        proposal_accept(round=opened, by=designer, revision=0, seen=seen, until=today_for(opened))

    assert not opened.places.exists()


def test_a_size_that_would_have_too_many_is_refused_and_nobody_is_invited(
    opened: Round, designer: User
) -> None:
    five_for_four(opened)
    proposal_save(round=opened, by=designer, revision=0, moves={"dogwood": {"size": "S", "yarn": None}})

    with pytest.raises(Refused, match="Size S takes at most 2 testers in this round and has them"):
        accept(opened, designer)

    assert not opened.places.exists()
    assert not Invitation.objects.exists()
    assert set(opened.candidates.values_list("state", flat=True)) == {"confirmed"}


def test_offers_cannot_end_before_today(opened: Round, designer: User) -> None:
    five_for_four(opened)

    with pytest.raises(Refused, match="That day is past"):
        accept(opened, designer, days=-1)


def test_after_accepting_the_draft_starts_anew_and_who_was_left_out_by_hand_stays_out(
    opened: Round, designer: User
) -> None:
    five_for_four(opened)
    proposal_save(round=opened, by=designer, revision=0, moves={"elm": None}, reach=4)

    accept(opened, designer)

    draft = drafted(opened).draft
    assert (draft.pk, draft.revision, draft.reach, draft.moves) == (None, 2, 4, {})
    assert draft.exclusions == [{"candidate": "elm", "size": None}]
    assert seats(opened) == {}


def test_a_place_never_gets_the_key_of_a_candidate(opened: Round, designer: User) -> None:
    candidate(opened, "t01", 76.5)

    assert place_add(round=opened, name="Willow", size="S", by=designer).key == "t02"
    seated_round(opened)


def test_somebody_else_changes_nothing_here(opened: Round, stranger: User) -> None:
    five_for_four(opened)

    with pytest.raises(PermissionDenied):
        proposal_save(round=opened, by=stranger, revision=0, reach=4)
    with pytest.raises(PermissionDenied):
        accept(opened, stranger)


def test_a_second_round_of_invitations_leaves_those_of_the_first(opened: Round, designer: User) -> None:
    five_for_four(opened)
    accept(opened, designer)
    candidate(opened, "fir", 96)

    accept(opened, designer)

    assert sorted(opened.places.values_list("name", flat=True)) == ["Alder", "Birch", "Cedar", "Elm", "Fir"]
    assert set(opened.places.values_list("state", flat=True)) == {Place.State.OFFERED}


# How often it is worked out


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """What was put to the solver since nothing was known."""
    cache.clear()
    put: list[object] = []
    solve = assignment._Model.solve

    def counted(model: assignment._Model) -> object:
        put.append(model)
        return solve(model)

    monkeypatch.setattr(assignment._Model, "solve", counted)
    return put


def test_keeping_somebody_where_they_were_proposed_works_out_nothing_anew(
    opened: Round, designer: User, solved: list[object]
) -> None:
    five_for_four(opened)
    best = drafted(opened)
    assert len(solved) == 1

    proposal_save(
        round=opened,
        by=designer,
        revision=0,
        pins=[{"candidate": "birch", "size": "S", "yarn": None}],
        exclusions=[{"candidate": "dogwood", "size": None}],
    )
    kept = drafted(opened)

    assert len(solved) == 1
    assert kept.seats == best.seats
    assert kept.word_cost is not None
    assert kept.word_cost.as_good
    assert {one.candidate: one.why for one in kept.best.refused} == {"dogwood": "Excluded by the designer."}


def test_keeping_somebody_elsewhere_is_worked_out_once_beside_the_best_without_it(
    opened: Round, designer: User, solved: list[object]
) -> None:
    five_for_four(opened)

    proposal_save(
        round=opened, by=designer, revision=0, pins=[{"candidate": "dogwood", "size": "S", "yarn": None}]
    )
    drafted(opened)
    drafted(opened)

    assert len(solved) == 2
