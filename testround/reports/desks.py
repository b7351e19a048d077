"""What was sent from several places, read at once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from testround.patterns.compiled import name_of_sheet
from testround.reports.models import Count, Finished, Reported, Swatch
from testround.reports.selectors import Desk
from testround.rounds.models import Place


def desks_of(places: Sequence[Place]) -> list[Desk]:
    """The desks of these places, in their order: three queries, whatever their number and what was sent."""
    if not places:
        return []
    sent: dict[type[Reported], dict[int, list[Reported]]] = {}
    for kind in (Swatch, Count, Finished):
        sent[kind] = defaultdict(list)
        rows = kind._default_manager.filter(place__in=[place.pk for place in places], superseded_at=None)
        for row in rows.order_by("pk"):
            sent[kind][row.place_id].append(row)
    return [
        Desk(
            place=place,
            pattern=place.round.edition.document,
            sheet_name=name_of_sheet(place.round.edition.sheet),
            known={kind: tuple(rows[place.pk]) for kind, rows in sent.items()},
        )
        for place in places
    ]
