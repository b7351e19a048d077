"""The name of all that the kernel reads of a round: as long as it is the same, so is what the kernel reads."""

from __future__ import annotations

import datetime as dt
import math
import re
import uuid
from typing import Any

import pytest
from django.db import connection, models
from django.db.models import Model
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.reports.bridge import REPORTED, kernel_round
from testround.reports.digest import UNREAD, round_digest
from testround.reports.models import Count, Finished, Fit, Photo, Remark, Sitting, Submission, Swatch
from testround.reports.pace import READ
from testround.rounds.models import Candidate, Place, Round, SuppliedYarn

TABLES: tuple[type[Model], ...] = (Round, Edition, *UNREAD, *REPORTED)
FIELDS = [
    pytest.param(model, field.name, id=f"{model.__name__}.{field.name}")
    for model in TABLES
    for field in model._meta.concrete_fields
    if not field.primary_key
]
# Values that another in its column must be like, to be read at all.
OTHER_OBJECTS: dict[str, Any] = {
    "corrected": [3],
    "sheet": None,
    "places_plan": {"least": {"S": 1}},
    "photo_uses": ["online"],
    "measures": {"chest": 93.5},
    "worked_out": {"back_sts": 94.0},
    "typed": {"chest": "36 3/4 in"},
    "wishes": ["M"],
    "yarns": [],
    "values": [84.25, 84.5],
}


@pytest.fixture
def full(a_round: Round, place: Place) -> Round:
    """A round with a row in every table that is read, each of its columns filled."""
    SuppliedYarn.objects.create(round=a_round, key="wool", label="Wool", makers=3)
    Candidate.objects.create(
        round=a_round, key="c1", name="Willow", measures={"chest": 92.0}, wishes=["S"], yarns=["wool"]
    )
    Place.objects.filter(pk=place.pk).update(
        yarn_label="Own wool", measures={"chest": 91.5}, used_metres=812.5, guess_hours=40.5
    )
    Place.objects.create(round=a_round, key="t2", name="Sorrel", size="S", state=Place.State.MAKING)
    Swatch.objects.create(
        place=place,
        gauge="body",
        state="blocked",
        tool_mm=4.0,
        width=10.1,
        stitches=22.5,
        height=10.3,
        rows=30,
    )
    Count.objects.create(place=place, number="back_sts", worked=92.25)
    Finished.objects.create(place=place, dimension="chest", state="blocked", values=[84.25, 84.75])
    Sitting.objects.create(place=place, part="back", hours=1.75, done=0.25, day=dt.date(2026, 5, 4))
    Remark.objects.create(place=place, where="Back, step 1", kind="unclear", text="Which side?")
    Fit.objects.create(place=place, dimension="chest", says="right")
    Submission.objects.create(place=place, kind="photo")
    Photo.objects.create(place=place, name="front.jpg", sha256="a" * 64, state=Photo.State.READY)
    return loaded(a_round)


def loaded(round_: Round) -> Round:
    return Round.objects.select_related("edition").get(pk=round_.pk)


def other(field: models.Field[Any, Any], value: Any, row: Model) -> Any:
    """Another value that the column might hold, and nearly the same where it is a number."""
    match field:
        case models.ForeignKey():
            rows = field.related_model._default_manager.exclude(pk=value)
            return rows.order_by("-pk").values_list("pk", flat=True).first()
        case models.FloatField():
            return 7.125 if value is None else math.nextafter(value, math.inf)
        case models.BooleanField():
            return not value
        case models.IntegerField():
            return 4 if value is None else value + 1
        case models.DateTimeField():
            return timezone.now() + dt.timedelta(days=3)
        case models.DateField():
            return dt.date(2026, 9, 1) if value is None else value + dt.timedelta(days=1)
        case models.UUIDField():
            return uuid.uuid4()
        case models.JSONField() if field.name == "sheet":
            return {**value, "title": "Another title"}
        case models.JSONField():
            return OTHER_OBJECTS[field.name]
        case _ if field.name == "sha256":
            return "b" * 64
        case _ if field.choices:
            return next(key for key, _ in reversed(field.flatchoices) if key != value)
        case _:
            return f"{value or ''}x"


def read(round_: Round) -> Any:
    """What the kernel reads of a round, and beside it the days of sittings, on which forecasts rest."""
    days = Sitting.objects.filter(place__round=round_, superseded_at=None).order_by("pk").values_list("day")
    states = round_.places.order_by("pk").values_list("pk", "state")
    return kernel_round(round_), list(days), list(states)


@pytest.mark.django_db
@pytest.mark.parametrize(("model", "name"), FIELDS)
def test_no_column_changes_what_is_read_and_leaves_the_name(
    full: Round, designer: User, stranger: User, model: type[Model], name: str
) -> None:
    pattern = Pattern.objects.create(owner=designer, title="Another design")
    edition = Edition.objects.create(
        pattern=pattern, label="2", sheet={**full.edition.sheet, "title": "Other"}
    )
    Round.objects.create(edition=edition, title="Another round")
    field = model._meta.get_field(name)
    row = model._default_manager.order_by("pk")[0]
    value = other(field, getattr(row, field.attname), row)
    before, name_before = read(full), round_digest(full)

    model._default_manager.filter(pk=row.pk).update(**{field.attname: value})

    after = loaded(full)
    assert value != getattr(row, field.attname)
    assert round_digest(after) != name_before or read(after) == before


@pytest.mark.django_db
@pytest.mark.parametrize("model", [*UNREAD, *REPORTED])
def test_a_row_that_comes_or_goes_changes_the_name(full: Round, model: type[Model]) -> None:
    names = [round_digest(full)]
    row = model._default_manager.order_by("-pk")[0]

    row.delete()
    names.append(round_digest(full))
    row.pk = None
    row.save()
    names.append(round_digest(full))

    assert len(set(names)) == 3


@pytest.mark.django_db
@pytest.mark.parametrize("model", REPORTED)
def test_what_is_superseded_changes_the_name(full: Round, model: type[Model]) -> None:
    before = round_digest(full)

    model._default_manager.update(superseded_at=timezone.now())

    assert round_digest(full) != before


@pytest.mark.django_db
def test_another_round_has_another_name_and_changes_no_other(full: Round) -> None:
    before = round_digest(full)

    second = Round.objects.create(edition=full.edition, title=full.title)
    seat = Place.objects.create(round=second, key="t1", name="Willow", size="S")
    Count.objects.create(place=seat, number="back_sts", worked=92)

    assert round_digest(full) == before
    assert round_digest(second) != before


@pytest.mark.django_db
def test_a_value_cannot_stand_for_two(full: Round) -> None:
    """Neither quotes nor brackets in what people type make one row look like others."""
    Remark.objects.update(where='a","b', text="c")
    before = round_digest(full)

    Remark.objects.update(where="a", text='b","c')

    assert round_digest(full) != before


@pytest.mark.django_db
def test_the_name_costs_one_query_and_rests_on_every_table_that_is_read(full: Round) -> None:
    with CaptureQueriesContext(connection) as naming:
        round_digest(full)
    with CaptureQueriesContext(connection) as reading:
        kernel_round(full)

    assert len(naming) == 1
    assert set(READ) <= set(REPORTED)
    assert _tables(reading) == _tables(naming)


def _tables(queries: CaptureQueriesContext) -> set[str]:
    return {
        table
        for query in queries.captured_queries
        for table in re.findall(r'(?:FROM|JOIN) "?(\w+_\w+)', query["sql"])
    }
