from __future__ import annotations

import secrets
from typing import Any

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone

from testround.kernel.round import Pattern as SheetDocument


def new_code() -> str:
    """A short random name for an address: eleven characters, 64 bits, nothing to guess."""
    return secrets.token_urlsafe(8)


class Pattern(models.Model):
    """A design, owned by its designer. Its numbers live on its editions."""

    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="patterns")
    code = models.CharField(max_length=16, unique=True, default=new_code, editable=False)
    title = models.CharField(max_length=200)
    created = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-created", "-pk"]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("patterns:detail", args=[self.code])


class Edition(models.Model):
    """One numbered version of a pattern's text and numbers.

    ``sheet`` is the ``pattern`` object of a round file, validated by the same model. It is frozen once a
    round has opened on it: a correction makes a new edition.
    """

    class Terms(models.TextChoices):
        US = "us", "US terms"
        UK = "uk", "UK terms"

    pattern = models.ForeignKey(Pattern, on_delete=models.CASCADE, related_name="editions")
    label = models.CharField(max_length=200)
    sheet: models.JSONField[Any, Any] = models.JSONField()
    # Counts the saves, so that two people editing one sheet do not overwrite each other.
    revision = models.PositiveIntegerField(default=1)
    terms = models.CharField(max_length=2, choices=Terms, default=Terms.US)
    created = models.DateTimeField(default=timezone.now)
    frozen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created", "-pk"]
        constraints = [models.UniqueConstraint(fields=["pattern", "label"], name="edition_label_once")]

    def __str__(self) -> str:
        return f"{self.pattern.title}, edition {self.label}"

    def get_absolute_url(self) -> str:
        return reverse("patterns:sheet", args=[self.pattern.code, self.pk])

    @property
    def is_frozen(self) -> bool:
        return self.frozen_at is not None

    @property
    def document(self) -> SheetDocument:
        """The sheet as the kernel sees it."""
        return SheetDocument.model_validate(self.sheet)
