"""Candidates for the little top: XS 76 cm, S 86 cm, M 96 cm round the bust."""

from __future__ import annotations

import datetime as dt
from typing import Any

from testround.rounds.models import Candidate, Round

FIRST_ANSWER = dt.datetime(2026, 12, 1, 9, tzinfo=dt.UTC)


def candidate(round: Round, key: str, bust: float | None, **more: Any) -> Candidate:
    """Somebody whose offer counts, with an address and a yarn of their own unless it is said otherwise."""
    name = more.pop("name", key.capitalize())
    more.setdefault("own_yarn", not more.get("yarns"))
    more.setdefault("email", f"{key}@example.org")
    answered = FIRST_ANSWER + dt.timedelta(hours=round.candidates.count())
    return Candidate.objects.create(
        round=round,
        key=key,
        name=name,
        measures={} if bust is None else {"bust": bust},
        answered=more.pop("answered", answered),
        **more,
    )


def five_for_four(round: Round) -> dict[str, Candidate]:
    """Five candidates: XS needs one, S needs two and takes two, M takes any; three have S as the nearest."""
    return {
        key: candidate(round, key, bust)
        for key, bust in {"alder": 76.5, "birch": 86.0, "cedar": 86.5, "dogwood": 87.0, "elm": 95.0}.items()
    }
