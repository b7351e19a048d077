"""What a tester's phone keeps with the server while the work is going on: counters, ticks, drafts, a timer.

None of it is a report. It is the tester's own until something is sent, and deleted with what is private of a place.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.db import models
from django.utils import timezone

from testround.rounds.models import Place

LONGEST_LABEL = 60


class Counter(models.Model):
    """One row counter: of a section of the sheet, of a number of rows in it, or of what the tester calls it."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="counters")
    # Made on the phone, so that it can be counted on before the server has heard of it.
    code = models.UUIDField(default=uuid.uuid4)
    label = models.CharField(max_length=LONGEST_LABEL)
    goal = models.PositiveIntegerField(null=True, blank=True, help_text="Rows to work, where that is known.")
    made = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["place", "code"], name="counter_once")]

    def __str__(self) -> str:
        return f"Counter at {self.place}"


class RowsCounted(models.Model):
    """One press of a counter. Its key is made on the phone, so that what is sent twice is counted once."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="rows_counted")
    counter = models.ForeignKey(Counter, on_delete=models.CASCADE, related_name="presses")
    key = models.UUIDField(default=uuid.uuid4)
    rows = models.IntegerField(help_text="Rows on, or back when below zero.")
    at = models.DateTimeField(default=timezone.now, help_text="By the clock of the phone.")

    class Meta:
        ordering = ["pk"]
        verbose_name = "rows counted"
        verbose_name_plural = "rows counted"
        constraints = [models.UniqueConstraint(fields=["place", "key"], name="rows_counted_once")]

    def __str__(self) -> str:
        return f"{self.rows:+d} on {self.counter_id}"


class StepTick(models.Model):
    """Whether a step of the pattern, told by its number, is ticked off; the later press stands."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="ticks")
    number = models.CharField(max_length=60)
    done = models.BooleanField()
    at = models.DateTimeField(help_text="By the clock of the phone.")

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["place", "number"], name="tick_once")]

    def __str__(self) -> str:
        return f"{self.number}: {'done' if self.done else 'not done'}"


class Draft(models.Model):
    """What one person has typed into one form of a place and not sent. Nobody else sees it."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="drafts")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="drafts")
    form = models.CharField(max_length=80)
    values: models.JSONField[Any, Any] = models.JSONField(default=dict)
    at = models.DateTimeField(help_text="When it was typed, by the clock of the phone.")
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["place", "person", "form"], name="draft_once")]

    def __str__(self) -> str:
        return f"Draft of {self.form} at {self.place}"


class RunningSitting(models.Model):
    """A sitting under way: only its start is kept, so that a closed page or an empty battery loses nothing."""

    place = models.OneToOneField(Place, on_delete=models.CASCADE, related_name="running")
    started_at = models.DateTimeField(default=timezone.now)
    part = models.CharField(max_length=60, blank=True)
    # Of the report that it will become, so that two presses of "stop" log it once.
    key = models.UUIDField(default=uuid.uuid4)

    def __str__(self) -> str:
        return f"Sitting at {self.place} since {self.started_at:%Y-%m-%d %H:%M}"
