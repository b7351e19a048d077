"""Who has a part in a pattern, for the page that says so."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.utils import timezone

from testround.patterns.access import Right, patterns_open_to
from testround.patterns.models import Membership, Pattern
from testround.people.models import User


def memberships_open_to(user: User) -> QuerySet[Membership]:
    """Parts that a person may know of: all in patterns that they own or edit, and their own."""
    known = Q(pattern__in=patterns_open_to(user, Right.SEE)) | Q(user=user)
    return Membership.objects.filter(known).select_related("pattern", "user")


@dataclass(frozen=True, slots=True)
class Invited:
    """An invitation that nobody has answered, run out or not; ``again`` is the key of the press that sends another."""

    membership: Membership
    has_run_out: bool
    again: uuid.UUID


@dataclass(frozen=True, slots=True)
class MembersPage:
    held: Sequence[Membership]
    invited: Sequence[Invited]
    earlier: Sequence[Membership]
    """Parts that were held and have ended, the last first."""


def members_of(pattern: Pattern) -> MembersPage:
    """Who has a part beside the owner, who is invited to one, and who had one: one query."""
    rows = list(pattern.memberships.select_related("user").order_by("pk"))
    now = timezone.now()
    return MembersPage(
        held=[row for row in rows if row.joined_at and not row.ended_at],
        # The key follows from the invitation's own: a second press sends the same one and not another.
        invited=[
            Invited(row, has_run_out=row.expires <= now, again=uuid.uuid5(row.key, "again"))
            for row in rows
            if not row.joined_at and not row.ended_at
        ],
        earlier=[row for row in reversed(rows) if row.joined_at and row.ended_at],
    )
