"""What those who run a pattern know of who follows it: how many, and never who."""

from __future__ import annotations

from django.db.models import QuerySet

from testround.following.models import Follower
from testround.patterns.access import Right, patterns_open_to
from testround.patterns.models import Pattern
from testround.people.models import User


def patterns_followed(user: User) -> QuerySet[Pattern]:
    """Patterns whose number of followers a person may know: who edits the pattern."""
    return patterns_open_to(user, Right.EDIT)


def followers_count(pattern: Pattern) -> int:
    """How many addresses follow a pattern and have said so themselves."""
    return Follower.objects.filter(pattern=pattern, confirmed_at__isnull=False).count()
