"""What a tester has typed and not sent, kept on the server for them alone, by the API."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from testround.people.models import User
from testround.reports.drafts import draft_keep
from testround.reports.models import Draft
from testround.rounds.models import Place
from tests.api.programs import Program, assert_costs_the_same, queries_of
from tests.api.test_reports import at, own
from tests.api.test_requests import problem

__all__ = ["at", "own"]

TYPED = {"kind": "unclear", "text": "Which side"}


def test_what_stands_in_a_form_is_kept_gone_on_with_and_dropped(
    own: Program, at: str, tester: User, place: Place
) -> None:
    path = f"{at}/unsent/remark"
    nothing = own.get(path)
    assert nothing.json() == {"form": "remark", "values": {}, "at": None, "revision": 0}

    kept = own.put(path, {"values": TYPED}, match=nothing.headers["ETag"])

    assert (kept.json()["values"], kept.json()["revision"]) == (TYPED, 1)
    assert own.get(path).headers["ETag"] == kept.headers["ETag"]
    assert own.get(f"{at}/unsent").json() == {"unsent": [kept.json()]}
    # The page of the same form shows it.
    assert Draft.objects.get(place=place, person=tester, form="remark").values == TYPED

    more = own.put(path, {"values": {**TYPED, "text": "Which side faces me?"}}, match=kept.headers["ETag"])

    assert (more.json()["values"]["text"], more.json()["revision"]) == ("Which side faces me?", 2)
    assert own.delete(path, match=more.headers["ETag"]).status_code == 204
    assert own.get(f"{at}/unsent").json() == {"unsent": []}


def test_what_was_typed_meanwhile_on_a_phone_is_not_overwritten(
    own: Program, at: str, tester: User, place: Place
) -> None:
    read = own.put(f"{at}/unsent/remark", {"values": TYPED})
    draft_keep(place=place, person=tester, form="remark", values={"text": "By phone"})

    answers = [
        own.put(f"{at}/unsent/remark", {"values": TYPED}, match=read.headers["ETag"]),
        own.delete(f"{at}/unsent/remark", match=read.headers["ETag"]),
    ]

    assert [problem(answer) for answer in answers] == [(412, "changed")] * 2
    assert Draft.objects.get().values == {"text": "By phone"}


def test_it_is_kept_as_it_was_typed_and_when(own: Program, at: str) -> None:
    typed = timezone.now().replace(microsecond=0) - dt.timedelta(hours=2)
    values = {"text": " two  blanks ", "csrfmiddlewaretoken": "x" * 64, "key": "a-key"}

    kept = own.put(f"{at}/unsent/counts%20back", {"values": values, "at": typed.isoformat()}).json()

    assert (kept["form"], kept["values"]) == ("counts back", {"text": " two  blanks "})
    assert dt.datetime.fromisoformat(kept["at"]) == typed


@pytest.mark.parametrize(
    ("values", "pointer"),
    [
        ({"text": 3}, "/values/text"),
        ({"text": None}, "/values/text"),
        ({f"field_{n}": "x" for n in range(401)}, "/values"),
        ({"text": "x" * 20_000, "where": "x"}, "/values"),
    ],
)
def test_more_than_a_form_holds_is_refused(own: Program, at: str, values: object, pointer: str) -> None:
    answer = own.put(f"{at}/unsent/remark", {"values": values})

    assert problem(answer) == (422, "invalid")
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]
    assert not Draft.objects.exists()


def test_a_form_that_there_is_not_is_not_found(own: Program, at: str) -> None:
    assert problem(own.get(f"{at}/unsent/letter")) == (404, "not-found")
    assert problem(own.put(f"{at}/unsent/letter", {"values": {}})) == (404, "not-found")


def test_sending_the_report_leaves_the_draft_to_the_program(own: Program, at: str) -> None:
    own.put(f"{at}/unsent/remark", {"values": TYPED})

    own.post(f"{at}/remarks", {"kind": "unclear", "text": "Which side faces me?"})

    assert own.get(f"{at}/unsent/remark").json()["values"] == TYPED


def test_reading_costs_the_same_for_few_and_many(own: Program, at: str) -> None:
    own.put(f"{at}/unsent/remark", {"values": TYPED})

    def more() -> None:
        for form in ("swatch", "fit", "yarn", "counts%20back"):
            own.put(f"{at}/unsent/{form}", {"values": {"text": "x"}})

    assert queries_of(lambda: own.get(f"{at}/unsent/remark")) == 3  # token, place, draft
    assert_costs_the_same(lambda: own.get(f"{at}/unsent"), more)
