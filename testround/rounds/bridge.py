"""Stored rows of a round as the kernel's objects, as far as they are known here: plan, candidates and seats.

What testers sent is read by the room above, which adds it to these.
"""

from __future__ import annotations

from typing import Any

from testround.kernel import round as kernel
from testround.rounds.models import Candidate, Place, Round, SuppliedYarn


def kernel_plan(round_: Round) -> kernel.RoundPlan:
    """Dates, places by size and supplied yarns: one query."""
    return kernel.RoundPlan(
        title=round_.title,
        opens=round_.opens,
        swatches_due=round_.swatches_due,
        closes=round_.closes,
        places=kernel.Places.model_validate(round_.places_plan) if round_.places_plan is not None else None,
        yarns=tuple(_kernel_yarn(yarn) for yarn in round_.yarns.all()),
    )


def kernel_candidates(round_: Round) -> tuple[kernel.Candidate, ...]:
    """Those whose offer counts and who have no place yet: one query."""
    counting = round_.candidates.filter(state=Candidate.State.CONFIRMED)
    return tuple(kernel_candidate(candidate) for candidate in counting)


def seat_fields(place: Place) -> dict[str, Any]:
    """What a tester of the kernel says of the seat: everything but what they sent."""
    return {
        "id": place.key,
        "name": place.name,
        "size": place.size,
        "measures": place.measures,
        "yarn": kernel.Yarn(
            label=place.yarn_label,
            weight=place.yarn_weight,
            fibre=place.yarn_fibre,
            metres_per_ball=place.metres_per_ball,
            grams_per_ball=place.grams_per_ball,
        )
        if place.yarn_label
        else None,
    }


def seated_round(round_: Round) -> kernel.Round:
    """The round with its candidates and the seats that are held or offered, but nothing that testers sent.

    That is all that an assignment reads. Three queries, whatever the number of candidates and places.
    """
    places = round_.places.exclude(state=Place.State.GIVEN_BACK).order_by("pk")
    return kernel.Round(
        format="testround/round",
        version=1,
        pattern=round_.edition.document,
        round=kernel_plan(round_),
        candidates=kernel_candidates(round_),
        testers=tuple(kernel.Tester(**seat_fields(place)) for place in places),
    )


def _kernel_yarn(yarn: SuppliedYarn) -> kernel.SuppliedYarn:
    return kernel.SuppliedYarn(
        key=yarn.key,
        makers=yarn.makers,
        label=yarn.label,
        weight=yarn.weight,
        fibre=yarn.fibre,
        metres_per_ball=yarn.metres_per_ball,
        grams_per_ball=yarn.grams_per_ball,
    )


def kernel_candidate(candidate: Candidate) -> kernel.Candidate:
    return kernel.Candidate(
        id=candidate.key,
        name=candidate.name,
        measures=candidate.measures,
        wishes=tuple(candidate.wishes),
        yarns=tuple(candidate.yarns),
        own_yarn=candidate.own_yarn,
        tests_before=candidate.tests_before,
        answered=candidate.answered,
    )
