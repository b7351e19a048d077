from __future__ import annotations

import datetime as dt
from typing import Any

from django.conf import settings
from django.db import models
from django.utils import timezone

from testround.api.scopes import OPENS, Scope


class Token(models.Model):
    """A person's key for a program of theirs. Only a hash of its secret is kept, and how the secret ends."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="api_tokens")
    name = models.CharField(max_length=100)
    # The last characters, by which a person knows it again.
    hint = models.CharField(max_length=8)
    secret_hash = models.CharField(max_length=64, unique=True)
    scopes: models.JSONField[Any, Any] = models.JSONField(default=list)
    created = models.DateTimeField(default=timezone.now)
    expires = models.DateTimeField()
    # To the hour: reading should not write each time.
    last_used = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.name} (…{self.hint})"

    @property
    def opens(self) -> list[tuple[str, Any]]:
        """Its scopes, each with what it opens in words."""
        return [(scope, OPENS[Scope(scope)]) for scope in self.scopes if scope in OPENS]

    def is_good(self, now: dt.datetime) -> bool:
        """Neither revoked nor run out."""
        return self.revoked_at is None and now < self.expires


class Answered(models.Model):
    """What a POST was answered under the key its sender gave it, written in the transaction of the work itself.

    Where the row is, the work is done; where the process died before, neither is.
    """

    # Nobody where what is done is for whoever has the address, as with an offer to test.
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    key = models.CharField(max_length=255)
    # Of method, address and body: another request under the same key is refused.
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(default=0)
    # The JSON as it was sent, in its order; a JSON column would put it in another.
    body = models.TextField(blank=True)
    # The body tells a secret and is encrypted: see `sealing`.
    is_sealed = models.BooleanField(default=False)
    location = models.CharField(max_length=500, blank=True)
    created = models.DateTimeField(default=timezone.now, db_index=True)

    class Meta:
        ordering = ["pk"]
        verbose_name = "kept answer"
        verbose_name_plural = "kept answers"
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="api_answered_once"),
            models.UniqueConstraint(
                fields=["key"], condition=models.Q(user=None), name="api_answered_nobody_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.key}: {self.status}"
