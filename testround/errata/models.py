from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from testround.patterns.models import Edition, Pattern
from testround.rounds.models import Round


class Analysis(models.Model):
    """What the kernel said of a round, kept under a hash of what it read: the same input is worked out once."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="analyses")
    input_hash = models.CharField(max_length=64)
    document: models.JSONField[Any, Any] = models.JSONField(help_text="The findings file.")
    made = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-made", "-pk"]
        verbose_name_plural = "analyses"
        constraints = [models.UniqueConstraint(fields=["round", "input_hash"], name="analysis_once")]

    def __str__(self) -> str:
        return f"{self.round}, {self.made:%Y-%m-%d %H:%M}"


class Erratum(models.Model):
    """One correction: a draft on the desk, then numbered, published and never changed again."""

    pattern = models.ForeignKey(Pattern, on_delete=models.PROTECT, related_name="errata")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="errata")
    round = models.ForeignKey(Round, null=True, blank=True, on_delete=models.SET_NULL, related_name="errata")
    number = models.PositiveIntegerField(null=True, blank=True)
    place = models.CharField(max_length=200, help_text="Where in the text: section and step.")
    sizes: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    # What stands in the edition and what should: {size: count}, {"rows": 28.5}, or empty for a change of words.
    was: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    now: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True)
    # The sheet key that `was` and `now` are values of, and their unit (st, row, rep, cm, st/10 cm, row/10 cm).
    subject = models.CharField(max_length=120, blank=True)
    unit = models.CharField(max_length=10, blank=True)
    text = models.TextField(max_length=5000, help_text="The correction, as a reader sees it.")
    why = models.TextField(max_length=5000, blank=True)
    created = models.DateTimeField(default=timezone.now)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["number", "pk"]
        verbose_name_plural = "errata"
        constraints = [
            models.UniqueConstraint(fields=["pattern", "number"], name="erratum_number_once"),
            models.CheckConstraint(
                condition=models.Q(number__isnull=True, published_at__isnull=True)
                | models.Q(number__isnull=False, published_at__isnull=False),
                name="erratum_numbered_when_published",
            ),
        ]

    def __str__(self) -> str:
        return f"Erratum {self.number}" if self.number else f"Draft: {self.text[:60]}"

    @property
    def is_published(self) -> bool:
        return self.published_at is not None

    def get_absolute_url(self) -> str:
        return reverse("errata:erratum", args=[self.pattern.code, self.number])


class Decision(models.Model):
    """What the designer decided of one finding: kept with the finding as it stood then."""

    class Choice(models.TextChoices):
        ACCEPTED = "accepted"
        DECLINED = "declined"

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="decisions")
    finding_id = models.CharField(max_length=120)
    choice = models.CharField(max_length=10, choices=Choice)
    reason = models.TextField(max_length=2000, blank=True)
    finding: models.JSONField[Any, Any] = models.JSONField()
    # Findings that were merged share their erratum.
    erratum = models.ForeignKey(Erratum, null=True, blank=True, on_delete=models.SET_NULL, related_name="decisions")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["round", "finding_id"], name="decision_once")]

    def __str__(self) -> str:
        return f"{self.finding_id}: {self.choice}"
