"""What is kept for a tester while the work is going on: who holds it, and that it goes with the rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import Sum
from django.utils.translation import gettext as _

from testround.people.held import Shelf, keeps
from testround.people.models import User
from testround.prepared import Prepared
from testround.reports.models import Counter, Draft, RunningSitting, StepTick
from testround.rounds.models import Place
from testround.rounds.services.privacy import forgets


@forgets
def phone_forget(places: Sequence[Place]) -> None:
    """Drafts, counters with their words, ticks and running timers go: no erratum rests on any of them."""
    for model in (Draft, Counter, StepTick, RunningSitting):
        model._default_manager.filter(place__in=places).delete()


_DRAFTS: Prepared[Draft] = Prepared(lambda user: Draft.objects.filter(person=user).order_by("pk"))
_COUNTERS: Prepared[Counter] = Prepared(
    lambda user: (
        Counter.objects.filter(place__tester=user)
        .annotate(total=Sum("presses__rows"))
        .prefetch_related("presses")
        .order_by("pk")
    )
)
_TICKS: Prepared[StepTick] = Prepared(lambda user: StepTick.objects.filter(place__tester=user).order_by("pk"))
_RUNNING: Prepared[RunningSitting] = Prepared(
    lambda user: RunningSitting.objects.filter(place__tester=user).order_by("pk")
)


@keeps
def drafts_held(user: User) -> Shelf:
    rows = [
        {
            "place": draft.place_id,
            "form": draft.form,
            "typed_at": draft.at,
            "revision": draft.revision,
            "typed": draft.values,
        }
        for draft in _DRAFTS.rows(user=user)
    ]
    return Shelf("drafts", _("Drafts you have not sent"), _("nobody"), rows)


@keeps
def counting_held(user: User) -> Shelf:
    """Counters with their totals and the single presses, steps ticked off, and a sitting under way."""
    rows: list[dict[str, Any]] = [
        {
            "place": counter.place_id,
            "what": "counter",
            "label": counter.label,
            "goal": counter.goal,
            "made": counter.made,
            "put_away": counter.closed_at,
            "rows": counter.total or 0,
            "presses": [{"rows": press.rows, "at": press.at} for press in counter.presses.all()],
        }
        for counter in _COUNTERS.rows(user=user)
    ]
    rows += [
        {"place": tick.place_id, "what": "step", "number": tick.number, "done": tick.done, "at": tick.at}
        for tick in _TICKS.rows(user=user)
    ]
    rows += [
        {
            "place": running.place_id,
            "what": "sitting under way",
            "started": running.started_at,
            "part": running.part,
        }
        for running in _RUNNING.rows(user=user)
    ]
    return Shelf(
        "counting",
        _("Rows you counted, steps ticked off, and a sitting under way"),
        _(
            "the designer of the round and the pattern’s editors see totals and how many steps are ticked; "
            "single presses and the running timer, nobody"
        ),
        rows,
    )
