"""The day on which what is private of a round goes: promised when it opens, kept by a chore."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from testround.errata.selectors import read_round
from testround.outbox.services import chores_run
from testround.patterns.models import Edition
from testround.people.models import User
from testround.reports.exchange import round_import
from testround.reports.models import Photo
from testround.reports.photos import photo_add, photo_encode
from testround.reports.services import counts_submit, measures_submit, remark_submit
from testround.rounds.models import Candidate, Consent, Place, Round
from testround.rounds.refusals import Refused
from testround.rounds.services import invitation_create, place_add, place_edit, round_edit, round_open
from testround.rounds.services import privacy as privacy_services
from testround.rounds.services.privacy import consents_set, purge
from tests.errata.conftest import round_document
from tests.reports.pictures import phone_jpeg

DAY = dt.date(2027, 9, 1)
NOON = dt.datetime(2027, 9, 1, 12, tzinfo=dt.UTC)
NAME, WORDS = "Quillaby", "My elbows disagree"


def files_under(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


@pytest.fixture
def due(
    designer: User, tester: User, little_top: dict[str, Any], django_capture_on_commit_callbacks: Any
) -> Round:
    """A round whose day is 1 September 2027, with something private of every kind in it."""
    cache.clear()
    round_ = round_import(data=json.dumps(round_document(little_top, testers=4)).encode(), owner=designer)
    Round.objects.filter(pk=round_.pk).update(purge_on=DAY)
    place = round_.places.order_by("pk")[0]
    Place.objects.filter(pk=place.pk).update(tester=tester, name=NAME)
    place.refresh_from_db()
    with django_capture_on_commit_callbacks(execute=True):
        measures_submit(
            place=place, key=uuid.uuid4(), by=tester, measures={"bust": 87.1}, typed={"measure_bust": "87.1"}
        )
        remark_submit(
            place=place, key=uuid.uuid4(), by=tester, kind="unclear", text=WORDS, where="Back, step 1"
        )
        photo_add(place=place, key=uuid.uuid4(), by=tester, data=phone_jpeg(), caption=WORDS, seen=True)
        offered = place_add(round=round_, name="Willow", size="S", measures={"bust": 91}, by=designer)
        invitation_create(place=offered, email="willow@example.org", by=designer)
    photo_encode({"photo": Photo.objects.get().pk})
    Candidate.objects.create(
        round=round_, key="c01", name="Unlucky", email="unlucky@example.org", measures={"bust": 99.9}
    )
    return Round.objects.get(pk=round_.pk)


def test_on_its_day_everything_private_goes_of_those_with_a_place_and_those_without(
    due: Round, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        assert purge(now=NOON) == 1

    due.refresh_from_db()
    assert due.purged_at == NOON
    assert due.candidates.count() == 0
    assert [(place.name, place.measures) for place in due.places.order_by("pk")] == [
        (f"a tester, no. {number}", {}) for number in range(1, 6)
    ]
    first, *_, last = due.places.order_by("pk")
    assert set(first.remark_rows.values_list("text", flat=True)) == {"(The words are deleted.)"}
    assert first.submissions.get(kind="measures").typed == {}
    assert (first.photo_rows.count(), files_under(settings.MEDIA_ROOT)) == (0, [])
    assert last.invitations.get().email == ""
    assert Consent.objects.count() == 0
    said = [entry.text for entry in due.diary.all()]
    assert [text for text in said if NAME in text or "Willow" in text or "Tester 00" in text] == []
    assert said[0] == (
        "The day came on which what is private goes (1 September 2027): names, body measurements, photos and words "
        "of 5 places deleted, and 1 offer. What the errata rest on stays."
    )


def test_what_the_errata_rest_on_stays_as_it_was(due: Round) -> None:
    before = read_round(due).document["findings"]

    purge(now=NOON)

    assert read_round(Round.objects.get(pk=due.pk)).document["findings"] == before
    assert len(before) > 1


def test_a_tester_keeps_the_way_to_their_own_place(due: Round, tester: User, client: Client) -> None:
    purge(now=NOON)

    client.force_login(tester)
    place = due.places.order_by("pk")[0]

    assert client.get(reverse("reports:sent", args=[place.pk])).status_code == 200


@pytest.mark.parametrize(
    ("zone", "moment", "purged"),
    [
        ("UTC", dt.datetime(2027, 8, 31, 23, 59, tzinfo=dt.UTC), 0),
        ("UTC", dt.datetime(2027, 9, 1, tzinfo=dt.UTC), 1),
        # Where the designer is, the day begins when it begins there.
        ("Pacific/Auckland", dt.datetime(2027, 8, 31, 12, 1, tzinfo=dt.UTC), 1),
        ("America/Los_Angeles", dt.datetime(2027, 9, 1, 6, 59, tzinfo=dt.UTC), 0),
    ],
)
def test_the_day_begins_at_the_designers_midnight(
    due: Round, designer: User, zone: str, moment: dt.datetime, purged: int
) -> None:
    User.objects.filter(pk=designer.pk).update(time_zone=zone)

    assert purge(now=moment) == purged


def test_running_twice_purges_once(due: Round) -> None:
    assert (purge(now=NOON), purge(now=NOON)) == (1, 0)
    entries = due.diary.count()

    purge(now=NOON + dt.timedelta(days=40))

    assert due.diary.count() == entries


def test_other_rounds_are_left_alone(due: Round, a_round: Round, place: Place) -> None:
    Place.objects.filter(pk=place.pk).update(measures={"bust": 88})

    purge(now=NOON)

    place.refresh_from_db()
    assert (place.name, place.measures) == ("Tester one", {"bust": 88})


def test_a_round_that_cannot_be_purged_keeps_no_other_from_it_and_is_whole(
    due: Round, a_round: Round, place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    Round.objects.filter(pk=a_round.pk).update(purge_on=DAY)
    Place.objects.filter(pk=place.pk).update(measures={"bust": 88})

    def breaks(places: list[Place]) -> None:
        if place in places:
            raise OSError("The storage does not answer.")

    monkeypatch.setattr(privacy_services, "_forgetters", [*privacy_services._forgetters, breaks])

    assert purge(now=NOON) == 1
    place.refresh_from_db()
    assert (place.name, place.measures) == ("Tester one", {"bust": 88})
    assert Round.objects.get(pk=a_round.pk).purged_at is None


def test_the_chores_purge(due: Round) -> None:
    Round.objects.filter(pk=due.pk).update(purge_on=dt.date(2020, 1, 1))

    chores_run()

    due.refresh_from_db()
    assert due.purged_at is not None


def test_the_diary_says_neither_the_name_nor_the_one_before(due: Round, designer: User) -> None:
    place = due.places.order_by("pk")[1]
    place_edit(place=place, name="Rowan", size=place.size, measures=None, yarn=None, by=designer)

    purge(now=NOON)

    said = " ".join(entry.text for entry in due.diary.all())
    assert ("Rowan" in said, "Tester 001" in said) == (False, False)


# -- afterwards --------------------------------------------------------------------------------------------


def test_nothing_private_is_taken_any_more_and_numbers_are(due: Round, tester: User, client: Client) -> None:
    purge(now=NOON)
    place = due.places.order_by("pk")[0]
    key = uuid.uuid4

    for refused in (
        lambda: measures_submit(place=place, key=key(), by=tester, measures={"bust": 87}),
        lambda: remark_submit(place=place, key=key(), by=tester, kind="unclear", text=WORDS),
        lambda: photo_add(place=place, key=key(), by=tester, data=phone_jpeg(), seen=True),
    ):
        with pytest.raises(Refused, match="What is private of this round was deleted on 1 September 2027"):
            refused()
    counts_submit(place=place, key=key(), by=tester, counts={"back_sts": 93})

    client.force_login(tester)
    page = client.post(
        reverse("reports:remark", args=[place.pk]), {"key": str(key()), "kind": "unclear", "remark": WORDS}
    )
    assert page.status_code == 422
    assert "so nothing private is taken any more." in page.text
    # What was typed is kept on the page.
    assert WORDS in page.text


# -- the promise -------------------------------------------------------------------------------------------


def plan(**more: Any) -> dict[str, Any]:
    return {
        "title": "First test",
        "opens": None,
        "swatches_due": None,
        "closes": dt.date(2027, 3, 8),
        "terms": "",
        "places_plan": None,
        **more,
    }


def test_a_round_that_opens_has_its_day_half_a_year_after_it_closes(edition: Edition, designer: User) -> None:
    round = round_open(edition=edition, by=designer, title="First test", closes=dt.date(2027, 3, 8))

    assert round.purge_on == dt.date(2027, 9, 7)


@pytest.mark.parametrize(
    ("purge_on", "sentence"),
    [
        (
            dt.date(2027, 3, 7),
            "What is private cannot be deleted before the round closes: pick a later day, or close earlier.",
        ),
        (dt.date(2020, 1, 1), "This day has passed: pick a later one."),
    ],
)
def test_a_day_that_cannot_be_is_refused_at_its_field(
    edition: Edition, designer: User, purge_on: dt.date, sentence: str
) -> None:
    with pytest.raises(Refused) as refused:
        round_open(
            edition=edition, by=designer, title="First test", closes=dt.date(2027, 3, 8), purge_on=purge_on
        )

    assert [(problem.path, problem.sentence) for problem in refused.value.problems] == [
        ("purge_on", sentence)
    ]


def test_the_day_moves_later_only_while_nobody_has_relied_on_it(
    opened: Round, offered: Place, tester: User, designer: User
) -> None:
    round_edit(round=opened, by=designer, **plan(purge_on=dt.date(2028, 1, 1)))
    Place.objects.filter(pk=offered.pk).update(tester=tester, state="taken", agreed_at=NOON)

    with pytest.raises(Refused) as refused:
        round_edit(round=opened, by=designer, **plan(purge_on=dt.date(2028, 1, 2)))
    earlier = round_edit(round=opened, by=designer, **plan(purge_on=dt.date(2027, 12, 1)))

    assert [(problem.path, problem.sentence) for problem in refused.value.problems] == [
        (
            "purge_on",
            "Testers were promised that what is private goes on 1 January 2028: it can go earlier, not later.",
        )
    ]
    assert earlier.purge_on == dt.date(2027, 12, 1)
    assert opened.diary.first().text == (
        "Plan changed: day on which what is private is deleted from 1 January 2028 to 1 December 2027."
    )


def test_whoever_is_asked_for_something_private_reads_until_when_it_is_kept(
    client: Client, link: str, opened: Round, tester: User
) -> None:
    read = {"join": client.get(link).text}
    place = Place.objects.create(
        round=opened, key="t50", name="Fern", tester=tester, size="XS", state="taken"
    )
    client.force_login(tester)
    for page in ("measures", "photo_new", "consents"):
        read[page] = client.get(reverse(f"reports:{page}", args=[place.pk])).text

    assert {page: "7 September 2027" in text for page, text in read.items()} == dict.fromkeys(read, True)


def test_who_allowed_everything_is_purged_all_the_same(due: Round, tester: User) -> None:
    place = due.places.order_by("pk")[0]
    consents_set(place=place, kinds=set(Consent.Kind.values), by=tester)

    purge(now=NOON)

    assert Photo.objects.count() == 0
