"""The call for testers: what it takes in, what it keeps back, and what it tells nobody."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied
from django.db import connection, transaction
from django.utils import timezone

from testround.outbox.models import Mail
from testround.patterns.models import Edition, Membership
from testround.people.models import User
from testround.reports.exchange import round_export, round_import
from testround.rounds.models import Candidate, OfferLink, Round
from testround.rounds.refusals import OfferEnded, Refused, UnknownOffer
from testround.rounds.services import call as services
from testround.rounds.services import (
    offers,
    place_add,
    round_edit,
    round_move,
    round_open,
    rounds_follow_dates,
)
from testround.rounds.services.call import CallState, call_state, confirmed_count
from testround.rounds.services.offers import email_key

from .calls import WREN, confirmed, in_days, letters_to, offer, secret_mailed, secret_of, subjects_to, written

Diary = Callable[[Round], list[str]]


def state_of(round: Round) -> CallState:
    round.refresh_from_db()
    return call_state(round, confirmed=confirmed_count(round))


def states(round: Round) -> list[tuple[str, str]]:
    return list(round.candidates.values_list("name", "state"))


def refusal(act: Callable[[], Any]) -> dict[str, str]:
    with pytest.raises(Refused) as refused:
        act()
    return {problem.path: problem.sentence for problem in refused.value.problems}


def turn_back(round: Round, **fields: Any) -> None:
    """Set what only time sets."""
    Round.objects.filter(pk=round.pk).update(**fields)


# -- writing, opening, closing -----------------------------------------------------------------------------


def test_a_written_call_has_an_address_and_is_not_open(
    opened: Round, designer: User, diary_of: Diary
) -> None:
    round = written(opened, designer, call_closes=None)

    assert round.call_code
    assert len(round.call_code) == 11
    assert round.call_code != round.code
    assert state_of(round) == CallState.UNOPENED
    assert diary_of(round)[-1] == "Call for testers written."


def test_what_changes_in_a_call_is_in_the_diary(called: Round, designer: User, diary_of: Diary) -> None:
    written(called, designer, asked="Make two.", offers_wanted=9, photo_uses=[], for_child=True)

    assert diary_of(called)[-1] == (
        "Call changed: offers wanted from none to “9”; what is asked reworded; what may be done with photos; "
        "for a child."
    )


def test_saving_a_call_as_it_is_leaves_no_entry(called: Round, designer: User, diary_of: Diary) -> None:
    before = diary_of(called)

    written(called, designer)

    assert diary_of(called) == before


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"asked": "  "}, "asked", "Say what is asked of testers, and by when: nobody can offer before."),
        (
            {"call_opens": in_days(9), "call_closes": in_days(8)},
            "call_closes",
            "The call cannot close before it opens: pick a later date.",
        ),
        ({"offers_wanted": 0}, "offers_wanted", "A call wants at least one offer; or leave it empty."),
        (
            {"photo_uses": ["poster"]},
            "photo_uses",
            "“poster” is none of pattern, online, face, name: choose among these.",
        ),
    ],
)
def test_a_call_that_cannot_be_meant_is_refused(
    called: Round, designer: User, changed: dict[str, Any], field: str, sentence: str
) -> None:
    assert refusal(lambda: written(called, designer, **changed)) == {field: sentence}


def test_a_call_ends_before_the_round_begins(called: Round, designer: User) -> None:
    found = refusal(lambda: written(called, designer, call_opens=in_days(31), call_closes=in_days(31)))

    assert found.keys() == {"call_opens", "call_closes"}


def test_opening_by_hand_moves_the_round_to_gathering(called: Round, diary_of: Diary) -> None:
    assert called.state == Round.State.GATHERING
    assert diary_of(called)[-1] == "Round moved from planned to gathering: the call was opened."
    assert state_of(called) == CallState.OPEN


def test_opening_twice_is_opening_once(called: Round, designer: User, diary_of: Diary) -> None:
    before = diary_of(called)

    services.call_open(round=called, by=designer)

    assert diary_of(called) == before


def test_a_call_that_says_nothing_is_not_opened(opened: Round, designer: User) -> None:
    assert refusal(lambda: services.call_open(round=opened, by=designer)) == {
        "": "Write the call first: what is asked, and by when."
    }


def test_a_call_whose_last_day_has_passed_is_not_opened(called: Round, designer: User) -> None:
    turn_back(called, call_closes=in_days(-1), state="planned")

    (sentence,) = refusal(lambda: services.call_open(round=called, by=designer)).values()

    assert sentence.endswith("write a later one first.")


def test_its_first_day_opens_a_call(edition: Edition, opened: Round, designer: User, diary_of: Diary) -> None:
    written(opened, designer, call_opens=dt.date(2027, 1, 4), call_closes=dt.date(2027, 1, 10))
    day_before = dt.datetime(2027, 1, 3, 23, 59, tzinfo=dt.UTC)

    assert rounds_follow_dates(now=day_before) == 0
    assert rounds_follow_dates(now=day_before + dt.timedelta(minutes=1)) == 1

    opened.refresh_from_db()
    assert opened.state == Round.State.GATHERING
    assert diary_of(opened)[-1] == (
        "Round moved from planned to gathering: the call was to open on 4 January 2027."
    )


def test_a_first_day_without_a_call_opens_nothing(opened: Round) -> None:
    turn_back(opened, call_opens=dt.date(2027, 1, 4))

    assert rounds_follow_dates(now=dt.datetime(2027, 1, 5, tzinfo=dt.UTC)) == 0


def test_a_call_closes_after_its_last_day_at_the_designers(
    called: Round, designer: User, diary_of: Diary
) -> None:
    turn_back(called, call_closes=in_days(0))
    assert state_of(called) == CallState.OPEN
    assert services.calls_close_by_date() == 0

    turn_back(called, call_closes=in_days(-1))
    assert state_of(called) == CallState.LATE
    assert services.calls_close_by_date() == 1
    assert services.calls_close_by_date() == 0

    assert [entry for entry in diary_of(called) if entry.startswith("Call closed")] == [
        f"Call closed: its last day was {in_days(-1).day} {in_days(-1):%B %Y}."
    ]


def test_a_later_last_day_opens_the_call_again(called: Round, designer: User) -> None:
    turn_back(called, call_closes=in_days(-1))
    services.calls_close_by_date()

    written(called, designer, call_closes=in_days(5))

    assert state_of(called) == CallState.OPEN


def test_a_call_is_closed_and_opened_by_hand(called: Round, designer: User, diary_of: Diary) -> None:
    services.call_close(round=called, by=designer)
    services.call_close(round=called, by=designer)
    assert state_of(called) == CallState.LATE

    services.call_open(round=called, by=designer)

    assert state_of(called) == CallState.OPEN
    assert diary_of(called)[-2:] == [
        "Call closed by hand: offers wait from here on.",
        "Call opened again.",
    ]


def test_once_the_round_swatches_offers_wait_and_once_it_makes_the_call_has_ended(
    called: Round, designer: User
) -> None:
    found = {}
    for state in ("swatching", "making", "measuring", "closed"):
        round_move(round=called, state=state, by=designer)
        found[state] = state_of(called)

    assert found == {"swatching": "late", "making": "ended", "measuring": "ended", "closed": "ended"}


def test_an_editor_writes_a_call_and_opens_none(called: Round, designer: User, stranger: User) -> None:
    Membership.objects.create(
        pattern=called.edition.pattern,
        role="editor",
        email=stranger.email,
        user=stranger,
        secret_hash="x",
        expires=timezone.now(),
        joined_at=timezone.now(),
    )

    written(called, stranger, asked="Make two.")

    for act in (services.call_open, services.call_close, services.call_address_renew):
        with pytest.raises(PermissionDenied):
            act(round=called, by=stranger)


def test_another_address_ends_the_one_before(called: Round, designer: User, diary_of: Diary) -> None:
    was = called.call_code

    renewed = services.call_address_renew(round=called, by=designer)

    assert renewed.call_code != was
    assert not Round.objects.filter(call_code=was).exists()
    assert diary_of(called)[-1] == "The call's page has a new address."


# -- how many offers ---------------------------------------------------------------------------------------


def test_a_call_wants_three_offers_for_every_place(called: Round) -> None:
    # XS 1, S 2, and one of M, of which the plan says nothing.
    assert services.places_planned(called) == 4
    assert services.offers_wanted(called) == 12


def test_a_made_to_measure_round_has_a_number_of_its_own(called: Round) -> None:
    called.edition.sheet = {**called.edition.sheet, "sizes": []}

    assert services.offers_wanted(called) == 3 * services.PLACES_UNSAID


def test_the_designer_may_want_another_number(called: Round) -> None:
    called.offers_wanted = 5

    assert services.offers_wanted(called) == 5


# -- offering ----------------------------------------------------------------------------------------------


def test_an_offer_counts_for_nothing_until_it_is_confirmed(called: Round, diary_of: Diary) -> None:
    before = diary_of(called)

    offer(called, "wren@example.org")

    assert states(called) == [("Wren", "offered")]
    assert confirmed_count(called) == 0
    assert subjects_to("wren@example.org") == ["Confirm your offer to test Little top"]
    assert diary_of(called) == before


def test_all_that_was_said_is_kept(called: Round) -> None:
    said = replace(WREN, name=" Wren  Hill ", units="in", terms="uk", photo_uses=("online", "name"))

    offer(called, "Wren+tests@Example.org", said)

    candidate = called.candidates.get()
    assert (candidate.key, candidate.name, candidate.email) == ("c01", "Wren Hill", "Wren+tests@Example.org")
    assert (candidate.measures, candidate.typed) == ({"bust": 92.5}, {"bust": "92.5 cm"})
    assert (candidate.wishes, candidate.yarns, candidate.own_yarn) == (["S", "M"], ["wool_blue"], True)
    assert (candidate.tests_before, candidate.units, candidate.terms, candidate.adult) == (
        3,
        "in",
        "uk",
        True,
    )
    assert (
        candidate.photo_pattern,
        candidate.photo_online,
        candidate.photo_face,
        candidate.photo_name,
    ) == (False, True, False, True)
    assert candidate.answered is None


def test_only_a_hash_of_the_links_secret_is_kept(called: Round) -> None:
    secret = offer(called, "wren@example.org")

    link = OfferLink.objects.get()
    assert secret not in (link.secret_hash, link.candidate.form_hash)
    assert len(link.secret_hash) == 64


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"name": " "}, "name", "Write a name to call you by; a first name will do."),
        (
            {"adult": False},
            "adult",
            "Only adults offer: for a minor's garment, a parent or another adult does.",
        ),
        ({"wishes": ("XXL",)}, "wish_1", "The pattern has no size XXL: it has XS, S, M."),
        ({"wishes": ("S", "S")}, "wish_2", "You wished for S twice: choose another size, or none."),
        ({"measures": {"hip": 90}}, "", "The pattern asks for no measure “hip”: leave it out."),
        (
            {"measures": {"bust": -1}},
            "measure_bust",
            "Full bust: -1 cm cannot be meant; give a length above 0 and up to 1000 cm.",
        ),
        (
            {"measures": {}, "wishes": ()},
            "wish_1",
            "Give a measurement, or wish for a size: otherwise no size can be found for you.",
        ),
        (
            {"yarns": ("silk",)},
            "yarns",
            "This round does not supply the yarn “silk”: choose one of these.",
        ),
        (
            {"yarns": (), "own_yarn": False},
            "yarns",
            "Choose the yarns you would work in, or say that you bring your own.",
        ),
    ],
)
def test_an_offer_that_cannot_be_meant_is_refused(
    called: Round, changed: dict[str, Any], field: str, sentence: str
) -> None:
    said = replace(WREN, **changed)

    assert refusal(lambda: offer(called, "wren@example.org", said)) == {field: sentence}
    assert (called.candidates.count(), Mail.objects.count()) == (0, 0)


@pytest.mark.parametrize(
    "spelled", ["wren@example.org", "WREN@Example.org", " wren@example.org ", "wren+knits@example.org"]
)
def test_one_mailbox_is_one_person_however_it_is_spelled(spelled: str) -> None:
    assert email_key(spelled) == "wren@example.org"


def test_a_plus_at_the_front_is_a_name_of_its_own() -> None:
    assert email_key("+wren@example.org") == "+wren@example.org"


def test_a_press_repeated_by_the_same_form_is_one_offer_and_one_mail(called: Round) -> None:
    for _ in range(2):
        offer(called, "wren@example.org", key="the form's key")

    assert called.candidates.count() == 1
    assert len(letters_to("wren@example.org")) == 1


def test_a_form_gone_back_to_and_changed_is_an_offer_of_its_own(called: Round) -> None:
    offer(called, "wren@example.org", key="the form's key")
    second = offer(called, "wren@example.org", replace(WREN, wishes=("XS",)), key="the form's key")

    candidate, _ = offers.offer_confirm(secret=second)

    assert candidate.wishes == ["XS"]
    assert called.candidates.get() == candidate


def test_a_second_offer_changes_nothing_and_tells_only_the_address(called: Round, diary_of: Diary) -> None:
    candidate, _ = confirmed(called, "wren@example.org")
    before = diary_of(called)

    answer = offers.offer_make(
        round=called, email="Wren+x@example.org", offer=replace(WREN, wishes=("XS",)), form_key="k"
    )

    assert answer is None
    candidate.refresh_from_db()
    assert candidate.wishes == ["S", "M"]
    assert called.candidates.count() == 1
    # To the address that was proven, not to the one that was typed.
    assert subjects_to("wren@example.org")[-1] == "You have offered to test Little top already"
    assert subjects_to("Wren+x@example.org") == []
    assert diary_of(called) == before
    assert offers.offer_of_secret(secret_mailed("wren@example.org")).candidate == candidate


def test_an_address_gets_three_mails_a_day_about_a_round(called: Round) -> None:
    for i in range(5):
        offer(called, "wren@example.org", replace(WREN, tests_before=i))
    assert len(letters_to("wren@example.org")) == 3

    OfferLink.objects.update(created=timezone.now() - dt.timedelta(days=1, seconds=1))
    offer(called, "wren@example.org", replace(WREN, tests_before=6))

    assert len(letters_to("wren@example.org")) == 4


def test_one_person_may_offer_in_two_rounds(called: Round, designer: User) -> None:
    other = round_open(edition=called.edition, by=designer, title="Second test", terms="")
    services.call_open(round=written(other, designer), by=designer)

    confirmed(called, "wren@example.org")
    confirmed(other, "wren@example.org", replace(WREN, yarns=()))

    assert [states(called), states(other)] == [[("Wren", "confirmed")]] * 2


def test_a_call_that_has_ended_takes_nothing(called: Round, designer: User) -> None:
    round_move(round=called, state="making", by=designer)

    with pytest.raises(OfferEnded, match="takes no more offers"):
        offer(called, "wren@example.org")


# -- confirming --------------------------------------------------------------------------------------------


def test_confirmed_by_its_link_an_offer_counts(called: Round, diary_of: Diary) -> None:
    candidate, _ = confirmed(called, "wren@example.org")

    assert candidate.state == Candidate.State.CONFIRMED
    assert candidate.answered is not None
    assert subjects_to("wren@example.org")[-1] == "Your offer to test Little top counts"
    assert diary_of(called)[-1] == "Wren confirmed an offer by mail; it counts."


def test_a_link_confirms_once(called: Round) -> None:
    secret = offer(called, "wren@example.org")
    offers.offer_confirm(secret=secret)

    with pytest.raises(OfferEnded, match="This link has been used: the offer is confirmed"):
        offers.offer_confirm(secret=secret)

    assert len(letters_to("wren@example.org")) == 2


def test_a_link_runs_out(called: Round) -> None:
    secret = offer(called, "wren@example.org")
    OfferLink.objects.update(expires=timezone.now())

    with pytest.raises(OfferEnded, match="This link ran out on"):
        offers.offer_confirm(secret=secret)

    assert states(called) == [("Wren", "offered")]


def test_a_made_up_link_is_unknown(called: Round) -> None:
    for act in (offers.offer_of_secret, lambda s: offers.offer_confirm(secret=s)):
        with pytest.raises(UnknownOffer):
            act("made-up")


def test_of_two_offers_under_one_address_the_one_that_is_confirmed_holds(called: Round) -> None:
    first = offer(called, "wren@example.org")
    second = offer(called, "WREN@example.org", replace(WREN, wishes=("XS",)))

    kept, _ = offers.offer_confirm(secret=first)

    assert called.candidates.get() == kept
    with pytest.raises(OfferEnded, match="This link has been used"):
        offers.offer_confirm(secret=second)


def test_an_offer_not_confirmed_before_the_call_ends_does_not_count(called: Round, designer: User) -> None:
    secret = offer(called, "wren@example.org")
    round_move(round=called, state="making", by=designer)

    with pytest.raises(OfferEnded, match="ended before this offer was confirmed"):
        offers.offer_confirm(secret=secret)


def test_offers_that_nobody_confirmed_are_deleted_after_a_week(called: Round) -> None:
    offer(called, "wren@example.org")
    confirmed(called, "alder@example.org", replace(WREN, name="Alder"))
    long_ago = timezone.now() - offers.UNCONFIRMED_KEPT
    Candidate.objects.update(created=long_ago + dt.timedelta(minutes=1))
    assert offers.offers_forget() == 0

    Candidate.objects.update(created=long_ago - dt.timedelta(minutes=1))

    assert offers.offers_forget() == 1
    assert states(called) == [("Alder", "confirmed")]


# -- full, late, and the waiting list ----------------------------------------------------------------------


def fill(round: Round, *names: str) -> dict[str, str]:
    """One confirmed offer for each name; their secrets."""
    return {
        name: confirmed(round, f"{name.lower()}@example.org", replace(WREN, name=name))[1] for name in names
    }


@pytest.fixture
def full(called: Round, designer: User) -> tuple[Round, dict[str, str]]:
    """A call for two offers, with two that count and two that wait."""
    written(called, designer, offers_wanted=2)
    return called, fill(called, "Wren", "Alder", "Hazel", "Rowan")


def test_a_full_call_lets_later_offers_wait(full: tuple[Round, dict[str, str]], diary_of: Diary) -> None:
    round, _ = full

    assert state_of(round) == CallState.FULL
    assert states(round) == [
        ("Wren", "confirmed"),
        ("Alder", "confirmed"),
        ("Hazel", "waiting"),
        ("Rowan", "waiting"),
    ]
    assert diary_of(round)[-4:] == [
        "Alder confirmed an offer by mail; it counts.",
        "Call full with 2 offers: later ones wait.",
        "Hazel confirmed an offer by mail; it waits: the call was full or over.",
        "Rowan confirmed an offer by mail; it waits: the call was full or over.",
    ]
    assert subjects_to("hazel@example.org")[-1] == "You are on the waiting list for testing Little top"


def test_a_late_offer_waits(called: Round) -> None:
    turn_back(called, call_closes=in_days(-1))

    fill(called, "Wren")

    assert states(called) == [("Wren", "waiting")]


def test_who_waits_longest_moves_up_when_an_offer_is_taken_back(
    full: tuple[Round, dict[str, str]], diary_of: Diary
) -> None:
    round, secrets = full

    offers.offer_withdraw(secret=secrets["Alder"])

    assert states(round) == [
        ("Wren", "confirmed"),
        ("Alder", "withdrawn"),
        ("Hazel", "confirmed"),
        ("Rowan", "waiting"),
    ]
    assert diary_of(round)[-2:] == [
        "Alder took their offer back.",
        "Hazel moved up from the waiting list; the offer counts.",
    ]
    assert subjects_to("hazel@example.org")[-1] == "Your offer to test Little top counts"
    # Both mails have a link that leads to the offer.
    assert offers.offer_of_secret(secret_mailed("hazel@example.org")).candidate.name == "Hazel"
    assert offers.offer_of_secret(secrets["Hazel"]).candidate.name == "Hazel"


def test_nobody_moves_up_when_somebody_who_waits_leaves(full: tuple[Round, dict[str, str]]) -> None:
    round, secrets = full

    offers.offer_withdraw(secret=secrets["Hazel"])

    assert dict(states(round)) == {
        "Wren": "confirmed",
        "Alder": "confirmed",
        "Hazel": "withdrawn",
        "Rowan": "waiting",
    }


def test_more_offers_wanted_lets_those_who_wait_move_up(
    full: tuple[Round, dict[str, str]], designer: User
) -> None:
    round, _ = full

    written(round, designer, offers_wanted=3)

    assert [state for _, state in states(round)] == ["confirmed", "confirmed", "confirmed", "waiting"]


def test_other_words_let_nobody_move_up_who_came_too_late(called: Round, designer: User) -> None:
    services.call_close(round=called, by=designer)
    fill(called, "Wren")

    written(called, designer, asked="Make two.")

    assert states(called) == [("Wren", "waiting")]


def test_opened_again_a_call_lets_those_who_wait_move_up(called: Round, designer: User) -> None:
    services.call_close(round=called, by=designer)
    fill(called, "Wren")

    services.call_open(round=called, by=designer)

    assert states(called) == [("Wren", "confirmed")]


# -- changing, and taking back -----------------------------------------------------------------------------


def test_an_offer_is_changed_by_its_link(called: Round, diary_of: Diary) -> None:
    _, secret = confirmed(called, "wren@example.org")

    offers.offer_change(secret=secret, offer=replace(WREN, wishes=("XS",), measures={"bust": 80.0}))

    candidate = called.candidates.get()
    assert (candidate.wishes, candidate.measures, candidate.email) == (
        ["XS"],
        {"bust": 80.0},
        "wren@example.org",
    )
    assert diary_of(called)[-1] == "Wren changed their offer."


def test_an_offer_sent_as_it_was_leaves_no_entry(called: Round, diary_of: Diary) -> None:
    _, secret = confirmed(called, "wren@example.org")
    before = diary_of(called)

    offers.offer_change(secret=secret, offer=WREN)

    assert diary_of(called) == before


def test_a_change_is_checked_like_an_offer(called: Round) -> None:
    _, secret = confirmed(called, "wren@example.org")

    found = refusal(lambda: offers.offer_change(secret=secret, offer=replace(WREN, wishes=("XXL",))))

    assert found == {"wish_1": "The pattern has no size XXL: it has XS, S, M."}


def test_taken_back_nothing_stays_but_the_name(called: Round, diary_of: Diary) -> None:
    _, secret = confirmed(called, "wren@example.org")

    offers.offer_withdraw(secret=secret)
    offers.offer_withdraw(secret=secret)

    left = Candidate.objects.filter(pk=called.candidates.get().pk).values().get()
    kept = ("name", "state", "email", "email_key", "measures", "typed", "wishes", "yarns")
    assert {name: left[name] for name in kept} == {
        "name": "Wren",
        "state": "withdrawn",
        "email": "",
        "email_key": "",
        "measures": {},
        "typed": {},
        "wishes": [],
        "yarns": [],
    }
    assert [left["own_yarn"], left["tests_before"], left["photo_pattern"]] == [False, None, False]
    assert diary_of(called).count("Wren took their offer back.") == 1
    with pytest.raises(OfferEnded, match="was taken back"):
        offers.offer_change(secret=secret, offer=WREN)


def test_who_took_an_offer_back_may_offer_again(called: Round) -> None:
    _, secret = confirmed(called, "wren@example.org")
    offers.offer_withdraw(secret=secret)

    confirmed(called, "wren@example.org", replace(WREN, wishes=("XS",)))

    assert states(called) == [("Wren", "withdrawn"), ("Wren", "confirmed")]


def test_once_a_place_came_of_it_an_offer_is_settled_there(called: Round) -> None:
    candidate, secret = confirmed(called, "wren@example.org")
    Candidate.objects.filter(pk=candidate.pk).update(state=Candidate.State.PLACED)

    for act in (
        lambda: offers.offer_change(secret=secret, offer=WREN),
        lambda: offers.offer_withdraw(secret=secret),
    ):
        with pytest.raises(OfferEnded, match="A place came of this offer"):
            act()
    # A place that came of it still counts against the number wanted.
    assert confirmed_count(called) == 1


# -- in and out of a round file ----------------------------------------------------------------------------


def test_a_round_file_carries_offers_that_count_and_no_address(
    called: Round, designer: User, other_designer: User
) -> None:
    written(called, designer, offers_wanted=1)
    fill(called, "Wren", "Alder")
    offer(called, "hazel@example.org", replace(WREN, name="Hazel"))

    document = round_export(called, photos=False)
    again = round_import(data=document, owner=other_designer)

    assert b"@example.org" not in document
    assert [candidate.name for candidate in again.candidates.all()] == ["Wren"]
    assert again.candidates.get().state == Candidate.State.CONFIRMED
    assert round_export(again, photos=False) == document


# -- at the same moment ------------------------------------------------------------------------------------


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """What comes of each when all begin together: what they return, or the error."""
    begin = threading.Barrier(len(acts))
    found: list[Any] = [None] * len(acts)

    def run(i: int) -> None:
        begin.wait()
        try:
            found[i] = acts[i]()
        except Exception as error:
            found[i] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(i,)) for i in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def test_of_two_who_confirm_at_once_one_takes_the_last_room(
    shared_by_threads: None, called: Round, designer: User
) -> None:
    written(called, designer, offers_wanted=1)
    secrets = [offer(called, f"{name}@example.org") for name in ("wren", "alder")]

    at_once(*[lambda s=secret: offers.offer_confirm(secret=s) for secret in secrets])

    assert sorted(state for _, state in states(called)) == ["confirmed", "waiting"]


def test_two_presses_at_once_confirm_once(shared_by_threads: None, called: Round) -> None:
    secret = offer(called, "wren@example.org")

    found = at_once(*[lambda: offers.offer_confirm(secret=secret)] * 2)

    assert sorted(type(one).__name__ for one in found) == ["OfferEnded", "tuple"]
    assert states(called) == [("Wren", "confirmed")]


def test_two_links_of_one_person_confirmed_at_once_are_one_offer(
    shared_by_threads: None, called: Round
) -> None:
    secrets = [
        offer(called, "wren@example.org"),
        offer(called, "wren@example.org", replace(WREN, wishes=("XS",))),
    ]

    found = at_once(*[lambda s=secret: offers.offer_confirm(secret=s) for secret in secrets])

    assert sorted(type(one).__name__ for one in found) == ["OfferEnded", "tuple"]
    assert states(called) == [("Wren", "confirmed")]


def test_a_form_pressed_twice_at_once_is_one_offer(shared_by_threads: None, called: Round) -> None:
    def press() -> None:
        offers.offer_make(round=called, email="wren@example.org", offer=WREN, form_key="the form's key")

    assert at_once(press, press) == [None, None]

    assert states(called) == [("Wren", "offered")]
    assert len(letters_to("wren@example.org")) == 1


def test_an_edit_of_the_plan_leaves_the_call_alone(called: Round, designer: User) -> None:
    round_edit(
        round=called,
        by=designer,
        title="Other title",
        opens=called.opens,
        swatches_due=called.swatches_due,
        closes=called.closes,
        terms=called.terms,
        places_plan=called.places_plan,
    )

    called.refresh_from_db()
    assert (called.call_closes, called.photo_uses) == (in_days(20), ["pattern", "online"])


# -- no place this time ------------------------------------------------------------------------------------

NO_PLACE = "Testing Little top: no place this time"


def thanked(email: str) -> list[Mail]:
    return [row for row in letters_to(email) if row.subject == NO_PLACE]


def left_over(round: Round, designer: User) -> Candidate:
    """Wren's offer counts, and the one place that was made is somebody else's."""
    candidate, _ = confirmed(round, "wren@example.org")
    place_add(round=round, name="Ash", size="S", by=designer)
    return candidate


def test_who_got_no_place_is_thanked_and_told_until_when_their_measurements_are_kept(
    called: Round, designer: User, diary_of: Diary, django_capture_on_commit_callbacks: Any
) -> None:
    turn_back(called, purge_on=dt.date(2027, 9, 7))
    with django_capture_on_commit_callbacks(execute=True):
        candidate = left_over(called, designer)
        round_move(round=called, state="swatching", by=designer)

    sent = next(one for one in mail.outbox if one.subject == NO_PLACE)
    assert sent.to == ["wren@example.org"]
    assert "Hello Wren,\n\nthank you for offering Designer to test Little top. There is no place for you" in (
        sent.body
    )
    assert "You stay in reserve until the measuring begins" in sent.body
    assert "are deleted on 7 September 2027. Take your offer back" in sent.body
    assert diary_of(called)[-1] == (
        "1 person who offered was thanked and told that there is no place for them this time."
    )

    offers.offer_withdraw(secret=secret_of(sent.body))

    candidate.refresh_from_db()
    assert (candidate.state, candidate.measures, candidate.email) == ("withdrawn", {}, "")


def test_moved_back_and_forth_a_round_thanks_nobody_twice(called: Round, designer: User) -> None:
    left_over(called, designer)

    for state in ("swatching", "gathering", "swatching", "making", "measuring", "closed"):
        round_move(round=called, state=state, by=designer)

    assert len(thanked("wren@example.org")) == 1


def test_who_offers_while_the_swatches_are_made_is_told_when_the_making_begins(
    called: Round, designer: User
) -> None:
    left_over(called, designer)
    round_move(round=called, state="swatching", by=designer)
    confirmed(called, "finch@example.org")

    assert thanked("finch@example.org") == []

    round_move(round=called, state="making", by=designer)

    (letter,) = thanked("finch@example.org")
    assert "You stay on the waiting list, and Designer may still ask you." in str(letter.letter)
    assert len(thanked("wren@example.org")) == 1


def test_nobody_is_told_that_there_is_no_place_before_anybody_was_chosen(
    called: Round, designer: User
) -> None:
    confirmed(called, "wren@example.org")
    round_move(round=called, state="swatching", by=designer)

    assert thanked("wren@example.org") == []

    round_move(round=called, state="closed", by=designer)

    (letter,) = thanked("wren@example.org")
    assert "reserve" not in str(letter.letter)


def test_who_has_a_place_or_took_the_offer_back_or_never_confirmed_it_is_not_told(
    called: Round, designer: User
) -> None:
    placed, _ = confirmed(called, "placed@example.org")
    place_add(round=called, name="Wren", size="S", candidate=placed, by=designer)
    _, secret = confirmed(called, "back@example.org")
    offers.offer_withdraw(secret=secret)
    offer(called, "never@example.org")
    Candidate.objects.create(round=called, key="filed", name="From a file")

    round_move(round=called, state="swatching", by=designer)

    assert not Mail.objects.filter(subject=NO_PLACE).exists()


def test_a_move_that_fails_tells_nobody(called: Round, designer: User) -> None:
    candidate = left_over(called, designer)

    with transaction.atomic():
        round_move(round=called, state="swatching", by=designer)
        transaction.set_rollback(True)

    candidate.refresh_from_db()
    assert (candidate.thanked_at, thanked("wren@example.org")) == (None, [])
