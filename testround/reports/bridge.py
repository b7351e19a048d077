"""Stored rows as the kernel's objects: a whole round, or one tester of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import QuerySet

from testround.kernel import round as kernel
from testround.reports.models import Count, Finished, Fit, Photo, Remark, Reported, Sitting, Swatch
from testround.rounds.bridge import kernel_candidates, kernel_plan, seat_fields
from testround.rounds.models import Place, Round

# Every table of rows that a tester sends.
REPORTED: tuple[type[Reported], ...] = (Swatch, Count, Finished, Sitting, Remark, Fit, Photo)


def kernel_round(round_: Round) -> kernel.Round:
    """The round as the kernel sees it, in a number of queries that does not depend on its testers.

    A place that was given back is read if a swatch or finished measurements came from it, which are those of a real
    piece, unless the designer leaves it out. Its photos are left where they are.
    """
    reported = {model: _by_place(model, bare=True, place__round=round_) for model in REPORTED}
    measured = reported[Swatch].keys() | reported[Finished].keys()
    places = []
    for place in round_.places.order_by("pk"):
        if place.state == Place.State.GIVEN_BACK:
            if place.left_out_at is not None or place.pk not in measured:
                continue
            reported[Photo].pop(place.pk, None)
        places.append(place)
    plan = kernel_plan(round_)
    return kernel.Round(
        format="testround/round",
        version=1,
        pattern=round_.edition.document,
        round=plan,
        candidates=kernel_candidates(round_, plan.yarns),
        testers=tuple(
            kernel_tester(place, {model: rows.get(place.pk, []) for model, rows in reported.items()})
            for place in places
        ),
    )


def testers_of(
    round_: Round, models: Sequence[type[Reported]]
) -> list[tuple[Place, kernel.Tester, Mapping[type[Reported], Sequence[Any]]]]:
    """The places that somebody works on, each with its tester and what was sent to these tables alone."""
    places = list(
        round_.places.exclude(state__in=[Place.State.GIVEN_BACK, Place.State.OFFERED]).order_by("pk")
    )
    by_model = {model: _by_place(model, place__round=round_) for model in models}
    found: list[tuple[Place, kernel.Tester, Mapping[type[Reported], Sequence[Any]]]] = []
    for place in places:
        rows = {model: by_model[model].get(place.pk, []) for model in models}
        found.append((place, kernel_tester(place, rows), rows))
    return found


def testers_at(places: Sequence[Place]) -> list[kernel.Tester]:
    """The testers of some places with all that stands of what they sent."""
    reported = {model: _by_place(model, place__in=places) for model in REPORTED}
    return [
        kernel_tester(place, {model: rows.get(place.pk, []) for model, rows in reported.items()})
        for place in places
    ]


def _by_place(model: type[Reported], *, bare: bool = False, **of: Any) -> dict[int, list[Any]]:
    rows: QuerySet[Any] = model._default_manager.filter(superseded_at=None, **of).order_by("pk")
    if bare:
        # Of a round with hundreds of testers these are most of what there is to read.
        rows = rows.defer("typed", "sent", "superseded_at")
    grouped: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row.place_id].append(row)
    return grouped


def kernel_tester(place: Place, reported: Mapping[type[Reported], Sequence[Any]]) -> kernel.Tester:
    """One tester with the rows given, by table; of a table that is not among them, nothing was sent."""
    used = (place.used_metres, place.used_grams) != (None, None)
    guessed = (place.guess_hours, place.guess_metres) != (None, None)
    return kernel.Tester(
        **seat_fields(place),
        swatches=tuple(
            kernel.Swatch(
                gauge=row.gauge,
                state=kernel.FabricState(row.state),
                tool_mm=row.tool_mm,
                width=row.width,
                stitches=row.stitches,
                height=row.height,
                rows=row.rows,
            )
            for row in reported.get(Swatch, ())
        ),
        counts=tuple(kernel.Count(number=row.number, worked=row.worked) for row in reported.get(Count, ())),
        finished=tuple(
            kernel.Finished(
                dimension=row.dimension, state=kernel.FabricState(row.state), values=tuple(row.values)
            )
            for row in reported.get(Finished, ())
        ),
        yarn_used=kernel.YarnUsed(metres=place.used_metres, grams=place.used_grams) if used else None,
        sittings=tuple(
            kernel.Sitting(part=row.part, hours=row.hours, done=row.done) for row in reported.get(Sitting, ())
        ),
        guess=kernel.Guess(hours=place.guess_hours, metres=place.guess_metres) if guessed else None,
        fit=tuple(
            kernel.Fit(dimension=row.dimension, says=kernel.FitSays(row.says))
            for row in reported.get(Fit, ())
        ),
        remarks=tuple(
            kernel.Remark(place=row.where, kind=kernel.RemarkKind(row.kind), text=row.text)
            for row in reported.get(Remark, ())
        ),
        photos=tuple(
            kernel.PhotoEntry(name=row.name, sha256=row.sha256, caption=row.caption)
            for row in reported.get(Photo, ())
            if row.sha256
        ),
    )
