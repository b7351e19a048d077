"""The work that follows a report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone

from testround.errata.models import Analysis
from testround.errata.selectors import read_round
from testround.errata.wording import tells
from testround.outbox.services import handles
from testround.rounds.models import Round

# Findings files kept of one round, newest first: enough to compare with the last one.
KEPT_ANALYSES = 5


@handles("analyse")
def _analyse(subject: Mapping[str, Any]) -> None:
    """The work row that follows a report. A round that is gone by then needs no analysis."""
    round = Round.objects.select_related("edition").filter(pk=subject["round"]).first()
    if round is not None:
        analysis_keep(round=round)


def analysis_keep(*, round: Round) -> Analysis:
    """Analyse a round as it is now and keep the findings file under the hash of what it read."""
    read = read_round(round)
    with transaction.atomic():
        kept, _is_new = Analysis.objects.update_or_create(
            round=round,
            input_hash=read.input_hash,
            defaults={"document": read.document, "made": timezone.now()},
        )
        _decisions_follow(round, read.document["findings"])
        stale = Analysis.objects.filter(round=round).values_list("pk", flat=True)[KEPT_ANALYSES:]
        Analysis.objects.filter(pk__in=list(stale)).delete()
    return kept


def _decisions_follow(round: Round, findings: Sequence[Mapping[str, Any]]) -> None:
    """Note beside every decision since when the analysis says otherwise; what was decided stays as it is."""
    current = {finding["id"]: finding for finding in findings}
    for decision in round.decisions.all():
        differs = tells(decision.finding, current.get(decision.finding_id))
        if differs == (decision.changed_at is not None):
            continue
        decision.changed_at = timezone.now() if differs else None
        decision.save(update_fields=["changed_at"])
