from __future__ import annotations

from typing import Any

from django.db import models
from django.utils import timezone


class Work(models.Model):
    """One piece of work that follows a submission.

    The row is written in the transaction of what it follows, so that it exists exactly when that does; a
    task sent after commit runs it, and a periodic sweep runs it again when the task was lost.
    """

    class State(models.TextChoices):
        WAITING = "waiting"
        DONE = "done"
        FAILED = "failed"

    kind = models.CharField(max_length=60)
    subject: models.JSONField[Any, Any] = models.JSONField(default=dict)
    # Two submissions that call for the same analysis want it once: a row with the same key that
    # nobody has begun is shared.
    once_key = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField(default=timezone.now)
    created = models.DateTimeField(auto_now_add=True)
    finished = models.DateTimeField(null=True)
    problem = models.TextField(blank=True)

    class Meta:
        verbose_name_plural = "work"
        indexes = [models.Index(fields=["state", "not_before"])]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "once_key"],
                condition=models.Q(state="waiting", attempts=0) & ~models.Q(once_key=""),
                name="work_waiting_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} ({self.state})"
