"""What a tester's phone talks to: counting, drafts, the timer, answers for scripts, and what signing out clears."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from testround.people.models import User
from testround.reports.counting import counted_at, events_take
from testround.reports.models import Draft, RunningSitting, Sitting, Submission, Swatch
from testround.rounds.models import Place, Round
from tests.reports.test_views import said, typed

Address = Callable[..., str]


def post_json(client: Client, address: str, document: Any) -> Any:
    text = document if isinstance(document, str) else json.dumps(document)
    return client.post(address, text, content_type="application/json")


def counter(label: str, **more: Any) -> dict[str, Any]:
    code = str(uuid.uuid4())
    return {"id": code, "kind": "counter", "counter": code, "label": label, **more}


def press(code: str, rows: int = 1) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "kind": "rows", "counter": code, "rows": rows}


# -- counting ----------------------------------------------------------------------------------------------


def test_what_a_phone_gathered_is_taken_and_answered_with_what_stands(
    as_tester: Client, address: Address
) -> None:
    back = counter("Back", goal=96)
    tick = {"id": str(uuid.uuid4()), "kind": "tick", "number": "back_sts", "done": True}
    bad = {"id": str(uuid.uuid4()), "kind": "dance"}

    answer = post_json(
        as_tester, address("counting_events"), {"events": [back, press(back["counter"], 3), tick, bad]}
    ).json()

    assert (len(answer["taken"]), answer["refused"]) == (3, [bad["id"]])
    assert {key: answer["state"][key] for key in ("counters", "ticked")} == {
        "counters": [{"code": back["counter"], "label": "Back", "goal": 96, "rows": 3}],
        "ticked": ["back_sts"],
    }


@pytest.mark.parametrize(
    "text", ["", "no JSON", "[]", "{}", '{"events": {}}', '{"events": "' + "x" * 200_001 + '"}']
)
def test_a_post_without_events_is_refused_in_words(as_tester: Client, address: Address, text: str) -> None:
    answer = post_json(as_tester, address("counting_events"), text)

    assert (answer.status_code, answer.json()) == (422, {"error": "There are no events in this."})


def test_sections_and_their_rows_can_be_chosen_to_count(
    as_tester: Client, address: Address, place: Place
) -> None:
    page = as_tester.get(address("counting"))
    key = str(uuid.uuid4())

    as_tester.post(address("counting"), {"key": key, "what": "rows body_rows", "add": "yes"})
    as_tester.post(address("counting"), {"key": key, "what": "rows body_rows", "add": "yes"})

    assert 'data-label="Back: Rows to underarm" data-goal="96"' in page.content.decode()
    assert [(tally.label, tally.goal) for tally in counted_at(place).tallies] == [
        ("Back: Rows to underarm", 96)
    ]


def test_a_counter_of_nothing_is_refused_in_words(as_tester: Client, address: Address, place: Place) -> None:
    answer = as_tester.post(
        address("counting"), {"key": str(uuid.uuid4()), "what": "", "words": " ", "add": "yes"}
    )

    assert answer.status_code == 422
    assert "Choose what to count, or say it in your own words." in said(answer)
    assert counted_at(place).tallies == ()


def test_a_press_repeated_by_the_same_page_counts_once(
    as_tester: Client, address: Address, place: Place
) -> None:
    back = counter("Back")
    post_json(as_tester, address("counting_events"), {"events": [back]})
    button = {"key": str(uuid.uuid4()), "counter": back["counter"], "press": "1"}

    first = as_tester.post(address("counting"), button)
    as_tester.post(address("counting"), button)

    assert first.url == f"{address('counting')}?counter={back['counter']}"
    assert [tally.rows for tally in counted_at(place).tallies] == [1]


@pytest.mark.parametrize(("to", "rows"), [("40", 40), ("0", 0), ("-3", 5), ("many", 5), ("", 5)])
def test_a_counter_is_put_where_it_ought_to_be(
    as_tester: Client, address: Address, place: Place, to: str, rows: int
) -> None:
    back = counter("Back")
    post_json(as_tester, address("counting_events"), {"events": [back, press(back["counter"], 5)]})

    as_tester.post(
        address("counting"), {"key": str(uuid.uuid4()), "counter": back["counter"], "to": to, "set": "yes"}
    )

    assert [tally.rows for tally in counted_at(place).tallies] == [rows]


def test_the_page_costs_the_same_for_little_and_for_much(
    as_tester: Client, address: Address, place: Place
) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert as_tester.get(address("counting")).status_code == 200
        return len(captured)

    one = counter("Back")
    post_json(as_tester, address("counting_events"), {"events": [one]})
    little = cost()
    many = [counter(f"Piece {n}") for n in range(20)]
    presses = [press(made["counter"]) for made in many for _ in range(5)]
    events_take(place=place, pattern=place.round.edition.document, events=[*many, *presses])

    assert cost() == little


def test_once_what_is_private_is_deleted_the_page_says_so(
    as_tester: Client, address: Address, a_round: Round
) -> None:
    Round.objects.filter(pk=a_round.pk).update(purged_at=timezone.now())

    by_script = post_json(as_tester, address("counting_events"), {"events": [counter("Back")]})
    by_form = as_tester.post(
        address("counting"), {"key": str(uuid.uuid4()), "words": "Back", "add": "yes"}, follow=True
    )

    assert by_script.status_code == 422
    assert "nothing private is taken any more" in by_script.json()["error"]
    assert "nothing private is taken any more" in said(by_form)


# -- without a network -------------------------------------------------------------------------------------


def test_the_worker_is_served_fresh_and_reaches_no_further_than_these_pages(client: Client) -> None:
    answer = client.get(reverse("reports:worker"))

    assert reverse("reports:worker") == "/places/worker.js"
    assert {
        name: answer.headers[name] for name in ("Content-Type", "Cache-Control", "Service-Worker-Allowed")
    } == {
        "Content-Type": "text/javascript; charset=utf-8",
        "Cache-Control": "no-cache",
        "Service-Worker-Allowed": "/places/",
    }
    assert "worker-src 'self'" in answer.headers["Content-Security-Policy"]


def test_a_fresh_token_is_one_that_a_post_is_taken_with(tester: User, address: Address) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(tester)
    without = post_json(client, address("counting_events"), {"events": []})

    token = client.get(reverse("reports:token")).json()["token"]
    with_it = client.post(
        address("counting_events"),
        '{"events": []}',
        content_type="application/json",
        headers={"X-CSRFToken": token},
    )

    assert (without.status_code, with_it.status_code) == (403, 200)


def test_signing_out_clears_what_the_phone_keeps_and_nothing_else_does(
    as_tester: Client, address: Address
) -> None:
    assert "Clear-Site-Data" not in as_tester.get(address("place")).headers

    answer = as_tester.post(reverse("account_logout"))

    assert answer.headers["Clear-Site-Data"] == '"storage"'


# -- drafts ------------------------------------------------------------------------------------------------


@pytest.fixture
def half_a_swatch() -> dict[str, Any]:
    return {
        "form": "swatch",
        "at": timezone.now().isoformat(),
        "values": {"stitches": "22", "state": "worked", "csrfmiddlewaretoken": "x", "key": "y"},
    }


def test_what_is_typed_is_there_on_another_phone_with_when_and_a_way_to_begin_afresh(
    as_tester: Client, address: Address, half_a_swatch: dict[str, Any]
) -> None:
    answer = post_json(as_tester, address("draft"), half_a_swatch).json()
    page = as_tester.get(address("swatch"))
    taken_up = as_tester.get(address("swatch"), {"kept": "1"})

    assert answer == {"revision": 1, "newest": True}
    assert Draft.objects.get().values == {"stitches": "22", "state": "worked"}
    at = timezone.localtime(Draft.objects.get().at)
    assert f"kept from {at:%-d %B %Y, %H:%M} . Take it up again Start afresh" in said(page)
    assert (typed(page, "stitches"), typed(taken_up, "stitches")) == ("", "22")

    as_tester.post(address("draft_afresh"), {"draft": "swatch"})

    assert not Draft.objects.exists()
    assert "Start afresh" not in said(as_tester.get(address("swatch"))).split("kept from .")[0]


def test_a_draft_goes_when_its_report_is_sent_and_no_other_does(
    as_tester: Client, address: Address, half_a_swatch: dict[str, Any], good_swatch: dict[str, Any]
) -> None:
    post_json(as_tester, address("draft"), half_a_swatch)
    post_json(as_tester, address("draft"), {"form": "yarn", "values": {"metres": "10"}})

    as_tester.post(address("swatch"), {**good_swatch, "stitches": "nonsense"})
    refused = set(Draft.objects.values_list("form", flat=True))
    as_tester.post(address("swatch"), good_swatch)

    assert refused == {"swatch", "yarn"}
    assert set(Draft.objects.values_list("form", flat=True)) == {"yarn"}


@pytest.mark.parametrize(
    ("document", "sentence"),
    [
        ("no JSON", "This is no form of a place."),
        ({"form": "login", "values": {}}, "This is no form of a place."),
        ({"form": "yarn", "values": []}, "This is no form of a place."),
        (
            {"form": "yarn", "values": {"metres": "1" * 20_001}},
            "This is more than a draft holds; send it instead.",
        ),
    ],
)
def test_what_is_no_draft_is_refused_in_words(
    as_tester: Client, address: Address, document: Any, sentence: str
) -> None:
    answer = post_json(as_tester, address("draft"), document)

    assert (answer.status_code, answer.json()) == (422, {"error": sentence})
    assert not Draft.objects.exists()


def test_a_correction_has_no_draft(
    as_tester: Client, address: Address, half_a_swatch: dict[str, Any], good_swatch: dict[str, Any]
) -> None:
    as_tester.post(address("swatch"), good_swatch)
    post_json(as_tester, address("draft"), half_a_swatch)

    page = as_tester.get(address("swatch"), {"corrects": Swatch.objects.get().pk, "kept": "1"})

    assert typed(page, "stitches") == "22"
    assert "data-draft-box" not in page.content.decode()


def test_a_script_that_sends_a_form_is_told_where_to_go_and_the_message_waits_there(
    as_tester: Client, address: Address, good_swatch: dict[str, Any]
) -> None:
    answer = as_tester.post(address("swatch"), good_swatch, headers={"Accept": "application/json"})

    assert answer.json() == {"next": f"{address('swatch')}#answer"}
    assert "Your swatch has arrived." in said(as_tester.get(address("swatch")))
    assert Submission.objects.count() == 1


# -- the timer ---------------------------------------------------------------------------------------------


def running(**ago: float) -> RunningSitting:
    RunningSitting.objects.update(started_at=timezone.now() - dt.timedelta(**ago))
    return RunningSitting.objects.get()


def test_a_sitting_is_begun_and_ended_by_two_buttons(as_tester: Client, address: Address) -> None:
    as_tester.post(address("timer_start"), {"from": "sitting"})
    row = running(hours=1, minutes=15)
    page = as_tester.get(address("sitting"))

    ended = as_tester.post(
        address("timer_stop"), {"key": str(row.key), "part": "back", "done": "40 %"}, follow=True
    )

    assert "1:15 hours, since" in said(page)
    assert "stand up, stretch, rest hands and eyes" in said(page)
    assert "Logged: a sitting of 1:15 hours." in said(ended)
    sitting = Sitting.objects.get()
    assert (sitting.hours, sitting.part, sitting.done) == (1.25, "back", 0.4)


def test_a_long_sitting_by_the_timer_brings_the_reminder_to_rest(as_tester: Client, address: Address) -> None:
    as_tester.post(address("timer_start"))
    row = running(hours=3)

    ended = as_tester.post(address("timer_stop"), {"key": str(row.key), "part": ""}, follow=True)

    assert "That was a sitting of 3 hours. Pause, stretch and rest your hands and eyes" in said(ended)


def test_a_timer_that_was_forgotten_asks_how_long_it_was_and_logs_that(
    as_tester: Client, address: Address
) -> None:
    as_tester.post(address("timer_start"))
    row = running(hours=14)

    asked = as_tester.post(address("timer_stop"), {"key": str(row.key), "part": ""}, follow=True)
    assert "Say how long it really was; nothing is logged yet." in said(asked)
    assert "longer than anyone sits" in said(asked)
    assert not Sitting.objects.exists()

    as_tester.post(address("sitting"), {"key": str(uuid.uuid4()), "hours": "1:30", "part": ""})

    assert Sitting.objects.get().hours == 1.5
    assert not RunningSitting.objects.exists()


def test_a_sitting_logged_by_hand_leaves_a_timer_that_runs(as_tester: Client, address: Address) -> None:
    as_tester.post(address("timer_start"))
    running(hours=1)

    as_tester.post(address("sitting"), {"key": str(uuid.uuid4()), "hours": "1:30", "part": ""})

    assert RunningSitting.objects.exists()


def test_a_timer_is_dropped_with_nothing_logged(as_tester: Client, address: Address) -> None:
    as_tester.post(address("timer_start"))

    as_tester.post(address("timer_drop"))

    assert (RunningSitting.objects.count(), Sitting.objects.count()) == (0, 0)


def test_what_cannot_be_meant_of_a_sittings_end_is_said_and_the_timer_runs_on(
    as_tester: Client, address: Address
) -> None:
    as_tester.post(address("timer_start"))
    row = running(hours=1)

    answer = as_tester.post(
        address("timer_stop"), {"key": str(row.key), "part": "", "done": "140"}, follow=True
    )

    assert "A part is at most 100 per cent done; write 100 when it is finished." in said(answer)
    assert (RunningSitting.objects.count(), Sitting.objects.count()) == (1, 0)
