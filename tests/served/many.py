"""Many testers with a date to be reminded of; run inside an installation."""

from __future__ import annotations

import datetime as dt

from testround.celery import app
from testround.patterns.models import Edition, Pattern
from testround.people.models import User
from testround.rounds.models import Place, Round
from testround.rounds.services import reminders_send
from tests.conftest import LITTLE_TOP

NOON = dt.datetime(2027, 1, 24, 12, tzinfo=dt.UTC)


def testers_with_a_date(n: int) -> None:
    """A round in which so many testers have a swatch to send by tomorrow."""
    owner = User.objects.create_user("many@example.org", name="Many")
    pattern = Pattern.objects.create(owner=owner, title="Little top")
    edition = Edition.objects.create(pattern=pattern, label="1.0", sheet=LITTLE_TOP)
    round_ = Round.objects.create(
        edition=edition, title="Many", state=Round.State.SWATCHING, swatches_due=dt.date(2027, 1, 25)
    )
    people = User.objects.bulk_create(
        User(email=f"many{i}@example.org", name=f"Tester {i}", password="!") for i in range(n)
    )
    Place.objects.bulk_create(
        Place(round=round_, key=f"m{i}", name=person.name, tester=person, size="S", state=Place.State.TAKEN)
        for i, person in enumerate(people)
    )


def remind() -> None:
    """What the clock process does at noon on the day before."""
    reminders_send(now=NOON)


@app.task(name="tests.served.many.bare")
def bare() -> None:
    """A task that does nothing."""
