"""What may be read of tokens: one's own."""

from __future__ import annotations

from django.db.models import QuerySet
from django.utils import timezone

from testround.api.models import Token
from testround.people.models import User


def tokens_of(user: User) -> QuerySet[Token]:
    """A person's tokens, newest first."""
    return Token.objects.filter(user=user).order_by("-pk")


def tokens_listed(user: User) -> list[Token]:
    """The same for their page: those that are good first, then those that have ended."""
    now = timezone.now()
    return sorted(tokens_of(user), key=lambda token: not token.is_good(now))
