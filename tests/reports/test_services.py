"""What is stored when a tester sends something: once, whole, whatever the date, and nothing is overwritten."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any

import pytest

from testround.outbox.models import Work
from testround.people.models import User
from testround.reports import services
from testround.reports.claims import AlreadyCorrected, AlreadySent
from testround.reports.models import Count, Finished, Fit, Remark, Sitting, Submission, Swatch
from testround.rounds.models import DiaryEntry, Place, Round
from testround.rounds.services import today_for

GOOD = {"width": 10.0, "stitches": 22.0, "height": 10.0, "rows": 30.0}
POOR = {"width": 10.0, "stitches": 18.0, "height": 10.0, "rows": 30.0}


def send_swatch(place: Place, tester: User, **values: Any) -> Submission:
    options = {"key": uuid.uuid4(), "gauge": "body", "state": "blocked", "tool_mm": 4.0, **GOOD, **values}
    return services.swatch_submit(place=place, by=tester, **options)


def send_counts(place: Place, tester: User, key: uuid.UUID | None = None, **counts: float) -> Submission:
    return services.counts_submit(place=place, key=key or uuid.uuid4(), by=tester, counts=counts)


def send_finished(place: Place, tester: User, state: str = "blocked", **readings: list[float]) -> Submission:
    return services.finished_submit(place=place, key=uuid.uuid4(), by=tester, state=state, readings=readings)


EVERY_KIND: dict[str, tuple[Callable[..., Submission], dict[str, Any], dict[str, Any]]] = {
    "swatch": (
        services.swatch_submit,
        {"gauge": "body", "state": "blocked", **GOOD},
        {"gauge": "body", "state": "blocked", **POOR},
    ),
    "counts": (services.counts_submit, {"counts": {"back_sts": 104.0}}, {"counts": {"back_sts": 102.0}}),
    "finished": (
        services.finished_submit,
        {"state": "blocked", "readings": {"chest": [93.0]}},
        {"state": "blocked", "readings": {"chest": [94.0]}},
    ),
    "sitting": (services.sitting_submit, {"hours": 2.5, "part": "back"}, {"hours": 3.0, "part": "back"}),
    "remark": (
        services.remark_submit,
        {"kind": "unclear", "text": "Which side faces me?"},
        {"kind": "typo", "text": "Which side faces me?"},
    ),
    "fit": (services.fit_submit, {"says": {"chest": "right"}}, {"says": {"chest": "too-large"}}),
    "guess": (services.guess_submit, {"hours": 35.0}, {"hours": 40.0}),
    "yarn": (services.yarn_submit, {"metres": 1010.0}, {"metres": 1100.0}),
    "measures": (services.measures_submit, {"measures": {"bust": 87.5}}, {"measures": {"bust": 88.5}}),
}
TABLES = (Swatch, Count, Finished, Sitting, Remark, Fit, Submission, DiaryEntry)


def everything_stored(place: Place) -> dict[str, Any]:
    rows = {model.__name__: list(model.objects.order_by("pk").values()) for model in TABLES}
    kept = Place.objects.filter(pk=place.pk).values().get()
    del kept["changed"]
    return {**rows, "Place": kept}


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_a_form_that_is_sent_twice_is_one_report(kind: str, place: Place, tester: User) -> None:
    submit, content, _ = EVERY_KIND[kind]
    key = uuid.uuid4()
    first = submit(place=place, key=key, by=tester, **content)
    stored = everything_stored(place)

    second = submit(place=place, key=key, by=tester, **content)

    assert second == first
    assert everything_stored(place) == stored
    assert first.kind == kind


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_a_form_that_is_changed_and_sent_again_is_not_taken_for_the_first(
    kind: str, place: Place, tester: User
) -> None:
    submit, content, other = EVERY_KIND[kind]
    key = uuid.uuid4()
    submit(place=place, key=key, by=tester, **content)
    stored = everything_stored(place)

    with pytest.raises(AlreadySent) as refused:
        submit(place=place, key=key, by=tester, **other)

    assert "has arrived" in refused.value.sentence
    assert everything_stored(place) == stored


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_every_report_asks_for_the_analysis_once_and_is_written_in_the_diary(
    kind: str, place: Place, tester: User
) -> None:
    submit, content, other = EVERY_KIND[kind]

    submit(place=place, key=uuid.uuid4(), by=tester, **content)
    submit(place=place, key=uuid.uuid4(), by=tester, **other)

    work = Work.objects.get(kind="analyse")
    assert work.subject == {"round": place.round_id}
    said = [entry for entry in DiaryEntry.objects.filter(place=place, by=tester) if "moved" not in entry.text]
    assert len(said) == 2


def test_a_swatch_that_will_do_agrees_the_gauge(place: Place, tester: User) -> None:
    send_swatch(place, tester)

    place.refresh_from_db()
    assert place.state == Place.State.GAUGE_AGREED


def test_a_swatch_that_will_not_do_is_sent_and_no_more(place: Place, tester: User) -> None:
    # 104 stitches at 18 in 10 cm are 57.8 cm across, so the chest is 115.6 instead of 94.5 cm.
    send_swatch(place, tester, **POOR)

    place.refresh_from_db()
    assert place.state == Place.State.SWATCH_SENT


def test_a_place_goes_on_as_reports_come_in_and_never_back(place: Place, tester: User) -> None:
    seen = []

    def now() -> None:
        place.refresh_from_db()
        seen.append(place.state)

    send_swatch(place, tester)
    now()
    send_counts(place, tester, back_sts=104)
    now()
    send_swatch(place, tester, **POOR)
    now()
    send_finished(place, tester, chest=[93.0, 93.5])
    now()
    send_finished(place, tester, body_length=[32.0])
    now()
    services.sitting_submit(place=place, key=uuid.uuid4(), by=tester, hours=1.0)
    now()
    services.place_finish(place=place, by=tester)
    now()
    send_finished(place, tester, chest=[94.0])
    now()

    assert seen == ["gauge agreed", "making", "making", "making", "measured", "measured", "done", "done"]


def test_a_tester_whose_place_was_only_offered_has_taken_it_by_sending(place: Place, tester: User) -> None:
    Place.objects.filter(pk=place.pk).update(state=Place.State.OFFERED)
    place.refresh_from_db()

    send_counts(place, tester, back_sts=104)

    place.refresh_from_db()
    assert place.state == Place.State.MAKING


def test_a_count_sent_again_supersedes_the_earlier_one_which_is_kept(place: Place, tester: User) -> None:
    send_counts(place, tester, back_sts=102, body_rows=96)

    send_counts(place, tester, back_sts=104)

    rows = Count.objects.order_by("pk").values_list("number", "worked", "superseded_at")
    assert [(number, worked, at is None) for number, worked, at in rows] == [
        ("back_sts", 102.0, False),
        ("body_rows", 96.0, True),
        ("back_sts", 104.0, True),
    ]


def test_a_count_that_is_the_same_as_before_stands_as_it_was(place: Place, tester: User) -> None:
    send_counts(place, tester, back_sts=104)

    send_counts(place, tester, back_sts=104, body_rows=96)

    assert Count.objects.count() == 2
    assert not Count.objects.exclude(superseded_at=None).exists()


def test_a_blocked_measurement_does_not_replace_the_one_off_the_needles(place: Place, tester: User) -> None:
    send_finished(place, tester, state="worked", chest=[90.0])
    send_finished(place, tester, chest=[93.0])

    send_finished(place, tester, chest=[93.5, 94.0])

    rows = Finished.objects.order_by("pk").values_list("state", "values", "superseded_at")
    assert [(state, values, at is None) for state, values, at in rows] == [
        ("worked", [90.0], True),
        ("blocked", [93.0], False),
        ("blocked", [93.5, 94.0], True),
    ]


def test_several_swatches_stand_side_by_side_and_a_correction_replaces_only_its_own(
    place: Place, tester: User
) -> None:
    send_swatch(place, tester, tool_mm=4.0)
    send_swatch(place, tester, tool_mm=4.5)
    first, second = Swatch.objects.order_by("pk")

    send_swatch(place, tester, tool_mm=3.75, corrects=first)

    current = Swatch.objects.filter(superseded_at=None).order_by("pk")
    assert [row.tool_mm for row in current] == [4.5, 3.75]
    assert Swatch.objects.count() == 3
    assert second in current


def test_a_swatch_is_corrected_once_and_a_second_correction_leaves_nothing(
    place: Place, tester: User
) -> None:
    send_swatch(place, tester, tool_mm=4.0)
    first = Swatch.objects.get()
    send_swatch(place, tester, tool_mm=3.75, corrects=first)
    stored = everything_stored(place)

    with pytest.raises(AlreadyCorrected):
        send_swatch(place, tester, tool_mm=3.5, corrects=first)

    assert everything_stored(place) == stored


def test_body_measures_left_out_are_taken_back_and_what_was_typed_is_kept(place: Place, tester: User) -> None:
    def send(**measures: float) -> Submission:
        typed = {key: f"{cm / 2.54:g} in" for key, cm in measures.items()}
        return services.measures_submit(
            place=place, key=uuid.uuid4(), by=tester, measures=measures, typed=typed
        )

    send(bust=88.9)
    send()

    place.refresh_from_db()
    assert place.measures == {}
    assert [row.typed for row in Submission.objects.order_by("pk")] == [{"bust": "35 in"}, {}]


@pytest.mark.parametrize(
    ("kind", "days_after_swatches", "late"),
    [("swatch", 0, False), ("swatch", 1, True), ("counts", 1, False)],
)
def test_what_comes_after_its_date_is_taken_and_marked(
    kind: str, days_after_swatches: int, late: bool, place: Place, tester: User
) -> None:
    today = today_for(place.round)
    place.round.swatches_due = today - dt.timedelta(days=days_after_swatches)
    place.round.closes = today
    place.round.save()
    submit, content, _ = EVERY_KIND[kind]

    submission = submit(place=place, key=uuid.uuid4(), by=tester, **content)

    assert submission.late is late


def test_a_closed_round_still_takes_what_comes_and_marks_it(place: Place, tester: User) -> None:
    place.round.state = Round.State.CLOSED
    place.round.save()

    submission = send_counts(place, tester, back_sts=104)

    assert submission.late
    assert Count.objects.get().worked == 104
    assert DiaryEntry.objects.filter(text="Tester one sent 1 count, after the date.").exists()
