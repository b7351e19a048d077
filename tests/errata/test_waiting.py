"""What is set aside on the desk, what testers are asked, and what has changed since."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from testround.errata.models import Asked, Decision, RemarkDecision
from testround.errata.selectors import behind, desk_of, read_round
from testround.errata.services import (
    analysis_keep,
    asking_send,
    decision_undo,
    erratum_from_remarks,
    finding_accept,
    finding_decline,
    finding_wait,
    remark_undo,
    remarks_decide,
)
from testround.errata.wording import changed_since, differences
from testround.people.models import User
from testround.reports.models import Finished, Remark
from testround.rounds.models import Place, Round
from testround.rounds.refusals import Refused
from testround.talk.models import Word
from testround.talk.services import word_write

MISPRINT = "printed-count:back_sts"
TOO_LONG = "finished-size:body_length"
SignIn = Callable[[User], Client]


@pytest.fixture
def maker(tested: Round, tester: User) -> Place:
    """The first place of the round, held by somebody with an account."""
    place = tested.places.order_by("pk")[0]
    place.tester = tester
    place.save(update_fields=["tester"])
    return place


def longer(tested: Round, by: float) -> None:
    """Every tester measures again, and it is longer by so many centimetres."""
    for row in Finished.objects.filter(place__round=tested, dimension="body_length"):
        row.values = [value + by for value in row.values]
        row.save()


def ask(tested: Round, by: User, places: list[Place], **about: Any) -> list[Asked]:
    return asking_send(
        round=tested,
        read=read_round(tested),
        key=about.pop("key", uuid.uuid4()),
        by=by,
        text=about.pop("text", "Was it hung up to dry?"),
        place_ids=[place.pk for place in places],
        **about,
    )


def sentences(refused: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [problem.sentence for problem in refused.value.problems]


# Waiting


def test_a_finding_waits_until_something_about_it_changes(
    tested: Round, designer: User, diary_of: Callable[[Round], list[str]]
) -> None:
    finding_wait(round=tested, finding_id=TOO_LONG, reason="Two more are blocking.", by=designer)

    desk = desk_of(tested)
    assert [entry.finding["id"] for entry in desk.waiting] == [TOO_LONG]
    assert TOO_LONG not in {entry.finding["id"] for entry in desk.undecided}
    assert diary_of(tested)[-1] == (
        "The finding on Hem to underarm waits for more evidence: Two more are blocking."
    )

    longer(tested, 1.5)

    desk = desk_of(tested)
    assert desk.waiting == ()
    back = desk.undecided[-1]
    assert (back.finding["id"], back.decision.reason) == (TOO_LONG, "Two more are blocking.")
    assert " off, was +" in back.changed
    assert "Your decision stands" not in back.changed


def test_what_waits_is_taken_up_again_accepted_or_declined_at_any_time(tested: Round, designer: User) -> None:
    finding_wait(round=tested, finding_id=TOO_LONG, by=designer)
    finding_wait(round=tested, finding_id=MISPRINT, by=designer)

    decision_undo(round=tested, finding_id=TOO_LONG, by=designer)
    assert TOO_LONG in {entry.finding["id"] for entry in desk_of(tested).undecided}
    finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)
    finding_wait(round=tested, finding_id=TOO_LONG, by=designer)
    finding_decline(round=tested, finding_id=TOO_LONG, reason="Meant so.", by=designer)

    assert dict(Decision.objects.values_list("finding_id", "choice")) == {
        MISPRINT: "accepted",
        TOO_LONG: "declined",
    }


def test_a_decided_finding_cannot_be_set_aside(tested: Round, designer: User) -> None:
    finding_accept(round=tested, finding_ids=[MISPRINT], by=designer)

    with pytest.raises(Refused) as refused:
        finding_wait(round=tested, finding_id=MISPRINT, by=designer)

    assert sentences(refused) == ["This finding is decided already; undo that decision first."]


def test_a_waiting_finding_that_is_gone_says_so_and_can_be_let_go(tested: Round, designer: User) -> None:
    for place in tested.places.all()[:4]:
        Remark.objects.create(place=place, where="Back, step 3", kind="unclear", text="Which row?")
    finding_wait(round=tested, finding_id="clarity:Back, step 3", by=designer)
    Remark.objects.filter(place__round=tested).delete()

    (entry,) = [entry for entry in desk_of(tested).undecided if entry.decision]

    assert (entry.gone, entry.changed) == (
        True,
        f"Since {date_format(timezone.localdate(), 'DATE_FORMAT')} the analysis no longer reports this.",
    )


# Since when


def test_a_decision_says_since_when_the_analysis_says_otherwise(tested: Round, designer: User) -> None:
    finding_decline(round=tested, finding_id=TOO_LONG, reason="It grows in the wash.", by=designer)
    analysis_keep(round=tested)
    assert Decision.objects.get().changed_at is None

    longer(tested, 1.5)
    analysis_keep(round=tested)
    Decision.objects.update(changed_at=dt.datetime(2027, 3, 14, 12, tzinfo=dt.UTC))
    longer(tested, 0.5)
    analysis_keep(round=tested)

    (entry,) = desk_of(tested).decided
    assert entry.changed.startswith("Since 14 March 2027: ")
    assert entry.decision.choice == Decision.Choice.DECLINED

    longer(tested, -2)
    analysis_keep(round=tested)
    assert Decision.objects.get().changed_at is None
    assert desk_of(tested).decided[0].changed == ""


def test_what_has_changed_is_said_in_words() -> None:
    then = {
        "kind": "worked-count",
        "verdict": "look-closer",
        "sizes": ["M"],
        "unit": "st",
        "estimate": 2.0,
        "testers": 2,
        "now": {"M": 104},
        "proposed": {"M": 106},
    }
    now = {
        **then,
        "verdict": "amend",
        "sizes": ["M", "L"],
        "testers": 5,
        "proposed": {"M": 108, "L": 116},
        "now": {"M": 104, "L": 112},
        "estimate": 4.0,
    }

    assert differences(then, now, ("S", "M", "L")) == (
        "was look closer, now amend",
        "proposes 108 in size M, was 106",
        "proposes 116 in size L",
        "112 is printed in size L",
        "in sizes M and L, was in size M",
        "4 stitches off, was 2",
        "5 testers say so, was 2",
    )
    assert changed_since(then, {**then, "verdict": "amend"}, dt.date(2027, 3, 14)) == (
        "Since 14 March 2027: was look closer, now amend. Your decision stands until you undo it."
    )


def test_an_estimate_is_said_in_the_readers_unit_and_only_where_a_tape_shows_it() -> None:
    then = {"kind": "finished-size", "verdict": "amend", "unit": "cm", "estimate": 3.2, "testers": 4}

    assert differences(then, {**then, "estimate": 3.24}) == ()
    assert differences(then, {**then, "estimate": 4.1}) == ("+4.1 cm off, was +3.2 cm",)
    assert differences(then, {**then, "estimate": 4.1}, (), "in") == ("+1 5/8 in off, was +1 1/4 in",)


# Remarks


def test_remarks_are_declined_with_a_reason_and_taken_up_again(
    tested: Round, designer: User, diary_of: Callable[[Round], list[str]]
) -> None:
    remark = Remark.objects.get(place__round=tested, kind="typo")

    with pytest.raises(Refused) as unreasoned:
        remarks_decide(round=tested, remark_ids=[remark.pk], choice="declined", by=designer)
    remarks_decide(round=tested, remark_ids=[remark.pk], choice="declined", reason="As meant.", by=designer)

    assert sentences(unreasoned) == [
        "Reason: nothing is written here; say in a few words why these remarks are declined."
    ]
    desk = desk_of(tested)
    assert (desk.open_remarks, [group.place for group in desk.settled]) == (2, [""])
    assert diary_of(tested)[-1] == "1 remark declined: no place named: As meant."

    remark_undo(round=tested, remark_id=remark.pk, by=designer)
    assert desk_of(tested).open_remarks == 3


def test_remarks_wait_until_somebody_remarks_on_the_same_place(tested: Round, designer: User) -> None:
    remark = Remark.objects.get(place__round=tested, where="Back, step 3")
    remarks_decide(round=tested, remark_ids=[remark.pk], choice="waiting", by=designer)
    assert desk_of(tested).open_remarks == 2

    Remark.objects.create(
        place=tested.places.last(), where="Back, step 3", kind="unclear", text="And which row?"
    )

    (group,) = [group for group in desk_of(tested).groups if group.place == "Back, step 3"]
    assert [(entry.remark.text, entry.again) for entry in group.remarks] == [
        ("Which side faces me?", True),
        ("And which row?", False),
    ]


def test_a_remark_in_an_erratum_is_neither_declined_nor_set_aside(tested: Round, designer: User) -> None:
    remark = Remark.objects.get(place__round=tested, kind="typo")
    erratum_from_remarks(round=tested, remark_ids=[remark.pk], by=designer)

    with pytest.raises(Refused) as refused:
        remarks_decide(round=tested, remark_ids=[remark.pk], choice="waiting", by=designer)

    assert sentences(refused) == ["One of the ticked remarks is in an erratum already; leave it out."]
    assert not RemarkDecision.objects.exists()


# Asking


def test_testers_whose_reports_a_finding_rests_on_are_the_ones_to_ask(tested: Round) -> None:
    read = read_round(tested)
    findings = {finding["id"]: finding for finding in read.document["findings"]}

    assert behind(read, findings[TOO_LONG]) == tuple(f"t{index:03}" for index in range(9))
    # The misprint is size M's alone.
    assert behind(read, findings[MISPRINT]) == ("t002", "t005", "t008")


def test_a_tester_is_asked_in_private_and_the_desk_shows_what_they_answer(
    tested: Round, maker: Place, designer: User, tester: User, diary_of: Callable[[Round], list[str]]
) -> None:
    ask(tested, designer, [maker], finding_id=TOO_LONG)

    (word,) = Word.objects.all()
    assert (word.to, word.text) == (tester, "Was it hung up to dry?")
    # Others read the diary: neither who was asked nor what.
    assert diary_of(tested)[-1] == "1 tester was asked in private about Finished size: Hem to underarm."
    (asked,) = next(e for e in desk_of(tested, designer).undecided if e.finding["id"] == TOO_LONG).asked
    assert (asked.question, asked.answer) == ("Was it hung up to dry?", None)

    word_write(place=maker, key=uuid.uuid4(), by=tester, text="Yes, overnight.")

    (asked,) = next(e for e in desk_of(tested, designer).undecided if e.finding["id"] == TOO_LONG).asked
    assert asked.text == "Yes, overnight."


def test_an_editor_sees_that_a_tester_was_asked_and_not_what_was_said(
    tested: Round, maker: Place, designer: User, tester: User, stranger: User
) -> None:
    ask(tested, designer, [maker], finding_id=TOO_LONG)
    word_write(place=maker, key=uuid.uuid4(), by=tester, text="Yes, overnight.")

    (asked,) = next(e for e in desk_of(tested, stranger).undecided if e.finding["id"] == TOO_LONG).asked

    assert (asked.question, asked.text, asked.answer is not None) == ("", "", True)
    with pytest.raises(PermissionDenied):
        ask(tested, stranger, [maker], finding_id=TOO_LONG)


def test_a_question_that_is_sent_twice_is_asked_once(tested: Round, maker: Place, designer: User) -> None:
    key = uuid.uuid4()

    ask(tested, designer, [maker], finding_id=TOO_LONG, key=key)
    ask(tested, designer, [maker], finding_id=TOO_LONG, key=key)

    assert (Word.objects.count(), Asked.objects.count()) == (1, 1)


def test_who_remarked_is_asked_about_the_remark(tested: Round, maker: Place, designer: User) -> None:
    remark = Remark.objects.get(place=maker)

    ask(tested, designer, [maker], remark_ids=[remark.pk])

    (group,) = [group for group in desk_of(tested, designer).groups if group.place == "Back, step 3"]
    assert [asked.question for asked in group.remarks[0].asked] == ["Was it hung up to dry?"]


@pytest.mark.parametrize(
    ("text", "whom", "sentence"),
    [
        ("", "maker", "Question: nothing is written here; ask what you want to know."),
        ("Well?", "nobody", "Whom to ask: nobody is ticked; tick one tester or more."),
    ],
)
def test_nothing_asked_and_nobody_ticked_are_named(
    text: str, whom: str, sentence: str, tested: Round, maker: Place, designer: User
) -> None:
    with pytest.raises(Refused) as refused:
        ask(tested, designer, [maker] if whom == "maker" else [], finding_id=TOO_LONG, text=text)

    assert sentences(refused) == [sentence]


# Pages


def test_the_desk_leads_to_every_act_and_keeps_what_was_typed(
    signed_in: SignIn, tested: Round, maker: Place, designer: User
) -> None:
    client = signed_in(designer)
    desk = reverse("errata:desk", args=[tested.code])

    waited = client.post(
        reverse("errata:wait", args=[tested.code]), {"finding": TOO_LONG, "reason": "Later."}, follow=True
    )
    too_long = client.post(
        reverse("errata:wait", args=[tested.code]), {"finding": MISPRINT, "reason": "x" * 2001}
    )
    page = client.get(reverse("errata:ask", args=[tested.code]), {"finding": TOO_LONG})
    sent = client.post(
        reverse("errata:ask", args=[tested.code]),
        {"finding": TOO_LONG, "key": uuid.uuid4(), "place": [maker.pk], "text": "Hung up?"},
        follow=True,
    )

    assert "Set aside. It comes back as soon as something about it changes." in waited.content.decode()
    assert (too_long.status_code, "x" * 2001 in too_long.content.decode()) == (422, True)
    assert [choice[0] for choice in page.context["form"].fields["place"].choices] == [str(maker.pk)]
    assert sent.redirect_chain == [(desk, 302)]
    assert "Hung up?" in sent.content.decode()


def test_the_ticked_remarks_go_where_the_button_says(
    signed_in: SignIn, tested: Round, maker: Place, designer: User
) -> None:
    client, remark = signed_in(designer), Remark.objects.get(place=maker)
    address = reverse("errata:from_remarks", args=[tested.code])

    asking = client.post(address, {"remark": remark.pk, "do": "ask"})
    unreasoned = client.post(address, {"remark": remark.pk, "do": "decline"})
    waiting = client.post(address, {"remark": remark.pk, "do": "wait"})
    undone = client.post(
        reverse("errata:undo_remark", args=[tested.code]), {"remark": remark.pk}, follow=True
    )

    assert asking["Location"] == f"{reverse('errata:ask', args=[tested.code])}?remark={remark.pk}"
    assert client.get(asking["Location"]).status_code == 200
    assert unreasoned.status_code == 422
    assert waiting["Location"] == reverse("errata:desk", args=[tested.code])
    assert "Taken back; the remark is undecided again." in undone.content.decode()


def test_asking_about_nothing_that_is_there_is_not_found(
    signed_in: SignIn, tested: Round, designer: User
) -> None:
    address = reverse("errata:ask", args=[tested.code])
    for query in ({"finding": "finished-size:hat"}, {"remark": "99999"}):
        assert signed_in(designer).get(address, query).status_code == 404
    # What to ask about is chosen on the desk.
    assert signed_in(designer).get(address, {"remark": "x"})["Location"] == reverse(
        "errata:desk", args=[tested.code]
    )


@pytest.mark.parametrize("testers", [4, 9])
def test_the_desk_costs_the_same_whatever_was_decided_and_asked(
    testers: int,
    round_of: Callable[..., Round],
    signed_in: SignIn,
    designer: User,
    tester: User,
    django_assert_num_queries: Any,
) -> None:
    round = round_of(testers)
    places = list(round.places.order_by("pk"))
    round.places.update(tester=tester)
    ask(round, designer, places[: testers // 2], finding_id=TOO_LONG)
    for place in places[: testers // 2]:
        word_write(place=place, key=uuid.uuid4(), by=tester, text="Yes.")
    ids = list(Remark.objects.filter(place__round=round).values_list("pk", flat=True))
    remarks_decide(round=round, remark_ids=ids[: testers // 4], choice="waiting", by=designer)
    client = signed_in(designer)
    client.get(reverse("errata:desk", args=[round.code]))

    with django_assert_num_queries(10):
        client.get(reverse("errata:desk", args=[round.code]))
