"""Findings, the desk and errata by a program: decided, worded, published, and made into the next edition."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.http import HttpResponse
from pypdf import PdfReader

from testround.errata.models import Analysis, Decision, Erratum
from testround.errata.selectors import analyses
from testround.people.models import User
from testround.reports.models import Remark
from testround.rounds.models import Place, Round
from tests.api.programs import Program, assert_costs_the_same
from tests.api.rows_errata import MISPRINT
from tests.api.test_reports import asked
from tests.api.test_requests import problem

TOO_LONG = "finished-size:body_length"


@pytest.fixture
def at(tested: Round) -> str:
    return f"/rounds/{tested.code}"


def accepted(program: Program, at: str, finding: str = MISPRINT) -> dict[str, Any]:
    """The draft made of a finding."""
    response = program.post(f"{at}/findings/accept", {"findings": [finding]})
    assert response.status_code == 201, response.content
    return response.json()


def test_the_findings_are_the_file_of_the_round_as_it_is_now(program: Program, at: str) -> None:
    document = program.get(f"{at}/findings").json()

    assert document["format"] == "testround/findings"
    assert {MISPRINT, TOO_LONG} <= {finding["id"] for finding in document["findings"]}


def test_an_analysis_is_kept_when_it_is_run(program: Program, at: str, tested: Round) -> None:
    Analysis.objects.all().delete()
    before = program.get(f"{at}/analysis").json()

    after = program.post(f"{at}/analysis").json()

    assert (before["kept_at"], after["kept_at"] is None) == (None, False)
    assert before["input_hash"] == after["input_hash"] == Analysis.objects.get(round=tested).input_hash
    assert after["verdicts"]["amend"] >= 2


def test_a_finding_is_accepted_worded_published_and_put_into_the_next_edition(
    program: Program, at: str, tested: Round
) -> None:
    draft = accepted(program, at)
    assert draft["changes"][0]["now"] == {"M": 114.0}
    assert (draft["number"], draft["address"], draft["findings"]) == (None, None, [MISPRINT])
    one = f"{at}/drafts/{draft['id']}"
    tag = program.get(one).headers["ETag"]

    worded = program.patch(one, {"text": "Cast on 114 stitches in size M."}, match=tag)
    stale = program.patch(one, {"text": "Cast on 115."}, match=tag)
    preview = program.get(f"{one}/preview").json()
    published = program.post(f"{one}/publish")
    edition = program.post(f"{at}/next-edition", {"label": "1.1"})

    assert (worded.json()["text"], stale.status_code) == ("Cast on 114 stitches in size M.", 412)
    assert (preview["problems"], preview["to_add"]) == ([], [])
    assert (published.json()["number"], published.json()["text"]) == (1, "Cast on 114 stitches in size M.")
    document = program.client.get(published.json()["document"]).json()
    assert [erratum["text"] for erratum in document["errata"]] == ["Cast on 114 stitches in size M."]
    assert edition.json()["label"] == "1.1"
    corrected = tested.edition.pattern.editions.get(label="1.1").document
    assert corrected.numbers[0].printed == {"XS": 92, "S": 104, "M": 114}
    assert program.get(one).status_code == 404
    code = tested.edition.pattern.code
    listed = program.get(f"/patterns/{code}/errata?draft=false").json()["results"]
    assert listed == [published.json()]


def test_numbers_of_a_draft_are_refused_at_their_place_in_the_body(program: Program, at: str) -> None:
    one = f"{at}/drafts/{accepted(program, at)['id']}"
    number = {"subject": "back_sts", "unit": "st"}

    refused = [
        asked(program.patch(one, body))
        for body in (
            {"changes": [{**number, "now": {"M": 113}}]},
            {"changes": [{**number, "now": {"XXL": 114}}]},
            {"changes": [{"subject": "hem_sts", "unit": "st", "now": {"M": 114}}]},
            {"changes": [{**number, "now": {"M": 114}}, {**number, "now": {"S": 104}}]},
            {"sizes": ["XXL"]},
            {"corrects": 12},
        )
    ]

    assert [[pointer for pointer, _ in faults] for faults in refused] == [
        ["/changes/0/now/M"],
        ["/changes/0/now/XXL"],
        ["/changes/0/subject"],
        ["/changes/1/subject"],
        ["/sizes"],
        ["/corrects"],
    ]


def test_a_draft_that_leaves_something_printed_behind_cannot_be_published_until_it_is_completed(
    program: Program, at: str, tested: Round
) -> None:
    sheet = tested.edition.sheet
    sheet["numbers"].append(
        {
            "key": "hem_sts",
            "label": "Hem",
            "place": "Back, step 2",
            "unit": "st",
            "formula": "back_sts",
            "printed": {"XS": 92, "S": 104, "M": 114},
        }
    )
    tested.edition.save()
    one = f"{at}/drafts/{accepted(program, at)['id']}"
    program.patch(
        one, {"changes": [{"subject": "back_sts", "unit": "st", "now": {"S": 106}}], "sizes": ["S"]}
    )

    lacking = program.get(f"{one}/preview").json()
    early = program.post(f"{one}/publish")
    completed = program.post(f"{one}/complete").json()
    published = program.post(f"{one}/publish")

    assert lacking["to_add"] == [{"subject": "hem_sts", "unit": "st", "now": {"S": 106.0}}]
    assert problem(early) == (422, "invalid")
    assert [problem["detail"] for problem in lacking["problems"]] == [
        one["detail"] for one in early.json()["errors"]
    ]
    assert [(change["subject"], change["now"]) for change in completed["changes"]] == [
        ("back_sts", {"S": 106.0}),
        ("hem_sts", {"S": 106.0}),
    ]
    assert published.status_code == 200


def test_findings_are_declined_set_aside_and_taken_up_again(program: Program, at: str) -> None:
    declined = program.post(f"{at}/findings/decline", {"finding": MISPRINT, "reason": "It is meant so."})
    twice = program.post(f"{at}/findings/accept", {"findings": [MISPRINT]})
    waiting = program.post(f"{at}/findings/wait", {"finding": TOO_LONG})
    desk = program.get(f"{at}/desk").json()
    undone = program.post(f"{at}/findings/undo", {"finding": MISPRINT})

    assert (declined.json()["choice"], waiting.json()["choice"]) == ("declined", "waiting")
    assert problem(twice) == (422, "invalid")
    decided = {part: [one["finding"]["id"] for one in desk[part]] for part in ("decided", "waiting")}
    assert decided == {"decided": [MISPRINT], "waiting": [TOO_LONG]}
    assert undone.json() == {"draft": None}
    assert [decision.finding_id for decision in Decision.objects.all()] == [TOO_LONG]


def test_the_desk_says_each_finding_in_a_sentence_and_names_each_remark(
    program: Program, at: str, tested: Round
) -> None:
    desk = program.get(f"{at}/desk").json()

    headlines = {one["finding"]["id"]: one["headline"] for one in desk["undecided"]}
    assert "114" in headlines[MISPRINT]
    assert [(one["where"], one["kind"]) for one in desk["remarks"]] == [
        ("Back, step 1", "wrong-number"),
        ("Back, step 3", "unclear"),
        (None, "typo"),
    ]


def test_remarks_become_a_draft_or_are_declined_or_wait(program: Program, at: str) -> None:
    first, second, third = Remark.objects.order_by("pk").values_list("pk", flat=True)

    draft = program.post(f"{at}/remarks/draft", {"remarks": [first]}).json()
    declined = program.post(f"{at}/remarks/decline", {"remarks": [second], "reason": "It is right."})
    waiting = program.post(f"{at}/remarks/wait", {"remarks": [third]})
    settled = program.get(f"{at}/desk").json()
    again = program.post(f"{at}/remarks/undo", {"remarks": [second, third]})

    assert (draft["remarks"], draft["text"]) == ([first], "")
    assert [one["choice"] for one in declined.json()["decisions"]] == ["declined"]
    assert [one["choice"] for one in waiting.json()["decisions"]] == ["waiting"]
    assert (len(settled["remarks"]), len(settled["settled_remarks"])) == (0, 3)
    assert again.status_code == 204
    assert len(program.get(f"{at}/desk").json()["remarks"]) == 2


def test_drafts_are_made_into_one_and_removed(program: Program, at: str) -> None:
    first, second = (accepted(program, at, finding)["id"] for finding in (MISPRINT, TOO_LONG))

    merged = program.post(f"{at}/drafts/merge", {"drafts": [second, first]}).json()
    removed = program.delete(f"{at}/drafts/{first}")

    assert (merged["id"], sorted(merged["findings"])) == (first, sorted([MISPRINT, TOO_LONG]))
    assert removed.status_code == 204
    assert (Erratum.objects.count(), Decision.objects.count()) == (0, 0)


def test_testers_are_asked_about_what_rests_on_their_reports_alone(
    program: Program, at: str, tested: Round, tester: User
) -> None:
    # Size M is misprinted; the other is of another size.
    other, asking = tested.places.order_by("pk")[1:3]
    Place.objects.filter(pk=asking.pk).update(tester=tester)
    body = {"finding": MISPRINT, "places": [asking.pk], "text": "How many did you cast on?"}

    answer = program.post(f"{at}/findings/ask", body)
    nobody = program.post(f"{at}/findings/ask", {**body, "places": [other.pk]})
    gone = program.post(f"{at}/findings/ask", {**body, "finding": "yarn:yarn-of-old"})

    assert answer.json() == {"places": [asking.pk]}
    assert (asked(nobody)[0][0], asked(gone)[0][0]) == ("/places", "/finding")
    desk = program.get(f"{at}/desk").json()
    entry = next(
        one for part in ("undecided", "quiet") for one in desk[part] if one["finding"]["id"] == MISPRINT
    )
    assert [(one["place"], one["question"]) for one in entry["asked"]] == [(asking.pk, body["text"])]


def test_the_report_of_a_round_is_a_pdf_on_either_paper(program: Program, at: str) -> None:
    widths = {}
    for paper in ("A4", "Letter"):
        response = program.get(f"{at}/report?paper={paper}")
        assert response.headers["Content-Type"] == "application/pdf"
        widths[paper] = round(float(PdfReader(io.BytesIO(response.content)).pages[0].mediabox.width))

    assert widths == {"A4": 595, "Letter": 612}
    assert problem(program.get(f"{at}/report?paper=napkin")) == (422, "invalid")


@pytest.mark.parametrize("path", ["analysis", "findings", "desk", "gauges"])
def test_reading_the_results_costs_the_same_for_three_testers_and_nine(
    program: Program, round_of: Callable[..., Round], path: str
) -> None:
    rounds = {"now": round_of(3, title="Few")}

    def read() -> HttpResponse:
        # As in a process that has just begun.
        cache.clear()
        analyses.recent.clear()
        return program.get(f"/rounds/{rounds['now'].code}/{path}")

    assert_costs_the_same(read, lambda: rounds.update(now=round_of(9, title="Many")))


def test_reading_errata_costs_the_same_however_many_there_are(
    program: Program, at: str, tested: Round
) -> None:
    accepted(program, at)
    findings = (f"yarn:{index}" for index in range(100))

    def grow() -> None:
        for finding in (next(findings), next(findings)):
            made = Erratum.objects.create(
                pattern=tested.edition.pattern, edition=tested.edition, round=tested, place="Back, step 3"
            )
            made.remarks.set(Remark.objects.all())
            Decision.objects.create(
                round=tested, erratum=made, finding_id=finding, choice="accepted", finding={}
            )

    for path in (f"{at}/drafts", f"/patterns/{tested.edition.pattern.code}/errata"):
        assert_costs_the_same(lambda path=path: program.get(path), grow)
