"""What may be read of patterns, and by whom. Every query starts from a person."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, Count, OuterRef, Prefetch, Q, QuerySet, Subquery, Value, When

from testround.kernel.roundfile import plain
from testround.patterns.access import Right, Role, patterns_open_to
from testround.patterns.models import Edition, Membership, Pattern
from testround.people.models import User


def patterns_of(user: User, right: Right = Right.SEE) -> QuerySet[Pattern]:
    """The patterns a person owns or edits, newest first; with a ``right``, those with which they have it."""
    return patterns_open_to(user, right)


def editions_of(user: User, right: Right = Right.SEE) -> QuerySet[Edition]:
    """The editions of those patterns, newest first, each with its pattern loaded."""
    return Edition.objects.filter(pattern__in=patterns_open_to(user, right)).select_related("pattern")


_ERRATA = {
    "published_count": Count("errata", filter=Q(errata__published_at__isnull=False)),
    "draft_count": Count("errata", filter=Q(errata__published_at__isnull=True)),
}


def patterns_listed(user: User) -> QuerySet[Pattern]:
    """For the list page: with editions and their rounds, ``published_count`` and ``draft_count`` of errata."""
    editions = Edition.objects.defer("sheet", "corrected").order_by("-created", "-pk")
    return (
        patterns_of(user)
        .annotate(**_ERRATA)
        .order_by("-created", "-pk")
        .prefetch_related(Prefetch("editions", editions.prefetch_related("rounds")))
    )


@dataclass(frozen=True, slots=True)
class PatternStanding:
    """How far a pattern is: its newest edition, how many came before it, and which rounds are to be looked at.

    These are the rounds that go on, on whichever edition; where none does, the newest one.
    """

    pattern: Pattern
    edition: Edition
    earlier: int
    rounds: tuple[Any, ...]


def patterns_standing(patterns: Iterable[Pattern]) -> list[PatternStanding]:
    """The same of each of `patterns_listed`, without a query."""
    found = []
    for pattern in patterns:
        editions = list(pattern.editions.all())
        rounds = [(edition, round) for edition in editions for round in edition.rounds.all()]
        going_on = [one for one in rounds if one[1].state != "closed"]
        found.append(PatternStanding(pattern, editions[0], len(editions) - 1, tuple(going_on or rounds[:1])))
    return found


def with_role(patterns: QuerySet[Pattern], user: User) -> QuerySet[Pattern]:
    """The same patterns, each with ``role``: what the person is of it, as `access.rights_on` says; None for nothing."""
    held = Membership.objects.filter(pattern=OuterRef("pk"), user_id=user.pk, ended_at__isnull=True)
    return patterns.annotate(
        role=Case(
            When(owner_id=user.pk, then=Value(str(Role.OWNER))), default=Subquery(held.values("role")[:1])
        )
    )


def editions_listed(pattern: Pattern) -> QuerySet[Edition]:
    """For the pattern's page: newest first, with their rounds, and ``published_count`` and ``draft_count`` of errata."""
    return (
        Edition.objects.filter(pattern=pattern)
        .annotate(**_ERRATA)
        .order_by("-created", "-pk")
        .prefetch_related("rounds")
    )


def edition_as_file(edition: Edition) -> bytes:
    """The edition's sheet as the ``pattern`` object of a round file, UTF-8 JSON."""
    return (json.dumps(plain(edition.document), ensure_ascii=False, indent=2) + "\n").encode()
