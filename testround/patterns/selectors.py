"""What may be read of patterns, and by whom. Every query starts from a person."""

from __future__ import annotations

import json

from django.db.models import Count, QuerySet

from testround.kernel.roundfile import plain
from testround.patterns.access import Right, patterns_open_to
from testround.patterns.models import Edition, Pattern
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
