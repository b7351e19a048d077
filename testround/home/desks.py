"""What was sent from several places, read at once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from testround.patterns.compiled import name_of_sheet
from testround.reports.models import Count, Finished, Swatch
from testround.reports.selectors import Desk
from testround.rounds.models import Place


def desks_of(places: Sequence[Place]) -> list[Desk]:
    """The desks of these places, in their order: three queries, whatever their number and what was sent."""
    swatches: dict[int, list[Swatch]] = defaultdict(list)
    counts: dict[int, list[Count]] = defaultdict(list)
    finished: dict[int, list[Finished]] = defaultdict(list)
    current = {"place__in": [place.pk for place in places], "superseded_at": None}
    for swatch in Swatch.objects.filter(**current).order_by("pk"):
        swatches[swatch.place_id].append(swatch)
    for count in Count.objects.filter(**current).order_by("pk"):
        counts[count.place_id].append(count)
    for row in Finished.objects.filter(**current).order_by("pk"):
        finished[row.place_id].append(row)
    return [
        Desk(
            place=place,
            pattern=place.round.edition.document,
            sheet_name=name_of_sheet(place.round.edition.sheet),
            swatches=tuple(swatches[place.pk]),
            counts=tuple(counts[place.pk]),
            finished=tuple(finished[place.pk]),
        )
        for place in places
    ]
