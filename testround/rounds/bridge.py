"""Stored rows of a round as the kernel's objects, as far as they are known here: plan, candidates and seats.

What testers sent is read by the room above, which adds it to these.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from django.utils.translation import gettext as _

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


def kernel_candidates(round_: Round, yarns: Sequence[kernel.SuppliedYarn]) -> tuple[kernel.Candidate, ...]:
    """Those whose offer counts and who have no place yet: one query.

    A wish, a yarn or a measure that the round does not know (any more) is left out of what the kernel reads, and
    stays stored.
    """
    document = round_.edition.document
    keys = [yarn.key for yarn in yarns]
    counting = round_.candidates.filter(state=Candidate.State.CONFIRMED)
    return tuple(kernel_candidate(candidate, document, keys) for candidate in counting)


def kernel_candidate(
    candidate: Candidate, document: kernel.Pattern, yarns: Collection[str]
) -> kernel.Candidate:
    """One candidate, without what :func:`unknown_of` says of them."""
    asked = {measure.key for measure in document.measures}
    return kernel.Candidate(
        id=candidate.key,
        name=candidate.name,
        measures={key: value for key, value in candidate.measures.items() if key in asked},
        wishes=tuple(size for size in dict.fromkeys(candidate.wishes) if size in document.sizes),
        yarns=tuple(key for key in dict.fromkeys(candidate.yarns) if key in yarns),
        own_yarn=candidate.own_yarn,
        tests_before=candidate.tests_before,
        answered=candidate.answered,
    )


def unknown_of(candidate: Candidate, document: kernel.Pattern, yarns: Collection[str]) -> list[str]:
    """What a candidate said that leads nowhere in this round, each as a sentence."""
    said = [
        _("{name} wishes for size {size}, which the pattern does not have; that wish is left out.").format(
            name=candidate.name, size=size
        )
        for size in candidate.wishes
        if size not in document.sizes
    ]
    said += [
        _("{name} named the yarn {key}, which is not supplied; it is left out.").format(
            name=candidate.name, key=key
        )
        for key in candidate.yarns
        if key not in yarns
    ]
    return said


def seat_fields(place: Place) -> dict[str, Any]:
    """What a tester of the kernel says of the seat: everything but what they sent."""
    return {
        "id": place.key,
        "name": place.name,
        "size": place.size,
        "measures": place.measures,
        "worked_out": place.worked_out,
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
    plan = kernel_plan(round_)
    places = round_.places.filter(left_at=None).exclude(state=Place.State.GIVEN_BACK).order_by("pk")
    return kernel.Round(
        format="testround/round",
        version=1,
        pattern=round_.edition.document,
        round=plan,
        candidates=kernel_candidates(round_, plan.yarns),
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
