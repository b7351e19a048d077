"""What is kept of a tester's pages is what stands there now, for the tester and for the designer who reads it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.recent import forget_recent
from testround.reports import services
from testround.reports.models import (
    Count,
    Counter,
    Draft,
    Finished,
    Photo,
    RowsCounted,
    RunningSitting,
    StepTick,
    Swatch,
)
from testround.reports.selectors import _rows_of_a_place
from testround.rounds.models import Place, Reminder, Round
from testround.talk.models import Answer, CalendarAddress, Note, Question, Word
from tests.kept_pages import said

pytestmark = pytest.mark.django_db

SignIn = Callable[[User], Client]
Change = Callable[[Place], Any]

TESTERS = [
    "place",
    "worksheet",
    "swatch",
    "counts",
    "finished",
    "fit",
    "sent",
    "guess",
    "yarn",
    "measures",
    "remark",
    "photo_new",
]
ALL = {*TESTERS, "of_tester"}


def ask(place: Place) -> Question:
    return Question.objects.create(
        round=place.round, by=place.round.edition.pattern.owner, text="How so?", where="Back, step 1"
    )


def edit_sheet(place: Place) -> None:
    edition = place.round.edition
    numbers = [{**number, "label": f"{number['label']}, all told"} for number in edition.sheet["numbers"]]
    Edition.objects.filter(pk=edition.pk).update(sheet={**edition.sheet, "numbers": numbers})


def count_rows(place: Place) -> None:
    counter = Counter.objects.create(place=place, label="Back")
    RowsCounted.objects.create(place=place, counter=counter, rows=12)


def of(**changes: Any) -> Change:
    return lambda place: Place.objects.filter(pk=place.pk).update(**changes)


def of_round(**changes: Any) -> Change:
    return lambda place: Round.objects.filter(pk=place.round_id).update(**changes)


CHANGES: dict[str, tuple[Change, set[str]]] = {
    "a swatch": (
        lambda place: Swatch.objects.create(
            place=place, gauge="body", state="blocked", width=10, stitches=21, height=10, rows=30
        ),
        {"place", "worksheet", "swatch", "sent", "of_tester"},
    ),
    "a count": (
        lambda place: Count.objects.create(place=place, number="back_sts", worked=102),
        {"place", "worksheet", "counts", "sent", "of_tester"},
    ),
    "a measurement": (
        lambda place: Finished.objects.create(place=place, dimension="chest", state="blocked", values=[93.5]),
        {"place", "finished", "sent", "of_tester"},
    ),
    "a sitting": (
        lambda place: services.sitting_submit(
            place=place, key=uuid.uuid4(), by=place.tester, hours=2, part="back", done=0.2
        ),
        {"place", "sent", "of_tester"},
    ),
    "a remark": (
        lambda place: services.remark_submit(
            place=place, key=uuid.uuid4(), by=place.tester, where="Back, step 1", kind="unclear", text="Hm"
        ),
        {"sent", "of_tester"},
    ),
    "how it fits": (
        lambda place: services.fit_submit(
            place=place, key=uuid.uuid4(), by=place.tester, says={"chest": "loose"}
        ),
        {"fit", "sent", "of_tester"},
    ),
    "a photo": (
        lambda place: Photo.objects.create(place=place, name="a.jpg", caption="Front", state="refused"),
        {"photo_new", "sent", "of_tester"},
    ),
    "a draft": (
        lambda place: Draft.objects.create(
            place=place, person=place.tester, form="swatch", values={"width": "9"}, at=timezone.now()
        ),
        {"swatch"},
    ),
    "rows counted": (count_rows, {"sent", "of_tester"}),
    "a step ticked off": (
        lambda place: StepTick.objects.create(place=place, number="back_sts", done=True, at=timezone.now()),
        {"worksheet", "sent", "of_tester"},
    ),
    "the timer started": (lambda place: RunningSitting.objects.create(place=place), {"place"}),
    "a note": (
        lambda place: Note.objects.create(round=place.round, text="Mind the hem."),
        {"place"},
    ),
    "somebody's question": (ask, {"worksheet", "counts"}),
    "an answer to it": (
        lambda place: Answer.objects.create(question=ask(place), text="Like so."),
        {"place", "worksheet", "counts"},
    ),
    "a private word": (
        lambda place: Word.objects.create(place=place, to=place.tester, text="Psst."),
        {"place"},
    ),
    "another name": (of(name="Willow"), {"of_tester"}),
    "another size": (of(size="M"), ALL - {"photo_new", "remark"}),
    "another yarn": (of(yarn_label="Fenlight"), {"place", "of_tester"}),
    "another state": (of(state=Place.State.MEASURED), {"place", "of_tester"}),
    "hours guessed": (of(guess_hours=77.5), {"place"}),
    "a body measured": (of(measures={"bust": 88.0}), {"worksheet", "of_tester"}),
    "a day of one's own": (of(swatch_until=timezone.localdate() + dt.timedelta(days=90)), {"place"}),
    "other days": (of_round(swatches_due=timezone.localdate() + dt.timedelta(days=3)), {"place"}),
    "another name of the round": (of_round(title="Second test"), {"place", "of_tester"}),
    "a standing that is shown": (of_round(shows_standing=True), {"place"}),
    "another name of the designer": (
        lambda place: User.objects.filter(pk=place.round.edition.pattern.owner_id).update(name="Sorrel"),
        {"place"},
    ),
    "another edition": (
        lambda place: Edition.objects.filter(pk=place.round.edition_id).update(label="1.1"),
        {"place"},
    ),
    "other words in the sheet": (edit_sheet, {"worksheet", "counts"}),
    "read in inches": (
        lambda place: User.objects.update(units="in"),
        {"place", "worksheet", "swatch", "finished"},
    ),
}


@pytest.fixture
def begun(place: Place) -> Place:
    """A place that has something on every page."""
    Swatch.objects.create(
        place=place, gauge="body", state="blocked", width=10, stitches=22, height=10, rows=29
    )
    Finished.objects.create(place=place, dimension="body_length", state="blocked", values=[31.5])
    day = timezone.localdate() + dt.timedelta(days=20)
    Round.objects.filter(pk=place.round_id).update(swatches_due=day, closes=day)
    return place


@pytest.fixture
def pages(designer: User, tester: User, begun: Place) -> dict[str, tuple[Client, str]]:
    clients = Client(), Client()
    for client, person in zip(clients, (tester, designer), strict=True):
        client.force_login(person)
    found = {name: (clients[0], reverse(f"reports:{name}", args=[begun.pk])) for name in TESTERS}
    found["of_tester"] = (clients[1], reverse("reports:of_tester", args=[begun.round.code, begun.pk]))
    return found


@pytest.mark.parametrize(("change", "on"), CHANGES.values(), ids=CHANGES)
def test_what_changes_is_on_every_page_that_shows_it_at_once(
    pages: dict[str, tuple[Client, str]], begun: Place, change: Change, on: set[str]
) -> None:
    before = {name: said(*page) for name, page in pages.items()}

    change(Place.objects.get(pk=begun.pk))

    at_once = {name: said(*page) for name, page in pages.items()}
    cache.clear()
    forget_recent()
    made = {name: said(*page) for name, page in pages.items()}
    assert [name for name in pages if at_once[name] != made[name]] == []
    assert on - {name for name in pages if made[name] != before[name]} == set()


def test_a_day_that_passes_is_on_the_page_the_next_day(
    pages: dict[str, tuple[Client, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    Round.objects.update(closes=timezone.localdate())
    in_time = said(*pages["place"])
    tomorrow = timezone.now() + dt.timedelta(days=1)
    monkeypatch.setattr(timezone, "now", lambda: tomorrow)

    assert said(*pages["place"]) != in_time


def test_a_place_that_changes_hands_shows_nothing_of_the_one_before(
    pages: dict[str, tuple[Client, str]], begun: Place, tester: User, stranger: User, client: Client
) -> None:
    Draft.objects.create(
        place=begun, person=tester, form="swatch", values={"width": "9 or so"}, at=timezone.now()
    )
    _mine, address = pages["swatch"]
    assert "9 or so" in said(*pages["swatch"])
    client.force_login(stranger)
    assert client.get(address).status_code == 404

    Place.objects.filter(pk=begun.pk).update(tester=stranger)

    assert "9 or so" not in said(client, address)


def test_what_is_sent_twice_from_a_page_that_is_kept_is_two_things(
    pages: dict[str, tuple[Client, str]],
) -> None:
    client, address = pages["swatch"]
    keys = {
        client.get(address).content.decode().partition('name="key" value="')[2][:36] for _visit in range(3)
    }

    assert len({uuid.UUID(key) for key in keys}) == 3


def test_every_table_that_hangs_on_a_place_counts_for_its_pages() -> None:
    names = {table.__name__ for table in _rows_of_a_place()._where}

    assert {"Place", "Swatch", "Sitting", "Draft", "Rendition", "Consent", "RunningSitting"} <= names
    assert {Note.__name__, Question.__name__, Answer.__name__, Word.__name__, "Look"} <= names
    assert not {Pattern.__name__, CalendarAddress.__name__, "User"} & names
    assert Reminder.__name__ in names
