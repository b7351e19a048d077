"""The earlier states of a sheet: kept at every save, the newest few of them, and found again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from testround.patterns.changes import Told, told
from testround.patterns.fields import Scale
from testround.patterns.models import Edition, SheetState
from testround.people.models import User

MOST_STATES = 30
"""How many states of one sheet are kept, the present one among them."""

TYPED, FROM_FILE, BACK = (str(way) for way in SheetState.Way.values)
"""How a state came about."""


def state_keep(
    *,
    edition: Edition,
    by: User | None = None,
    way: str = TYPED,
    before: int | None = None,
    at: datetime | None = None,
) -> None:
    """Keep the sheet as it stands now as the state of its revision, and let the oldest beyond the limit go.

    A revision that is kept already stays as it is. Runs in the transaction of the save that it follows.
    """
    SheetState.objects.get_or_create(
        edition=edition,
        revision=edition.revision,
        defaults={
            "before": before,
            "way": way,
            "sheet": edition.sheet,
            "terms": edition.terms,
            "saved_by": by,
            "saved_at": at or timezone.now(),
        },
    )
    kept = SheetState.objects.filter(edition=edition)
    newest = list(kept.order_by("-revision").values_list("revision", flat=True)[:MOST_STATES])
    kept.filter(revision__lt=newest[-1]).delete()


def states_of(edition: Edition) -> list[SheetState]:
    """All states kept of a sheet, newest first, each with who saved it."""
    return list(SheetState.objects.filter(edition=edition).select_related("saved_by"))


def state_now(edition: Edition) -> SheetState | None:
    """The state that the sheet is in, with who saved it; None where no save of it was kept."""
    states = SheetState.objects.filter(edition=edition, revision=edition.revision)
    # What it holds is the edition's sheet, which is loaded already.
    return states.select_related("saved_by").defer("sheet").first()


def step_back(edition: Edition) -> int | None:
    """The revision that taking back the last save leads to; None when there is none, or no longer."""
    now = state_now(edition)
    if now is None or now.before is None:
        return None
    there = SheetState.objects.filter(edition=edition, revision=now.before).exists()
    return now.before if there else None


@dataclass(frozen=True, slots=True)
class Meanwhile:
    """What others saved of a sheet since somebody opened it."""

    states: tuple[SheetState, ...]
    """Their saves, newest first, each with who saved it."""
    changes: tuple[Told, ...]
    """What they changed between them; nothing where the state that was opened is no longer kept."""


def saved_since(edition: Edition, revision: int, scale: Scale) -> Meanwhile:
    """What was saved of a sheet after ``revision``, in a reader's units: one query."""
    kept = states_of(edition)
    opened = next((state for state in kept if state.revision == revision), None)
    return Meanwhile(
        tuple(state for state in kept if state.revision > revision),
        () if opened is None else tuple(told(opened.sheet, edition.sheet, scale)),
    )
