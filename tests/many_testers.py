"""A round of two hundred testers, for what must hold however many there are."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from testround.people.models import User
from testround.reports.exchange import round_import
from testround.rounds.models import Candidate, SuppliedYarn
from testround.rounds.services import place_add
from tests.kernel.simulated import Truth, simulated_round
from tests.test_access import Scene, scene  # noqa: F401

TESTERS, CANDIDATES = 200, 40
TRUTH = Truth(offsets={"sleeve_length": {"*": 3.4}, "neck_width": {"3X": 3.0, "4X": 3.0}})


@pytest.fixture
def scenes(scene: Scene, designer: User, tester: User) -> list[Scene]:  # noqa: F811
    """The designer's round with two hundred testers, one of whom is the tester; and a small one for what it lacks."""
    document = simulated_round(1, TESTERS, TRUTH)
    round_ = round_import(data=json.dumps(document).encode(), owner=designer)
    place = round_.places.order_by("pk")[0]
    place.tester = tester
    place.save(update_fields=["tester"])
    Candidate.objects.bulk_create(
        Candidate(round=round_, key=f"c{n:02}", name=f"Candidate {n}", own_yarn=True, wishes=[place.size])
        for n in range(CANDIDATES)
    )
    SuppliedYarn.objects.create(round=round_, key="wool", label="Wool, supplied", weight=4, makers=2)
    offered = place_add(round=round_, name="Willow", size=place.size, by=designer)
    return [replace(scene, round=round_, edition=round_.edition, place=place, offered=offered), scene]
