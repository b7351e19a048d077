from __future__ import annotations

import uuid

from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone

from testround.patterns.models import Pattern


class Follower(models.Model):
    """A mail address that asked for the errata of one pattern; it follows once it has said so itself.

    Nothing else is kept of whoever reads it, no size and no name: which copies an erratum concerns stands in the
    mail. Whoever leaves takes the row with them.
    """

    pattern = models.ForeignKey(Pattern, on_delete=models.CASCADE, related_name="followers")
    address = models.EmailField()
    # What the signed links in its mails name: a number would tell how many there are, and come again one day.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    # In which its mails are written: the one it asked in.
    language = models.CharField(max_length=10)
    asked_at = models.DateTimeField(
        default=timezone.now, help_text="When it was last mailed a link to confirm."
    )
    confirmed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["confirmed_at", "asked_at"])]
        constraints = [
            models.UniqueConstraint("pattern", Lower("address"), name="follower_address_once"),
        ]

    def __str__(self) -> str:
        return f"follower {self.pk}"

    @property
    def about(self) -> str:
        """Under which name the outbox has its mails."""
        return f"follower {self.key}"
