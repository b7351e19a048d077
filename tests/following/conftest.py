"""A pattern with errata that is followed by mail; what is to be done after a commit is done at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone

from testround.errata.models import Erratum
from testround.errata.services import erratum_publish
from testround.following.models import Follower
from testround.patterns.models import Edition, Pattern
from testround.people.models import User

CAST_ON = {
    "subject": "back_sts",
    "label": "Back, cast on",
    "place": "Back, step 1",
    "unit": "st",
    "was": {"M": 118},
    "now": {"M": 114},
    "finding": "printed-count:back_sts",
}
CHEST = {
    "subject": "chest",
    "label": "Chest circumference",
    "place": "Measurements",
    "unit": "cm",
    "was": {"M": 107.3},
    "now": {"M": 103.6},
    "finding": "",
}


@pytest.fixture
def publish(edition: Edition, designer: User) -> Callable[..., Erratum]:
    """Publish an erratum on the little top, in the words that are given."""

    def make(**words: Any) -> Erratum:
        draft = Erratum.objects.create(
            **{
                "pattern": edition.pattern,
                "edition": edition,
                "place": "Back, step 1",
                "sizes": ["M"],
                "changes": [CAST_ON],
                "text": "Cast on 114 stitches.",
                **words,
            }
        )
        return erratum_publish(erratum=draft, by=designer)

    return make


@pytest.fixture
def followed(edition: Edition, publish: Callable[..., Erratum]) -> Pattern:
    """The pattern of the little top, with one erratum out."""
    publish()
    return edition.pattern


@pytest.fixture
def follower(followed: Pattern) -> Follower:
    """An address that has said yes."""
    return Follower.objects.create(
        pattern=followed, address="maker@example.org", language="en-gb", confirmed_at=timezone.now()
    )
