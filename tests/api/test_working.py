"""What goes on at a place while the work does: the timer, rows counted, and what a tester allows."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from testround.reports.models import RunningSitting, Sitting
from testround.rounds.models import Consent, Place
from tests.api.programs import Program, assert_costs_the_same
from tests.api.test_reports import asked, at, own
from tests.api.test_requests import problem

__all__ = ["at", "own"]


def began(place: Place, **ago: float) -> None:
    RunningSitting.objects.filter(place=place).update(started_at=timezone.now() - dt.timedelta(**ago))


def test_a_sitting_is_timed_and_logged_when_it_ends(own: Program, at: str, place: Place) -> None:
    started = own.post(f"{at}/timer", {"part": "back"})
    began(place, minutes=90.5)
    stopped = own.post(f"{at}/timer/stop", {"part": "back", "done": 0.4})

    assert started.json()["part"] == "back"
    sitting = Sitting.objects.get(place=place)
    assert (sitting.part, sitting.hours, sitting.done) == ("back", 1.5, 0.4)
    assert sitting.typed == {"hours": "1:30", "done": "40"}
    assert stopped.json()["report"]["id"] == sitting.submission_id
    assert own.get(f"{at}/timer").json() == {"started_at": None, "part": None}


def test_a_sitting_that_runs_runs_on_when_it_is_begun_again_and_can_be_forgotten(
    own: Program, at: str
) -> None:
    first = own.post(f"{at}/timer", {"part": "back"}).json()

    assert own.post(f"{at}/timer", {}).json() == first
    assert own.delete(f"{at}/timer", match=own.get(f"{at}/timer").headers["ETag"]).status_code == 204
    assert problem(own.post(f"{at}/timer/stop", {})) == (409, "conflict")
    assert not Sitting.objects.exists()


def test_a_timer_that_was_forgotten_asks_for_the_real_length(own: Program, at: str, place: Place) -> None:
    own.post(f"{at}/timer", {})
    began(place, hours=20)

    refused = own.post(f"{at}/timer/stop", {})
    logged = own.post(f"{at}/sittings", {"hours": 2})

    assert problem(refused) == (409, "conflict")
    assert logged.status_code == 201
    assert own.get(f"{at}/timer").json()["started_at"] is None


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [("timer", {"part": "hood"}, "/part"), ("timer/stop", {"done": 1.5}, "/done")],
)
def test_what_is_wrong_with_a_timer_is_said_at_its_place(
    own: Program, at: str, path: str, body: dict[str, object], pointer: str
) -> None:
    assert [where for where, _ in asked(own.post(f"{at}/{path}", body))] == [pointer]


def test_rows_are_counted_once_and_steps_ticked_off(own: Program, at: str) -> None:
    counter, press, unknown = (str(uuid.uuid4()) for _ in range(3))
    events = [
        {"id": str(uuid.uuid4()), "kind": "counter", "counter": counter, "label": "Left front", "goal": 96},
        {"id": press, "kind": "rows", "counter": counter, "rows": 2},
        {"id": str(uuid.uuid4()), "kind": "tick", "number": "back_sts", "done": True},
        {"id": unknown, "kind": "tick", "number": "hem_sts", "done": True},
    ]

    first = own.post(f"{at}/counting", {"events": events}).json()
    again = own.post(f"{at}/counting", {"events": events[1:2]}).json()

    assert (first["refused"], again["taken"]) == ([unknown], [press])
    assert own.get(f"{at}/counting").json() == {
        "counters": [{"code": counter, "label": "Left front", "goal": 96, "rows": 2}],
        "ticked": ["back_sts"],
    }


def test_a_tester_allows_and_takes_back_each_use_by_itself(own: Program, at: str, place: Place) -> None:
    both = own.put(f"{at}/consents", {"kinds": ["online", "seen"]})
    fewer = own.put(f"{at}/consents", {"kinds": ["seen"]}, match=both.headers["ETag"])
    unseen = own.put(f"{at}/consents", {"kinds": ["online"]})

    assert (sorted(both.json()["kinds"]), fewer.json()) == (["online", "seen"], {"kinds": ["seen"]})
    assert [pointer for pointer, _ in asked(unseen)] == ["/kinds"]
    standing = Consent.objects.filter(place=place, withdrawn_at=None).values_list("kind", flat=True)
    assert set(standing) == {"seen"}


def test_reading_them_costs_the_same_whatever_there_is(own: Program, at: str, place: Place) -> None:
    def count() -> None:
        for label in ("Left", "Right"):
            counter = str(uuid.uuid4())
            made = {"id": str(uuid.uuid4()), "kind": "counter", "counter": counter, "label": label}
            rows = {"id": str(uuid.uuid4()), "kind": "rows", "counter": counter, "rows": 3}
            own.post(f"{at}/counting", {"events": [made, rows]})

    assert_costs_the_same(lambda: own.get(f"{at}/counting"), count)
    assert_costs_the_same(lambda: own.get(f"{at}/timer"), lambda: own.post(f"{at}/timer", {}))
    own.put(f"{at}/consents", {"kinds": ["seen"]})
    assert_costs_the_same(
        lambda: own.get(f"{at}/consents"), lambda: own.put(f"{at}/consents", {"kinds": ["seen", "online"]})
    )


def test_a_tester_says_how_to_be_thanked(own: Program, at: str, place: Place) -> None:
    before = own.get(f"{at}/thanks")
    named = own.put(f"{at}/thanks", {"thanked_as": " Kelp ", "in_report": True}, match=before.headers["ETag"])
    wrong = own.put(f"{at}/thanks", {"thanked_as": "kelp@example.org\n" * 9, "in_report": False})

    assert before.json() == {"thanked_as": "", "in_report": False}
    assert named.json() == own.get(f"{at}/thanks").json() == {"thanked_as": "Kelp", "in_report": True}
    assert (problem(wrong), asked(wrong)[0][0]) == ((422, "invalid"), "/thanked_as")
    assert_costs_the_same(
        lambda: own.get(f"{at}/thanks"),
        lambda: own.put(f"{at}/thanks", {"thanked_as": "", "in_report": False}),
    )
