"""What may be read of patterns, and by whom. Every query starts from a person."""

from __future__ import annotations

import json

from django.db.models import Case, Count, OuterRef, QuerySet, Subquery, Value, When

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


def patterns_listed(user: User) -> QuerySet[Pattern]:
    """For the list page: ``edition_count`` and ``round_count`` beside every pattern."""
    return (
        patterns_of(user)
        .annotate(
            edition_count=Count("editions", distinct=True),
            round_count=Count("editions__rounds", distinct=True),
        )
        .order_by("-created", "-pk")
    )


def with_role(patterns: QuerySet[Pattern], user: User) -> QuerySet[Pattern]:
    """The same patterns, each with ``role``: what the person is of it, as `access.rights_on` says; None for nothing."""
    held = Membership.objects.filter(pattern=OuterRef("pk"), user_id=user.pk, ended_at__isnull=True)
    return patterns.annotate(
        role=Case(
            When(owner_id=user.pk, then=Value(str(Role.OWNER))), default=Subquery(held.values("role")[:1])
        )
    )


def editions_listed(pattern: Pattern) -> QuerySet[Edition]:
    """For the pattern's page: its editions, newest first, with ``round_count`` and their rounds."""
    return (
        Edition.objects.filter(pattern=pattern)
        .annotate(
            round_count=Count("rounds", distinct=True),
        )
        .order_by("-created", "-pk")
        .prefetch_related("rounds")
    )


def edition_as_file(edition: Edition) -> bytes:
    """The edition's sheet as the ``pattern`` object of a round file, UTF-8 JSON."""
    return (json.dumps(plain(edition.document), ensure_ascii=False, indent=2) + "\n").encode()
