"""What may be read of patterns, and by whom. Every query starts from a person."""

from __future__ import annotations

from django.db.models import Count, Max, Q, QuerySet

from testround.patterns.models import Edition, Pattern
from testround.people.models import User


def patterns_of(user: User) -> QuerySet[Pattern]:
    """The patterns a person owns, newest first; nothing of anyone else's."""
    return Pattern.objects.filter(owner_id=user.pk)


def editions_of(user: User) -> QuerySet[Edition]:
    """The editions of a person's own patterns, newest first, each with its pattern loaded."""
    return Edition.objects.filter(pattern__owner_id=user.pk).select_related("pattern")


def patterns_listed(user: User) -> QuerySet[Pattern]:
    """For the list page: ``edition_count``, ``round_count`` and ``changed`` beside every pattern."""
    return patterns_of(user).annotate(
        edition_count=Count("editions", distinct=True),
        round_count=Count("editions__rounds", distinct=True),
        changed=Max("editions__created"),
    )


def editions_listed(pattern: Pattern) -> QuerySet[Edition]:
    """For the pattern's page: its editions, newest first, with ``round_count`` and ``open_round_count``."""
    return (
        Edition.objects.filter(pattern=pattern)
        .annotate(
            round_count=Count("rounds", distinct=True),
            open_round_count=Count("rounds", filter=~Q(rounds__state="closed"), distinct=True),
        )
        .prefetch_related("rounds")
    )
